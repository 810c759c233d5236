"""A lot: what its invoice says after all, and how long it may be used."""

from datetime import date
from typing import Any

from django import forms

from inventory.forms.fields import AskingForm, DayField, MoneyField, SentForm
from inventory.models import Lot, Part
from inventory.quantities import format_money
from inventory.services import in_words

#: An invoice this many times the cost so far, or this small a share of it, is asked about.
STRANGE_INVOICE = 5


class InvoiceForm(AskingForm):
    """What the invoice says for a receipt, once it came."""

    reason = forms.CharField(
        label="Which invoice, or why", max_length=500, help_text="Its number is enough."
    )
    field_order = ("amount", "reason", "at", "sure")

    def __init__(
        self, *args: Any, part: Part, quantity_steps: int, so_far_cents: int, symbol: str, **kw: Any
    ) -> None:
        self.so_far_cents = so_far_cents
        self.symbol = symbol
        super().__init__(*args, **kw)
        self.fields["amount"] = MoneyField(
            label=f"The invoice says, {symbol}",
            help_text=f"For all {in_words(part, quantity_steps)}, with freight.",
        )
        self.order_fields(self.field_order)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cents = cleaned.get("amount")
        if cents is not None and self.so_far_cents:
            so_far = self.so_far_cents
            if cents > STRANGE_INVOICE * so_far or cents * STRANGE_INVOICE < so_far:
                said = format_money(cents, self.symbol)
                self.ask([f"{said} in all? So far it is {format_money(so_far, self.symbol)}."])
        return cleaned


class ExtendForm(SentForm):
    """Until when a lot may be used, after somebody looked at it, and what was looked at."""

    until = DayField(label="May be used until")
    reason = forms.CharField(
        label="What was looked at",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Who looked at how many, and what for: cracks, stickiness, hardness.",
    )

    def __init__(self, *args: Any, lot: Lot, latest: date | None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if latest is not None:
            self.fields["until"].help_text = f"At most until {latest}: one extension of its group."
            self.fields["until"].initial = latest if latest > lot.expires_on else None
