"""What a service asks for, in words, and what two differ in."""

from dataclasses import replace
from decimal import Decimal
from typing import Any

import pytest

from equipment.asked import (
    Asked,
    CheckAsked,
    TriggerAsked,
    check_words,
    compare,
    day_of_year,
    differences,
    early_words,
    falls_due_lines,
    spoken_name,
    tolerance_words,
    trigger_words,
)

BASE = Asked(
    name="packing",
    kind="pump",
    side="A",
    triggers=(
        TriggerAsked("strokes", Decimal(10_000)),
        TriggerAsked("days", Decimal(365)),
    ),
    checks=(
        CheckAsked("Rod smooth", "tick when done"),
        CheckAsked("Drift", "measured value", unit="psi", high=Decimal(50)),
    ),
    rule="first",
    tolerance_percent=Decimal(0),
    early_percent=Decimal(0),
    is_hard_limit=False,
    renews="from the day it was done",
    instructions="",
    condition_sign="",
    labour_minutes=0,
    skill="technician",
    is_rebuild=False,
    source="",
    basis="this shop's own",
)


def trigger(measure: str, interval: int, **more: Any) -> TriggerAsked:
    return TriggerAsked(measure, Decimal(interval), **more)


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (trigger("hours", 250), "every 250 hours"),
        (trigger("days", 1), "every 1 day"),
        (trigger("months", 12), "every 12 months"),
        (
            trigger("hours", 250, first_at=Decimal(50)),
            "first at 50 hours of life, then every 250 hours",
        ),
        (
            trigger("season", 30, season="first frost", season_month=10, season_day=15),
            "before first frost, 15 Oct; done within 30 days before it, it counts",
        ),
        (
            trigger("season", 1, season="leap day", season_month=2, season_day=29),
            "before leap day, 29 Feb; done within 1 day before it, it counts",
        ),
        (trigger("idle", 28), "after 28 days without use"),
        (trigger("after", 1, after="side seals"), "1 day after “side seals”"),
        (
            trigger("job", 2),
            "before the rig leaves for a job; done within 2 days before, it counts",
        ),
        (
            trigger("value", 14, watched="Drift", high=Decimal("50.5"), unit="psi"),
            "when “Drift” is over 50.5 psi, or 14 days before it will be",
        ),
        (
            trigger("value", 14, watched="Tread", low=Decimal(2)),
            "when “Tread” is below 2, or 14 days before it will be",
        ),
        (
            trigger("value", 14, watched="Off", low=Decimal(-5), high=Decimal(5), unit="°F"),
            "when “Off” is outside −5 to 5 °F, or 14 days before it will be",
        ),
    ],
)
def test_a_trigger_in_words(asked: TriggerAsked, words: str) -> None:
    assert trigger_words(asked) == words


def test_several_by_their_rule() -> None:
    assert falls_due_lines(BASE) == ["every 10,000 strokes", "or every 365 days"]
    both = replace(BASE, rule="all")
    assert falls_due_lines(both) == ["every 10,000 strokes", "and every 365 days"]
    assert falls_due_lines(replace(BASE, triggers=())) == ["never by itself"]
    by_sign = replace(BASE, triggers=(), condition_sign="drips")
    assert falls_due_lines(by_sign) == ["when: drips"]


def test_tolerances_in_words() -> None:
    assert tolerance_words(BASE) == "none"
    assert tolerance_words(replace(BASE, tolerance_percent=Decimal("12.50"))) == "12.5 %"
    assert tolerance_words(replace(BASE, is_hard_limit=True)) == "none, set by law"
    assert early_words(BASE) == "not before it is due"
    assert early_words(replace(BASE, early_percent=Decimal(20))) == "20 % of the interval"


def test_checks_in_words() -> None:
    choice = CheckAsked("Rod", "choose one", choices=("good", "replaced"), hint="look twice")
    assert check_words(choice) == "choose one: good, replaced; look twice"
    earth = CheckAsked("Earth", "measured value", unit="MΩ", low=Decimal(1), needs_electrician=True)
    assert check_words(earth) == "measured value, at least 1 MΩ, by a licensed electrician"


def test_a_service_is_named_with_its_kind_only_among_others() -> None:
    assert spoken_name("packing", "pump", "A", among="pump") == "packing, side A"
    assert spoken_name("packing", "pump", "A", among="gun") == "packing (pump A)"
    assert spoken_name("full rebuild", "gun", "", among="gun") == "full rebuild"


def test_no_day_of_the_year() -> None:
    with pytest.raises(ValueError, match="day"):
        day_of_year(4, 31)


def test_two_that_are_the_same_differ_in_nothing() -> None:
    assert differences(BASE, BASE) == []
    assert all(row.is_same for row in compare(BASE, BASE))


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"tolerance_percent": Decimal(10)}, ["Tolerance: none → 10 %"]),
        ({"is_hard_limit": True}, ["Tolerance: none → none, set by law"]),
        ({"early_percent": Decimal(5)}, [
            "May be done early by: not before it is due → 5 % of the interval"]),
        ({"rule": "all"}, ["Of several: whichever falls first → only once all of them have"]),
        ({"skill": "operator"}, ["Done by: technician → operator"]),
        ({"only_rigs": ("04", "07")}, ["In: every rig → only rig 04, 07"]),
        ({"includes": ("stall test",)}, ["Includes “stall test”: no → yes"]),
        ({"cautions": ("Shock",)}, ["Caution “Shock”: no → yes"]),
        ({"is_rebuild": True}, ["Renews what wears inside: no → yes"]),
        ({"labour_minutes": 30}, ["Takes: nothing → 30 min"]),
        ({"triggers": (trigger("strokes", 8_000), trigger("days", 365))}, [
            "By strokes: every 10,000 strokes → every 8,000 strokes"]),
        ({"triggers": (trigger("days", 365), trigger("idle", 28))}, [
            "By strokes: every 10,000 strokes → not counted",
            "By days without use: not counted → after 28 days without use"]),
        ({"checks": BASE.checks[::-1]}, [
            "Order of the checks: Rod smooth; Drift → Drift; Rod smooth"]),
        ({"checks": BASE.checks[:1]}, [
            "Check “Drift”: measured value, at most 50 psi → not asked"]),
        ({"checks": (BASE.checks[0], replace(BASE.checks[1], high=Decimal(40)))}, [
            "Check “Drift”: measured value, at most 50 psi → measured value, at most 40 psi"]),
    ],
)  # fmt: skip
def test_what_two_differ_in(changed: dict[str, Any], said: list[str]) -> None:
    other = replace(BASE, **changed)
    assert [row.sentence for row in differences(BASE, other)] == said
    back = {row.label: (row.right, row.left) for row in differences(other, BASE)}
    assert back == {row.label: (row.left, row.right) for row in differences(BASE, other)}


def test_a_check_asked_twice_is_told_apart() -> None:
    twice = replace(BASE, checks=(*BASE.checks, BASE.checks[0]))
    assert [row.label for row in differences(BASE, twice)] == [
        "Check “Rod smooth” (2)",
        "Order of the checks",
    ]
