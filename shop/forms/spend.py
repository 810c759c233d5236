"""Which days a page of spend is about; the choice lives in the address."""

from datetime import date
from typing import Any

from django import forms

from shop import periods
from shop.periods import Period

EARLIEST = date(2000, 1, 1)


class PeriodForm(forms.Form):
    period = forms.ChoiceField(
        label="Period",
        required=False,
        choices=[
            (periods.TWELVE_MONTHS, "last 12 months"),
            (periods.THIS_YEAR, "this year"),
            (periods.LAST_YEAR, "last year"),
            (periods.DATES, "from and to"),
        ],
    )
    first = forms.DateField(
        label="From", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    last = forms.DateField(
        label="To", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        if given.get("period") != periods.DATES:
            return given
        for name in ("first", "last"):
            when = given.get(name)
            if name not in self.errors and when is None:
                self.add_error(name, "Give both days, or choose another period.")
            elif when is not None and not EARLIEST <= when <= date(9000, 1, 1):
                self.add_error(name, "No stock was moved that year. Check the date.")
        first, last = given.get("first"), given.get("last")
        if not self.errors and first and last and last < first:
            self.add_error("last", "The last day lies before the first.")
        return given

    def name(self) -> str:
        """The name of the period asked for; the last twelve months where it cannot be read."""
        return (self.is_valid() and self.cleaned_data["period"]) or periods.TWELVE_MONTHS

    def chosen(self) -> Period:
        """The period asked for; the last twelve months where what was asked cannot be read."""
        name = self.name()
        if name == periods.DATES:
            return Period(self.cleaned_data["first"], self.cleaned_data["last"])
        return periods.named(name, today=self.today)
