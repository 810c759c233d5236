"""What rows of an import name: rigs, kinds, parts. Each is looked up once a file."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time
from difflib import get_close_matches
from typing import Any, TypeVar

from django.utils import timezone

from equipment.models import ComponentKind, Rig
from inventory.models import Part
from shop.importing.columns import RowRefused, Run

Thing = TypeVar("Thing")


def once(run: Run, key: Any, find: Callable[[], Thing]) -> Thing:
    """Return what an earlier row found under this key, or find it."""
    if key not in run.known:
        run.known[key] = find()
    found: Thing = run.known[key]
    return found


def rig(run: Run, number: int, column: str) -> Rig:
    """Return the rig of a number. Raises RowRefused."""
    found = once(run, ("rig", number), lambda: Rig.objects.filter(number=number).first())
    if found is None:
        raise RowRefused(f"There is no rig {number}. Import the rigs first.", column)
    return found


def part(run: Run, number: str, column: str) -> Part:
    """Return the part of a number, whatever its capitals. Raises RowRefused."""
    found = once(run, ("part", number), lambda: _part(number))
    if found is None:
        raise RowRefused(f"There is no part {number}. Import the parts first.", column)
    return found


def kind_of_component(name: str, column: str) -> ComponentKind | None:
    """Return the kind of a name; None where it is a new one.

    Raises RowRefused where it is so like a known one that it must be a slip of the keys.
    """
    kinds = {kind.name.casefold(): kind for kind in ComponentKind.objects.all()}
    typed = " ".join(name.casefold().split())
    if typed in kinds:
        return kinds[typed]
    if close := get_close_matches(typed, kinds, n=1, cutoff=0.8):
        raise RowRefused(f"There is no kind “{name}”. Is it “{kinds[close[0]].name}”?", column)
    return None


def start_of(day: date, run: Run) -> datetime:
    """Return the first moment of a day in the shop. [instant]"""
    return moment(day, time(), run, "")


def moment(day: date, at: time, run: Run, column: str) -> datetime:
    """Return a time of a day in the shop as an instant. Raises RowRefused.

    Of an hour that the clocks go through twice it is the first.
    """
    instant = timezone.make_aware(datetime.combine(day, at), run.zone).astimezone(UTC)
    if instant.astimezone(run.zone).time() != at:
        if not column:  # a day that begins at one o'clock, where clocks go forward at midnight
            return instant
        raise RowRefused(
            f"{at:%H:%M} did not exist on {day.isoformat()}: the clocks went forward.", column
        )
    return instant


def not_yet(day: date, run: Run, column: str) -> date:
    """Return a day that has begun. Raises RowRefused for one to come."""
    if day > timezone.localdate(run.now, run.zone):
        raise RowRefused(f"{day.isoformat()} has not come yet.", column)
    return day


def _part(number: str) -> Part | None:
    exact = Part.objects.filter(number=number).first()
    return exact or Part.objects.filter(number__iexact=number).first()
