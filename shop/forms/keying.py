"""A paper sheet on one page: a row for each step, part and face, in the order of the paper."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any, Final

from django import forms
from django.utils import timezone

from equipment.forms.fields import ClockField, DayField, NumberField
from equipment.forms.readings import FaceForm
from inventory.forms.fields import part_field
from inventory.models import Location, Part
from inventory.quantities import QuantityRefused
from inventory.services import in_words
from inventory.services.naming import part_named, quantity_of
from shop import unitwords
from shop.as_left import SEEN_TO
from shop.forms.after import MOST_MINUTES
from shop.forms.sheets import crew
from shop.forms.units import UnitsForm
from shop.models import Person, ServiceSheet, SheetPart, SheetStep, StepEntry
from shop.services.answers import typed_value
from shop.services.keying import Keyed, KeyedFound, KeyedPart, KeyedStep
from shop.services.paper.counters import counters_of
from shop.services.refusals import SheetRefused
from shop.services.sheet_parts import in_tray, places_of
from shop.spoken import own

Answer, Remedy = StepEntry.Answer, StepEntry.Remedy
Section, Kind = SheetStep.Section, SheetStep.Kind
#: Lines for parts that nobody had planned.
EXTRA_LINES: Final = 3
#: Lines for found work.
FOUND_LINES: Final = 3
#: As long as work through the night may last; longer, it was meant the other way round.
LONGEST_NIGHT: Final = timedelta(hours=12)
NOT_BEFORE: Final = "It began before it was finished: on that day, or on the evening before."
NOT_BOTH: Final = "It is done or it does not apply, not both."
NOTHING_HOLDS: Final = "Only found work or a stop holds the rig: choose one, or untick this."
_SENT_AGAIN: Final = "Nothing is kept yet: see what is marked below."


def _text(label: str, *, most: int = 300, number: bool = False, **attrs: str) -> forms.CharField:
    given = {"autocomplete": "off", **({"inputmode": "decimal"} if number else {}), **attrs}
    return forms.CharField(
        label=label, max_length=most, required=False, widget=forms.TextInput(attrs=given)
    )


@dataclass(slots=True)
class StepRow:
    """One step as the page shows it: its fields, or what was entered already.

    number: beside it on the paper; None where there is none. does: what is done at a step of
    lockout or of the way back, as the paper says it.
    """

    step: SheetStep
    number: int | None
    does: str
    limit: str
    unit: str
    entered: bool
    main: Any = None
    left: Any = None
    na: Any = None
    note: Any = None
    by: Any = None
    remedy: Any = None
    work: Any = None
    grave: Any = None
    errors: tuple[str, ...] = ()
    asks: bool = False


class KeyedForm(UnitsForm):
    """Everything that the paper says. What is left empty was not done."""

    writer = forms.ModelChoiceField(
        label="Written by", queryset=Person.objects.none(), empty_label=None
    )
    day = DayField(label="Date")
    started = ClockField(
        label="Started",
        required=False,
        help_text="Later than finished: on the evening before. Empty: the paper does not say.",
    )
    finished = ClockField(
        label="Finished",
        error_messages={"required": "Say when it was finished, as the paper says."},
    )
    labour = NumberField(
        label="The work took, minutes",
        places=0,
        error_messages={"required": "Say how long the work took, in minutes."},
    )
    signature = forms.CharField(
        label="Signed as",
        max_length=60,
        error_messages={"required": "Write the name that is signed on the paper."},
    )
    theirs = forms.BooleanField(
        label="The electrician named by a check read the cautions and locked out as well",
        required=False,
    )
    leave_undone = forms.BooleanField(label="What is open comes back undone", required=False)

    def __init__(self, *args: Any, sheet: ServiceSheet, steps: list[SheetStep], **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.sheet, self.steps = sheet, steps
        people = crew()
        writer = self.fields["writer"]
        assert isinstance(writer, forms.ModelChoiceField)
        writer.queryset = people
        self.electricians = [each for each in people if each.is_electrician]
        # Looked at once: what is taken and then given back leaves its marks on the steps.
        self.entered = {step.pk for step in steps if step.entry is not None}
        for step in steps:
            if step.pk not in self.entered:
                self._add_step(step)
        self.parts = list(sheet.parts.select_related("part", "for_kit").order_by("pk"))
        self.tray = in_tray(sheet)
        for row in self.parts:
            self.fields[f"used-{row.pk}"] = _text(f"Used of {row.part.name}", most=40, number=True)
        places = [(each.code, each.code) for each in places_of(sheet)]
        for nth in range(EXTRA_LINES):
            self.fields[f"extra-{nth}"] = part_field(
                label=f"Part used besides, line {nth + 1}", required=False
            )
            self.fields[f"extra_used-{nth}"] = _text("How much", most=40, number=True)
            self.fields[f"extra_place-{nth}"] = forms.ChoiceField(
                label="From", required=False, choices=[("", "from"), *places]
            )
        for nth in range(FOUND_LINES):
            self.fields[f"found-{nth}"] = _text(f"Found work, line {nth + 1}")
            self.fields[f"found_grave-{nth}"] = forms.BooleanField(
                label=f"Line {nth + 1}: the rig must not leave", required=False
            )
        kept = {entry.counter_id: entry for entry in sheet.readings.filter(is_in_force=True)}
        data = args[0] if args else kwargs.get("data")
        self.faces = [
            FaceForm(data, now=self.now, counter=counter)
            for counter in counters_of(sheet)
            if counter.pk not in kept
        ]
        self.faces_kept = list(kept.values())
        for name, field in self.fields.items():
            # Shown bare, in the columns of a list; those of the head have their labels over them.
            if "-" in name:
                field.widget.attrs["aria-label"] = str(field.label)
        self._steps: list[KeyedStep] = []
        self._used: list[tuple[SheetPart, int]] = []
        self._extra: list[KeyedPart] = []
        self._found: list[KeyedFound] = []
        self.at: datetime = self.now
        self.started_at: datetime | None = None

    def _add_step(self, step: SheetStep) -> None:
        key, name = step.pk, f"{step.title} {step.side}".strip()
        if step.kind == Kind.TICK:
            self.fields[f"done-{key}"] = forms.BooleanField(label=f"{name}: done", required=False)
        elif step.kind == Kind.CHOICE:
            self.fields[f"choice-{key}"] = forms.ChoiceField(
                label=name,
                required=False,
                choices=[("", "open"), *((each, each) for each in step.choices)],
            )
        else:
            unit = step.in_units(self.system)
            limits = {
                f"data-{which}": f"{limit.normalize():f}"
                for which, limit in (("low", unit.low), ("high", unit.high))
                if limit is not None
            }
            self.fields[f"value-{key}"] = _text(name, most=40, number=True, **limits)
            if step.section == Section.CHECK:
                self.fields[f"left_value-{key}"] = _text(
                    f"{name}: as left", most=40, number=True, **limits
                )
        if step.needs_electrician:
            self.fields[f"by-{key}"] = forms.ChoiceField(
                label=f"{name}: done by the licensed electrician",
                required=False,
                choices=[("", "by whom")]
                + [(f"{each.pk}", each.name) for each in self.electricians],
            )
        if step.section in (Section.CAUTION, Section.ZERO):
            return
        if step.may_be_absent:
            self.fields[f"na-{key}"] = forms.BooleanField(
                label=f"{name}: does not apply", required=False
            )
        self.fields[f"note-{key}"] = _text(f"{name}: note")
        if step.kind == Kind.VALUE and step.section == Section.CHECK:
            self.fields[f"remedy-{key}"] = forms.ChoiceField(
                label=f"{name}: what was done about it",
                required=False,
                choices=[
                    ("", "say what was done"),
                    *((r.value, r.label) for r in Remedy if r.value),
                ],
            )
            self.fields[f"work-{key}"] = _text(f"{name}: what was found or done")
            self.fields[f"grave-{key}"] = forms.BooleanField(
                label=f"{name}: the rig must not leave", required=False
            )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if (cleaned.get("labour") or 0) > MOST_MINUTES:
            self.add_error("labour", "Say how long the work took, in minutes.")
        self._clean_signature(cleaned)
        self._clean_when(cleaned)
        for step in self.steps:
            if step.pk not in self.entered:
                self._clean_step(step, cleaned)
        for row in self.parts:
            self._clean_used(row, cleaned)
        for nth in range(EXTRA_LINES):
            self._clean_extra(nth, cleaned)
        for nth in range(FOUND_LINES):
            self._clean_found(nth, cleaned)
        sound = [face.is_valid() for face in self.faces]
        if not all(sound):
            self.add_error(None, _SENT_AGAIN)
        return cleaned

    def _clean_signature(self, cleaned: dict[str, Any]) -> None:
        """The name of one of the crew beside the work of another is what the form began with."""
        signed, writer = cleaned.get("signature", ""), cleaned.get("writer")
        others = {each.name.casefold() for each in crew() if each != writer}
        if writer and signed.casefold() in others - {writer.name.casefold()}:
            self.add_error(
                "signature",
                f"{writer.name} wrote it, and {signed} signed? Write the name that is signed on the"
                " paper, or say above who wrote it.",
            )

    def _clean_when(self, cleaned: dict[str, Any]) -> None:
        day = cleaned.get("day")
        if day is None:
            return
        if day > self.today:
            self.add_error("day", "That day has not come yet.")
            return
        finished, started = cleaned.get("finished"), cleaned.get("started")
        if finished is None:
            return
        zone = timezone.get_current_timezone()
        self.at = datetime.combine(day, finished, zone)
        if timedelta() < self.sheet.drafted_at - self.at < timedelta(minutes=1):
            self.at = self.sheet.drafted_at  # within one minute, of which paper has no seconds
        if started is None or self.at < self.sheet.drafted_at:
            return  # the latter is refused as a whole
        evening_before = timedelta(days=1 if started > finished else 0)
        self.started_at = datetime.combine(day - evening_before, started, zone)
        if not timedelta() < self.at - self.started_at <= LONGEST_NIGHT:
            self.add_error("started", NOT_BEFORE)

    def _clean_step(self, step: SheetStep, cleaned: dict[str, Any]) -> None:
        key = step.pk
        note = cleaned.get(f"note-{key}", "")
        answer, value, choice = self._answer(step, cleaned)
        left_value = self._typed(step, "left_value", cleaned)
        if left_value is not None and not cleaned.get(f"value-{key}"):
            self.add_error(f"value-{key}", "Enter the value as found as well.")
            return
        if cleaned.get(f"na-{key}"):
            if answer:
                self.add_error(f"na-{key}", NOT_BOTH)
                return
            if not note.strip():
                self.add_error(f"note-{key}", "Say why it does not apply.")
                return
            answer = Answer.NOT_APPLICABLE
        if cleaned.get(f"grave-{key}") and cleaned.get(f"remedy-{key}") not in SEEN_TO:
            self.add_error(f"grave-{key}", NOTHING_HOLDS)
            return
        if not answer:
            return
        by = None
        if step.needs_electrician:
            by = next((e for e in self.electricians if f"{e.pk}" == cleaned.get(f"by-{key}")), None)
        self._steps.append(
            KeyedStep(
                step=step,
                answer=answer,
                value=value,
                left_value=left_value,
                choice=choice,
                note=note,
                remedy=cleaned.get(f"remedy-{key}", ""),
                finding_text=cleaned.get(f"work-{key}", ""),
                is_grave=bool(cleaned.get(f"grave-{key}")),
                by=by,
            )
        )

    def _answer(self, step: SheetStep, cleaned: dict[str, Any]) -> tuple[str, Any, str]:
        key = step.pk
        if step.kind == Kind.TICK:
            return (Answer.DONE if cleaned.get(f"done-{key}") else ""), None, ""
        if step.kind == Kind.CHOICE:
            choice = cleaned.get(f"choice-{key}", "")
            return (Answer.CHOICE if choice else ""), None, choice
        value = self._typed(step, "value", cleaned)
        return ("" if value is None else Answer.VALUE), value, ""

    def _typed(self, step: SheetStep, field: str, cleaned: dict[str, Any]) -> Decimal | None:
        """A value as found ("value") or as left ("left_value"); None, where something else was
        typed, with words beside it."""
        typed = cleaned.get(f"{field}-{step.pk}", "")
        if not typed:
            return None
        try:
            return typed_value(step, typed, step.in_units(self.system).unit, field=field)
        except SheetRefused as refused:
            self.add_error(f"{field}-{step.pk}", str(refused))
        return None

    def _clean_used(self, row: SheetPart, cleaned: dict[str, Any]) -> None:
        typed = cleaned.get(f"used-{row.pk}", "")
        if not typed:
            return
        steps = self._quantity(row.part, typed, f"used-{row.pk}")
        if steps is not None and steps != row.used_steps:
            self._used.append((row, steps))

    def _clean_extra(self, nth: int, cleaned: dict[str, Any]) -> None:
        where = f"extra-{nth}"
        named, typed = cleaned.get(where, ""), cleaned.get(f"extra_used-{nth}", "")
        if not named:
            if typed:
                self.add_error(where, "Give the number of the part.")
            return
        part = part_named(named)
        if part is None:
            self.add_error(where, "There is no part of that number.")
            return
        if not typed:
            self.add_error(f"extra_used-{nth}", "Say how much of it.")
            return
        place = Location.objects.filter(code=cleaned.get(f"extra_place-{nth}", "")).first()
        if place is None:
            self.add_error(f"extra_place-{nth}", "Say which bin or drawer it came from.")
            return
        steps = self._quantity(part, typed, f"extra_used-{nth}")
        if steps is not None:
            self._extra.append(KeyedPart(part, place, steps, where))

    def _clean_found(self, nth: int, cleaned: dict[str, Any]) -> None:
        text, is_grave = cleaned.get(f"found-{nth}", ""), bool(cleaned.get(f"found_grave-{nth}"))
        if text:
            self._found.append(KeyedFound(text, is_grave))
        elif is_grave and f"found-{nth}" not in self.errors:
            self.add_error(f"found-{nth}", "Say what was found.")

    def _quantity(self, part: Part, typed: str, name: str) -> int | None:
        try:
            return quantity_of(part, typed)
        except QuantityRefused as refused:
            self.add_error(name, str(refused))
            return None

    def keyed(self) -> Keyed:
        """What the paper says. Only where the form is sound."""
        data = self.cleaned_data
        return Keyed(
            writer=data["writer"],
            at=self.at,
            started_at=self.started_at,
            signature=data["signature"],
            labour_minutes=int(data["labour"]),
            leave_undone=data["leave_undone"],
            theirs_too=data["theirs"],
            steps=tuple(self._steps),
            used=tuple(self._used),
            parts=tuple(self._extra),
            found=tuple(self._found),
            readings=tuple(new for face in self.faces if (new := face.reading()) is not None),
        )

    def refuse(self, errors: dict[str, str], readings: dict[int, Any]) -> None:
        """Put what the services refused beside its field."""
        for where, said in errors.items():
            name = self._field_of(where)
            self.add_error(name, said)
        for face in self.faces:
            if refusal := readings.get(face.counter.pk):
                face.refuse(refusal)
        if not self.non_field_errors():
            self.add_error(None, _SENT_AGAIN)

    def _field_of(self, where: str) -> str | None:
        if where == "at":
            return "finished"
        kind, _, key = where.partition("-")
        if kind == "step":
            names = (f"done-{key}", f"choice-{key}", f"value-{key}")
            return next((name for name in names if name in self.fields), None)
        return where if where in self.fields else None

    # What the page shows.

    def step_rows(self, steps: Iterable[SheetStep], numbers: Mapping[int, int]) -> list[StepRow]:
        """The rows of some of its steps. numbers: by key, those that stand on the paper."""
        rows = []
        for step in steps:
            unit = step.in_units(self.system)
            limit = "" if step.section == Section.ZERO else unitwords.limits(unit)
            row = StepRow(
                step,
                numbers.get(step.pk),
                step.text if step.section in (Section.LOCKOUT, Section.RETURN) else "",
                limit,
                own(unit.unit),
                entered=step.pk in self.entered,
            )
            names = {
                "main": ("done", "choice", "value"),
                "left": ("left_value",),
                "na": ("na",),
                "note": ("note",),
                "by": ("by",),
                "remedy": ("remedy",),
                "work": ("work",),
                "grave": ("grave",),
            }
            errors: list[str] = []
            for attribute, prefixes in names.items():
                for prefix in prefixes:
                    if (name := f"{prefix}-{step.pk}") in self.fields:
                        setattr(row, attribute, self[name])
                        errors += [str(error) for error in self[name].errors]
            row.errors = tuple(errors)
            if errors:
                row.main.field.widget.attrs["aria-describedby"] = f"row-{step.pk}_error"
            row.asks = self._is_outside(step) or bool(row.grave and row.grave.value())
            rows.append(row)
        return rows

    def _is_outside(self, step: SheetStep) -> bool:
        if not self.is_bound or step.section != Section.CHECK or step.kind != Kind.VALUE:
            return False

        def is_outside(field: str) -> bool:
            try:
                typed = str(self.data.get(f"{field}-{step.pk}", ""))
                value = typed_value(step, typed, step.in_units(self.system).unit)
            except SheetRefused:
                return False
            return value is not None and step.is_outside(value)

        return is_outside("value") or is_outside("left_value")

    def part_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "part": row.part,
                "planned": in_words(row.part, row.planned_steps) if row.planned_steps else "",
                "taken": in_words(row.part, self.tray[row.part_id])
                if self.tray.get(row.part_id)
                else "",
                "field": self[f"used-{row.pk}"],
            }
            for row in self.parts
        ]

    def found_rows(self) -> list[tuple[Any, Any]]:
        return [(self[f"found-{nth}"], self[f"found_grave-{nth}"]) for nth in range(FOUND_LINES)]

    def extra_rows(self) -> list[tuple[Any, Any, Any]]:
        return [
            (self[f"extra-{nth}"], self[f"extra_used-{nth}"], self[f"extra_place-{nth}"])
            for nth in range(EXTRA_LINES)
        ]
