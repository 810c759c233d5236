"""A round sheet keyed in: a grid of faces and drums by days."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any, Final
from uuid import uuid5

from django import forms
from django.forms import BoundField
from django.utils import timezone

from equipment.counters import ReadingRefused, WentDown
from equipment.forms.drums import SIDES
from equipment.forms.fields import NumberField, SentForm
from equipment.forms.readings import STEP_WORDS
from equipment.models import Counter, Reading
from equipment.services import NewReading, PastReading
from equipment.services.drums import LevelRefused, LevelRose, NewLevel
from equipment.services.paper import PastDip

Step = Reading.Step
DAYS: Final = 7
NOT_YET: Final = "Nothing is kept yet: see what is marked in the grid."


@dataclass(slots=True)
class GridCell:
    """One box of the grid, and in it what is there already and what happened to the face."""

    value: BoundField
    step: BoundField | None = None
    known: str = ""
    asks: bool = False


@dataclass(slots=True)
class GridRow:
    """A line of the grid: a face, or something of a drum."""

    name: str
    unit: str
    cells: list[GridCell]


class PaperForm(SentForm):
    """What one rig's round sheet says of up to seven days, each figure of its day only.

    counters: (counter, place of the component it travels with or nothing).
    known: what was read already, in words, by counter and day.
    """

    def __init__(
        self,
        data: Any,
        *,
        now: datetime,
        first_day: date,
        counters: Sequence[tuple[Counter, str]],
        known: Mapping[tuple[int, date], str],
        **kwargs: Any,
    ) -> None:
        super().__init__(data, now=now, **kwargs)
        self.days = [first_day + timedelta(days=place) for place in range(DAYS)]
        self.counters = [counter for counter, _ in counters]
        self._asking: set[str] = set()
        self.rows: list[GridRow] = []
        for counter, place in counters:
            name = f"{place}, {counter.name}" if place else counter.name
            cells = []
            for day in self.days:
                box = self._box(face(counter, day), f"{name}, {day:%a} {day.day} {day:%b}")
                step = self._step(counter, day, name)
                cells.append(GridCell(box, step, known.get((counter.pk, day), "")))
            # "A strokes" needs no unit behind it.
            unit = "" if counter.unit in name.casefold().split() else counter.unit
            self.rows.append(GridRow(name, unit, cells))
        for side in SIDES:
            for what, name in (("left", f"{side} drum, left"), ("new", f"New {side} drum, size")):
                cells = [
                    GridCell(
                        self._box(drum(side, what, day), f"{name}, {day:%a} {day.day} {day:%b}", 2)
                    )
                    for day in self.days
                ]
                self.rows.append(GridRow(name, "gal", cells))

    def _box(self, name: str, label: str, places: int = 3) -> BoundField:
        field = NumberField(label=label, required=False, places=places)
        field.widget.attrs["aria-label"] = label
        self.fields[name] = field
        return self[name]

    def _step(self, counter: Counter, day: date, name: str) -> BoundField:
        """What happened to the face; a new one is entered where its first value is asked."""
        steps = [Step.RESET] if counter.is_resettable else []
        if counter.rollover is not None:
            steps.append(Step.ROLLOVER)
        choices = [("", "Correct the value"), *((step, STEP_WORDS[step]) for step in steps)]
        label = f"What happened to {name}, {day:%a} {day.day} {day:%b}"
        field = forms.ChoiceField(label=label, required=False, choices=choices)
        field.widget.attrs["aria-label"] = label
        self.fields[f"{face(counter, day)}-step"] = field
        return self[f"{face(counter, day)}-step"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for day in self.days:
            for name in self._names(day):
                if cleaned.get(name) is not None and day > self.today:
                    self.add_error(name, "That day has not come yet.")
            for side in SIDES:
                left, new = drum(side, "left", day), drum(side, "new", day)
                if cleaned.get(new) is not None and cleaned.get(left) is None:
                    if left not in self.errors:
                        self.add_error(left, "What is left in it?")
                elif cleaned.get(new) == 0:
                    self.add_error(new, "A new drum holds more.")
        if self.errors:
            self.add_error(None, NOT_YET)
        elif not self.readings() and not self.dips():
            self.add_error(None, "Type at least one figure of the sheet.")
        return cleaned

    def readings(self) -> list[PastReading]:
        """The faces read, in order of counter and day."""
        return [
            PastReading(
                new=NewReading(
                    counter,
                    self.cleaned_data[face(counter, day)],
                    step=self.cleaned_data.get(f"{face(counter, day)}-step") or Step.CONTINUED,
                ),
                at=_noon(day),
                request_id=uuid5(self.cleaned_data["request_id"], f"{counter.pk} {day}"),
                is_day_only=True,
            )
            for counter, day in self._read()
        ]

    def dips(self) -> list[PastDip]:
        """The drums dipped, a day each, in order of time."""
        return [
            PastDip(
                levels=self._levels(day),
                at=_noon(day),
                request_id=uuid5(self.cleaned_data["request_id"], str(day)),
            )
            for day in self._dipped()
        ]

    def refuse(self, errors: Mapping[int, ReadingRefused]) -> None:
        """Put what the service refused into its box; errors: by place of the reading."""
        read = list(self._read())
        for place, refused in errors.items():
            counter, day = read[place]
            name = face(counter, day)
            self.add_error(name, str(refused))
            if isinstance(refused, WentDown):
                self._asking.add(f"{name}-step")
        self.add_error(None, NOT_YET)

    def refuse_dips(self, errors: Mapping[tuple[int, str], LevelRefused]) -> None:
        """The same for the drums; errors: by place of the dip and side."""
        dipped = self._dipped()
        for (place, side), refused in errors.items():
            what = "new" if isinstance(refused, LevelRose) else "left"
            self.add_error(drum(side, what, dipped[place]), str(refused))
        self.add_error(None, NOT_YET)

    def grid(self) -> list[GridRow]:
        """The rows to draw, each box knowing whether it asks what happened to the face."""
        for row in self.rows:
            for cell in row.cells:
                step = cell.step
                cell.asks = step is not None and (
                    step.name in self._asking
                    or (self.is_bound and bool(step.data or self.errors.get(step.name)))
                )
        return self.rows

    def _read(self) -> Iterator[tuple[Counter, date]]:
        for counter in self.counters:
            for day in self.days:
                if self.cleaned_data.get(face(counter, day)) is not None:
                    yield counter, day

    def _dipped(self) -> list[date]:
        return [day for day in self.days if self._levels(day)]

    def _levels(self, day: date) -> list[NewLevel]:
        found = []
        for side in SIDES:
            left = self.cleaned_data.get(drum(side, "left", day))
            if left is not None:
                found.append(NewLevel(side, left, self.cleaned_data.get(drum(side, "new", day))))
        return found

    def _names(self, day: date) -> list[str]:
        drums = [drum(side, what, day) for side in SIDES for what in ("left", "new")]
        return [*(face(counter, day) for counter in self.counters), *drums]


def face(counter: Counter, day: date) -> str:
    """The name of the box of a face on a day."""
    return f"c{counter.pk}-{day}"


def drum(side: str, what: str, day: date) -> str:
    """The name of the box of a drum on a day; what: "left" or "new"."""
    return f"{side.lower()}_{what}-{day}"


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), timezone.get_current_timezone())
