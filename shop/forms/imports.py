"""The form that takes an import file."""

from typing import Any

from django import forms

from shop.importing.files import MOST_BYTES
from shop.importing.run import KINDS


class UploadForm(forms.Form):
    """What kind of file it is, and the file."""

    kind = forms.ChoiceField(
        label="What is in the file",
        choices=[("", "Choose"), *((kind.slug, kind.label) for kind in KINDS.values())],
        error_messages={"required": "Choose what is in the file."},
    )
    file = forms.FileField(
        label="File",
        help_text="CSV or XLSX. Nothing is written before you have seen what would be.",
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.xlsx"}),
        error_messages={"required": "Choose a file.", "empty": "The file is empty."},
    )

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file.size > MOST_BYTES:
            raise forms.ValidationError(
                f"The file is larger than {MOST_BYTES // 1024 // 1024} MB. Split it."
            )
        return file
