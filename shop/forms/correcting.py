"""What a signed sheet should have said: a box beside each figure, empty where it is right."""

from decimal import Decimal
from typing import Any, Final

from django import forms

from equipment.forms.fields import NumberField, WhyField
from inventory.forms.fields import PlaceField, part_field
from inventory.models import Location, Part
from inventory.quantities import QuantityRefused
from inventory.services import in_words
from inventory.services.naming import part_named, quantity_of
from shop import unitwords, words
from shop.forms.after import MOST_MINUTES
from shop.forms.units import UnitsForm
from shop.models import ServiceSheet, SheetStep
from shop.services.answers import typed_value
from shop.services.corrections import (
    Right,
    RightCheck,
    RightPart,
    RightReading,
)
from shop.services.paper.steps import line_place
from shop.services.refusals import SheetRefused
from shop.services.sheet_parts import places_of
from shop.services.standing import Stands, check_said
from shop.spoken import own

#: The most steps of a part that the column of a correction holds.
MOST_STEPS = 10**10
#: What stands over a box in a line that names its reading, check or part.
SHORT: Final = {
    "reading": "It showed",
    "check": "It showed",
    "left": "As left",
    "work": "If out of limit: what has to be done",
    "part": "Used in all",
    "place": "From, or back to",
}


class CorrectionForm(UnitsForm):
    """One box for each figure; what is left empty stands."""

    new_part = part_field(label="Another part that was used", required=False)
    new_used = forms.CharField(label="How much of it was used", max_length=40, required=False)
    new_place = PlaceField(label="From", required=False)
    labour = NumberField(label="The work took, minutes", places=0, required=False)
    reason = WhyField(label="How it came to be wrong")
    signature = forms.CharField(
        label="Signed",
        max_length=60,
        error_messages={"required": "Write your name to sign."},
    )

    def __init__(self, *args: Any, sheet: ServiceSheet, stands: Stands, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.sheet, self.stands = sheet, stands
        places = Location.objects.in_use().filter(pk__in=[each.pk for each in places_of(sheet)])
        places = places.order_by("code")
        new_place = self.fields["new_place"]
        assert isinstance(new_place, forms.ModelChoiceField)
        new_place.queryset = places
        for entry, reading in stands.readings:
            if reading is not None:
                self.fields[f"reading-{entry.pk}"] = NumberField(
                    label=f"{words.counter_name(entry.counter)} showed", required=False
                )
        for step, _stands in stands.checks:
            self.fields[f"check-{step.pk}"] = _check_field(step, self.system)
            if step.kind == SheetStep.Kind.VALUE:
                self.fields[f"left-{step.pk}"] = _value_field(step, self.system, "as left")
                self.fields[f"work-{step.pk}"] = forms.CharField(
                    label=f"What has to be done about {step.title}", max_length=300, required=False
                )
        for line in stands.lines:
            self.fields[f"line-{line.pk}"] = forms.BooleanField(
                label=f"{line_place(line)}, {line.title}: was not done", required=False
            )
        for part, _steps, place in stands.parts:
            self.fields[f"part-{part.pk}"] = forms.CharField(
                label=f"Used of {part.name}", max_length=40, required=False
            )
            self.fields[f"place-{part.pk}"] = PlaceField(
                label=f"Where {part.name} lies",
                queryset=places,
                required=False,
                initial=place.pk if place else None,
                empty_label="Choose a place",
            )
        for name, field in self.fields.items():
            # Short over each box, since its line says what it is about; whole to a screen reader.
            kind, _, key = name.partition("-")
            if key and kind in SHORT:
                field.widget.attrs["aria-label"] = str(field.label)
                field.label = SHORT[kind]
        self._right: dict[str, list[Any]] = {"readings": [], "checks": [], "parts": []}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if (cleaned.get("labour") or 0) > MOST_MINUTES:
            self.add_error("labour", "That is more than a week. Give minutes.")
        for entry, _reading in self.stands.readings:
            value = cleaned.get(f"reading-{entry.pk}")
            if value is not None:
                self._right["readings"].append(RightReading(entry, value))
        for step, _stands in self.stands.checks:
            self._clean_check(step, cleaned)
        for part, _steps, _place in self.stands.parts:
            self._clean_part(part, f"part-{part.pk}", f"place-{part.pk}", cleaned)
        self._clean_new(cleaned)
        return cleaned

    def right(self) -> Right:
        """What the sheet should have said. Only where the form is sound."""
        minutes: Decimal | None = self.cleaned_data.get("labour")
        return Right(
            readings=tuple(self._right["readings"]),
            checks=tuple(self._right["checks"]),
            parts=tuple(self._right["parts"]),
            not_done=tuple(
                line for line in self.stands.lines if self.cleaned_data.get(f"line-{line.pk}")
            ),
            labour_minutes=None if minutes is None else int(minutes),
        )

    def refuse(self, where: str, said: str) -> None:
        """Put what the service refused beside its field."""
        new = self.cleaned_data.get("new_part_found")
        if new is not None and where == f"part-{new.pk}" and where not in self.fields:
            where = "new_used"
        self.add_error(where if where in self.fields else None, said)

    def _clean_check(self, step: SheetStep, cleaned: dict[str, Any]) -> None:
        if step.kind == SheetStep.Kind.CHOICE:
            if choice := cleaned.get(f"check-{step.pk}", ""):
                self._right["checks"].append(RightCheck(step, choice=choice))
            return
        found = self._typed(step, f"check-{step.pk}", cleaned)
        left = self._typed(step, f"left-{step.pk}", cleaned)
        if found is not None or left is not None:
            work = cleaned.get(f"work-{step.pk}", "")
            right = RightCheck(step, value=found, left_value=left, work=work)
            self._right["checks"].append(right)

    def _typed(self, step: SheetStep, field: str, cleaned: dict[str, Any]) -> Decimal | None:
        """A value of a check; None, where something else was typed, with words beside it."""
        try:
            return typed_value(step, cleaned.get(field, ""), step.in_units(self.system).unit)
        except SheetRefused as refused:
            self.add_error(field, str(refused))
        return None

    def _clean_part(self, part: Part, used: str, place: str, cleaned: dict[str, Any]) -> None:
        typed = cleaned.get(used, "")
        if not typed:
            return
        try:
            steps = quantity_of(part, typed)
        except QuantityRefused as refused:
            self.add_error(used, str(refused))
            return
        if steps >= MOST_STEPS:
            self.add_error(used, "That is more than any shop has.")
            return
        self._right["parts"].append(RightPart(part, steps, cleaned.get(place)))

    def _clean_new(self, cleaned: dict[str, Any]) -> None:
        named = cleaned.get("new_part", "")
        if not named:
            if cleaned.get("new_used"):
                self.add_error("new_part", "Give the number of the part.")
            return
        part = part_named(named)
        if part is None:
            self.add_error("new_part", "There is no part of that number.")
        elif part.pk in {each.pk for each, _steps, _place in self.stands.parts}:
            self.add_error("new_part", f"{part} is on the sheet: correct it in its own line.")
        elif not cleaned.get("new_used"):
            self.add_error("new_used", "Say how much of it.")
        else:
            cleaned["new_part_found"] = part
            self._clean_part(part, "new_used", "new_place", cleaned)

    # What the page shows, in the order of the sheet.

    def reading_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "name": words.counter_name(entry.counter),
                "signed": f"{words.exactly(entry.value)} {entry.counter.unit}",
                "stands": f"{words.exactly(reading.value)} {entry.counter.unit}" if reading else "",
                "field": self[f"reading-{entry.pk}"] if reading else None,
            }
            for entry, reading in self.stands.readings
        ]

    def check_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "name": step.title,
                "place": line_place(step.line) if step.line else "",
                "limit": unitwords.limits(step.in_units(self.system)),
                "stands": check_said(step, stands, self.system),
                "field": self[f"check-{step.pk}"],
                "left": self[f"left-{step.pk}"] if f"left-{step.pk}" in self.fields else None,
                "unit": own(step.in_units(self.system).unit),
                "work": self[f"work-{step.pk}"] if f"work-{step.pk}" in self.fields else None,
            }
            for step, stands in self.stands.checks
        ]

    def part_rows(self) -> list[dict[str, Any]]:
        return [
            {
                "name": f"{part.number} {part.name}",
                "stands": in_words(part, steps) if steps else "none",
                "field": self[f"part-{part.pk}"],
                "place": self[f"place-{part.pk}"],
            }
            for part, steps, _place in self.stands.parts
        ]

    def line_rows(self) -> list[Any]:
        return [self[f"line-{line.pk}"] for line in self.stands.lines]


def _check_field(step: SheetStep, system: str) -> forms.Field:
    if step.kind == SheetStep.Kind.CHOICE:
        return forms.ChoiceField(
            label=f"{step.title} showed",
            required=False,
            choices=[("", "as it stands"), *((each, each) for each in step.choices)],
        )
    return _value_field(step, system, "showed")


def _value_field(step: SheetStep, system: str, when: str) -> forms.Field:
    unit = own(step.in_units(system).unit)
    label = f"{step.title} {when}{f', {unit}' if unit else ''}"
    attrs = {"inputmode": "decimal", "autocomplete": "off"}
    return forms.CharField(
        label=label, max_length=40, required=False, widget=forms.TextInput(attrs=attrs)
    )
