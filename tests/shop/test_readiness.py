"""Whether a rig is ready, in words, for one and for a fleet."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.due import FAR_DATE
from equipment.models import Rig
from shop import readiness
from shop.models import Shop
from shop.roundwords import missed_text
from tests.shop.pages import world

pytestmark = pytest.mark.django_db
STAY = world.days(20)


def of(rig: Rig, shop: Shop) -> readiness.Readiness:
    return readiness.of_rig(rig, today=world.TODAY, shop=shop)


def gun_due(rig: Rig, name: str = "rebuild", **values: Any) -> Any:
    gun = world.fit(rig, "Gun") if not rig.positions.exists() else None
    component = gun or rig.positions.get().installations.get().component
    return world.make_due(component, world.make_service("Gun", name), **values)


@pytest.mark.parametrize(
    ("values", "when"),
    [
        ({"due_date": world.days(5), "odds_due_permille": 634}, "63 %"),
        ({"due_date": world.days(5), "odds_due_permille": 998}, "over 99 %"),
        ({"due_date": world.days(5), "measure": "days", "odds_due_permille": 1000}, "7 Mar"),
        ({"due_date": world.days(0), "measure": "days", "late_date": world.days(3)}, "already due"),
        ({"due_date": world.days(-1), "is_past_due": True, "late_date": STAY}, "already due"),
        ({"due_date": world.days(-9), "is_past_tolerance": True}, "overdue"),
        ({"due_date": world.days(-9), "late_date": world.days(-1)}, "overdue"),
        # Its middle day has gone by and nobody read it since: likely, not known.
        (
            {"due_date": world.days(-1), "late_date": STAY, "odds_due_permille": 912},
            "91 %",
        ),
    ],
)
def test_each_service_says_when_or_how_likely(values: Any, when: str, shop: Shop) -> None:
    rig = world.make_rig(4, stay_on=STAY)
    gun_due(rig, stay_on=STAY, **values)

    assert of(rig, shop).text == f"ready with: Gun, rebuild ({when})"


@pytest.mark.parametrize(
    ("stay", "due", "is_named"),
    [
        (STAY, STAY - timedelta(days=1), True),
        (STAY, STAY, False),
        (FAR_DATE, world.days(14), True),
        (FAR_DATE, world.days(15), False),
        # The day was not turned since that stay began.
        (world.days(-3), world.days(0), True),
        (world.days(-3), world.days(1), False),
    ],
)
def test_what_counts_is_the_next_stay(stay: date, due: date, is_named: bool, shop: Shop) -> None:
    rig = world.make_rig(4, stay_on=stay)
    gun_due(rig, due_date=due)

    assert of(rig, shop).word == ("ready with" if is_named else "ready")


@pytest.mark.parametrize(("bigger", "is_named"), [(STAY, True), (world.days(19), False)])
def test_a_bigger_service_stands_for_the_smaller(bigger: date, is_named: bool, shop: Shop) -> None:
    rig = world.make_rig(4, stay_on=STAY)
    gun_due(rig, due_date=world.days(3), bigger_date=bigger)

    assert bool(of(rig, shop).reasons) is is_named


def test_the_gravest_comes_first_and_the_rest_is_counted(shop: Shop) -> None:
    rig = world.make_rig(4, stay_on=STAY)
    for place, name in enumerate(("a", "b", "c", "d")):
        gun_due(rig, name, due_date=world.days(place), measure="days", late_date=STAY)
    gun_due(rig, "late", due_date=world.days(-2), late_date=world.days(-1))
    found = of(rig, shop)

    assert found.why.startswith("Gun, late (overdue); Gun, a (already due); Gun, b (")
    assert found.why.endswith("; and 2 more")
    assert (found.tag, found.tag_word) == ("overdue", "overdue")


def test_found_work_holds_it_whatever_falls_due(shop: Shop) -> None:
    rig = world.make_rig(4)
    gun_due(rig, due_date=world.days(1))
    world.make_finding(rig, "hose split", is_grave=True)
    found = of(rig, shop)

    assert (found.text, found.tag, found.is_held) == ("held: hose split", "held", True)


def test_a_rig_laid_up_is_neither(shop: Shop) -> None:
    rig = world.make_rig(4, is_laid_up=True)
    gun_due(rig, due_date=world.days(1))

    assert of(rig, shop).text == "laid up"


def test_a_fleet_costs_as_many_queries_as_a_rig(shop: Shop) -> None:
    def queries(rigs: list[Rig]) -> int:
        with CaptureQueriesContext(connection) as asked:
            found = readiness.of_rigs(rigs, today=world.TODAY, shop=shop)
        assert found.keys() == {rig.pk for rig in rigs}
        return len(asked)

    one = queries(world.make_fleet(1))
    assert one == 3  # what holds: fitted, found work; what falls due
    assert queries(world.make_fleet(30, first=2)) == one


@pytest.mark.parametrize(
    ("back", "said"),
    [
        ([], ""),
        ([1], "yesterday’s round was missed"),
        ([3], "the round of Fri 27 Feb was missed"),
        ([4, 3], "rounds missed: 26 and 27 Feb"),
        ([4, 3, 1], "rounds missed: 26, 27 Feb and 1 Mar"),
    ],
)
def test_missed_rounds_in_words(back: list[int], said: str) -> None:
    assert missed_text([world.days(-each) for each in back], today=world.TODAY) == said
