"""What a drawer should hold, and what was moved into it."""

from datetime import date, timedelta
from typing import Any

from django import forms
from django.http import QueryDict

from inventory.forms.fields import DayField, QuantityField, SentForm, SureForm, part_field
from inventory.models import Location, Part
from inventory.services.naming import part_named, slips
from shop.services.topping_up import Pick

#: Until a number set by hand is looked at again. Common practice, no source.
REVIEW = timedelta(days=182)


class LeavingForm(forms.Form):
    """Which rigs a pick list is for."""

    before = DayField(label="Leaving before", required=False)

    def clean_before(self) -> date | None:
        day: date | None = self.cleaned_data["before"]
        if day is not None and not date(2000, 1, 1) <= day <= date(9000, 1, 1):
            raise forms.ValidationError("No rig leaves that year. Check the date.")
        return day


class MovedForm(SentForm):
    """What was moved, as the list had it: lines of part, place and steps.

    promised: of them, what the person ticked though sheets were promised it. sure: the answer to
    a question about the rest.
    """

    sure = forms.BooleanField(required=False)

    def __init__(self, data: QueryDict, **kwargs: Any) -> None:
        super().__init__(data, **kwargs)
        self.lines = data.getlist("line")
        self.promised = data.getlist("promised")
        self.picks: list[Pick] = []

    @property
    def free_picks(self) -> list[Pick]:
        """Those that nobody was told to be promised."""
        return self.picks[: len(self.lines)]

    @property
    def is_asking(self) -> bool:
        return bool(self.errors.get("sure"))

    def ask(self, questions: list[str]) -> None:
        """Refuse until the person says that it is meant."""
        if questions and not self.cleaned_data.get("sure"):
            for question in questions:
                self.add_error("sure", question)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        numbers = []
        for text in [*self.lines, *self.promised]:
            pieces = text.split(":")
            if len(pieces) != 3 or not all(p.isascii() and p.isdigit() for p in pieces):
                raise forms.ValidationError("The page came incomplete. Open the list again.")
            numbers.append(tuple(int(piece) for piece in pieces))
        if not numbers:
            raise forms.ValidationError("There is nothing to move.")
        most = 2**62
        if any(not 0 < number < most for line in numbers for number in line):
            raise forms.ValidationError("The page came incomplete. Open the list again.")
        parts = Part.objects.in_bulk([part for part, _, _ in numbers])
        bins = Location.objects.shop_bins().in_bulk([place for _, place, _ in numbers])
        for part, place, steps in numbers:
            if part not in parts or place not in bins:
                raise forms.ValidationError(
                    "A part or a bin of this list is gone. Open the list again."
                )
            self.picks.append(Pick(parts[part], bins[place], steps))
        return given


class TargetForm(SureForm):
    """What a drawer holds of a part, by hand."""

    part = part_field()
    quantity = QuantityField(
        label="Keep aboard", zero=True, help_text="In the part’s own unit or packs; 0 for none."
    )
    reason = forms.CharField(label="Why", max_length=500)
    review_on = DayField(label="Look at it again on")

    field_order = ("part", "quantity", "reason", "review_on", "sure")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.found: Part | None = None
        if self.is_bound:
            self.found = part_named(str(self.data.get("part", "")))
            if self.found is not None:
                field = self.fields["quantity"]
                assert isinstance(field, QuantityField)
                field.of(self.found)
        self.fields["review_on"].initial = self.now.date() + REVIEW

    def clean_part(self) -> Part:
        if self.found is None:
            raise forms.ValidationError(f"There is no part {self.cleaned_data['part']}.")
        return self.found

    def clean_quantity(self) -> int:
        steps: int = self.cleaned_data["quantity"]
        if steps >= 2**62:
            raise forms.ValidationError("No drawer holds so much.")
        return steps

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if self.found is not None and given.get("quantity"):
            self.ask(slips([(self.found, given["quantity"])]))
        return given

    def clean_review_on(self) -> date:
        day: date = self.cleaned_data["review_on"]
        if not self.now.date() < day <= self.now.date() + timedelta(days=3 * 366):
            raise forms.ValidationError("Give a day after today, within three years.")
        return day
