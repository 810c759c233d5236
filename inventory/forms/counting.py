"""Forms of counts: begin one, enter what was seen of a part."""

from datetime import datetime
from typing import Any
from uuid import uuid4

from django import forms
from django.http import QueryDict

from inventory.forms.fields import PlaceField, SentForm, part_field
from inventory.models import Location, Part
from inventory.quantities import QuantityRefused
from inventory.services.naming import part_named, quantity_of


class StartForm(SentForm):
    """Which place, and how."""

    location = PlaceField(
        label="Place",
        queryset=Location.objects.to_put_into(),
    )
    kind = forms.ChoiceField(
        label="How",
        choices=[("cycle", "Count blind"), ("drawer", "Check against the list of a drawer")],
        initial="cycle",
    )


class RowForm(SentForm):
    """What a button of a count sends besides its name: its id, and when its page was drawn."""

    drawn_at = forms.CharField(
        widget=forms.HiddenInput,
        max_length=40,
        error_messages={"required": "The page came incomplete. Send it again."},
    )

    def clean_drawn_at(self) -> datetime:
        try:
            drawn_at = datetime.fromisoformat(self.cleaned_data["drawn_at"])
        except ValueError:
            drawn_at = None
        if drawn_at is None or drawn_at.tzinfo is None:
            raise forms.ValidationError("The page came incomplete. Send it again.")
        return drawn_at


class EntryForm(RowForm):
    """What was seen of one part. A figure far above the books comes back once with a question."""

    number = part_field(label="Part")
    quantity = forms.CharField(
        label="Counted",
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    sure = forms.BooleanField(required=False, label="Yes, I counted that many")

    part: Part | None = None
    next_part: Part | None = None
    steps = 0

    def begin_with(self, left: list[Part]) -> None:
        """Ask for the part that was chosen, or else for the first that nobody entered yet."""
        wanted = self.initial.get("number") or left[0].number
        self.initial["number"] = wanted
        found = [part for part in left if part.number == wanted]
        self.next_part = found[0] if found else None
        self.fields["quantity"].widget.attrs["autofocus"] = True

    def send_anew(self) -> None:
        """Give the entry an id of its own, so that sending it once more is another entry."""
        sent = QueryDict(mutable=True)
        sent.update(self.data)
        sent[self.add_prefix("request_id")] = str(uuid4())
        self.data = sent

    @property
    def is_asking(self) -> bool:
        return bool(self.errors.get("sure")) or (self.is_bound and bool(self["sure"].data))

    def clean_number(self) -> str:
        number: str = self.cleaned_data["number"].strip()
        self.part = part_named(number)
        if self.part is None:
            raise forms.ValidationError(f"There is no part {number}.")
        return number

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if self.part is not None and "quantity" in data:
            try:
                self.steps = quantity_of(self.part, data["quantity"])
            except QuantityRefused as refused:
                self.add_error("quantity", str(refused))
        return data
