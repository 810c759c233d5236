"""The page of what ages on the shelf."""

from collections.abc import Callable
from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from inventory.models import Location, Part
from inventory.services import IssueLine, issue, transfer
from inventory.services.moving import TransferLine
from shop.models import Role
from tests.inventory.factories import BinFactory, PartFactory, PersonFactory, received
from tests.inventory.pages.browsing import text_of

URL = reverse("inventory:keeping")


def shown(client: Client, page: int = 1) -> str:
    answer = client.get(URL, {"page": page})
    assert answer.status_code == 200
    return text_of(answer)


@pytest.fixture
def seal(db: None) -> Part:
    return PartFactory(number="PU-9", name="piston seal", storage_group="B")


def use(part: Part, place: Location, steps: int, days_ago: int) -> None:
    issue(
        lines=[IssueLine(part=part, location=place, quantity_steps=steps)],
        author=PersonFactory(),
        at=timezone.now() - timedelta(days=days_ago),
        request_id=uuid4(),
    )


def test_an_empty_shelf_says_what_adds_to_the_list(desk: Client) -> None:
    assert "Nothing expires within half a year" in shown(desk)


def test_it_says_what_expired_and_what_will_not_be_used_in_time(
    desk: Client, seal: Part, bin_k3: Location
) -> None:
    """By hand: 3 used last year and 100 days to go leave 4 of 4; 2 have expired, $10.00 each."""
    today = timezone.localdate()
    drawer = BinFactory(drawer=True, code="01-D1")
    received(seal, bin_k3, 7, 7_000, expires_on=today + timedelta(days=100), lot_code="next")
    use(seal, bin_k3, 3, days_ago=30)
    received(seal, bin_k3, 2, 2_000, expires_on=today - timedelta(days=1), lot_code="old")
    transfer(
        lines=[TransferLine(seal, bin_k3, drawer, 1)],
        author=PersonFactory(),
        at=timezone.now(),
        request_id=uuid4(),
    )
    text = shown(desk)
    assert "1 lot has expired, worth $20.00: look at it, and scrap what fails." in text
    # 101 days at 3 a year use no whole piece.
    assert "At last year’s pace 1 more lot will not be used up in time, a loss of $40.00." in text
    assert "01-D1, K-03" in text or "K-03, 01-D1" in text


def test_what_is_used_in_time_and_keeps_long_is_no_news(
    desk: Client, seal: Part, bin_k3: Location
) -> None:
    today = timezone.localdate()
    received(seal, bin_k3, 9, 9_000, expires_on=today + timedelta(days=400), lot_code="far")
    assert "far" in shown(desk)
    received(PartFactory(), bin_k3, 9, 9_000, expires_on=today + timedelta(days=731), lot_code="6y")
    assert "6y" not in shown(desk)
    use(seal, bin_k3, 8, days_ago=30)
    assert "Nothing expires within half a year" in shown(desk)


def test_trays_and_what_keeps_are_not_listed(desk: Client, bin_k3: Location) -> None:
    received(PartFactory(number="KEEPS"), bin_k3, 5, 500)
    tray = BinFactory(tray=True)
    part = PartFactory(number="TRAYED")
    received(part, tray, 1, 100, expires_on=timezone.localdate())
    text = shown(desk)
    assert "KEEPS" not in text
    assert "TRAYED" not in text


def test_a_long_list_is_paged_and_asks_no_more_of_the_database(
    desk: Client, bin_k3: Location, client_as: Callable[..., Client]
) -> None:
    soon = timezone.localdate() + timedelta(days=20)
    for number in range(60):
        received(PartFactory(number=f"L-{number:02}"), bin_k3, 1, 100, expires_on=soon)
    with CaptureQueriesContext(connection) as long:
        text = shown(desk)
    assert "L-00" in text
    assert "L-55" not in text
    assert "L-55" in shown(client_as(Role.TECHNICIAN), page=2)
    assert len(long) < 12
