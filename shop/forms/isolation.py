"""What a manager says of an isolation point."""

from typing import Any

from django import forms

from equipment.forms.fields import SeveralField
from equipment.models import ComponentKind
from shop.models import IsolationPoint
from shop.services.isolating import PointFields


def _length(name: str) -> int:
    return int(getattr(IsolationPoint._meta.get_field(name), "max_length", 0))


class PointForm(forms.Form):
    """One source of energy of a rig."""

    name = forms.CharField(label="What it is called at the rig", max_length=_length("name"))
    side = forms.ChoiceField(
        label="Side", choices=[("", "neither"), ("A", "A side"), ("B", "B side")], required=False
    )
    energy = forms.ChoiceField(label="Kind of energy", choices=IsolationPoint.Energy.choices)
    kinds = SeveralField(
        label="What it isolates",
        queryset=ComponentKind.objects.order_by("flow_order", "pk"),
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    place = forms.CharField(label="Where it is", max_length=_length("place"), required=False)
    isolate = forms.CharField(
        label="How it is isolated and locked",
        max_length=_length("isolate"),
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    release = forms.CharField(
        label="How what is stored is let go",
        max_length=_length("release"),
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    verify_by = forms.ChoiceField(
        label="How zero is verified", choices=IsolationPoint.Proof.choices
    )
    verify = forms.CharField(label="Which gauge, or what is seen", max_length=_length("verify"))
    unit = forms.CharField(label="Unit of the gauge", max_length=_length("unit"), required=False)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        is_gauge = data.get("verify_by") == IsolationPoint.Proof.GAUGE
        if is_gauge and not data.get("unit") and "unit" not in self.errors:
            self.add_error("unit", "Say the unit that the gauge shows.")
        if not is_gauge and data.get("unit"):
            self.add_error("unit", "Only a gauge has a unit.")
        return data

    def fields_said(self) -> PointFields:
        data = self.cleaned_data
        kinds = sorted(data["kinds"], key=lambda kind: (kind.flow_order, kind.pk))
        return PointFields(**{**data, "kinds": tuple(kinds)})


def told(point: IsolationPoint) -> dict[str, Any]:
    """A point as its form shows it."""
    names = ("name", "side", "energy", "place", "isolate", "release", "verify_by", "verify", "unit")
    return {name: getattr(point, name) for name in names} | {"kinds": list(point.kinds.all())}
