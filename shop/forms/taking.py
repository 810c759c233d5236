"""A part taken for a sheet: typed or scanned on the sheet's page, or from the part's own page."""

from typing import Any

from django import forms
from django.utils.translation import gettext, gettext_lazy

from inventory.forms.fields import (
    PlaceField,
    QuantityField,
    SureForm,
    measure_of,
    part_field,
)
from inventory.forms.moving import PromiseHere, promise_question
from inventory.models import Balance, Location, Part, Reservation
from inventory.sentences import source_name
from inventory.services.naming import on_label, part_named
from shop.models import ServiceSheet
from shop.services.sheet_parts import SOURCE

EXPIRED_HELP = gettext_lazy("Kept with the movement. Empty: nothing expired is taken.")


class TakeForm(SureForm):
    """What both pages share: what is taken, and whether it was promised to somebody else."""

    expired_reason = forms.CharField(
        label=gettext_lazy("Why, if it has expired"),
        required=False,
        max_length=500,
        help_text=EXPIRED_HELP,
    )

    def __init__(self, *args: Any, is_manager: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not is_manager or not self.is_bound:
            del self.fields["expired_reason"]

    def ask_about_promises(self, *, part: Part, place: Location, sheet: ServiceSheet) -> None:
        """Ask when it was promised there to another sheet."""
        others = Reservation.objects.of_others(SOURCE, sheet.number).at(part, place)
        promises = [
            PromiseHere(
                location_id=row.location_id,
                source=_source(row.source_kind, row.source_number),
                quantity_steps=row.quantity_steps,
            )
            for row in others.order_by("source_kind", "source_number", "pk")
        ]
        there = Balance.objects.there().filter(part=part, location=place)
        here = sum(there.values_list("quantity_steps", flat=True))
        taken = self.cleaned_data["quantity"]
        self.ask(promise_question(part, place, here, taken, promises))


class AddPartForm(TakeForm):
    """On a sheet: which part, from which bin or drawer, how much."""

    part = part_field(help_text=gettext_lazy("Or scan its label or package."))
    place = forms.CharField(
        label=gettext_lazy("From bin or drawer"),
        max_length=40,
        widget=forms.TextInput(
            attrs={"list": "place-codes", "autocomplete": "off", "data-scans": "yes"}
        ),
    )
    quantity = QuantityField(label=gettext_lazy("How much"))
    field_order = ("part", "place", "quantity", "expired_reason", "sure")

    def __init__(self, *args: Any, sheet: ServiceSheet, drawer: str, **kwargs: Any) -> None:
        super().__init__(*args, auto_id="add-%s", **kwargs)
        self.sheet = sheet
        self.found: Part | None = None
        if drawer:
            self.fields["place"].help_text = gettext("This rig’s drawer is {drawer}.").format(
                drawer=drawer
            )
        if self.is_bound:
            self.found = part_named(str(self.data.get("part", "")))
        if self.found is not None:
            field = self.fields["quantity"]
            assert isinstance(field, QuantityField)
            field.of(self.found)

    def clean_part(self) -> Part:
        if self.found is None:
            raise forms.ValidationError(gettext("There is no part of that number."))
        return self.found

    def clean_place(self) -> Location:
        code = self.cleaned_data["place"].strip()
        place = Location.objects.filter(code__iexact=place_code(code)).first()
        if place is None:
            raise forms.ValidationError(gettext("There is no bin or drawer of that name."))
        return place

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if self.found and given.get("place") and given.get("quantity"):
            self.ask_about_promises(part=self.found, place=given["place"], sheet=self.sheet)
        return given


class TakePartForm(TakeForm):
    """On a part's page: for which sheet, from where, how much. The likeliest stands there."""

    sheet = forms.ModelChoiceField(
        label="For sheet",
        queryset=ServiceSheet.objects.none(),
        empty_label=None,
        widget=forms.RadioSelect,
        error_messages={"invalid_choice": "That sheet is no longer open."},
    )
    field_order = ("sheet", "quantity", "place", "expired_reason", "sure")

    def __init__(
        self,
        *args: Any,
        part: Part,
        sheets: list[ServiceSheet],
        balances: list[Balance],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.part = part
        held: dict[int, int] = {}
        for each in balances:
            held[each.location_id] = held.get(each.location_id, 0) + each.quantity_steps
        sheet = self.fields["sheet"]
        assert isinstance(sheet, forms.ModelChoiceField)
        sheet.queryset = ServiceSheet.objects.filter(pk__in=[each.pk for each in sheets])
        sheet.choices = [(each.pk, sheet_in_words(each)) for each in sheets]
        self.fields["quantity"] = QuantityField(label="How much", initial="1", **measure_of(part))
        self.fields["place"] = PlaceField(
            label="From",
            held=held,
            part=part,
            queryset=Location.objects.filter(pk__in=held).order_by("code"),
        )
        self.fields["place"].error_messages["invalid_choice"] = "None of it lies there."
        self.fields["place"].initial = balances[0].location_id if balances else None
        self.fields["sheet"].initial = sheets[0].pk if sheets else None
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("sheet") and given.get("place") and given.get("quantity"):
            self.ask_about_promises(part=self.part, place=given["place"], sheet=given["sheet"])
        return given


def _source(kind: str, number: int) -> str:
    """What something is promised to: most often another sheet."""
    if kind == SOURCE:
        return gettext("sheet {number}").format(number=f"{number:04d}")
    return source_name(kind, number)


def sheet_in_words(sheet: ServiceSheet) -> str:
    """A sheet as one chooses it: its number, what it is about, and whose it is."""
    whose = f", {sheet.technician.name}" if sheet.technician else ""
    return f"Sheet {sheet}: {sheet.subject}{whose}"


def place_code(text: str) -> str:
    """The code of a place as typed, or as the label on it says."""
    named = on_label(text)
    return named[1] if named and named[0] == "place" else text
