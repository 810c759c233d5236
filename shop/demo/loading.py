"""The demo shop from first to last, all or nothing."""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from zoneinfo import ZoneInfo

from django.core.files.storage import default_storage
from django.db import connection, transaction

from shop.demo import fleet, history, knowledge, present, shelf
from shop.demo.story import HISTORY_DAYS, PASSWORD, SHOP_NAME, TIME_ZONE, Story
from shop.models import Role
from shop.services.people import create_person, open_shop
from shop.services.turning import turn_shop


def load(*, now: datetime, days: int = HISTORY_DAYS) -> Story:
    """Invent the shop as it stands now, with so many days behind it, 60 at least.

    The database must hold no shop: raises ShopIsOpen.
    """
    story = Story(now=now, zone=ZoneInfo(TIME_ZONE), days=days)
    try:
        with _quickly():
            _open(story)
            shelf.build(story)
            fleet.build(story)
            shelf.fill_drawers(story)
            present.tell(story, history.tell(story))
            knowledge.tell(story)
            turn_shop(shop=story.shop, today=story.day(0))
    except BaseException:
        for name in story.files:
            default_storage.delete(name)
        raise
    return story


@contextmanager
def _quickly() -> Iterator[None]:
    """Let ten thousand small transactions not wait for the disk each.

    SQLite: one transaction round all of them. PostgreSQL keeps every old version of a row until
    its transaction ends, and ours change the same rows hundreds of times: there each commits, and
    only the waiting is left out.
    """
    if connection.vendor == "sqlite":
        with transaction.atomic():
            yield
        return
    with connection.cursor() as cursor:
        cursor.execute("SET synchronous_commit TO off")
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("RESET synchronous_commit")


def _open(story: Story) -> None:
    at = story.at(story.first_day, 5)
    story.shop, story.manager = open_shop(
        name=SHOP_NAME,
        time_zone=TIME_ZONE,
        currency="$",
        units="us",
        manager_name="Ruth Calloway",
        sign_in="manager",
        password=PASSWORD,
        at=at,
    )
    story.shop.is_demo = True
    story.shop.save(update_fields=["is_demo"])

    def person(sign_in: str, name: str, role: str, *, is_electrician: bool = False):
        return create_person(
            sign_in=sign_in,
            name=name,
            role=role,
            password=PASSWORD,
            is_electrician=is_electrician,
            at=at,
        )

    story.technician = person("technician", "Ben Sorrel", Role.TECHNICIAN)
    story.electrician = person("electrician", "Ilse Marten", Role.TECHNICIAN, is_electrician=True)
    story.owner = person("owner", "Hal Brandt", Role.OWNER)
