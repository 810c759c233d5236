"""Empty files to fill in: the headings, one example row, and what each column means."""

import csv
import io
from typing import Final

from openpyxl import Workbook
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter

from shop.importing import cells
from shop.importing.columns import Kind

CSV: Final = "csv"
XLSX: Final = "xlsx"
CONTENT_TYPES: Final = {
    CSV: "text/csv; charset=utf-8",
    XLSX: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


def example_csv(kind: Kind) -> bytes:
    """Return a CSV file that office programs open with its letters right."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(column.heading for column in kind.columns)
    writer.writerow(column.example for column in kind.columns)
    return out.getvalue().encode("utf-8-sig")


def example_xlsx(kind: Kind) -> bytes:
    """Return a workbook: one sheet to fill in, one that says how."""
    book = Workbook()
    rows = book.active
    assert rows is not None
    rows.title = kind.label[:31]
    rows.append([column.heading for column in kind.columns])
    rows.append(
        [
            cells.day(column.example) if column.read is cells.day and column.example
            else column.example or None
            for column in kind.columns
        ]
    )  # fmt: skip
    rows.freeze_panes = "A2"
    how = book.create_sheet("How to fill in")
    how.append(["Column", "Needed", "What it holds", "Example"])
    for column in kind.columns:
        needed = "yes" if column.is_needed else "may stay empty"
        how.append([column.heading, needed, column.help, column.example])
    how.append([])
    how.append(["Put your own rows in place of the example row. Days: 2026-03-04. Decimals: 0.5."])
    for sheet in (rows, how):
        for cell in sheet[1]:
            cell.font = Font(bold=True)
    for index, column in enumerate(kind.columns, start=1):
        width = max(len(column.heading), len(column.example)) + 4
        rows.column_dimensions[get_column_letter(index)].width = width
    for letter, width in zip("ABCD", (26, 16, 80, 22), strict=True):
        how.column_dimensions[letter].width = width
    for row in how.iter_rows(min_row=2):
        row[2].alignment = Alignment(wrap_text=True, vertical="top")
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


EXAMPLES: Final = {CSV: example_csv, XLSX: example_xlsx}
