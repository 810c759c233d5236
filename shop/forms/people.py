"""Forms about the shop and the people in it."""

from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy

from shop.forms.front import PasswordTwice, ShopFields, SignInName
from shop.models import Language, Person, Role, Shop

ROLE_HELP = (
    "A manager may do everything. A technician reads counters, works on sheets and signs them. "
    "An owner reads, and sees what the rigs cost."
)


#: What is set as a whole number: label, what is counted, the most.
WHOLE_NUMBERS = {
    "warning_days": ("Days before a due date that count as “due soon”", "days", 365),
    "unread_days": ("Days after which a rig counts as not read", "days", 365),
    "off_ratio_percent": (
        "Percent between A and B above which a minute is off ratio",
        "percent",
        100,
    ),
    "drum_error_gallons": (
        "Gallons by which reading a drum may be wrong, up or down",
        "gallons",
        50,
    ),
    "off_ratio_strokes": (
        "Strokes in a minute below which its ratio is not judged",
        "strokes",
        1000,
    ),
}


class SettingsForm(ShopFields):
    """The shop, as it may be changed later."""

    class Meta(ShopFields.Meta):
        model = Shop
        fields = [*ShopFields.Meta.fields, *WHOLE_NUMBERS]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, (label, unit, most) in WHOLE_NUMBERS.items():
            self.fields[name] = forms.IntegerField(
                label=label,
                min_value=1,
                max_value=most,
                error_messages={
                    "required": f"Give a number of {unit}.",
                    "invalid": f"Give a whole number of {unit}.",
                    "min_value": "At least 1.",
                    "max_value": f"At most {most} {unit}.",
                },
            )


class PersonForm(forms.Form):
    """Who somebody is and what they may do."""

    name = forms.CharField(
        label="Name",
        max_length=Person._meta.get_field("name").max_length,
        help_text="As it stands on service sheets.",
        error_messages={"required": "Give a name."},
    )
    sign_in = SignInName()
    role = forms.ChoiceField(
        label="Role",
        choices=[("", "Choose"), *Role.choices],
        help_text=ROLE_HELP,
        error_messages={"required": "Choose a role."},
    )
    is_electrician = forms.BooleanField(
        label="Licensed electrician",
        required=False,
        help_text="May sign work that only a licensed electrician does.",
    )


class OwnForm(forms.Form):
    """How one is spoken to oneself."""

    language = forms.ChoiceField(
        label=gettext_lazy("Language"),
        choices=Language.choices,
        widget=forms.RadioSelect,
        help_text=gettext_lazy("Of service sheets, cautions and the pages on your phone."),
    )
    own_units = forms.ChoiceField(
        label=gettext_lazy("Units"),
        widget=forms.RadioSelect,
        required=False,
        help_text=gettext_lazy("Measured values are shown and typed in these."),
    )

    def __init__(self, *args: Any, shop: Shop, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        of_shop = gettext("As the shop counts: {units}").format(units=shop.get_units_display())
        self.fields["own_units"].choices = [("", of_shop), *Shop.Units.choices]  # type: ignore[attr-defined]


class NewPersonForm(PasswordTwice, PersonForm):
    """Somebody new, with a first password."""

    field_order = ["name", "sign_in", "role", "is_electrician", "password", "again"]
