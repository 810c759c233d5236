"""The starting library: kinds of component, cautions, services and round checks of a new shop.

The files in `equipment/library/` name the source and the basis of every row. They are defaults:
the maker's instructions and local codes go first, and the shop's own history after that.
"""

import csv
from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Final
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction

from equipment.models import (
    Basis,
    Caution,
    ComponentKind,
    RoundItem,
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
_USE_MEASURES: Final = {
    "hours": Trigger.Measure.HOURS,
    "strokes": Trigger.Measure.STROKES,
    "US gal": Trigger.Measure.GALLONS,
}
_SKILLS: Final = {
    "operator": Skill.OPERATOR,
    "driver": Skill.OPERATOR,
    "technician": Skill.TECHNICIAN,
    "licensed electrician": Skill.ELECTRICIAN,
}
# A year as days: 365 never stretches a limit of twelve months.
DAYS_A_YEAR: Final = 365
MONTHS_A_YEAR: Final = 12


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
    names = {row["id"]: row for row in _rows("names.csv")}
    checks = _checks()
    made = 0
    for row in _rows("service_intervals.csv"):
        name = names.get(row["id"])
        if name is None:
            continue
        kind = kinds[name["kind"]]
        if _belongs_to_the_round(row):
            RoundItem.objects.create(
                code=row["id"],
                kind=kind,
                side=name["side"],
                text=row["task"],
                sign=row["condition_trigger"],
                every=RoundItem.Every.DAY if row["value"] == "1" else RoundItem.Every.WEEK,
                source=row["source"],
            )
            continue
        create_service(
            kind=kind,
            side=name["side"],
            name=name["name"],
            instructions=row["task"],
            tolerance_percent=Decimal(row["tolerance_percent"]),
            is_hard_limit=row["hard_limit"] == "yes",
            labour_minutes=int(row["labour_minutes"]),
            skill=_SKILLS.get(row["skill"], Skill.OUTSIDE),
            is_rebuild=name["opens"] == "yes",
            condition_sign=row["condition_trigger"],
            source=row["source"],
            basis=Basis(row["basis"]),
            triggers=_triggers(row),
            checks=checks[row["id"]],
            cautions=[cautions[code] for code in row["caution_ids"].split(";") if code],
            author=author,
            at=at,
            zone=zone,
        )
        made += 1
    return made


def current_version(*, kind: str, name: str, side: str = "") -> ServiceVersion:
    """The current version of a service by the words it goes by."""
    return ServiceVersion.objects.get(
        service__kind__name=kind, service__side=side, service__name=name, is_current=True
    )


def _rows(name: str) -> Iterator[dict[str, str]]:
    with (FOLDER / name).open(newline="", encoding="utf-8") as file:
        yield from csv.DictReader(file)


def _load_cautions() -> dict[str, Caution]:
    for row in _rows("safety_cautions.csv"):
        Caution.objects.get_or_create(
            code=row["id"],
            defaults={
                "hazard": row["hazard"][:1].upper() + row["hazard"][1:],
                "icon": HAZARD_ICONS.get(row["id"], "warning"),
                "text": row["caution_text"],
                "source": row["source"],
                "basis": row["basis"],
            },
        )
    return {caution.code: caution for caution in Caution.objects.all()}


def _belongs_to_the_round(row: dict[str, str]) -> bool:
    return (
        row["trigger"] == "calendar"
        and not row["second_trigger"]
        and row["unit"] == "days"
        and int(row["value"]) <= ROUND_DAYS
    )


def _triggers(row: dict[str, str]) -> list[TriggerPlan]:
    found: list[TriggerPlan] = []
    for value, unit in ((row["value"], row["unit"]), (row["second_value"], row["second_unit"])):
        if unit == "days":
            found.append(TriggerPlan(Trigger.Measure.DAYS, Decimal(value)))
        elif unit == "months":
            days = int(value) * DAYS_A_YEAR // MONTHS_A_YEAR
            found.append(TriggerPlan(Trigger.Measure.DAYS, Decimal(days)))
        elif unit:
            found.append(TriggerPlan(_USE_MEASURES[unit], Decimal(value)))
    return found


def _checks() -> dict[str, list[CheckPlan]]:
    plans: dict[str, list[CheckPlan]] = defaultdict(list)
    for row in _rows("checks.csv"):
        plans[row["id"]].append(
            CheckPlan(
                text=row["text"],
                hint=row["hint"],
                kind=row["kind"],
                choices=tuple(filter(None, row["choices"].split("|"))),
                unit=row["unit"],
                low=Decimal(row["low"]) if row["low"] else None,
                high=Decimal(row["high"]) if row["high"] else None,
                needs_electrician=row["electrician"] == "yes",
            )
        )
    return plans
