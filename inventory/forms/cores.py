"""Old parts owed back: until when, when they went, and what the supplier paid."""

from datetime import date
from typing import Any

from django import forms

from inventory.forms.fields import DayField, MoneyField
from inventory.models import Core
from inventory.quantities import to_money


class CoreForm(forms.Form):
    """One row of the list; which field is needed is said by the button."""

    back_by = DayField(label="They take it until", required=False)
    on = DayField(label="On", required=False)
    amount = MoneyField(label="They paid", required=False)

    def __init__(self, *args: Any, core: Core, today: date, symbol: str, **kwargs: Any) -> None:
        kwargs["prefix"] = f"core-{core.pk}"
        super().__init__(*args, **kwargs)
        self.today = today
        # The button says what is needed; a page only looked at shows both as needed.
        do = self.data.get("do") if self.is_bound else None
        for name, needed_by in {"on": ("sent", "paid"), "amount": ("paid",)}.items():
            self.fields[name].required = do is None or do in needed_by
            self.fields[name].error_messages["required"] = "This is needed."
        self.fields["back_by"].initial = core.back_by
        self.fields["on"].initial = today
        self.fields["amount"].label = f"They paid, {symbol}"
        self.fields["amount"].initial = f"{to_money(core.credit_cents):f}"

    def clean_on(self) -> date | None:
        on: date | None = self.cleaned_data["on"]
        if on is not None and on > self.today:
            raise forms.ValidationError("This is later than today.")
        return on
