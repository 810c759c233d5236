"""A list taken away as a file: CSV or a workbook, the same rows in both."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal

from django.http import HttpResponse, StreamingHttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell

Value = str | int | Decimal | date | None

CSV = "csv"
XLSX = "xlsx"
KINDS = (CSV, XLSX)
XLSX_TYPE = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
#: A text that begins so is a formula to a spreadsheet that opens a CSV file.
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def file_of(
    kind: str, *, name: str, head: Sequence[str], rows: Iterable[Sequence[Value]]
) -> HttpResponse | StreamingHttpResponse:
    """Return the rows as a file to keep.

    kind: CSV (UTF-8 with a mark, dates as 2026-11-25, written as it is sent) or XLSX (dates and
    numbers as such). name: of the file, without its ending. Raises KeyError for another kind.
    """
    make: dict[str, Callable[..., HttpResponse | StreamingHttpResponse]]
    make = {CSV: _csv, XLSX: _xlsx}
    response = make[kind](head, rows)
    response["Content-Disposition"] = f'attachment; filename="{name}.{kind}"'
    return response


def _csv(head: Sequence[str], rows: Iterable[Sequence[Value]]) -> StreamingHttpResponse:
    def lines() -> Iterator[str]:
        page = io.StringIO()
        writer = csv.writer(page)
        page.write("\ufeff")  # so that a spreadsheet takes it for what it is
        writer.writerow(head)
        for row in rows:
            writer.writerow([_harmless(value) for value in row])
            if page.tell() > 65_536:
                yield page.getvalue()
                page.seek(0)
                page.truncate()
        yield page.getvalue()

    return StreamingHttpResponse(lines(), content_type="text/csv; charset=utf-8")


def _harmless(value: Value) -> Value:
    return f"'{value}" if isinstance(value, str) and value.startswith(FORMULA) else value


def _xlsx(head: Sequence[str], rows: Iterable[Sequence[Value]]) -> HttpResponse:
    book = Workbook(write_only=True)
    sheet = book.create_sheet("list")
    sheet.append(list(head))

    def cell(value: Value) -> WriteOnlyCell:
        made = WriteOnlyCell(sheet, value=value)
        if isinstance(value, str):
            made.data_type = "s"  # text that begins with "=" stays text
        return made

    for row in rows:
        sheet.append([cell(value) for value in row])
    content = io.BytesIO()
    book.save(content)
    return HttpResponse(content.getvalue(), content_type=XLSX_TYPE)
