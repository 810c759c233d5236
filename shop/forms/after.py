"""Forms of what comes after a signature: the second look, the minutes set by hand."""

from typing import Any

from django import forms

from equipment.forms.fields import NumberField, SentForm
from shop.models import SecondLook, SheetLine

Outcome = SecondLook.Outcome
#: A week: as much as a service may be asked to take.
MOST_MINUTES = 60 * 24 * 7


class LineField(forms.ModelChoiceField):
    """One line of a sheet: its component and what was done on it."""

    def label_from_instance(self, obj: SheetLine) -> str:
        return f"{obj.component}, {obj.title}" if obj.component else obj.title


class SecondLookForm(SentForm):
    """Whether what was done is right; if not, what is not, and where."""

    outcome = forms.ChoiceField(
        label="What you see",
        choices=[(Outcome.PASSED, "It is right"), (Outcome.NOT_RIGHT, "It is not right")],
        widget=forms.RadioSelect,
        error_messages={"required": "Say whether it is right."},
    )
    text = forms.CharField(
        label="What is not right, or a word on it",
        max_length=200,
        required=False,
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    follows = forms.ChoiceField(
        label="What follows",
        choices=[
            ("work", "Found work: something must be done"),
            ("correction", "A correction: a figure on the sheet is wrong"),
            ("both", "Both"),
        ],
        initial="work",
        required=False,
        widget=forms.RadioSelect,
    )
    line = LineField(
        label="Where",
        queryset=SheetLine.objects.none(),
        required=False,
        empty_label="on the whole rig",
    )
    is_grave = forms.BooleanField(label="The rig must not leave", required=False)

    def __init__(self, *args: Any, lines: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["line"]
        assert isinstance(field, forms.ModelChoiceField)
        field.queryset = lines

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("outcome") == Outcome.NOT_RIGHT and not cleaned.get("text", "").strip():
            self.add_error("text", "Say what is not right.")
        return cleaned


class MinutesForm(SentForm):
    """How long a service takes, as a manager says it; empty: as it is learnt."""

    minutes = NumberField(label="It takes, minutes", places=0, required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if (cleaned.get("minutes") or 0) > MOST_MINUTES:
            self.add_error("minutes", "That is more than a week. Give minutes.")
        return cleaned
