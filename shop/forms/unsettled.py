"""What a manager may put right about an entry that waits, and why it is set aside."""

from typing import Any

from django import forms
from django.db.models import Sum

from equipment.forms.fields import NEEDED
from equipment.forms.readings import STEP_WORDS
from equipment.models import Finding, Reading
from inventory.models import Balance, Location, Part
from inventory.quantities import to_units
from inventory.services import in_words
from shop.forms.taking import EXPIRED_HELP
from shop.models import SheetStep, StepEntry, Unsettled
from shop.services.arriving import not_issued, part_meant
from shop.services.arriving.reading import LONGEST_TEXT, clean

DECIMAL = {"inputmode": "decimal", "autocomplete": "off"}


class TypedField(forms.CharField):
    """A text that the entry's own service reads, as it reads a phone's."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("error_messages", {"required": NEEDED})
        super().__init__(max_length=LONGEST_TEXT, **kwargs)

    def to_python(self, value: Any) -> str:
        return clean(super().to_python(value) or "")


class PostForm(forms.Form):
    """The fields of an entry that may be put right, as they came. An entry without any has none."""

    def __init__(self, *args: Any, unsettled: Unsettled, **kwargs: Any) -> None:
        self.unsettled = unsettled
        said = unsettled.payload
        super().__init__(*args, **{"auto_id": "post-%s", **kwargs})
        build = getattr(self, f"_of_{unsettled.kind}", None)
        if build is not None:
            build(said)
        for name, field in self.fields.items():
            if field.initial is None:
                field.initial = said.get(name, "")

    def changes(self) -> dict[str, Any]:
        """What of the entry is now otherwise than it came. Only where the form is sound."""
        return {
            name: value
            for name, value in self.cleaned_data.items()
            if value != self.unsettled.payload.get(name, "")
        }

    def refuse(self, words: str, field: str) -> None:
        """Put what the domain refused beside the field that it is about."""
        self.add_error(field if field in self.fields else None, words)

    def _of_answer(self, said: dict[str, Any]) -> None:
        step = SheetStep.objects.filter(pk=said.get("step") or 0).first()
        if step is None:
            return
        if said.get("answer") == StepEntry.Answer.VALUE:
            # In the unit in which it was typed.
            typed_in = said.get("unit") or step.unit
            unit = f", {typed_in}" if typed_in else ""
            self.fields["value"] = TypedField(
                label=f"Value{unit}", widget=forms.TextInput(attrs=DECIMAL)
            )
            if step.section == SheetStep.Section.CHECK:
                self.fields["left_value"] = TypedField(
                    label=f"As left, if read again{unit}",
                    required=False,
                    widget=forms.TextInput(attrs=DECIMAL),
                )
            self.fields["remedy"] = forms.ChoiceField(
                label="If out of limit: what was done",
                required=False,
                choices=StepEntry.Remedy.choices,
            )
            self.fields["finding_text"] = TypedField(label="What was found", required=False)
        elif said.get("answer") == StepEntry.Answer.CHOICE:
            self.fields["choice"] = forms.ChoiceField(
                label="Answer", choices=[(each, each) for each in step.choices]
            )
        self.fields["note"] = TypedField(label="Note", required=False)

    def _of_used(self, said: dict[str, Any]) -> None:
        if self._is_open():
            part = part_meant(self.unsettled)
            unit = f", {_unit(part)}" if part else ""
            self.fields["used"] = TypedField(
                label=f"Used{unit}", widget=forms.TextInput(attrs=DECIMAL)
            )
        else:
            self._late_issue()

    def _of_add(self, said: dict[str, Any]) -> None:
        if self._is_open():
            self.fields["part"] = TypedField(label="Part")
            self.fields["quantity"] = TypedField(
                label="How much", widget=forms.TextInput(attrs=DECIMAL)
            )
            self.fields["place"] = TypedField(
                label="From bin or drawer",
                required=False,
                help_text="Empty: where enough of it lies.",
            )
            self.fields["expired_reason"] = TypedField(
                label="Why, if it has expired", required=False, help_text=EXPIRED_HELP
            )
        else:
            self._late_issue()

    def _of_reading(self, said: dict[str, Any]) -> None:
        number = {"widget": forms.TextInput(attrs=DECIMAL)}
        self.fields["value"] = TypedField(label="Shows", **number)
        self.fields["step"] = forms.ChoiceField(
            label="What happened to the counter",
            required=False,
            choices=list(STEP_WORDS.items()),
            initial=said.get("step") or Reading.Step.CONTINUED,
        )
        self.fields["before_reset"] = TypedField(
            label="Last value before that", required=False, **number
        )
        self.fields["face_start"] = TypedField(
            label="What the new face showed when fitted", required=False, **number
        )

    def _of_found(self, said: dict[str, Any]) -> None:
        self.fields["text"] = TypedField(
            label="What was found",
            help_text=f"At most {Finding._meta.get_field('text').max_length} letters.",
        )

    def _of_sign(self, said: dict[str, Any]) -> None:
        self.fields["labour_minutes"] = TypedField(
            label="Minutes of work",
            required=False,
            help_text="Empty: the times started and stopped on the sheet.",
            widget=forms.TextInput(attrs={"inputmode": "numeric"}),
        )
        self.fields["leave_undone"] = forms.BooleanField(
            label="Services with open checks come back",
            required=False,
            initial=bool(said.get("leave_undone")),
        )

    def _late_issue(self) -> None:
        """On a closed sheet: so much of the part leaves a place now, and is spend."""
        part = part_meant(self.unsettled)
        if part is None:
            return
        left = not_issued(self.unsettled, part)
        self.fields["issue"] = TypedField(
            label=f"Issue now, {_unit(part)}",
            widget=forms.TextInput(attrs=DECIMAL),
            initial=f"{to_units(left, part.steps_per_unit):f}" if left else "",
            help_text="What was used and has not left stock for this sheet.",
        )
        self.fields["place"] = forms.ChoiceField(
            label="From",
            choices=_lying(part),
            error_messages={"required": "None of it is in stock. Count or receive it first."},
        )

    def _is_open(self) -> bool:
        sheet = self.unsettled.sheet
        return sheet is not None and sheet.is_open


class SetAsideForm(forms.Form):
    """Why an entry is not posted."""

    note = forms.CharField(
        label="Why it is set aside",
        max_length=300,
        widget=forms.Textarea(attrs={"rows": 2}),
        error_messages={"required": "Say why it is set aside."},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"auto_id": "aside-%s", **kwargs})


def _unit(part: Part) -> str:
    return "pieces" if part.unit_name == "piece" else part.unit_name


def _lying(part: Part) -> list[tuple[str, str]]:
    """Where some of a part lies: bins and drawers, with how much."""
    rows = (
        Balance.objects.there()
        .filter(part=part, location__kind__in=(Location.Kind.BIN, Location.Kind.DRAWER))
        .values_list("location__code")
        .annotate(steps=Sum("quantity_steps"))
        .order_by("location__code")
    )
    return [(code, f"{code}, {in_words(part, steps)}") for code, steps in rows]
