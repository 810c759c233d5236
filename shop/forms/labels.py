"""Which labels to print, and on what."""

from typing import Any

from django import forms

from shop.paper.label_sheets import SHEETS
from shop.services.label_paper import KINDS

MOST_COPIES = 100


class LabelsForm(forms.Form):
    """What lies in the address of a file of labels; `start` counts from 1."""

    kind = forms.ChoiceField(
        label="Labels of",
        choices=KINDS,
        error_messages={
            "required": "Say what to print labels of.",
            "invalid_choice": "There are labels of bins, parts, kits and drawers.",
        },
    )
    only = forms.CharField(
        label="Only",
        required=False,
        max_length=60,
        help_text="A part number, a place, or how its code begins, such as K-. Empty: all.",
    )
    sheet = forms.ChoiceField(
        label="Sheet of labels",
        choices=[(sheet.slug, sheet.name) for sheet in SHEETS.values()],
        help_text="Columns × rows, and the size of one label.",
        error_messages={
            "required": "Choose the sheet that lies in the printer.",
            "invalid_choice": "That sheet is not known here. Choose one of the list.",
        },
    )
    start = forms.IntegerField(
        label="Begin at label",
        min_value=1,
        initial=1,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        help_text="The first that is still on the sheet, counted along the rows.",
        error_messages={
            "required": "Give a number, 1 for a new sheet.",
            "invalid": "Give a whole number.",
            "min_value": "The first label is 1.",
        },
    )
    copies = forms.IntegerField(
        label="Copies of each",
        min_value=1,
        max_value=MOST_COPIES,
        initial=1,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
        error_messages={
            "required": "Give a number, 1 for one of each.",
            "invalid": "Give a whole number.",
            "min_value": "Print at least one of each.",
            "max_value": f"Print at most {MOST_COPIES} of each at once.",
        },
    )

    def clean(self) -> dict[str, Any]:
        given = super().clean() or self.cleaned_data
        sheet = SHEETS.get(given.get("sheet", ""))
        start = given.get("start")
        if sheet is not None and start is not None and start > sheet.count:
            self.add_error("start", f"A page of this sheet has {sheet.count} labels.")
        return given
