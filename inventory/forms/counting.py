"""Forms of counts: begin one, enter what was seen of a part."""

from typing import Any

from django import forms

from inventory.forms.fields import PlaceField, SentForm
from inventory.models import Location, Part
from inventory.quantities import QuantityRefused, to_steps


class StartForm(SentForm):
    """Which place, and how."""

    location = PlaceField(
        label="Place",
        queryset=Location.objects.in_use().exclude(kind=Location.Kind.TRAY).order_by("code"),
    )
    kind = forms.ChoiceField(
        label="How",
        choices=[("cycle", "Count blind"), ("drawer", "Check against the list of a drawer")],
        initial="cycle",
    )


class EntryForm(SentForm):
    """What was seen of one part. A figure far above the books comes back once with a question."""

    number = forms.CharField(
        label="Part",
        max_length=60,
        widget=forms.TextInput(attrs={"list": "part-numbers", "autocomplete": "off"}),
    )
    quantity = forms.CharField(
        label="Counted",
        max_length=40,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    sure = forms.BooleanField(required=False, label="Yes, I counted that many")

    part: Part | None = None
    steps = 0

    @property
    def is_asking(self) -> bool:
        return bool(self.errors.get("sure")) or (self.is_bound and bool(self["sure"].data))

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"].strip()
        self.part = Part.objects.filter(number__iexact=number).first()
        if self.part is None:
            raise forms.ValidationError(f"There is no part {number}.")
        return number

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if self.part is not None and "quantity" in data:
            try:
                self.steps = to_steps(data["quantity"], steps_per_unit=self.part.steps_per_unit)
            except QuantityRefused as refused:
                self.add_error("quantity", str(refused))
        return data
