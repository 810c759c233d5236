"""Forms about components: a new one, an exchange, a service done elsewhere."""

import re
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict

from equipment.counters import ReadingRefused
from equipment.forms.fields import (
    ClockField,
    ComponentField,
    DayField,
    KindField,
    NumberField,
    SentForm,
    SpokenForm,
    WhenForm,
    WhyField,
)
from equipment.forms.readings import FaceForm
from equipment.models import Component, ComponentType, Counter, ServiceVersion, Side
from equipment.services import NewReading


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
        if not re.fullmatch(r"[^\s/?#%]+", tag) or tag.casefold() == "new":
            raise forms.ValidationError("Letters, digits and dashes, without a space: GN-118.")
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


class ExchangeForm(WhenForm):
    """What comes out of a position, what goes in, when, and what the counters showed then.

    seen: the component that the page showed in the position; another one there now is a surprise.
    """

    EMPTY = "nothing, it stays empty"
    may_be_day_only = False
    component_in = ComponentField(label="Goes in", queryset=Component.objects.none())
    reason = WhyField(label="Why")
    seen = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(
        self,
        data: Any,
        *,
        now: datetime,
        choices: QuerySet[Component],
        is_fitted: bool,
        seen: str,
        counters: Sequence[tuple[Counter, str]],
        **kwargs: Any,
    ) -> None:
        self.faces = [
            FaceForm(data, now=now, counter=counter, place=place) for counter, place in counters
        ]
        super().__init__(data, now=now, initial={"seen": seen}, **kwargs)
        field = self.fields["component_in"]
        assert isinstance(field, ComponentField)
        field.queryset = choices
        field.required = not is_fitted
        field.empty_label = self.EMPTY if is_fitted else "Choose a component"
        self.fields["time"].help_text = ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        if not all([face.is_valid() for face in self.faces]):  # noqa: C419 (each says its own)
            self.add_error(None, "Nothing is kept yet: see what is marked below.")
        return cleaned

    def look_again(self, seen: str) -> None:
        """What the page shows now is another component than was sent: seen from here on."""
        there = f"{seen} is fitted there now" if seen else "Nothing is fitted there now"
        self.add_error(None, f"{there}, not what stood here before. Send again if that is right.")
        sent = QueryDict(mutable=True)
        sent.update(self.data)
        sent["seen"] = seen
        self.data = sent

    def readings(self) -> list[NewReading]:
        return [reading for face in self.faces if (reading := face.reading())]

    def refuse(self, errors: dict[int, ReadingRefused]) -> None:
        for face in self.faces:
            if refusal := errors.get(face.counter.pk):
                face.refuse(refusal)
        self.add_error(None, "Nothing is kept yet: see what is marked below.")


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
