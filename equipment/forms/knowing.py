"""Forms in which people write down what they know, and add pictures and files."""

from typing import Any, Final

from django import forms
from django.http import QueryDict

from equipment.forms.fields import SentForm, WhyField
from equipment.forms.photos import NOT_COME, looked_at
from equipment.pdfs import MOST_MEGABYTES as MOST_OF_A_PDF
from equipment.pdfs import Pdf, PdfRefused, looks_like_pdf, read_pdf
from equipment.pictures import Picture
from equipment.services.knowing import is_pdf_stored
from equipment.services.photos import is_stored

NOTE_HELP: Final = "As you would tell whoever does it next: “torque to … per the maker’s sheet”."
NO_FILE: Final = "Choose a picture or a PDF."


class KnownForm(SentForm):
    """What every form about something known has: the words, and where it stands."""

    text = forms.CharField(label="Note", max_length=600, widget=forms.Textarea(attrs={"rows": 4}))
    document = forms.CharField(
        label="Where it stands: document",
        max_length=120,
        required=False,
        help_text="The maker’s sheet or manual by its title and number.",
    )
    page = forms.CharField(
        label="Page", max_length=40, required=False, help_text="Page, table or figure in it."
    )


class NoteForm(KnownForm):
    """A note."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["text"].help_text = NOTE_HELP


class KnownFileForm(KnownForm):
    """A picture or a PDF, told apart by what is in it; and what it shows."""

    text = forms.CharField(
        label="What it shows",
        max_length=600,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="It stands below it, and is what a person hears who cannot see it.",
    )
    file = forms.FileField(
        label="Picture or PDF",
        max_length=200,
        widget=forms.FileInput(
            attrs={"accept": "image/jpeg,image/png,image/webp,application/pdf,.pdf"}
        ),
        error_messages={
            **NOT_COME,
            "required": NO_FILE,
            "empty": "The file came empty.",
            "invalid": "The file did not come along.",
        },
        help_text=f"JPEG, PNG or WEBP up to 25 MB, or a PDF up to {MOST_OF_A_PDF} MB.",
    )
    # Whatever is in it that is no such hash is nothing: nobody types here.
    file_id = forms.Field(required=False, widget=forms.HiddenInput)
    is_printed = forms.BooleanField(
        label="Print this picture on service sheets: the exploded or schematic one", required=False
    )
    field_order = ("file", "text", "document", "page", "is_printed")

    picture: Picture | None = None
    pdf: Pdf | None = None

    def __init__(self, *args: Any, can_print: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        # One that came with an earlier try need not come again.
        self.fields["file"].required = not self.data.get(self.add_prefix("file_id"))
        if not can_print:
            del self.fields["is_printed"]

    def clean_file(self) -> Any:
        file = self.cleaned_data["file"]
        if file is None:
            return None
        if not looks_like_pdf(file):
            self.picture = looked_at(file)
            return file
        try:
            self.pdf = read_pdf(file)
        except PdfRefused as refused:
            raise forms.ValidationError(str(refused)) from refused
        return file

    def clean_file_id(self) -> str:
        """ "picture:<hash>:0" or "file:<hash>:<pages>", as `hold` wrote it; else nothing."""
        held = str(self.cleaned_data["file_id"] or "")
        kind, _, rest = held.partition(":")
        digest, _, pages = rest.partition(":")
        is_there = is_stored(digest) if kind == "picture" else is_pdf_stored(digest)
        sound = kind in ("picture", "file") and pages.isascii() and pages.isdigit()
        return held if sound and len(pages) < 5 and is_there else ""

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        if "file" not in self.errors and not cleaned.get("file") and not cleaned.get("file_id"):
            self.add_error("file", NO_FILE)
        is_file = self.pdf is not None or (
            self.picture is None and str(cleaned.get("file_id") or "").startswith("file:")
        )
        if cleaned.get("is_printed") and is_file:
            self.add_error("is_printed", "Only a picture is printed on sheets, not a PDF.")
        return cleaned

    def hold(self, kind: str, digest: str, pages: int) -> None:
        """Keep a stored file in the page that comes back: a browser does not give it back."""
        held = f"{kind}:{digest}:{pages}"
        sent = QueryDict(mutable=True)
        sent.update(self.data)
        sent[self.add_prefix("file_id")] = held
        self.data = sent
        self.cleaned_data["file_id"] = held
        self.fields["file"].required = False

    @property
    def held(self) -> tuple[str, str, int] | None:
        """Kind, hash and pages of the file that came along, or came with an earlier try."""
        held = self.cleaned_data.get("file_id") if self.is_bound else ""
        if not held:
            return None
        kind, digest, pages = held.split(":")
        return kind, digest, int(pages)


class TakeOffKnownForm(SentForm):
    """Why something known is not right any more."""

    reason = WhyField(label="Why it is not right any more")
