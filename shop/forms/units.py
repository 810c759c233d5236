"""Forms into which measured values are typed, in the units of whoever has the page."""

from typing import Any

from django import forms

from equipment.forms.fields import SentForm
from equipment.own_units import SYSTEMS


class UnitsForm(SentForm):
    """A form that carries the system of units in which it was shown: what is typed is read so,
    whatever its reader has chosen meanwhile."""

    units = forms.CharField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, system: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        sent = str(self.data.get("units", ""))
        #: In which it is shown, and what is typed is read: "us" or "metric".
        self.system = sent if sent in SYSTEMS else system

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("units") not in SYSTEMS:
            self.add_error(
                None, "The page came without its units. Look at the values, and send it again."
            )
        return cleaned
