"""The page of a component shows the measured values that make its services due."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
import time_machine

from equipment.models import Due
from equipment.services import NewMeasurement, record_measurements, record_renewal
from shop import words
from shop.models import Role, Shop
from tests.equipment.factories import START, ZONE, SprayRig, day, service_for, spray_rig
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db

DROP = "Pressure drop"
WEEKLY = [(10, 30), (17, 31), (24, 32), (31, 33), (38, 34)]


@pytest.fixture
def rig(shop: Shop) -> SprayRig:
    made = spray_rig()
    service_for(
        made.components["gun"],
        ("value", 14, {"watched": DROP, "high": Decimal(38)}),
        name="filter change",
    )
    return made


def measure(rig: SprayRig, *points: tuple[int, int], unit: str = "psi") -> None:
    record_measurements(
        measured=[
            NewMeasurement(
                rig.components["gun"],
                DROP,
                unit,
                Decimal(value),
                START + timedelta(days=days),
                uuid4(),
            )
            for days, value in points
        ],
        author=rig.author,
        recorded_at=day(100),
        zone=ZONE,
        source_kind="sheet",
        source_number=7,
    )


def test_a_code_is_said_as_a_code_and_drawn_by_the_number_that_leads(
    shop: Shop, client_as: Any
) -> None:
    rig = spray_rig()
    gun = rig.components["gun"]
    service_for(gun, ("value", 14, {"watched": DROP, "high": Decimal(201815)}), name="oil change")
    measure(rig, *[(10 + 7 * n, 191510 + n) for n in range(5)], (45, 191616), unit="ISO 4406")
    shown = page(rig, client_as)
    assert "was 19/16/16 ISO 4406 on 19 Feb 2026, past 15 at 14 µm" in shown
    assert "19/16/16 ISO 4406, past its limit" in shown
    assert "19/15/14 ISO 4406" in shown
    assert "191" not in shown


def page(rig: SprayRig, client_as: Any, *, at: int = 50) -> str:
    with time_machine.travel(day(at), tick=False):
        return text_of(client_as(Role.MANAGER).get(f"/components/{rig.components['gun'].tag}/"))


def chart_in(rig: SprayRig, client_as: Any) -> str:
    with time_machine.travel(day(50), tick=False):
        answer = client_as(Role.MANAGER).get(f"/components/{rig.components['gun'].tag}/")
    return str(answer.content.decode())


def test_a_trend_is_said_drawn_and_listed(rig: SprayRig, client_as: Any) -> None:
    measure(rig, *WEEKLY)
    said = page(rig, client_as)
    assert "Pressure drop, for filter change" in said
    sentence = "is heading to 38 psi about 12 Mar 2026: 5 values since 15 Jan 2026."
    assert sentence in said
    assert "By the 95 % bounds of its slope: 12 Mar." in said
    assert "12 Feb, sheet 0007" in said
    assert "34 psi" in said
    drawn = chart_in(rig, client_as)
    assert drawn.count(f"“Pressure drop” {sentence}") >= 3  # in words, wide and narrow
    assert 'class="shift-phone"' in drawn


def test_a_value_past_its_limit_says_so_in_the_list_and_on_the_card(
    rig: SprayRig, client_as: Any
) -> None:
    measure(rig, (20, 30), (45, 41))
    said = page(rig, client_as)
    assert "41 psi, past its limit" in said
    assert "30 psi, past" not in said
    assert "measured 5 d ago; 19 Feb past its limit" in said
    assert "usual use" not in said


def test_one_value_is_listed_and_not_drawn(rig: SprayRig, client_as: Any) -> None:
    measure(rig, (20, 30))
    assert "a trend needs 5 values, so far 1." in page(rig, client_as)
    assert 'class="shift-phone"' not in chart_in(rig, client_as)


def test_before_anything_is_measured_it_says_that(rig: SprayRig, client_as: Any) -> None:
    said = page(rig, client_as)
    assert "“Pressure drop” was not measured yet." in said
    assert "The values" not in said
    assert "no value past its limit; no date yet" in said


def test_what_was_measured_before_the_work_is_shown_no_longer(
    rig: SprayRig, client_as: Any
) -> None:
    measure(rig, *WEEKLY)
    record_renewal(
        version=Due.objects.get(version__service__name="filter change").version,
        component=rig.components["gun"],
        done_at=day(40),
        author=rig.author,
        recorded_at=day(40),
        zone=ZONE,
    )
    said = page(rig, client_as)
    assert "was not measured since this was last done." in said
    assert "34 psi" not in said


def test_a_component_that_is_watched_for_nothing_says_nothing_of_it(
    rig: SprayRig, client_as: Any
) -> None:
    with time_machine.travel(day(50), tick=False):
        tag = rig.components["generator"].tag
        said = text_of(client_as(Role.MANAGER).get(f"/components/{tag}/"))
    assert "Measured values" not in said


def test_a_trend_that_fell_due_is_due_by_its_trend(rig: SprayRig) -> None:
    measure(rig, *WEEKLY)
    row = Due.objects.select_related("component__type__kind", "version__service").get(
        version__service__name="filter change"
    )
    today = day(60).date()
    assert words.date_note(row, today=today) == "by its trend"
    assert words.life_text(row, today=today) == "measured 22 d ago"
    assert words.life_text(row, today=row.read_on) == "measured today"
    sentence = words.due_sentence(row, today=today, warning_days=14)
    assert "filter change: measured 22 d ago; was due about 26 Feb, by its trend." in sentence


def test_wanted_sooner_before_anything_was_measured_no_value_is_told_of(rig: SprayRig) -> None:
    row = Due.objects.get(version__service__name="filter change")
    row.due_date = row.brought_on = day(55).date()
    assert words.life_text(row, today=day(50).date()) == "no value past its limit"
