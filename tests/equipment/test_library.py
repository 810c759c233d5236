"""The starting library: every row of the reference table became a service or a check of the round.

What is expected is read from the table itself (`equipment/library/service_intervals.csv`, whose
rows name their sources), with the rules of `equipment/library/README.md` written out anew here.
"""

import csv
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from equipment.models import (
    Caution,
    Check,
    ComponentKind,
    RoundItem,
    Service,
    ServiceVersion,
    Skill,
    Trigger,
)
from equipment.services.library import FOLDER, HAZARD_ICONS, current_version, load_library
from shop.drawing import icons
from shop.models import Person

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Chicago")
#: Idle time is no trigger yet.
NOT_LOADED = {"SI75"}
ROUND = {
    "SI01", "SI04", "SI05", "SI07", "SI15", "SI17", "SI19", "SI20", "SI21", "SI27", "SI28", "SI40",
    "SI43", "SI50", "SI53", "SI54", "SI66", "SI69", "SI73",
}  # fmt: skip


def rows(name: str) -> list[dict[str, str]]:
    with Path(FOLDER, name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


TASKS = {row["id"]: row for row in rows("service_intervals.csv")}
NAMES = {row["id"]: row for row in rows("names.csv")}
SERVICES = sorted(TASKS.keys() - ROUND - NOT_LOADED)


@pytest.fixture
def loaded(manager: Person, at: datetime) -> int:
    return load_library(author=manager, at=at, zone=ZONE)


def version_of(row_id: str) -> ServiceVersion:
    name = NAMES[row_id]
    return current_version(kind=name["kind"], name=name["name"], side=name["side"])


def test_every_row_is_a_service_or_a_check_of_the_round(loaded: int) -> None:
    assert len(TASKS) == 75
    assert loaded == len(SERVICES) == 75 - len(ROUND) - 1
    assert Service.objects.count() == ServiceVersion.objects.count() == loaded
    assert set(RoundItem.objects.values_list("code", flat=True)) == ROUND
    assert NAMES.keys() == TASKS.keys() - NOT_LOADED


def test_services_say_what_their_rows_say(loaded: int) -> None:
    for row_id in SERVICES:
        row, version = TASKS[row_id], version_of(row_id)
        assert version.instructions == row["task"]
        assert version.tolerance_percent == Decimal(row["tolerance_percent"])
        assert version.is_hard_limit == (row["hard_limit"] == "yes")
        assert version.labour_minutes == int(row["labour_minutes"])
        assert version.condition_sign == row["condition_trigger"]
        assert (version.source, version.basis) == (row["source"], row["basis"])
        codes = set(version.cautions.values_list("code", flat=True))
        assert codes == {code for code in row["caution_ids"].split(";") if code}, row_id


def test_services_fall_due_as_their_rows_say(loaded: int) -> None:
    for row_id in SERVICES:
        row = TASKS[row_id]
        expected = {}
        for value, unit in ((row["value"], row["unit"]), (row["second_value"], row["second_unit"])):
            if unit == "months":
                # A year is 365 days, and a part of a month never stretches a limit.
                expected["days"] = Decimal(int(value) * 365 // 12)
            elif unit:
                measure = {"US gal": "gallons"}.get(unit, unit)
                expected[measure] = Decimal(value)
        triggers = version_of(row_id).triggers.values_list("measure", "interval")
        assert dict(triggers) == expected, row_id
        assert len(expected) == (2 if row["second_unit"] else 1)


def test_months_as_days_worked_by_hand(loaded: int) -> None:
    """12 months → 365; 30 months → 912.5, cut to 912; 72 months → 2190 days."""
    for row_id, days in (("SI67", 365), ("SI60", 912), ("SI34", 2190)):
        assert version_of(row_id).triggers.get(measure=Trigger.Measure.DAYS).interval == days


def test_who_does_it(loaded: int) -> None:
    expected = {
        "SI26": Skill.TECHNICIAN,
        "SI44": Skill.OPERATOR,
        "SI36": Skill.ELECTRICIAN,
        "SI67": Skill.OUTSIDE,
        "SI72": Skill.OUTSIDE,
        "SI74": Skill.OUTSIDE,
    }
    assert {row_id: version_of(row_id).skill for row_id in expected} == expected


def test_every_service_has_the_checks_of_its_rows(loaded: int) -> None:
    listed = rows("checks.csv")
    assert {row["id"] for row in listed} == set(SERVICES)
    for row_id in SERVICES:
        mine = [row for row in listed if row["id"] == row_id]
        checks = list(version_of(row_id).checks.order_by("order"))
        assert [check.text for check in checks] == [row["text"] for row in mine]
        for check, row in zip(checks, mine, strict=True):
            assert (check.kind, check.unit, check.hint) == (row["kind"], row["unit"], row["hint"])
            assert check.choices == [word for word in row["choices"].split("|") if word]
            for limit, given in ((check.low, row["low"]), (check.high, row["high"])):
                assert limit == (Decimal(given) if given else None)
            assert check.needs_electrician == (row["electrician"] == "yes")
            assert bool(check.choices) == (check.kind == Check.Kind.CHOICE)


def test_every_task_of_an_electrician_has_a_check_only_they_may_enter(loaded: int) -> None:
    for version in ServiceVersion.objects.filter(skill=Skill.ELECTRICIAN):
        assert version.checks.filter(needs_electrician=True).exists(), version


def test_every_caution_says_where_it_is_written_and_has_a_drawing(loaded: int) -> None:
    cautions = Caution.objects.all()
    listed = {row["id"]: row for row in rows("safety_cautions.csv")}
    assert {caution.code for caution in cautions} == listed.keys() == HAZARD_ICONS.keys()
    for caution in cautions:
        assert caution.text == listed[caution.code]["caution_text"]
        assert caution.source == listed[caution.code]["source"]
        assert caution.hazard[0].isupper()
        assert caution.icon in icons.HAZARDS


def test_every_kind_has_a_drawing_and_a_place_along_the_rig(loaded: int) -> None:
    kinds = list(ComponentKind.objects.order_by("flow_order"))
    assert [kind.name for kind in kinds] == [row["name"] for row in rows("kinds.csv")]
    assert len({kind.flow_order for kind in kinds}) == len(kinds)
    for kind in kinds:
        assert kind.icon in icons.SHAPES


def test_the_round_is_what_the_calendar_asks_every_week_or_oftener(loaded: int) -> None:
    for item in RoundItem.objects.all():
        row = TASKS[item.code]
        assert (row["trigger"], row["unit"], row["second_unit"]) == ("calendar", "days", "")
        assert {"1": "day", "7": "week"}[row["value"]] == item.every
        assert (item.text, item.sign) == (row["task"], row["condition_trigger"])
        assert item.source == row["source"]


def test_loading_twice_adds_nothing(loaded: int, manager: Person, at: datetime) -> None:
    counted = (Service, ServiceVersion, Trigger, Check, Caution, RoundItem, ComponentKind)
    before = [model.objects.count() for model in counted]
    assert load_library(author=manager, at=at, zone=ZONE) == 0
    assert [model.objects.count() for model in counted] == before
