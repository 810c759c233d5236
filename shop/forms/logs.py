"""Forms about shift logs: sending files in, answering what they leave open, naming a layout."""

from collections.abc import Iterable, Sequence
from typing import Any, Final
from uuid import uuid4

from django import forms
from django.core.files.uploadedfile import UploadedFile

from equipment.models import Counter, LogContradiction, LogLayout
from equipment.shiftlogs.layout import Column, Question
from shop.logwords import COLUMN_VALUES


class ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """Several files, or a folder where the browser can send one; none is no mistake by itself."""

    widget = ManyFiles

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        files = data if isinstance(data, (list, tuple)) else [data] if data else []
        return [super(ManyFilesField, self).clean(file, initial) for file in files]


class SendLogsForm(forms.Form):
    """Files or a folder; and by which layout, if not by their own headings."""

    sending = forms.UUIDField(widget=forms.HiddenInput, initial=uuid4)
    logs = ManyFilesField(
        label="Files, or a ZIP",
        help_text="As the controller wrote them. Nothing is kept before you have seen the days.",
        error_messages={"empty": "One of the files is empty."},
    )
    folder = ManyFilesField(
        label="Or a whole folder",
        widget=ManyFiles(attrs={"webkitdirectory": True}),
        error_messages={"empty": "One of the files in the folder is empty."},
    )
    layout = forms.ModelChoiceField(
        LogLayout.objects.filter(is_retired=False).order_by("name"),
        label="Layout",
        required=False,
        empty_label="by their own headings",
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not self.fields["layout"].queryset.exists():  # type: ignore[attr-defined]
            del self.fields["layout"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not self.errors and not self.uploads:
            self.add_error("logs", "Choose at least one file.")
        return cleaned

    @property
    def uploads(self) -> list[UploadedFile]:
        return [*self.cleaned_data.get("logs", []), *self.cleaned_data.get("folder", [])]


class AnswersForm(forms.Form):
    """One field for each open question of a file."""

    def __init__(self, *args: Any, questions: Sequence[Question], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.questions = [each for each in questions if each.key != "columns"]
        for question in self.questions:
            self.fields[question.key] = _field(question)

    def answers(self) -> dict[str, str]:
        return {key: str(said) for key, said in self.cleaned_data.items() if said}


def _field(question: Question) -> forms.Field:
    if question.key == "date":
        return forms.DateField(
            label="Which day is it?",
            help_text=question.why,
            widget=forms.DateInput(attrs={"type": "date"}),
            error_messages={"required": "Give the day.", "invalid": "Give the day as a date."},
        )
    label = ASKED.get(question.key, "Which is it?")
    if question.free and not question.choices:
        return forms.CharField(
            label=label,
            help_text=question.why,
            max_length=200,
            error_messages={"required": "Give an answer."},
        )
    return forms.ChoiceField(
        label=label,
        help_text=question.why,
        choices=question.choices,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose one."},
    )


#: How each question is put.
ASKED: Final = {
    "date_order": "In which order are the dates written?",
    "zone": "In which time zone is the clock of the log?",
    "clock": "Which half of the day is meant?",
    "pressure_unit": "In which unit is the pressure?",
    "temp_unit": "In which unit is the temperature?",
    "counts": "What do the counters count?",
    "sides": "Which side is which?",
    "bad_rows": "Leave out the rows that cannot be read?",
    "overlap": "Two files say different things of one moment. Which one holds?",
    "duplicates": "Two rows of one moment differ. Which one holds?",
    "reset": "The counter fell. What happened?",
}


def said_columns(data: Any, columns: Iterable[Column]) -> str:
    """Return the answer to "columns" from the lists above a preview, "" where all is as shown."""
    said, changed = [], False
    for column in columns:
        shown = value_of(column)
        chosen = data.get(f"column-{column.index}", shown)
        if chosen not in COLUMN_VALUES:
            chosen = shown
        changed = changed or chosen != shown
        said.append(f"{column.index + 1}={chosen}")
    return ", ".join(said) if changed or "columns-confirmed" in data else ""


def value_of(column: Column) -> str:
    """Return the choice that stands for how a column is read."""
    value = f"{column.role}:{column.unit}" if column.unit else column.role
    return value if value in COLUMN_VALUES else column.role


class LayoutNameForm(forms.Form):
    """The name under which a layout is kept for the next file."""

    name = forms.CharField(
        label="Keep this layout as",
        max_length=LogLayout._meta.get_field("name").max_length,
        help_text="The next file with these headings is then read the same way, unasked.",
        error_messages={"required": "Give the layout a name."},
    )


class WithdrawForm(forms.Form):
    reason = forms.CharField(
        label="Why",
        max_length=200,
        help_text="Its readings are taken back, and its days stand as the other files say.",
        error_messages={"required": "Say why."},
    )


class SettleForm(forms.Form):
    """What a person says about a log that contradicts the readings."""

    how = forms.ChoiceField(
        label="What happened?",
        choices=[
            (LogContradiction.How.RESET, "The counter was reset before this log"),
            (
                LogContradiction.How.SAME_COUNTER,
                "It is this counter, and it did count that much since",
            ),
            (LogContradiction.How.LOG_WRONG, "The log is wrong about this counter on this day"),
            (
                LogContradiction.How.OTHER_COUNTER,
                "The log counts by another counter than the rig's, always",
            ),
        ],
        widget=forms.RadioSelect,
        error_messages={"required": "Choose what happened."},
    )
    before_reset = forms.DecimalField(
        label="Last value before the reset",
        required=False,
        min_value=0,
        max_digits=14,
        decimal_places=3,
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
        help_text="Where nobody saw it, leave it empty: the life is then at least what we know.",
        error_messages={"invalid": "Give a number.", "min_value": "A counter shows zero or more."},
    )

    def __init__(self, *args: Any, counter: Counter, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if not counter.is_resettable:
            self.fields["how"].choices = self.fields["how"].choices[1:]  # type: ignore[attr-defined]
            del self.fields["before_reset"]
