"""The page of a component says why each of its services falls due when it does."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
import time_machine

from equipment.models import DueClock, Postponement, Renewal
from shop.models import Role
from tests.shop.pages import world
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def due(db: None) -> Any:
    gun = world.fit(world.make_rig(4), "Gun")
    made = world.make_due(
        gun,
        world.make_service("Gun", "full rebuild"),
        measure="gallons",
        since=4310,
        interval=5000,
        due_date=world.days(14),
    )
    DueClock.objects.create(
        due=made,
        measure="gallons",
        interval=5000,
        life_at_renewal=Decimal(12300),
        since=Decimal(4310),
        counted_from=world.days(-1),
        due_date=world.days(14),
    )
    DueClock.objects.create(
        due=made,
        measure="season",
        interval=30,
        counted_from=world.days(-60),
        due_date=world.days(40),
        because="before the first frost",
    )
    return made


def page(due: Any, client_as: Any) -> str:
    with time_machine.travel(world.AT, tick=False):
        return text_of(client_as(Role.MANAGER).get(f"/components/{due.component.tag}/"))


def done(due: Any, days_ago: int, **values: Any) -> Renewal:
    at = world.AT - timedelta(days=days_ago)
    kept: dict[str, Any] = {
        "version": due.version,
        "done_at": at,
        "counts_from": at.date(),
        "author": world.author(),
        "recorded_at": at,
        "request_id": uuid4(),
    } | values
    return Renewal.objects.create(component=due.component, **kept)


def test_each_clock_says_its_figures_and_which_decides(due: Any, client_as: Any) -> None:
    said = page(due, client_as)
    assert "5,000 gallons from a life of 12,300; 4,310 since then, read 1 Mar" in said
    assert "16 Mar , and that decides" in said or "16 Mar, and that decides" in said
    assert "before the first frost" in said
    assert "11 Apr" in said
    assert "Never done here" in said


def test_renewals_say_who_what_within_and_what_was_undone(due: Any, client_as: Any) -> None:
    bigger = world.make_service("Gun", "new gun")
    outer = done(due, 60, version=bigger)
    done(due, 60, within=outer)
    wrong = done(due, 20)
    done(due, 19, undoes=wrong, reason="it was the other gun")

    said = page(due, client_as)

    assert "within new gun" in said
    assert "undone by A. Uthor" in said
    assert "it was the other gun" in said
    assert "Never done here" not in said


def test_a_postponement_says_who_until_when_and_why(due: Any, client_as: Any) -> None:
    made = Postponement.objects.create(
        component=due.component,
        service=due.version.service,
        until=world.days(20),
        reason="waiting for the seal",
        author=world.author(),
        at=world.AT,
        request_id=uuid4(),
    )
    assert "put off to 22 Mar by A. Uthor, 2 Mar: waiting for the seal" in page(due, client_as)

    made.taken_off_by, made.taken_off_at = world.author(), world.AT
    made.save(update_fields=["taken_off_by", "taken_off_at"])
    assert "taken off by A. Uthor, 2 Mar" in page(due, client_as)
