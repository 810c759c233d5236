"""The form that puts a service off."""

import re
from dataclasses import astuple
from datetime import date
from typing import Any, Final

from django import forms
from django.http import QueryDict

from equipment.forms.fields import DayField, SentForm, WhyField
from equipment.services import Seen

_SEEN: Final = re.compile(r"(\d{1,18})\.(\d{1,18})\.(\d{1,18})")


class SeenField(forms.CharField):
    """What the page was drawn from, carried in it; cleans to `Seen`."""

    widget = forms.HiddenInput

    def __init__(self) -> None:
        incomplete = "The page came incomplete. Send it again."
        super().__init__(error_messages={"required": incomplete})
        self.incomplete = incomplete

    def prepare_value(self, value: Any) -> Any:
        return ".".join(map(str, astuple(value))) if isinstance(value, Seen) else value

    def clean(self, value: Any) -> Seen:
        found = _SEEN.fullmatch(super().clean(value))
        if found is None:
            raise forms.ValidationError(self.incomplete)
        return Seen(*map(int, found.groups()))


class PostponeForm(SentForm):
    """Until when a service is put off, and why."""

    until = DayField(label="Put off to")
    reason = WhyField(help_text="What it waits for: “the seal comes on Thursday”.")
    seen = SeenField()
    #: The day that was asked about because it is far ahead; the same sent again is the answer.
    sure = forms.CharField(widget=forms.HiddenInput, required=False, max_length=10)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "seen" in self.errors:
            # It has no place on the page where its error could stand.
            self.add_error(None, self.errors.pop("seen").as_data())
        return cleaned

    @property
    def has_seen(self) -> bool:
        """Whether the page said what it was drawn from."""
        return "seen" in self.cleaned_data

    @property
    def is_sure(self) -> bool:
        return bool(self.cleaned_data["sure"] == self.cleaned_data["until"].isoformat())

    def look_again(self, seen: Seen) -> None:
        """Draw the page from what stands now; everything typed stays."""
        self._carry("seen", self.fields["seen"].prepare_value(seen))

    def ask_about(self, until: date) -> None:
        """Let the same day, sent again, be meant."""
        self._carry("sure", until.isoformat())

    def _carry(self, name: str, value: str) -> None:
        sent = QueryDict(mutable=True)
        sent.update(self.data)
        sent[self.add_prefix(name)] = value
        self.data = sent
