"""The turn of the day by the day's first page, and of a shop kept since before there were odds."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from equipment.models import Due, DueClock, Rig, UsageRate
from equipment.services import book_job, rebuild_all
from shop.models import Shop
from shop.services import turning
from shop.services.turning import turn_by_page, turn_shop
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig

pytestmark = pytest.mark.django_db

#: A Thursday; the rig comes back on it from the first of two jobs.
TODAY = date(2026, 1, 15)


@pytest.fixture
def rig(shop: Shop, time_machine: Any) -> SprayRig:
    """Read every day of its first job, which ends the day before TODAY; a second one follows."""
    made = spray_rig()
    for first, last in (
        (date(2026, 1, 6), date(2026, 1, 14)),
        (date(2026, 1, 20), date(2026, 2, 6)),
    ):
        book_job(
            rig=made.rig,
            job=f"Barn {first:%b %d}",
            first_day=first,
            last_day=last,
            author=made.author,
            today=date(2026, 1, 6),
            zone=ZONE,
        )
    service_for(made.pump("A"), ("strokes", 12_000), tolerance_percent=Decimal(10))
    for count in range(1, 10):
        made.read(day(count), a=500 * count)
    Shop.objects.update(turned_on=TODAY - timedelta(days=1))
    time_machine.move_to(day(10, hour=15), tick=False)
    return made


def turned_on() -> date | None:
    return Shop.objects.get().turned_on


def test_the_first_page_of_a_day_turns_it_and_what_is_sent_does_not(
    rig: SprayRig, client_as: Any
) -> None:
    desk: Client = client_as("manager")
    assert Due.objects.get(component=rig.pump("A")).stay_on == TODAY

    desk.post("/due/")
    assert turned_on() == TODAY - timedelta(days=1)

    desk.get("/due/")
    assert turned_on() == TODAY
    assert Rig.objects.get().stay_on == date(2026, 2, 7)
    row = Due.objects.get(component=rig.pump("A"))
    assert row.stay_on == date(2026, 2, 7)
    # 7,500 strokes left, 500 a day: due about the end of the second job, and not for sure.
    assert row.due_10 < row.due_date < row.due_90
    assert 0 < row.odds_due_permille < 1000
    assert set(UsageRate.objects.values_list("as_of", flat=True)) == {TODAY}
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_day_turned_is_not_turned_again(rig: SprayRig) -> None:
    stale = Shop.objects.get()
    assert turn_by_page(shop=stale, today=TODAY) is not None
    # Another page read the shop before the first had turned it.
    assert turn_by_page(shop=stale, today=TODAY) is None
    assert turn_by_page(shop=Shop.objects.get(), today=TODAY) is None
    assert turn_shop(shop=Shop.objects.get(), today=TODAY).rows == 0


def test_a_large_fleet_is_left_to_the_night(rig: SprayRig, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turning, "MOST_FOR_A_PAGE", Due.objects.count() - 1)
    assert turn_by_page(shop=Shop.objects.get(), today=TODAY) is None
    assert turned_on() == TODAY - timedelta(days=1)
    monkeypatch.setattr(turning, "MOST_FOR_A_PAGE", Due.objects.count())
    assert turn_by_page(shop=Shop.objects.get(), today=TODAY) is not None


def test_a_shop_kept_since_before_there_were_odds_is_worked_out_anew(rig: SprayRig) -> None:
    """Its clocks stand at the defaults of the columns that came later."""
    turn_shop(shop=Shop.objects.get(), today=TODAY)
    before = Due.objects.get(component=rig.pump("A")).late_date
    Shop.objects.update(turned_on=None)
    DueClock.objects.update(allowed_of=0)
    turn_shop(shop=Shop.objects.get(), today=TODAY)
    assert Due.objects.get(component=rig.pump("A")).late_date == before
    assert rebuild_all(zone=ZONE)[1] == 0
