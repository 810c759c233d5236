"""Somebody counts a bin while a sheet takes its parts out of it and is signed, all by the pages."""

from collections.abc import Callable, Iterator
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.utils import timezone

from inventory.models import Balance, Count, Movement, Part
from inventory.services import prove
from shop.models import Person, Shop
from tests.inventory.factories import in_place, received
from tests.shop.pages.test_work import Work
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    """Five filters and three kits in K-03."""
    made = sheet_world(shop, manager)
    received(made.filter_part, made.bin, 4, 7_200)
    received(made.kit, made.bin, 2, 42_400)
    return made


def test_an_issue_while_a_kit_is_on_a_tray_and_a_count_goes_on(
    world: SheetWorld, client_as: Callable[..., Client]
) -> None:
    """One filter is missing; another and a kit are taken by the sheet between the two entries."""
    phone, desk = client_as("technician"), client_as("manager")
    work = Work(phone, world.draft())
    begin = {"location": world.bin.pk, "kind": "cycle", "request_id": uuid4()}
    assert desk.post("/counts/", begin).status_code == 302
    url = f"/counts/{Count.objects.get().number}/"

    def enter(part: Part, quantity: int) -> None:
        sent = {"do": "enter", "number": part.number, "quantity": quantity}
        sent |= {"request_id": uuid4(), "drawn_at": timezone.now().isoformat()}
        assert desk.post(url, sent).status_code == 302

    enter(world.filter_part, 4)
    work.do_the_checks()
    phone.post(f"{work.url}/take/", {"request_id": str(uuid4())})
    assert in_place(world.kit, world.bin) == 2  # the third lies on the tray
    enter(world.kit, 2)
    work.take_and_use()
    hours = world.fleet.counters["hours"]
    signed = work.sign(**{f"c{hours.pk}-value": "210", f"event-{hours.pk}": str(uuid4())})
    assert signed.status_code == 302
    assert Movement.objects.filter(kind="issue", part=world.kit).exists()
    assert desk.post(url, {"do": "finish"}).status_code == 302
    page = desk.get(url).content.decode()
    assert "1 of 2 parts differs" in page
    seen = Count.objects.get().counted_at
    assert seen is not None
    approve = {"do": "approve", "seen": seen.isoformat()}
    assert desk.post(f"{url}settle/", approve).status_code == 302
    [posted] = Movement.objects.filter(kind="count")
    assert (posted.part, posted.quantity_steps) == (world.filter_part, -1)
    assert in_place(world.filter_part, world.bin) == 5 - 1 - 1
    assert in_place(world.kit, world.bin) == 2
    assert not Balance.objects.there().filter(location__kind="tray").exists()
    assert prove() == []
