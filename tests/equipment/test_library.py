"""The starting library: every row of the reference table became a service or a check of the round.

What is expected is read from the table itself (`equipment/library/service_intervals.csv`, whose
rows name their sources), with the rules of `equipment/library/README.md` written out anew here.
"""

import csv
from datetime import datetime
from decimal import Decimal
from functools import partial
from hashlib import sha256
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from equipment.asked import differences
from equipment.models import (
    Basis,
    Caution,
    Check,
    ComponentKind,
    RoundItem,
    Season,
    Service,
    ServiceVersion,
    Skill,
    Trigger,
)
from equipment.services.asking import asked_of, value_units, versions_to_read
from equipment.services.library import (
    FOLDER,
    HAZARD_ICONS,
    asked_by_library,
    current_version,
    load_library,
)
from shop.drawing import icons
from shop.models import Person
from tests.copies import once

pytestmark = pytest.mark.django_db

ZONE = ZoneInfo("America/Chicago")
ROUND = {
    "SI01", "SI04", "SI05", "SI07", "SI15", "SI17", "SI19", "SI20", "SI21", "SI27", "SI28", "SI40",
    "SI43", "SI50", "SI53", "SI54", "SI66", "SI69", "SI73",
}  # fmt: skip


#: SHA-256 of the reference tables as they were collected: the library holds them letter for letter.
AS_COLLECTED = {
    "service_intervals.csv": "9109ce20e38f12001942d07bc98e4b66ebc3309d8682cd0b510de17e595915ec",
    "safety_cautions.csv": "4a405c85a4ffc6c7c44c24197f31a4361a339470c10ebc2d95424aa1a379a966",
}


def rows(name: str) -> list[dict[str, str]]:
    with Path(FOLDER, name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def limit_of(text: str) -> Decimal | None:
    """A limit of a row: a number, or a code of two digits each, kept as one number."""
    return Decimal(text.replace("/", "")) if text else None


TASKS = {row["id"]: row for row in rows("service_intervals.csv")}
NAMES = {row["id"]: row for row in rows("names.csv")}
SERVICES = sorted(TASKS.keys() - ROUND)


@pytest.fixture
def loaded(manager: Person, at: datetime) -> int:
    return once(partial(load_library, at=at, zone=ZONE), key=("library", at), author=manager)


def version_of(row_id: str) -> ServiceVersion:
    name = NAMES[row_id]
    return current_version(kind=name["kind"], name=name["name"], side=name["side"])


@pytest.mark.parametrize("name", AS_COLLECTED)
def test_the_tables_are_the_reference_letter_for_letter(name: str) -> None:
    assert sha256(Path(FOLDER, name).read_bytes()).hexdigest() == AS_COLLECTED[name]


def test_every_row_is_a_service_or_a_check_of_the_round(loaded: int) -> None:
    assert len(TASKS) == 75
    assert loaded == len(SERVICES) == 75 - len(ROUND)
    assert Service.objects.count() == ServiceVersion.objects.count() == loaded
    assert set(RoundItem.objects.values_list("code", flat=True)) == ROUND
    assert NAMES.keys() == TASKS.keys()


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
        further = {each["caution"] for each in rows("further_cautions.csv") if each["id"] == row_id}
        assert codes == further | {code for code in row["caution_ids"].split(";") if code}, row_id


def intervals_of(row: dict[str, str]) -> dict[str, Decimal]:
    """The table's own triggers: months stay months, and time without use is counted in days."""
    if row["trigger"] == "idle time":
        return {"idle": Decimal(row["value"])}
    pairs = ((row["value"], row["unit"]), (row["second_value"], row["second_unit"]))
    return {{"US gal": "gallons"}.get(unit, unit): Decimal(value) for value, unit in pairs if unit}


def test_services_fall_due_as_their_rows_say(loaded: int) -> None:
    for row_id in SERVICES:
        expected = intervals_of(TASKS[row_id])
        own = version_of(row_id).triggers.filter(measure__in=expected)
        assert dict(own.values_list("measure", "interval")) == expected, row_id
        assert version_of(row_id).rule == "first"
        assert len(expected) == (2 if TASKS[row_id]["second_unit"] else 1)


def test_months_are_months_and_a_long_stop_is_time_without_use(loaded: int) -> None:
    for row_id, months in (("SI67", 12), ("SI60", 30), ("SI34", 72)):
        trigger = version_of(row_id).triggers.get()
        assert (trigger.measure, trigger.interval) == (Trigger.Measure.MONTHS, months)
    trigger = version_of("SI75").triggers.get()
    assert (trigger.measure, trigger.interval) == (Trigger.Measure.IDLE, 28)


def test_further_triggers_are_those_of_their_file_and_say_their_basis(loaded: int) -> None:
    listed = rows("further_triggers.csv")
    for row_id in SERVICES:
        mine = [row for row in listed if row["id"] == row_id]
        expected = {
            (
                row["measure"],
                Decimal(row["interval"]),
                row["season"] or None,
                NAMES[row["after"]]["name"] if row["after"] else None,
                row["watched"],
                limit_of(row["low"]),
                limit_of(row["high"]),
            )
            for row in mine
        }
        found = (
            version_of(row_id)
            .triggers.exclude(measure__in=intervals_of(TASKS[row_id]))
            .values_list(
                "measure", "interval", "season__name", "after__name", "watched", "low", "high"
            )
        )
        assert set(found) == expected, row_id
        assert len(found) == len(mine)
    for row in listed:
        assert row["basis"] == Basis.COMMON_PRACTICE
        assert row["source"] or row["why"]


def test_a_value_that_is_watched_is_measured_on_that_kind_with_that_limit(loaded: int) -> None:
    """The limits stand in the rows: 2 % (SI08), 140 °F (SI35), 10 psid (SI47), 10 °C (SI52).

    SI30 says where its own stands: HT23, 20/18/15 (hydraulic_cleanliness_targets.csv).
    """
    watching = Trigger.objects.filter(measure=Trigger.Measure.VALUE)
    limits = {
        trigger.version.service.library_code: (trigger.low, trigger.high) for trigger in watching
    }
    ten_degrees = Decimal(10) * 9 / 5 + 32
    assert limits == {
        "SI08": (None, 2),
        "SI31": (None, 201815),
        "SI35": (None, 140),
        "SI47": (None, 10),
        "SI52": (None, ten_degrees),
        "SI62": (30, None),
    }
    for trigger in watching:
        measured = Check.objects.filter(
            text=trigger.watched,
            kind=Check.Kind.VALUE,
            version__service__kind=trigger.version.service.kind,
        )
        assert measured.exists(), trigger
        for check in measured:
            assert trigger.low in (None, check.low), trigger
            assert trigger.high in (None, check.high), trigger


def test_a_bigger_service_stands_for_the_smaller_ones_of_its_own_component(loaded: int) -> None:
    listed = rows("includes.csv")
    for row_id in SERVICES:
        version = version_of(row_id)
        smaller = {row["smaller"] for row in listed if row["bigger"] == row_id}
        assert set(version.includes.values_list("library_code", flat=True)) == smaller, row_id
        for other in version.includes.all():
            assert other.kind == version.service.kind
            assert other.side in ("", version.service.side)
    for row in listed:
        assert row["basis"] == Basis.COMMON_PRACTICE
        assert row["why"]


def test_services_know_the_row_they_came_from(loaded: int) -> None:
    for row_id in SERVICES:
        assert version_of(row_id).service.library_code == row_id


def test_a_season_has_a_day_to_begin_with(loaded: int) -> None:
    assert [(each.name, each.month, each.day) for each in Season.objects.all()] == [
        (row["name"], int(row["month"]), int(row["day"])) for row in rows("seasons.csv")
    ]
    assert all(row["basis"] == Basis.COMMON_PRACTICE for row in rows("seasons.csv"))


def test_what_was_loaded_does_not_differ_from_the_library(loaded: int) -> None:
    units = value_units(ComponentKind.objects.values_list("pk", flat=True))
    seen = set()
    for version in versions_to_read():
        code = version.service.library_code
        default = asked_by_library(code)
        assert default is not None
        assert differences(asked_of(version, units=units), default) == [], code
        seen.add(code)
    assert seen == set(SERVICES)
    assert asked_by_library("SI01") is None  # a check of the round
    assert asked_by_library("") is None


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
                assert limit == limit_of(given)
            assert check.needs_electrician == (row["electrician"] == "yes")
            assert check.opens == [word for word in row["opens"].split("|") if word]
            assert check.is_run == (row["runs"] == "yes")
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
    counted = (
        Service, ServiceVersion, Trigger, Check, Caution, RoundItem, ComponentKind, Season,
    )  # fmt: skip
    before = [model.objects.count() for model in counted]
    assert load_library(author=manager, at=at, zone=ZONE) == 0
    assert [model.objects.count() for model in counted] == before
