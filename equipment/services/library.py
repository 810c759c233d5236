"""The starting library: kinds of component, cautions, services and round checks of a new shop.

The files in `equipment/library/` name the source and the basis of every row. They are defaults:
the maker's instructions and local codes go first, and the shop's own history after that.
"""

import csv
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment import due as dates
from equipment import values
from equipment.asked import Asked, CheckAsked, TriggerAsked, spoken_name
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
from equipment.services.care import CheckPlan, TriggerPlan, create_service

FOLDER: Final = Path(__file__).resolve().parent.parent / "library"
ROUND_DAYS: Final = 7
HAZARD_ICONS: Final = {
    "SC01": "pressure", "SC02": "pressure", "SC03": "pressure", "SC04": "heat", "SC05": "start",
    "SC06": "injection", "SC07": "lungs", "SC08": "chemical", "SC09": "pressure", "SC10": "lungs",
    "SC11": "lungs", "SC12": "eye", "SC13": "chemical", "SC14": "heat", "SC15": "gas",
    "SC16": "electricity", "SC17": "electricity", "SC18": "fire", "SC19": "entanglement",
    "SC20": "pressure", "SC21": "chemical", "SC22": "heat", "SC23": "fire", "SC24": "crush",
    "SC25": "road", "SC26": "cold", "SC27": "fire", "SC28": "noise", "SC29": "warning",
    "SC30": "lungs",
}  # fmt: skip
_MEASURES: Final = {
    "hours": Trigger.Measure.HOURS,
    "strokes": Trigger.Measure.STROKES,
    "US gal": Trigger.Measure.GALLONS,
    "days": Trigger.Measure.DAYS,
    "months": Trigger.Measure.MONTHS,
}
_SKILLS: Final = {
    "operator": Skill.OPERATOR,
    "driver": Skill.OPERATOR,
    "technician": Skill.TECHNICIAN,
    "licensed electrician": Skill.ELECTRICIAN,
}
Row = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Task:
    """A row of the table with all that the other files say about it.

    further: rows of further_triggers.csv. includes: ids of the smaller tasks done within it.
    further_cautions: ids of cautions that its checks ask for beside those of its row.
    """

    row: Row
    name: Row
    checks: tuple[CheckPlan, ...]
    further: tuple[Row, ...]
    includes: tuple[str, ...]
    further_cautions: tuple[str, ...] = ()

    @property
    def caution_ids(self) -> tuple[str, ...]:
        """Ids of its cautions: those of its row, then those of further_cautions.csv."""
        return (*filter(None, self.row["caution_ids"].split(";")), *self.further_cautions)

    @property
    def is_of_the_round(self) -> bool:
        """Whether the operator's round asks for it: by the calendar alone, weekly or oftener."""
        return (
            self.row["trigger"] == "calendar"
            and not self.row["second_trigger"]
            and self.row["unit"] == "days"
            and int(self.row["value"]) <= ROUND_DAYS
        )

    @property
    def leans_on(self) -> tuple[str, ...]:
        """Ids of the tasks that this one speaks of: they are begun before it."""
        return (*(row["after"] for row in self.further if row["after"]), *self.includes)

    @property
    def skill(self) -> str:
        """Who does it, as services say it."""
        return _SKILLS.get(self.row["skill"], Skill.OUTSIDE)

    def intervals(self) -> list[tuple[str, Decimal]]:
        """(measure, interval) of the table's own triggers."""
        if self.row["trigger"] == "idle time":
            return [(Trigger.Measure.IDLE, Decimal(self.row["value"]))]
        given = (
            (self.row["value"], self.row["unit"]),
            (self.row["second_value"], self.row["second_unit"]),
        )
        return [(_MEASURES[unit], Decimal(value)) for value, unit in given if unit]


@transaction.atomic
def load_library(*, author: AbstractBaseUser, at: datetime, zone: ZoneInfo) -> int:
    """Give a new shop its kinds, cautions, services and round checks; return the services made.

    Does nothing where the shop has services already.
    """
    if Service.objects.exists():
        return 0
    kinds = {
        row["name"]: ComponentKind.objects.get_or_create(
            name=row["name"],
            defaults={
                "icon": row["icon"],
                "flow": row["flow"],
                "flow_order": int(row["flow_order"]),
            },
        )[0]
        for row in _rows("kinds.csv")
    }
    cautions = _load_cautions()
    seasons = {
        row["name"]: Season.objects.get_or_create(
            name=row["name"], defaults={"month": int(row["month"]), "day": int(row["day"])}
        )[0]
        for row in _rows("seasons.csv")
    }
    begun: dict[str, Service] = {}
    for code, task in _smaller_first(tasks()):
        row, kind = task.row, kinds[task.name["kind"]]
        if task.is_of_the_round:
            RoundItem.objects.create(
                code=code,
                kind=kind,
                side=task.name["side"],
                text=row["task"],
                sign=row["condition_trigger"],
                every=RoundItem.Every.DAY if row["value"] == "1" else RoundItem.Every.WEEK,
                source=row["source"],
            )
            continue
        begun[code] = create_service(
            kind=kind,
            side=task.name["side"],
            name=task.name["name"],
            library_code=code,
            instructions=row["task"],
            tolerance_percent=Decimal(row["tolerance_percent"]),
            is_hard_limit=row["hard_limit"] == "yes",
            labour_minutes=int(row["labour_minutes"]),
            skill=task.skill,
            is_rebuild=task.name["opens"] == "yes",
            condition_sign=row["condition_trigger"],
            source=row["source"],
            basis=Basis(row["basis"]),
            triggers=[
                *(TriggerPlan(measure, interval) for measure, interval in task.intervals()),
                *(_plan(further, begun, seasons) for further in task.further),
            ],
            includes=[begun[smaller] for smaller in task.includes],
            checks=task.checks,
            cautions=[cautions[code] for code in task.caution_ids],
            author=author,
            at=at,
            zone=zone,
        ).service
    return len(begun)


def current_version(*, kind: str, name: str, side: str = "") -> ServiceVersion:
    """The current version of a service by the words it goes by."""
    return ServiceVersion.objects.get(
        service__kind__name=kind, service__side=side, service__name=name, is_current=True
    )


@cache
def tasks() -> dict[str, Task]:
    """Every task of the table that has a name, by its id, in the order of the table."""
    names = {row["id"]: row for row in _rows("names.csv")}
    checks, further, includes = defaultdict(list), defaultdict(list), defaultdict(list)
    cautions = defaultdict(list)
    for row in _rows("checks.csv"):
        checks[row["id"]].append(_check(row))
    for row in _rows("further_triggers.csv"):
        further[row["id"]].append(row)
    for row in _rows("includes.csv"):
        includes[row["bigger"]].append(row["smaller"])
    for row in _rows("further_cautions.csv"):
        cautions[row["id"]].append(row["caution"])
    return {
        code: Task(
            row=row,
            name=names[code],
            checks=tuple(checks[code]),
            further=tuple(further[code]),
            includes=tuple(includes[code]),
            further_cautions=tuple(cautions[code]),
        )
        for row in _rows("service_intervals.csv")
        if (code := row["id"]) in names
    }


@cache
def seasons() -> dict[str, tuple[int, int]]:
    """(month, day) of each season of the library, which a shop sets to its own."""
    return {row["name"]: (int(row["month"]), int(row["day"])) for row in _rows("seasons.csv")}


@cache
def includes_why() -> dict[tuple[str, str], str]:
    """(bigger, smaller) → why the bigger one stands for both, with its basis."""
    return {
        (row["bigger"], row["smaller"]): f"{row['why']}; {Basis(row['basis']).label}"
        for row in _rows("includes.csv")
    }


def further_why(code: str) -> str:
    """Where the triggers beside the table's own come from, with their basis."""
    further = tasks()[code].further
    said = dict.fromkeys(row["source"] or row["why"] for row in further)
    bases = dict.fromkeys(Basis(row["basis"]).label for row in further)
    return f"{'; '.join(said)}. {'; '.join(bases).capitalize()}."


def asked_by_library(code: str) -> Asked | None:
    """What the starting library asks for under an id; None where it has no such service."""
    task = tasks().get(code)
    if task is None or task.is_of_the_round:
        return None
    row = task.row
    kind = task.name["kind"]
    hazards = {each["id"]: _hazard(each) for each in _rows("safety_cautions.csv")}
    return Asked(
        name=task.name["name"],
        kind=kind,
        side=task.name["side"],
        rule=dates.WHICHEVER_FIRST,
        triggers=tuple(
            sorted(
                (
                    *(TriggerAsked(measure, interval) for measure, interval in task.intervals()),
                    *(_trigger_asked(further, kind) for further in task.further),
                ),
                key=lambda each: dates.MEASURES.index(each.measure),
            )
        ),
        checks=tuple(_check_asked(each) for each in task.checks),
        tolerance_percent=Decimal(row["tolerance_percent"]),
        early_percent=Decimal(0),
        is_hard_limit=row["hard_limit"] == "yes",
        renews=Service.Renews.FLOATING.label,
        instructions=row["task"],
        condition_sign=row["condition_trigger"],
        labour_minutes=int(row["labour_minutes"]),
        skill=Skill(task.skill).label,
        is_rebuild=task.name["opens"] == "yes",
        source=row["source"],
        basis=Basis(row["basis"]).label,
        cautions=tuple(sorted(hazards[each] for each in task.caution_ids)),
        includes=tuple(sorted(tasks()[smaller].name["name"] for smaller in task.includes)),
    )


def _smaller_first(listed: Mapping[str, Task]) -> Iterator[tuple[str, Task]]:
    """Tasks in the order of the table, but after those that they speak of."""
    given: set[str] = set()

    def give(code: str) -> Iterator[tuple[str, Task]]:
        if code not in given:
            given.add(code)
            for other in listed[code].leans_on:
                yield from give(other)
            yield code, listed[code]

    for code in listed:
        yield from give(code)


def _rows(name: str) -> Iterator[dict[str, str]]:
    with (FOLDER / name).open(newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def _load_cautions() -> dict[str, Caution]:
    for row in _rows("safety_cautions.csv"):
        Caution.objects.get_or_create(
            code=row["id"],
            defaults={
                "hazard": _hazard(row),
                "icon": HAZARD_ICONS.get(row["id"], "warning"),
                "text": row["caution_text"],
                "source": row["source"],
                "basis": row["basis"],
            },
        )
    return {caution.code: caution for caution in Caution.objects.all()}


def _hazard(row: Row) -> str:
    return row["hazard"][:1].upper() + row["hazard"][1:]


def _plan(row: Row, begun: Mapping[str, Service], seasons: Mapping[str, Season]) -> TriggerPlan:
    return TriggerPlan(
        row["measure"],
        Decimal(row["interval"]),
        season=seasons[row["season"]] if row["season"] else None,
        after=begun[row["after"]] if row["after"] else None,
        watched=row["watched"],
        low=_number(row["low"]),
        high=_number(row["high"]),
    )


def _trigger_asked(row: Row, kind: str) -> TriggerAsked:
    month, day = seasons().get(row["season"], (0, 0))
    return TriggerAsked(
        row["measure"],
        Decimal(row["interval"]),
        season=row["season"],
        season_month=month,
        season_day=day,
        after=_name_of(row["after"], kind) if row["after"] else "",
        watched=row["watched"],
        low=_number(row["low"]),
        high=_number(row["high"]),
        unit=_units().get((kind, row["watched"]), ""),
    )


def _name_of(code: str, kind: str) -> str:
    name = tasks()[code].name
    return spoken_name(name["name"], name["kind"], name["side"], among=kind)


@cache
def _units() -> dict[tuple[str, str], str]:
    return {
        (task.name["kind"], check.text): check.unit
        for task in tasks().values()
        for check in task.checks
    }


def _number(text: str) -> Decimal | None:
    """A limit as the files write it: a number, or a cleanliness code."""
    return values.typed(text, values.ISO_4406 if "/" in text else "")


def _check(row: Row) -> CheckPlan:
    return CheckPlan(
        text=row["text"],
        hint=row["hint"],
        kind=row["kind"],
        choices=tuple(filter(None, row["choices"].split("|"))),
        unit=row["unit"],
        low=_number(row["low"]),
        high=_number(row["high"]),
        needs_electrician=row["electrician"] == "yes",
        opens=tuple(filter(None, row["opens"].split("|"))),
        is_run=row["runs"] == "yes",
    )


def _check_asked(plan: CheckPlan) -> CheckAsked:
    return CheckAsked(
        text=plan.text,
        kind=Check.Kind(plan.kind).label,
        hint=plan.hint,
        choices=plan.choices,
        unit=plan.unit,
        low=plan.low,
        high=plan.high,
        needs_electrician=plan.needs_electrician,
        opens=tuple(Check.Opens(one).label for one in plan.opens),
        is_run=plan.is_run,
    )
