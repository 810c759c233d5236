"""A file that somebody adds: a PDF as it came, once it was looked into.

No Django, no clock. A PDF is kept whole, since a maker's drawing is to be read as it was drawn;
so what would do something by itself when it is opened is refused.
"""

from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from typing import BinaryIO, Final

from pypdf import PdfReader
from pypdf.errors import PyPdfError
from pypdf.generic import DictionaryObject

#: How a PDF begins (ISO 32000-1, 7.5.2). Readers forgive what stands before it; we do not.
MAGIC: Final = b"%PDF-"
MOST_MEGABYTES: Final = 20
MOST_PAGES: Final = 500
#: Actions that only lead somewhere within the file or show a page of the web (ISO 32000-1, 12.6.4).
HARMLESS: Final = frozenset({"/GoTo", "/URI", "/Named"})
#: What pypdf raises on files that are cut off, broken or made to break it.
BROKEN: Final = (
    PyPdfError,
    OSError,
    ValueError,
    EOFError,
    IndexError,
    KeyError,
    TypeError,
    AttributeError,
    OverflowError,
    AssertionError,
    NotImplementedError,
    RecursionError,
)


class PdfRefused(ValueError):
    """A file that cannot be kept; its text is meant for the person."""


@dataclass(frozen=True, slots=True)
class Pdf:
    """A PDF ready to keep: its bytes, their hash in hexadecimal, and how many pages it has."""

    content: bytes
    digest: str
    pages: int


def looks_like_pdf(source: BinaryIO) -> bool:
    """Whether a seekable file begins as a PDF does."""
    head = source.read(len(MAGIC))
    source.seek(0)
    return head == MAGIC


def read_pdf(source: BinaryIO) -> Pdf:
    """Look into a PDF. Raises PdfRefused: not a PDF, too large, locked, or with a program in it."""
    if not looks_like_pdf(source):
        raise PdfRefused("This is no PDF that we can read.")
    content = source.read(MOST_MEGABYTES * 1024 * 1024 + 1)
    if len(content) > MOST_MEGABYTES * 1024 * 1024:
        raise PdfRefused(
            f"This PDF is larger than {MOST_MEGABYTES} MB. Keep the pages that are needed."
        )
    try:
        reader = PdfReader(BytesIO(content))
        is_locked = reader.is_encrypted
        pages = 0 if is_locked else len(reader.pages)
        acts = 0 < pages <= MOST_PAGES and _acts_by_itself(reader)
    except BROKEN as broken:
        raise PdfRefused("This PDF is broken. Print it to a new PDF, and send that.") from broken
    if is_locked:
        raise PdfRefused("This PDF is locked with a password. Print it to a new PDF.")
    if acts:
        raise PdfRefused(
            "This PDF carries a program or another file. Print it to a new PDF, and send that."
        )
    if not pages:
        raise PdfRefused("This PDF has no page.")
    if pages > MOST_PAGES:
        raise PdfRefused(f"This PDF has more than {MOST_PAGES} pages. Keep those that are needed.")
    return Pdf(content=content, digest=sha256(content).hexdigest(), pages=pages)


def _acts_by_itself(reader: PdfReader) -> bool:
    """Whether the file would do something when it is opened, or carries other files."""
    root = reader.root_object
    names = _dictionary(root.get("/Names"))
    form = _dictionary(root.get("/AcroForm"))
    if "/JavaScript" in names or "/EmbeddedFiles" in names or "/XFA" in form or "/AA" in root:
        return True
    if any("/AA" in page for page in reader.pages):
        return True
    # An array is a place to open the file at, a dictionary an action.
    opening = _dictionary(root.get("/OpenAction"))
    return bool(opening) and opening.get("/S") not in HARMLESS


def _dictionary(found: object) -> DictionaryObject:
    found = found.get_object() if hasattr(found, "get_object") else found
    return found if isinstance(found, DictionaryObject) else DictionaryObject()
