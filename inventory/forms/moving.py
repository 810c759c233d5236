"""Stock that comes, changes place, is counted, thrown away, or becomes a kit."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext

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
    measure_of,
    refuse_age,
)
from inventory.models import Balance, Location, Lot, Part
from inventory.quantities import format_money
from inventory.services import in_words
from inventory.services.naming import slips

#: A cost this many times the usual, or this small a share of it, is asked about.
STRANGE_COST = 5


@dataclass(frozen=True, slots=True)
class PromiseHere:
    """So much of the part, > 0 [steps], is promised in a place, to this source."""

    location_id: int
    source: str
    quantity_steps: int


@dataclass(frozen=True, slots=True)
class LineHere:
    """A line of a kit: so much of a part, > 0 [steps], where it lies, and who was promised it."""

    part: Part
    quantity_steps: int
    balances: Sequence[Balance]
    promises: Sequence[PromiseHere]


def promise_question(
    part: Part,
    location: Location,
    here_steps: int,
    taken_steps: int,
    promises: Sequence[PromiseHere],
) -> list[str]:
    """The question whether to take so much from a place though it was promised there; or none.

    here_steps: what lies there, >= 0. taken_steps: > 0. [steps] promises: of the part, anywhere.
    """
    promised = [each for each in promises if each.location_id == location.pk]
    left = here_steps - taken_steps
    if left < 0 or left >= sum(each.quantity_steps for each in promised):
        return []
    whom = ", ".join(
        gettext("{quantity} for {source}").format(
            quantity=in_words(part, each.quantity_steps), source=each.source
        )
        for each in promised
    )
    text = (
        gettext("Reserved in {place}: {whom}. After this, {left} would be left there.")
        if left
        else gettext("Reserved in {place}: {whom}. After this, none would be left there.")
    )
    return [text.format(place=location, whom=whom, left=in_words(part, left))]


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
        return measure_of(self.part)

    def filled_places(self) -> Any:
        """The places where some of the part lies."""
        return Location.objects.filter(pk__in=self.held).order_by("code")

    def lots_that_lie_somewhere(self) -> Any:
        return Lot.objects.filter(pk__in={each.lot_id for each in self.balances}).order_by(
            "expires_on", "pk"
        )

    def promise_questions(self, location: Location, taken_steps: int) -> list[str]:
        """Ask when taking this much leaves less in the place than was promised there."""
        here = self.held.get(location.pk, 0)
        return promise_question(self.part, location, here, taken_steps, self.promises)


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
        place.queryset = Location.objects.to_put_into()
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cured, expires = cleaned.get("cured_on"), cleaned.get("expires_on")
        today = timezone.localdate(self.now)
        keeps_until = self.part.use_by(cured) if cured else None
        refuse_age(self, self.part)
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
        usual_steps = {self.part.pk: self.order_up_to_steps}
        questions = slips([(self.part, quantity_steps)], usual=usual_steps)
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

    def __init__(self, *args: Any, may_use_expired: bool = True, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        today = timezone.localdate(self.now)
        none_expired = all(each.lot.expires_on >= today for each in self.balances)
        if none_expired or not may_use_expired:
            del self.fields["expired_reason"]
        self.fields["quantity"] = QuantityField(label="Quantity", **self.measure)
        self.fields["lot"] = LotField(part=self.part, queryset=self.lots_that_lie_somewhere())
        out, into = self.fields["from_location"], self.fields["to_location"]
        assert isinstance(out, PlaceField)
        assert isinstance(into, PlaceField)
        out.queryset = self.filled_places()
        out.error_messages["invalid_choice"] = "None of it lies there."
        into.queryset = Location.objects.to_put_into()
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
        if quantity and what in (self.COUNT, self.MORE):
            here = self.held.get(place.pk, 0) if place else 0
            self.ask(slips([(self.part, quantity)], usual={self.part.pk: here}))
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
    reason = forms.CharField(label="Why", max_length=500)
    field_order = ("what", "quantity", "location", "to_location", "at", "reason", "sure")

    def __init__(self, *args: Any, lines: Sequence[LineHere] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.lines = lines
        place = self.fields["location"]
        assert isinstance(place, PlaceField)
        place.held, place.part = self.held, self.part
        self.fields["quantity"] = QuantityField(label="Kits", **self.measure)
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        place, quantity = cleaned.get("location"), cleaned.get("quantity")
        if cleaned.get("what") == self.MAKE and place and quantity:
            self.ask(self._promised_lines(place, quantity))
        if cleaned.get("what") == self.BREAK and place and quantity:
            self.ask(self.promise_questions(place, quantity))
        return cleaned

    def _promised_lines(self, place: Location, kits: int) -> list[str]:
        """Ask where the parts of so many kits were promised in the place to somebody else."""
        questions = []
        for line in self.lines:
            here = sum(b.quantity_steps for b in line.balances if b.location_id == place.pk)
            taken = kits * line.quantity_steps
            asked = promise_question(line.part, place, here, taken, line.promises)
            questions += [f"{line.part.number}: {question}" for question in asked]
        return questions


class ReverseForm(SentForm):
    """Why a movement is undone."""

    reason = forms.CharField(label="Why", max_length=500, widget=forms.Textarea(attrs={"rows": 2}))
