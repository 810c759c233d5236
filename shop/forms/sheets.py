"""Forms of the service sheet."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy

from equipment.forms.fields import SeveralField
from equipment.models import Due, Finding, Rig
from inventory.forms.fields import QuantityField, part_field
from inventory.services.naming import part_named, slips
from shop.models import Person, Role


class DraftForm(forms.Form):
    """What a new sheet holds: due services and found work, the day, who does it."""

    due = SeveralField(
        label="Services",
        queryset=Due.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "One of the services has changed. Look again."},
    )
    finding = SeveralField(
        label="Found work",
        queryset=Finding.objects.none(),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"invalid_choice": "One piece of found work is closed. Look again."},
    )
    planned_on = forms.DateField(
        label="Planned for", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    technician = forms.ModelChoiceField(
        label="Hand out to",
        queryset=Person.objects.none(),
        required=False,
        empty_label="nobody yet",
    )
    charged_rig = forms.ModelChoiceField(
        label="Charge the parts to",
        queryset=Rig.objects.none(),
        required=False,
        empty_label="shop stock",
    )
    note = forms.CharField(label="Note for the technician", max_length=300, required=False)
    sure = forms.BooleanField(required=False, label="Yes, draft it a second time")
    request_id = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, dues: Any, findings: Any, is_bench: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["due"].queryset = dues  # type: ignore[attr-defined]
        self.fields["finding"].queryset = findings  # type: ignore[attr-defined]
        self.fields["technician"].queryset = crew()  # type: ignore[attr-defined]
        if is_bench:
            self.fields["charged_rig"].queryset = Rig.objects.order_by(  # type: ignore[attr-defined]
                "number"
            )
        else:
            del self.fields["charged_rig"]

    @property
    def is_asking(self) -> bool:
        return bool(self.errors.get("sure")) or (self.is_bound and bool(self["sure"].data))


class HandOutForm(forms.Form):
    technician = forms.ModelChoiceField(
        label=gettext_lazy("Hand out to"),
        queryset=Person.objects.none(),
        empty_label=gettext_lazy("Choose a technician"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"].queryset = crew()  # type: ignore[attr-defined]


class VoidForm(forms.Form):
    reason = forms.CharField(
        label=gettext_lazy("Why is it void?"),
        max_length=200,
        error_messages={"required": gettext_lazy("Say why the sheet is void.")},
    )
    request_id = forms.UUIDField(widget=forms.HiddenInput)


class NeedForm(forms.Form):
    """A part that a service needs, and how much of it, in its unit or packs."""

    part = part_field(
        error_messages={
            "required": "Give the number of the part.",
            "max_length": "No part number is so long.",
        }
    )
    quantity = QuantityField(
        label="How much each time", error_messages={"required": "Say how much of it."}
    )
    sure = forms.BooleanField(required=False, label="Yes, that is right")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.found = part_named(str(self.data.get("part", ""))) if self.is_bound else None
        if self.found is not None:
            field = self.fields["quantity"]
            assert isinstance(field, QuantityField)
            field.of(self.found)

    @property
    def is_asking(self) -> bool:
        return bool(self.errors.get("sure")) or (self.is_bound and bool(self["sure"].data))

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("part") and self.found is None:
            self.add_error("part", "There is no part of that number.")
        elif self.found is not None and given.get("quantity") and not given.get("sure"):
            for question in slips([(self.found, given["quantity"])]):
                self.add_error("sure", question)
        return given


def crew() -> Any:
    """Who may be handed a sheet."""
    return Person.objects.filter(is_active=True, role__in=[Role.TECHNICIAN, Role.MANAGER]).order_by(
        "role", "name"
    )
