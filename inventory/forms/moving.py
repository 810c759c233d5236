"""Stock that comes, changes place, is counted, thrown away, or becomes a kit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.utils import timezone

from inventory.costing import receipt_value_cents
from inventory.forms.fields import (
    AskingForm,
    DayField,
    LotField,
    MadeOnField,
    MoneyField,
    PlaceField,
    QuantityField,
    SentForm,
    made_on,
)
from inventory.models import Balance, Location, Lot, Part
from inventory.quantities import format_money
from inventory.services import in_words

#: A cost this many times the usual, or this small a share of it, is asked about.
STRANGE_COST = 5
#: A receipt of this many times what is bought at most is asked about.
STRANGE_QUANTITY = 10


@dataclass(frozen=True, slots=True)
class PromiseHere:
    """So much of the part, > 0 [steps], is promised in a place, to this source."""

    location_id: int
    source: str
    quantity_steps: int


class PartMoveForm(AskingForm):
    """What all forms that move one part know: what lies where, and what is promised."""

    def __init__(
        self,
        *args: Any,
        part: Part,
        balances: Sequence[Balance],
        promises: Sequence[PromiseHere] = (),
        **kwargs: Any,
    ) -> None:
        self.part = part
        self.balances = balances
        self.promises = promises
        self.held: dict[int, int] = {}
        for balance in balances:
            steps = balance.quantity_steps
            self.held[balance.location_id] = self.held.get(balance.location_id, 0) + steps
        super().__init__(*args, **kwargs)

    @property
    def measure(self) -> dict[str, Any]:
        return {
            "steps_per_unit": self.part.steps_per_unit,
            "unit_name": self.part.unit_name,
            "packs": dict(self.part.packs.values_list("name", "quantity_steps")),
        }

    def filled_places(self) -> Any:
        """The places where some of the part lies."""
        return Location.objects.filter(pk__in=self.held).order_by("code")

    def lots_that_lie_somewhere(self) -> Any:
        return Lot.objects.filter(pk__in={each.lot_id for each in self.balances}).order_by(
            "expires_on", "pk"
        )

    def promise_questions(self, location: Location, taken_steps: int) -> list[str]:
        """Ask when taking this much leaves less in the place than was promised there."""
        promised = [each for each in self.promises if each.location_id == location.pk]
        left = self.held.get(location.pk, 0) - taken_steps
        if left < 0 or left >= sum(each.quantity_steps for each in promised):
            return []
        whom = ", ".join(
            f"{in_words(self.part, each.quantity_steps)} for {each.source}" for each in promised
        )
        return [
            f"Reserved in {location}: {whom}. "
            f"After this, {in_words(self.part, left) if left else 'none'} would be left there."
        ]


class ReceiveForm(PartMoveForm):
    """What came, what it cost, and how long it keeps."""

    location = PlaceField(label="Put into")
    cost = forms.ChoiceField(
        label="The amount is",
        choices=[("each", "for one"), ("all", "for all of it")],
        initial="each",
        widget=forms.RadioSelect,
    )
    amount = MoneyField(label="Cost")
    lot_code = forms.CharField(
        label="Lot", max_length=60, required=False, help_text="Empty: the day it came."
    )
    cured_on = MadeOnField(
        label="Cured or made",
        required=False,
        help_text="A day, or the quarter on the package: 3Q2026 or 3/26.",
    )
    expires_on = DayField(label="Use by", required=False)
    source_text = forms.CharField(label="Packing slip", max_length=120, required=False)
    reason = forms.CharField(label="Note", max_length=500, required=False)
    field_order = (
        "quantity",
        "amount",
        "cost",
        "location",
        "lot_code",
        "cured_on",
        "expires_on",
        "source_text",
        "at",
        "reason",
        "sure",
    )

    def __init__(self, *args: Any, order_up_to_steps: int = 0, symbol: str, **kwargs: Any) -> None:
        self.order_up_to_steps = order_up_to_steps
        self.symbol = symbol
        super().__init__(*args, **kwargs)
        self.fields["quantity"] = QuantityField(label="Quantity", **self.measure)
        self.fields["amount"].label = f"Cost, {symbol}"
        self.fields["expires_on"].help_text = (
            "Empty: reckoned from the day it was cured or made."
            if self.part.ages
            else "Empty: it keeps."
        )
        place = self.fields["location"]
        assert isinstance(place, PlaceField)
        place.held, place.part = self.held, self.part
        place.queryset = Location.objects.in_use().exclude(kind=Location.Kind.TRAY).order_by("code")
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cured, expires = cleaned.get("cured_on"), cleaned.get("expires_on")
        today = timezone.localdate(self.now)
        if cured and expires and expires < cured:
            self.add_error("expires_on", "This is before it was cured.")
        keeps_until = self.part.use_by(cured) if cured else None
        if self.part.ages and not cured and not expires and "cured_on" not in self.errors:
            self.add_error(
                "cured_on", "This part ages: give the day or quarter, or else the use-by day."
            )
        quantity, amount = cleaned.get("quantity"), cleaned.get("amount")
        if quantity and amount is not None and cleaned.get("cost"):
            value = amount
            if cleaned["cost"] == "each":
                value = receipt_value_cents(
                    quantity_steps=quantity,
                    steps_per_unit=self.part.steps_per_unit,
                    unit_cost_cents=amount,
                )
            cleaned["value_cents"] = value
            questions = self._strange(quantity, value)
            if (expires or keeps_until or today) < today:
                questions.append("It is past its use-by day already.")
            if expires and keeps_until and expires > keeps_until:
                questions.append(
                    f"Reckoned from the day it was cured or made, it keeps until {keeps_until}."
                )
            self.ask(questions)
        return cleaned

    def clean_cured_on(self) -> date | None:
        return made_on(self.cleaned_data["cured_on"], today=timezone.localdate(self.now))

    def _strange(self, quantity_steps: int, value_cents: int) -> list[str]:
        questions = []
        most = self.order_up_to_steps or 100 * self.part.steps_per_unit
        if quantity_steps > STRANGE_QUANTITY * most:
            questions.append(f"{in_words(self.part, quantity_steps)} is far more than usual.")
        usual = self.part.cost_of(quantity_steps)
        far_off = value_cents > STRANGE_COST * usual or value_cents * STRANGE_COST < usual
        if usual and far_off:
            questions.append(
                f"That makes {format_money(value_cents, self.symbol)} in all; "
                f"usually it is about {format_money(usual, self.symbol)}."
            )
        return questions


class TransferForm(PartMoveForm):
    """From one place to another."""

    from_location = PlaceField(label="From")
    to_location = PlaceField(label="To")
    reason = forms.CharField(label="Why", max_length=500, required=False)
    expired_reason = forms.CharField(
        label="Why it goes along though expired",
        max_length=500,
        required=False,
        help_text="Only to take expired stock to a drawer or tray. Kept with the movement.",
    )
    field_order = (
        *("from_location", "to_location", "quantity", "lot"),
        *("expired_reason", "at", "reason", "sure"),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        today = timezone.localdate(self.now)
        if all(each.lot.expires_on >= today for each in self.balances):
            del self.fields["expired_reason"]
        self.fields["quantity"] = QuantityField(label="Quantity", **self.measure)
        self.fields["lot"] = LotField(part=self.part, queryset=self.lots_that_lie_somewhere())
        out, into = self.fields["from_location"], self.fields["to_location"]
        assert isinstance(out, PlaceField)
        assert isinstance(into, PlaceField)
        out.queryset = self.filled_places()
        out.error_messages["invalid_choice"] = "None of it lies there."
        into.queryset = Location.objects.in_use().exclude(kind=Location.Kind.TRAY).order_by("code")
        for place in (out, into):
            place.held, place.part = self.held, self.part
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        out, into = cleaned.get("from_location"), cleaned.get("to_location")
        if out and into and out == into:
            self.add_error("to_location", "It lies there already.")
        if out and cleaned.get("quantity"):
            self.ask(self.promise_questions(out, cleaned["quantity"]))
        return cleaned


class AdjustForm(PartMoveForm):
    """The ledger says one thing and the shelf another."""

    COUNT, MORE, FEWER, SCRAP = "count", "more", "fewer", "scrap"
    what = forms.ChoiceField(
        label="What happened",
        choices=[
            (COUNT, "Counted: so much lies there now"),
            (MORE, "Found: so much more than the ledger says"),
            (FEWER, "Missing: so much less than the ledger says"),
            (SCRAP, "Scrapped: so much was thrown away"),
        ],
        widget=forms.RadioSelect,
    )
    location = PlaceField(label="Where")
    reason = forms.CharField(label="Why", max_length=500)
    field_order = ("what", "location", "quantity", "lot", "at", "reason", "sure")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["quantity"] = QuantityField(label="Quantity", zero=True, **self.measure)
        self.fields["lot"] = LotField(
            part=self.part,
            empty_label="Whatever lot lies there",
            queryset=Lot.objects.filter(part=self.part).order_by("-quantity_left_steps", "-pk"),
        )
        place = self.fields["location"]
        assert isinstance(place, PlaceField)
        place.held, place.part = self.held, self.part
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        what, quantity = cleaned.get("what"), cleaned.get("quantity")
        if quantity == 0 and what and what != self.COUNT:
            self.add_error("quantity", "Give a quantity above zero.")
        place = cleaned.get("location")
        if place and quantity and what in (self.FEWER, self.SCRAP):
            self.ask(self.promise_questions(place, quantity))
        return cleaned


class KitForm(PartMoveForm):
    """Make kits from the parts that lie in a place, or break kits into their parts."""

    MAKE, BREAK = "make", "break"
    what = forms.ChoiceField(
        label="What to do",
        choices=[(MAKE, "Make kits from their parts"), (BREAK, "Break kits into their parts")],
        widget=forms.RadioSelect,
    )
    location = PlaceField(label="In")
    to_location = PlaceField(
        label="Lay the parts into",
        required=False,
        empty_label="The same place",
        help_text="Only when a kit is broken.",
    )
    quantity = QuantityField(label="Kits")
    reason = forms.CharField(label="Why", max_length=500)
    field_order = ("what", "quantity", "location", "to_location", "at", "reason", "sure")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        place = self.fields["location"]
        assert isinstance(place, PlaceField)
        place.held, place.part = self.held, self.part
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        place, quantity = cleaned.get("location"), cleaned.get("quantity")
        if cleaned.get("what") == self.BREAK and place and quantity:
            self.ask(self.promise_questions(place, quantity))
        return cleaned


class ReverseForm(SentForm):
    """Why a movement is undone."""

    reason = forms.CharField(label="Why", max_length=500, widget=forms.Textarea(attrs={"rows": 2}))
