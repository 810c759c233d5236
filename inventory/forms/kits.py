"""Kits found robbed, and what does instead of a line of a kit."""

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from inventory.forms.fields import MomentForm, PlaceField, QuantityField, measure_of
from inventory.forms.parts import BaseKitLines, KitLineForm
from inventory.models import Balance, KitLine, Location, Part, RobbedKit


class RobForm(MomentForm):
    """Where a kit lies that lacks pieces, and which."""

    reason = forms.CharField(
        label="How it was found",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Such as: bag open in the drawer, two seals gone.",
    )

    def __init__(
        self,
        *args: Any,
        kit: Part,
        lines: Sequence[KitLine],
        balances: Sequence[Balance],
        **kw: Any,
    ) -> None:
        super().__init__(*args, **kw)
        self.parts = {f"missing-{line.part.pk}": line.part for line in lines}
        held: dict[int, int] = {}
        for each in balances:
            held[each.location_id] = held.get(each.location_id, 0) + each.quantity_steps
        self.fields["location"] = PlaceField(
            label="Where it lies",
            held=held,
            part=kit,
            queryset=Location.objects.filter(pk__in=held).order_by("code"),
        )
        for line in lines:
            self.fields[f"missing-{line.part.pk}"] = QuantityField(
                label=f"Missing of {line.part}",
                required=False,
                zero=True,
                **measure_of(line.part),
            )
        self.order_fields(["location", *self.parts, "at", "reason"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not any(self.errors.get(name) for name in self.parts) and not self.missing():
            self.add_error(next(iter(self.parts)), "Say what is missing, of one part or more.")
        return cleaned

    def missing(self) -> dict[Part, int]:
        """By part, what is missing, > 0. [steps]"""
        said = {part: self.cleaned_data.get(name) for name, part in self.parts.items()}
        return {part: steps for part, steps in said.items() if steps}


class RobbedForm(MomentForm):
    """Make a robbed kit whole, or lay what is left of it on a shelf."""

    WHOLE, APART = "whole", "apart"
    what = forms.ChoiceField(
        label="What to do",
        choices=[
            (WHOLE, "Make whole: take what is missing from the place"),
            (APART, "Take apart: lay what is left into the place"),
        ],
        widget=forms.RadioSelect,
    )
    location = PlaceField(label="Place")
    reason = forms.CharField(label="Note", max_length=500, required=False)
    field_order = ("what", "location", "at", "reason")

    def __init__(self, *args: Any, robbed: RobbedKit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = self.fields["location"]
        assert isinstance(place, PlaceField)
        place.queryset = Location.objects.to_put_into()


class AlternateForm(KitLineForm):
    """So much of a part that does instead of a line; an empty one counts for nothing."""

    line = forms.ChoiceField(label="Instead of", required=False)
    rank = forms.IntegerField(
        label="Rank",
        required=False,
        min_value=1,
        max_value=99,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    field_order = ("line", "number", "quantity", "rank", "remove")

    def __init__(self, *args: Any, lines: Mapping[str, Part], **kwargs: Any) -> None:
        """lines: the kit's own parts, by number."""
        super().__init__(*args, **kwargs)
        line = self.fields["line"]
        assert isinstance(line, forms.ChoiceField)
        line.choices = [
            ("", "Choose a line"),
            *((number, str(part)) for number, part in lines.items()),
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if self.part is not None and not cleaned.get("line") and "line" not in self.errors:
            self.add_error("line", "Which line?")
        return cleaned


class BaseAlternates(BaseKitLines):
    """All alternates of a kit. For one line, a part is named once, and is not the line's own."""

    def clean(self) -> None:
        seen: set[tuple[str, str]] = set()
        for form in self.forms:
            if form.part is None or not form.cleaned_data.get("line"):
                continue
            line = form.cleaned_data["line"]
            if form.part.number == line:
                form.add_error("number", "This is the line’s own part.")
            elif (line, form.part.number) in seen:
                form.add_error("number", f"{form.part.number} does instead of {line} already.")
            seen.add((line, form.part.number))


Alternates = forms.formset_factory(
    AlternateForm, formset=BaseAlternates, extra=0, max_num=200, absolute_max=200
)
