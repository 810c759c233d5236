"""Forms of the way in: signing in, and founding the shop."""

from collections.abc import Sequence
from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy

from shop.models import Person, Shop

#: The zones most shops will look for come first.
NEAR = {
    "US Eastern (New York)": "America/New_York",
    "US Central (Chicago)": "America/Chicago",
    "US Mountain (Denver)": "America/Denver",
    "US Mountain, no summer time (Phoenix)": "America/Phoenix",
    "US Pacific (Los Angeles)": "America/Los_Angeles",
    "US Alaska (Anchorage)": "America/Anchorage",
    "US Hawaii (Honolulu)": "Pacific/Honolulu",
    "Canada Atlantic (Halifax)": "America/Halifax",
    "UK and Ireland (London)": "Europe/London",
    "Central Europe (Berlin)": "Europe/Berlin",
    "Australia East (Sydney)": "Australia/Sydney",
    "New Zealand (Auckland)": "Pacific/Auckland",
}
REGIONS = ("Africa", "America", "Asia", "Atlantic", "Australia", "Europe", "Indian", "Pacific")


def zone_choices() -> list[tuple[str, Any]]:
    """Return the time zones to choose from, by region, the likely ones first."""
    known = available_timezones()
    choices: list[tuple[str, Any]] = [
        ("", "Choose"),
        ("Often chosen", [(zone, label) for label, zone in NEAR.items()]),
    ]
    for region in REGIONS:
        zones = sorted(zone for zone in known if zone.startswith(f"{region}/"))
        choices.append((region, [(zone, zone.replace("_", " ")) for zone in zones]))
    return choices


class SignInForm(AuthenticationForm):
    """Sign-in name, in whatever capitals, and password."""

    error_messages = {
        "invalid_login": gettext_lazy("That name and password do not belong together. Check both."),
        "inactive": gettext_lazy("That name and password do not belong together. Check both."),
    }

    def __init__(self, request: Any = None, *args: Any, **kwargs: Any) -> None:
        super().__init__(request, *args, **kwargs)
        name = self.fields["username"]
        name.label = gettext_lazy("Sign-in name")
        name.error_messages["required"] = gettext_lazy("Give your sign-in name.")
        name.widget.attrs |= {"autocomplete": "username", "spellcheck": "false"}
        self.fields["password"].error_messages["required"] = gettext_lazy("Give your password.")

    def clean_username(self) -> str:
        name = str(self.cleaned_data["username"]).strip().casefold()
        if len(name) > self.fields["username"].max_length:  # type: ignore[attr-defined]
            # Django only tells the browser; the record of failed tries would not hold the name.
            raise ValidationError(self.error_messages["invalid_login"], code="invalid_login")
        return name


class PasswordTwice(forms.Form):
    """A password, typed twice because nobody sees it."""

    password = forms.CharField(
        label="Password",
        strip=False,
        help_text="At least eight characters, not only digits, not one that many people use.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=True),
        error_messages={"required": "Give a password."},
    )
    again = forms.CharField(
        label="The same password again",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}, render_value=True),
        error_messages={"required": "Type the password a second time."},
    )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        password, again = data.get("password"), data.get("again")
        if password and again and password != again:
            self.add_error("again", "The two passwords differ.")
        if password:
            try:
                password_validation.validate_password(password)
            except ValidationError as refused:
                self.add_error("password", refused)
        return data


class SignInName(forms.CharField):
    """A sign-in name as it is kept: no spaces around, no capitals."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(
            label="Sign-in name",
            max_length=Person._meta.get_field("sign_in").max_length,
            help_text="Typed to sign in. Capitals make no difference.",
            widget=forms.TextInput(attrs={"autocapitalize": "none", "spellcheck": "false"}),
            error_messages={"required": "Give a sign-in name."},
            **kwargs,
        )

    def clean(self, value: Any) -> str:
        return str(super().clean(value)).casefold()


class ShopFields(forms.ModelForm):
    """What is asked about the shop on its first day, and may be changed later."""

    time_zone = forms.ChoiceField(label="Time zone", choices=zone_choices)

    class Meta:
        model = Shop
        fields: Sequence[str] = ["name", "time_zone", "currency", "units"]
        labels = {"name": "Name of the shop", "units": "Units"}
        help_texts = {"currency": "In front of every amount: $, £, €."}
        error_messages = {"name": {"required": "Give the shop a name."}}
        widgets = {"name": forms.TextInput(attrs={"autocomplete": "organization"})}


class WelcomeForm(PasswordTwice, ShopFields):
    """The first page of an empty installation."""

    manager_name = forms.CharField(
        label="Your name",
        max_length=60,
        help_text="Stands beside everything you enter.",
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
        error_messages={"required": "Give your name."},
    )
    sign_in = SignInName()

    field_order = [
        "name",
        "time_zone",
        "currency",
        "units",
        "manager_name",
        "sign_in",
        "password",
        "again",
    ]
