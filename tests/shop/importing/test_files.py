"""Files as different programs write them."""

import io
import zipfile
from datetime import date

import pytest
from openpyxl import Workbook, load_workbook

from shop.importing import examples
from shop.importing.files import FileRefused, read_table
from shop.importing.run import KINDS

ROWS = [("Part number", "Part name"), ("SK-1", "Größe 3, “A”"), ("SK-2", "O-ring")]


def joined(delimiter: str, newline: str = "\r\n") -> str:
    quoted = [[f'"{cell}"' if delimiter in cell else cell for cell in row] for row in ROWS]
    return newline.join(delimiter.join(row) for row in quoted)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_csv_of_every_habit(encoding: str, delimiter: str, newline: str) -> None:
    table = read_table(joined(delimiter, newline).encode(encoding))
    assert table.headings == ROWS[0]
    assert [row.cells for row in table.rows] == ROWS[1:]
    assert [row.number for row in table.rows] == [2, 3]


def test_empty_rows_are_left_out_and_the_others_keep_their_numbers() -> None:
    table = read_table(b"Part number,Part name\nSK-1,a\n\n,\nSK-2,b\n")
    assert [(row.number, row.cells[0]) for row in table.rows] == [(2, "SK-1"), (5, "SK-2")]


def book(*rows: tuple[object, ...]) -> bytes:
    made, out = Workbook(), io.BytesIO()
    for row in rows:
        made.active.append(row)
    made.save(out)
    return out.getvalue()


def test_a_workbook_has_real_days_and_numbers() -> None:
    table = read_table(book(("Date", "Value"), (date(2026, 3, 4), 1250.5)))
    assert table.rows[0].cells[0].date() == date(2026, 3, 4)
    assert table.rows[0].cells[1] == 1250.5


def test_a_workbook_that_misstates_its_size_is_read_whole() -> None:
    """Some programs write the dimension A1 whatever the sheet holds."""
    inside, out = io.BytesIO(book(("Date", "Value"), ("x", "y"))), io.BytesIO()
    with zipfile.ZipFile(inside) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name.endswith("sheet1.xml"):
                assert b'<dimension ref="A1:B2"' in content
                content = content.replace(b'<dimension ref="A1:B2"', b'<dimension ref="A1"')
            new.writestr(name, content)
    assert read_table(out.getvalue()).headings == ("Date", "Value")


def test_a_workbook_that_breaks_off_in_its_rows_is_refused() -> None:
    whole = examples.EXAMPLES["xlsx"](KINDS["rigs"])
    broken = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(whole)) as old, zipfile.ZipFile(broken, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, content[:-60] if name.endswith("sheet1.xml") else content)
    with pytest.raises(FileRefused, match="This workbook cannot be read"):
        read_table(broken.getvalue())


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "The file is empty."),
        (b" \n\n", "The file is empty."),
        (b"Part number,Part name\n", "no row below them"),
        (b"\nPart number\nSK-1\n", "The headings must stand in the first row."),
        (b'Part number\n"SK-1\n', "a quotation mark is missing"),
        (b"PK\x03\x04 no workbook", "This workbook cannot be read."),
        (b"\x00\x01\x02", "neither a CSV file nor an XLSX workbook"),
        (b"a\n\x81\x8d\n", "The letters of this file cannot be read."),
        (b"a\n" * 50_002, "more than 50,000 rows"),
    ],
)
def test_files_that_cannot_be_read(content: bytes, said: str) -> None:
    with pytest.raises(FileRefused, match=said):
        read_table(content)


@pytest.mark.parametrize("slug", list(KINDS))
@pytest.mark.parametrize("way", ["csv", "xlsx"])
def test_the_empty_files_can_be_read_back(slug: str, way: str) -> None:
    kind = KINDS[slug]
    table = read_table(examples.EXAMPLES[way](kind))
    assert table.headings == tuple(column.heading for column in kind.columns)
    assert len(table.rows) == 1


def test_the_workbook_says_how_it_is_filled_in() -> None:
    made = load_workbook(io.BytesIO(examples.example_xlsx(KINDS["readings"])))
    assert made.sheetnames == ["Readings", "How to fill in"]
    told = {row[0]: row for row in made["How to fill in"].iter_rows(values_only=True)}
    assert told["Value before reset"][1:3] == (
        "may stay empty",
        "What it showed just before. Empty: nobody saw it.",
    )
