"""Forms about components: a new one, an exchange, a service done elsewhere."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any

from django import forms
from django.db.models import QuerySet

from equipment import hoses
from equipment.forms.fields import (
    ClockField,
    DayField,
    KindField,
    NumberField,
    SentForm,
    SpokenForm,
    WhyField,
)
from equipment.models import Component, ComponentType, ServiceVersion, Side
from equipment.services.rigs import TAG_WORDS, is_tag


class TypeField(forms.ModelChoiceField):
    """A type of component, with its kind in front."""

    def __init__(self, **kwargs: Any) -> None:
        types = ComponentType.objects.select_related("kind")
        kwargs.setdefault("queryset", types.order_by("kind__flow_order", "name"))
        kwargs.setdefault("empty_label", "another, named below")
        super().__init__(**kwargs)

    def label_from_instance(self, obj: ComponentType) -> str:
        return f"{obj.kind}: {obj.name}"


class ComponentForm(SpokenForm):
    """A component that comes to the shop, new or used."""

    tag = forms.CharField(
        label="Our tag",
        max_length=20,
        help_text="What is stamped on the tag: GN-118.",
    )
    type = TypeField(label="Type", required=False)
    kind = KindField(
        label="Or a new type: its kind", required=False, empty_label="the type is in the list"
    )
    type_name = forms.CharField(label="What the new type is called", max_length=80, required=False)
    displacement_in3 = NumberField(
        label="A pump’s displacement per counted stroke, in³",
        zero=False,
        places=4,
        required=False,
        help_text="From strokes and this the gallons follow. Other kinds have none.",
    )
    serial = forms.CharField(label="Maker’s serial number", max_length=60, required=False)
    side = forms.ChoiceField(
        label="Side",
        choices=Side.choices,
        required=False,
        help_text="Once it has carried a material it keeps its side for ever.",
    )
    in_service_on = DayField(label="In service since")
    opening_hours = NumberField(label="Hours it had before it came", required=False)
    opening_strokes = NumberField(label="Strokes it had before it came", required=False)
    opening_gallons = NumberField(label="Gallons it had before it came", required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["in_service_on"].initial = self.today

    def clean_tag(self) -> str:
        tag: str = self.cleaned_data["tag"]
        if not is_tag(tag):
            raise forms.ValidationError(TAG_WORDS)
        if Component.objects.filter(tag__iexact=tag).exists():
            raise forms.ValidationError("Another component has this tag.")
        return tag

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        name = cleaned.get("type_name", "").strip()
        if cleaned.get("type") is None and "type" not in self.errors:
            if not name:
                self.add_error("type", "Choose a type, or name a new one below.")
            elif cleaned.get("kind") is None and "kind" not in self.errors:
                self.add_error("kind", "Choose the kind of the new type.")
            elif ComponentType.objects.filter(name=name).exists():
                self.add_error("type_name", "There is a type of that name: choose it above.")
        elif name:
            self.add_error("type_name", "Choose a type above or name a new one, not both.")
        day = cleaned.get("in_service_on")
        if day is not None and day > self.today:
            self.add_error("in_service_on", "That day has not come yet.")
        return cleaned


class LengthField(forms.CharField):
    """A length as people write it; cleans to what `read` makes of it, None where nothing is.

    read: as `equipment.hoses.inner_diameter_in`.
    """

    def __init__(self, *, read: Callable[[str], Decimal], **kwargs: Any) -> None:
        self.read = read
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off"}))
        super().__init__(max_length=24, required=False, **kwargs)

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            return self.read(text)
        except hoses.NotALength as refused:
            raise forms.ValidationError(str(refused)) from refused

    def prepare_value(self, value: Any) -> Any:
        return f"{value.normalize():f}" if isinstance(value, Decimal) else value


class HoseForm(SpokenForm):
    """How wide and how long a make of hose is; both empty: not known."""

    inner_diameter_in = LengthField(
        label="Inside diameter of one line, in",
        read=hoses.inner_diameter_in,
        help_text="3/8, 0.375 or 10 mm.",
    )
    length_ft = LengthField(
        label="Length, ft",
        read=hoses.length_ft,
        help_text="From coupling to coupling: 210 or 64 m.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        names = ("inner_diameter_in", "length_ft")
        empty = [name for name in names if cleaned.get(name) is None and name not in self.errors]
        if len(empty) == 1 and not self.errors:
            self.add_error(empty[0], "Give both, or neither.")
        return cleaned


class VersionField(forms.ModelChoiceField):
    """A service by its name."""

    def label_from_instance(self, obj: ServiceVersion) -> str:
        return obj.service.name


class RenewalForm(SentForm):
    """A service that was done without a sheet of ours."""

    version = VersionField(
        label="Service", queryset=ServiceVersion.objects.none(), empty_label="Choose a service"
    )
    day = DayField(label="Done on")
    time = ClockField(label="At about")
    reason = WhyField(label="By whom, and why without a sheet")

    def __init__(self, *args: Any, versions: QuerySet[ServiceVersion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["version"]
        assert isinstance(field, VersionField)
        field.queryset = versions


class UndoForm(SpokenForm):
    """Why something is undone."""

    reason = WhyField()
