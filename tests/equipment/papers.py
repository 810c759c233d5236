"""PDFs as makers send them, and as nobody should, written here."""

from io import BytesIO
from typing import Any

from pypdf import PdfWriter
from pypdf.generic import DictionaryObject, NameObject, TextStringObject
from reportlab.pdfgen.canvas import Canvas


def pdf_file(*, pages: int = 2, text: str = "Torque of the packing nut") -> BytesIO:
    """A plain PDF with a line of text on each page."""
    file = BytesIO()
    canvas = Canvas(file, invariant=True)
    for number in range(pages):
        canvas.drawString(72, 720, f"{text}, page {number + 1}")
        canvas.showPage()
    canvas.save()
    return _named(file)


def rewritten(change: Any) -> BytesIO:
    """The plain PDF, changed by a function of its writer."""
    writer = PdfWriter(pdf_file())
    change(writer)
    file = BytesIO()
    writer.write(file)
    return _named(file)


def with_action(kind: str, **given: str) -> Any:
    """A change that makes the file do something when it is opened."""

    def change(writer: PdfWriter) -> None:
        action = DictionaryObject({NameObject("/S"): NameObject(kind)})
        for name, value in given.items():
            action[NameObject(f"/{name}")] = TextStringObject(value)
        writer.root_object[NameObject("/OpenAction")] = action

    return change


def with_script(writer: PdfWriter) -> None:
    """A program that runs when the file is opened, kept among its names (ISO 32000-1, 7.7.4)."""
    writer.root_object[NameObject("/Names")] = DictionaryObject(
        {NameObject("/JavaScript"): DictionaryObject()}
    )


def with_page_action(writer: PdfWriter) -> None:
    """A page that acts when it is turned to (ISO 32000-1, 12.6.3)."""
    writer.pages[1][NameObject("/AA")] = DictionaryObject()


def _named(file: BytesIO) -> BytesIO:
    file.seek(0)
    file.name = "sheet.pdf"
    return file
