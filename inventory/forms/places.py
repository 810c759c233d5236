"""Places where stock lies."""

from typing import Any

from django import forms

from inventory.forms.fields import SentForm
from inventory.forms.parts import NUMBER
from inventory.models import Location


class PlaceForm(SentForm):
    """A new bin, drawer or quarantine shelf. Trays come with the sheets."""

    code = forms.CharField(
        label="Code",
        max_length=40,
        help_text="As written on the shelf, such as K-03. No shelf is called A or B: "
        "those are sides of a rig.",
    )
    name = forms.CharField(label="Name", max_length=120, required=False)
    kind = forms.ChoiceField(
        label="Kind",
        choices=[choice for choice in Location.Kind.choices if choice[0] != Location.Kind.TRAY],
        initial=Location.Kind.BIN,
    )

    def clean_code(self) -> str:
        code: str = self.cleaned_data["code"].strip()
        if not NUMBER.fullmatch(code) or code.casefold() == "new":
            raise forms.ValidationError(
                "Use letters, digits, spaces and . , + - ( ), beginning with a letter or digit."
            )
        if code.casefold() in ("a", "b"):
            raise forms.ValidationError(
                "A and B are the sides of a rig. Give the shelf another name."
            )
        if other := Location.objects.filter(code__iexact=code).first():
            raise forms.ValidationError(f"There is a place {other.code} already.")
        return code

    def clean(self) -> dict[str, Any]:
        return super().clean() or self.cleaned_data
