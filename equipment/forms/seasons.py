"""Forms about the days of the year that work is done before."""

from django import forms

from equipment.forms.fields import SpokenForm

MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December",
)  # fmt: skip


class SeasonForm(SpokenForm):
    """A name, and the day of every year."""

    name = forms.CharField(label="Name", max_length=40)
    day = forms.IntegerField(
        label="Day",
        min_value=1,
        max_value=31,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={
            "invalid": "Write the day of the month, like 15.",
            "min_value": "Write the day of the month, like 15.",
            "max_value": "Write the day of the month, like 15.",
        },
    )
    month = forms.TypedChoiceField(
        label="Month", choices=list(enumerate(MONTHS, start=1)), coerce=int
    )
