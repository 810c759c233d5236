"""An import file as headings and rows, whatever wrote it: CSV of several habits, or a workbook."""

import csv
import hashlib
import io
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from openpyxl import load_workbook

from shop.importing.cells import Cell, as_text

MOST_BYTES: Final = 20 * 1024 * 1024
MOST_ROWS: Final = 50_000
#: A workbook is packed; unpacked beyond this it is no list that a shop keeps. [bytes]
MOST_UNPACKED: Final = 400 * 1024 * 1024
MOST_COLUMNS: Final = 100
DELIMITERS: Final = ",;\t"
#: How CSV files are written: today's way, and that of older office programs.
ENCODINGS: Final = ("utf-8-sig", "cp1252")


class FileRefused(ValueError):
    """A file that cannot be read at all; its text is meant for the person."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row with something in it."""

    #: As a spreadsheet counts: the headings are row 1.
    number: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Table:
    """The first sheet of a file."""

    #: SHA-256 of the file: what it is known by.
    digest: str
    headings: tuple[str, ...]
    rows: tuple[Row, ...]


def plain(heading: str) -> str:
    """Return a heading without its notes in brackets, capitals and spaces: what it is known by."""
    return "".join(heading.partition("(")[0].casefold().split())


def digest_of(content: bytes) -> str:
    """Return the name that a file is kept and known by."""
    return hashlib.sha256(content).hexdigest()


def read_table(content: bytes) -> Table:
    """Read a CSV or XLSX file. Which one it is shows in its content, not in its name.

    Raises FileRefused.
    """
    if not content.strip():
        raise FileRefused("The file is empty.")
    if len(content) > MOST_BYTES:
        raise FileRefused(f"The file is larger than {MOST_BYTES // 1024 // 1024} MB. Split it.")
    lines = _workbook(content) if content.startswith(b"PK\x03\x04") else _csv(content)
    headings: tuple[str, ...] = ()
    rows = []
    for number, cells in lines:
        if not any(as_text(cell) for cell in cells):
            continue
        if not headings:
            if number != 1:
                raise FileRefused("The headings must stand in the first row.")
            headings = tuple(as_text(cell) for cell in cells)
        else:
            rows.append(Row(number, cells))
        if len(rows) > MOST_ROWS:
            raise FileRefused(f"The file has more than {MOST_ROWS:,} rows. Split it.")
    if not headings:
        raise FileRefused("The file is empty.")
    if not rows:
        raise FileRefused("The file has headings, and no row below them.")
    return Table(digest_of(content), headings, tuple(rows))


def _csv(content: bytes) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    typed = _decoded(content)
    if "\x00" in typed:
        raise FileRefused("This is neither a CSV file nor an XLSX workbook.")
    first_line = typed.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=first_line.count)
    reader = csv.reader(io.StringIO(typed, newline=""), delimiter=delimiter, strict=True)
    try:
        for number, cells in enumerate(reader, start=1):
            yield number, tuple(cells[:MOST_COLUMNS])
    except csv.Error as broken:
        raise FileRefused(
            f"Line {reader.line_num} cannot be read: a quotation mark is missing or too many."
        ) from broken


def _decoded(content: bytes) -> str:
    for encoding in ENCODINGS:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise FileRefused("The letters of this file cannot be read. Save it as “CSV UTF-8”.")


def _workbook(content: bytes) -> Iterator[tuple[int, tuple[Cell, ...]]]:
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as packed:
            if sum(entry.file_size for entry in packed.infolist()) > MOST_UNPACKED:
                raise FileRefused("The workbook is too large. Save its first sheet as CSV.")
        book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
        try:
            sheet = book.worksheets[0] if book.worksheets else None
            if sheet is None:
                raise FileRefused("The workbook has no sheet with rows.")
            # What some programs write about the size of a sheet is wrong; the rows count.
            sheet.reset_dimensions()
            for number, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
                yield number, tuple(cells[:MOST_COLUMNS])
        finally:
            book.close()
    except FileRefused:
        raise
    except Exception as broken:  # whatever is wrong inside, the person can only save it anew
        raise FileRefused(
            "This workbook cannot be read. Open it, and save it again as XLSX or CSV."
        ) from broken
