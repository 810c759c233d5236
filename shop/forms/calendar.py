"""What a person wants in the calendar, and the key that makes its address."""

import secrets
from typing import Any

from django import forms
from django.core import signing

from equipment.forms.services import RigsField
from shop.models import CalendarFeed, Person
from shop.services.feeds import Choices

SALT = "shop.calendar"
#: A page that stood open longer than this makes no address. [s]
KEY_HOLDS = 24 * 60 * 60
PAGE_IS_OLD = "This page stood open too long, or came incomplete. Send it once more."


def fresh_key(person: Person) -> str:
    """A new random key, sealed so that only this person's next sending can make an address of it.

    It travels in the page because it is kept nowhere: sent twice, the page still makes one
    address, and shows it both times.
    """
    return signing.dumps([person.pk, secrets.token_urlsafe(32)], salt=SALT)


class KeyForm(forms.Form):
    """The key that the page carries."""

    key = forms.CharField(widget=forms.HiddenInput, error_messages={"required": PAGE_IS_OLD})

    def __init__(self, *args: Any, person: Person, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    def clean_key(self) -> str:
        try:
            owner, key = signing.loads(self.cleaned_data["key"], salt=SALT, max_age=KEY_HOLDS)
        except signing.BadSignature as bad:
            raise forms.ValidationError(PAGE_IS_OLD) from bad
        if owner != self.person.pk:
            raise forms.ValidationError(PAGE_IS_OLD)
        return str(key)


class ChoicesForm(forms.Form):
    """Which days come into the calendar."""

    services = forms.ChoiceField(
        label="Services that fall due",
        choices=CalendarFeed.Services.choices,
        help_text="“Those that I may do myself” leaves out work for an outside firm, and a "
        "licensed electrician’s unless you are one.",
    )
    has_jobs = forms.BooleanField(
        label="Jobs, and the days in the shop between them", required=False
    )
    sheets = forms.ChoiceField(label="Service sheets", choices=CalendarFeed.Sheets.choices)
    only_rigs = RigsField(label="Only these rigs", help_text="Their numbers: 4, 7. Empty: all.")

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        if (
            not self.errors
            and not data["has_jobs"]
            and data["services"] == data["sheets"] == "none"
        ):
            self.add_error("services", "Then the calendar stays empty: choose one thing at least.")
        return data

    @property
    def choices(self) -> Choices:
        """What was chosen, once it is valid."""
        data = self.cleaned_data
        return Choices(data["services"], data["has_jobs"], data["sheets"], data["only_rigs"])
