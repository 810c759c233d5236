"""Orders: how many packs, by which day, why the rest will not come, and what a delivery brought."""

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from django import forms
from django.utils import timezone

from inventory.forms.fields import (
    AskingForm,
    DayField,
    MadeOnField,
    MoneyField,
    PlaceField,
    QuantityField,
    SureForm,
    made_on,
    measure_of,
    refuse_age,
)
from inventory.models import (
    Location,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Supplier,
    SupplierPart,
)
from inventory.pack_prices import MOST_PACKS
from inventory.quantities import format_money, format_quantity
from inventory.services import in_words
from inventory.services.buying import to_come_steps
from inventory.services.buying_receipts import Arrival, delivery_questions

#: What the packs of an order are called in a quantity: "2 packs".
PACK = "pack"


def _packs_field(*, least: int, below: str, **kwargs: Any) -> forms.IntegerField:
    """How many packs, from `least` on; below: what is said to fewer."""
    return forms.IntegerField(
        label="Packs",
        min_value=least,
        max_value=MOST_PACKS,
        error_messages={
            "required": "This is needed.",
            "invalid": "Give a whole number of packs.",
            "min_value": below,
            "max_value": f"More than {MOST_PACKS:,} packs is surely a slip.",
        },
        widget=forms.NumberInput({"inputmode": "numeric", "autocomplete": "off"}),
        **kwargs,
    )


class DraftForm(SureForm):
    """The lines of a draft, its note, and whether it is sent although it is too small."""

    note = forms.CharField(
        label="Note to them", max_length=2_000, required=False, widget=forms.Textarea({"rows": 2})
    )
    sure = forms.BooleanField(required=False, label="Yes, send it all the same")
    #: What `looked_at` says of the lines on the page.
    seen = forms.CharField(required=False, strip=False, widget=forms.HiddenInput)

    def __init__(
        self,
        *args: Any,
        lines: Sequence[PurchaseOrderLine],
        sold: Mapping[int, SupplierPart],
        today: date,
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.lines, self.today = lines, today
        for line in lines:
            terms = sold.get(line.part_id)
            self.fields[f"packs-{line.pk}"] = _packs_field(
                least=0,
                below="Packs are not below zero.",
                initial=line.packs,
                help_text="0 takes it off.",
            )
            self.fields[f"day-{line.pk}"] = DayField(
                label="Promised for",
                required=False,
                initial=today + timedelta(days=terms.lead_time_days) if terms else None,
            )

    def rows(self) -> list[tuple[PurchaseOrderLine, Any, Any]]:
        return [(line, self[f"packs-{line.pk}"], self[f"day-{line.pk}"]) for line in self.lines]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for line in self.lines:
            promised = cleaned.get(f"day-{line.pk}")
            if promised and promised < self.today:
                self.add_error(f"day-{line.pk}", "This is before today.")
        return cleaned

    def packs(self) -> dict[Part, int]:
        """What each line shall ask for, where it changed."""
        asked = {line.part: self.cleaned_data[f"packs-{line.pk}"] for line in self.lines}
        was = {line.part: line.packs for line in self.lines}
        return {part: packs for part, packs in asked.items() if packs != was[part]}

    def promised(self) -> dict[int, date]:
        """By part id, the day they promised."""
        days = {line.part_id: self.cleaned_data[f"day-{line.pk}"] for line in self.lines}
        return {part: day for part, day in days.items() if day}


class AddLineForm(forms.Form):
    """One more part of what the supplier sells."""

    part = forms.ModelChoiceField(
        label="Part",
        queryset=Part.objects.none(),
        empty_label="Choose a part",
        error_messages={
            "required": "Choose a part.",
            "invalid_choice": "They are not known to sell that part.",
        },
    )
    packs = _packs_field(least=1, below="Order at least one pack.", initial=1)

    def __init__(self, *args: Any, supplier: Supplier, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choice = self.fields["part"]
        assert isinstance(choice, forms.ModelChoiceField)
        choice.queryset = (
            Part.objects.in_use().filter(supplier_parts__supplier=supplier).order_by("number")
        )


class BecauseForm(forms.Form):
    """Why the rest will not come; line: of which one, empty for the whole order."""

    line = forms.IntegerField(required=False, widget=forms.HiddenInput)
    because = forms.CharField(
        label="Why", max_length=500, error_messages={"required": "Say why in a word or two."}
    )


class DeliveryForm(AskingForm):
    """The head of a delivery: its packing slip and what bringing it cost."""

    packing_slip = forms.CharField(label="Number of the packing slip", max_length=60)
    freight = MoneyField(label="Freight", required=False, help_text="Carriage, duty and the like.")
    field_order = ("packing_slip", "freight", "at", "sure")

    def __init__(self, *args: Any, symbol: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.symbol = symbol
        self.fields["freight"].label = f"Freight, {symbol}"

    def clean_freight(self) -> int:
        return self.cleaned_data["freight"] or 0

    def ask_about(self, arrivals: Sequence[Arrival]) -> None:
        """Ask back about what is probably a slip."""
        questions = delivery_questions(arrivals)
        for each in [] if questions else arrivals:
            more = each.quantity_steps - to_come_steps(each.line)
            # A closed order is refused as such, not asked about.
            if more > 0 and each.line.order.state in PurchaseOrder.UNDER_WAY:
                what = in_words(each.line.part, more)
                questions.append(f"{what} of {each.line.part} more than is to come.")
        today = timezone.localdate(self.now)
        for each in arrivals:
            part = each.line.part
            until = each.expires_on or (each.cured_on and part.use_by(each.cured_on))
            if until and until < today:
                questions.append(f"{part} is past its use-by day already.")
        self.ask(questions)


class ArrivalForm(forms.Form):
    """What came of one line of an order; with no quantity, none of it did."""

    location = PlaceField(label="Put into", required=False)
    goods = MoneyField(label="Invoiced", required=False)
    lot_code = forms.CharField(
        label="Lot", max_length=60, required=False, help_text="Empty: the day it came."
    )
    cured_on = MadeOnField(label="Cured or made", required=False, help_text="A day, or 3Q2026.")
    expires_on = DayField(label="Use by", required=False)

    def __init__(
        self,
        *args: Any,
        line: PurchaseOrderLine,
        usual_place: Location | None,
        symbol: str,
        today: date,
        **kwargs: Any,
    ) -> None:
        kwargs["prefix"] = f"line-{line.pk}"
        super().__init__(*args, **kwargs)
        self.line, self.today = line, today
        part = line.part
        measure = measure_of(part)
        if line.pack_steps != part.steps_per_unit:
            measure["packs"][PACK] = line.pack_steps
        self.fields["quantity"] = QuantityField(
            label="Came",
            required=False,
            zero=True,
            initial=format_quantity(to_come_steps(line), part.steps_per_unit, "").strip(),
            **measure,
        )
        place = self.fields["location"]
        assert isinstance(place, PlaceField)
        place.queryset = Location.objects.to_put_into()
        place.initial = usual_place
        self.fields["goods"].label = f"Invoiced in all, {symbol}"
        if line.pack_price_cents:
            price = format_money(line.pack_price_cents, symbol)
            self.fields["goods"].help_text = f"Empty: {price} a pack, as ordered."
        if not part.ages:
            del self.fields["cured_on"]
            self.fields["expires_on"].help_text = "Empty: it keeps."
        self.order_fields(("quantity", "location", "goods", "lot_code", "cured_on", "expires_on"))

    def clean_cured_on(self) -> date | None:
        return made_on(self.cleaned_data["cured_on"], today=self.today)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if not cleaned.get("quantity"):
            return cleaned
        if cleaned.get("location") is None and "location" not in self.errors:
            self.add_error("location", "Say where it was put.")
        refuse_age(self, self.line.part)
        return cleaned

    def arrival(self) -> Arrival | None:
        """What came, of a clean form; None where none of it did."""
        data = self.cleaned_data
        if not data.get("quantity"):
            return None
        return Arrival(
            line=self.line,
            location=data["location"],
            quantity_steps=data["quantity"],
            goods_cents=data["goods"],
            lot_code=data["lot_code"],
            cured_on=data.get("cured_on"),
            expires_on=data["expires_on"],
        )
