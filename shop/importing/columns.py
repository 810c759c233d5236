"""Columns in plain words, and rows as values: everything about a file but what it does."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Any, Final
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.core.exceptions import ValidationError
from django.db import transaction

from equipment.counters import ReadingRefused
from equipment.services import FittingRefused
from inventory.quantities import QuantityRefused
from inventory.services import StockRefused
from shop.importing.cells import Cell, CellRefused, as_text
from shop.importing.files import FileRefused, Table, plain
from shop.models import Person
from shop.services.drawers import DrawerRefused

#: Rows get request ids from this, the file and their number, so that a file counts once.
NAMESPACE: Final = UUID("6d0c2f0e-5a4e-4d36-9a3c-51b8b1d8f6a7")


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its heading, what it may hold, and what stands there when it is left out."""

    heading: str
    key: str
    read: Callable[[Cell], Any]
    help: str
    example: str = ""
    is_needed: bool = False
    otherwise: Any = ""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in one row."""

    row: int
    column: str
    text: str


@dataclass(frozen=True, slots=True)
class Record:
    """One row as values, by the keys of the columns."""

    row: int
    values: dict[str, Any]

    def __getitem__(self, key: str) -> Any:
        return self.values[key]


class RowRefused(ValueError):
    """A row that cannot be taken as it is; names the column to look at."""

    def __init__(self, text: str, column: str = "") -> None:
        self.column = column
        super().__init__(text)


@dataclass(slots=True)
class Run:
    """Who imports what, when; and what came of it so far."""

    author: Person
    now: datetime
    zone: ZoneInfo
    digest: str
    kind: str
    problems: list[Problem] = field(default_factory=list)
    #: What a row adds besides itself, and the rows that do: "kind Gun" → [2, 5].
    also_adds: dict[str, list[int]] = field(default_factory=dict)
    #: What earlier rows found or made, by whatever key an importer likes.
    known: dict[Any, Any] = field(default_factory=dict)

    def request_id(self, row: int, what: str = "") -> UUID:
        """Return the id of one act of one row: the same whenever the file is imported again."""
        return uuid5(NAMESPACE, f"{self.kind}/{self.digest}/{row}/{what}")

    def refuse(self, row: int, text: str, column: str = "") -> None:
        self.problems.append(Problem(row, column, text))

    def adds(self, what: str, row: int) -> None:
        self.also_adds.setdefault(what, []).append(row)


Importer = Callable[["Kind", Run, Sequence[Record]], None]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of file that can be imported."""

    slug: str
    label: str
    about: str
    columns: tuple[Column, ...]
    #: Does what the rows say; refuses rows through the run. Runs inside a transaction.
    importer: Importer

    def column(self, key: str) -> Column:
        return next(column for column in self.columns if column.key == key)


def read_records(kind: Kind, table: Table, run: Run) -> list[Record]:
    """Return the rows whose cells can all be read; the others are refused, each with its column.

    Raises FileRefused where the headings do not fit.
    """
    places = _places(kind, table.headings)
    records = []
    for row in table.rows:
        cells = {
            column.key: row.cells[place] if place < len(row.cells) else None
            for column, place in places
        }
        values, is_good = {}, True
        for column in kind.columns:
            cell = cells.get(column.key)
            if not as_text(cell):
                values[column.key] = column.otherwise
                if column.is_needed:
                    run.refuse(row.number, "This is missing.", column.heading)
                    is_good = False
                continue
            try:
                values[column.key] = column.read(cell)
            except CellRefused as refused:
                run.refuse(row.number, str(refused), column.heading)
                is_good = False
        if is_good:
            records.append(Record(row.number, values))
    return records


def _places(kind: Kind, headings: Sequence[str]) -> list[tuple[Column, int]]:
    """Match columns to their places by heading, whatever its capitals and spaces."""
    words = [plain(heading) for heading in headings]
    known = {plain(column.heading): column for column in kind.columns}
    if twice := next((h for h in headings if h and words.count(plain(h)) > 1), None):
        raise FileRefused(f"The heading “{twice}” stands there twice.")
    missing = [c.heading for c in kind.columns if c.is_needed and plain(c.heading) not in words]
    if missing:
        raise FileRefused(
            f"The column “{missing[0]}” is missing. "
            f"The headings needed are: {', '.join(c.heading for c in kind.columns if c.is_needed)}."
        )
    unknown = [h for h, p in zip(headings, words, strict=True) if p and p not in known]
    if unknown:
        raise FileRefused(
            f"“{unknown[0]}” is no heading of this kind of file. Take the column out, or rename "
            f"it to one of: {', '.join(column.heading for column in kind.columns)}."
        )
    return [(known[p], place) for place, p in enumerate(words) if p]


#: What the services say in plain words when they cannot do what a row asks.
REFUSALS: Final = (
    DrawerRefused,
    FittingRefused,
    QuantityRefused,
    ReadingRefused,
    RowRefused,
    StockRefused,
)


def attempt(kind: Kind, run: Run, row: int, act: Callable[[], object]) -> None:
    """Do what one row says; where it is refused, undo this row alone and say why."""
    try:
        with transaction.atomic():
            act()
    except ValidationError as refused:
        headings = {column.key: column.heading for column in kind.columns}
        for name, texts in getattr(refused, "message_dict", {"": refused.messages}).items():
            for said in texts:
                run.refuse(row, said, headings.get(name, ""))
    except REFUSALS as refused:
        run.refuse(row, str(refused), getattr(refused, "column", ""))


def row_by_row(do: Callable[[Kind, Run, Record], object]) -> Importer:
    """Return an importer that does one thing for each row, each on its own."""

    def importer(kind: Kind, run: Run, records: Sequence[Record]) -> None:
        for record in records:
            attempt(kind, run, record.row, partial(do, kind, run, record))

    return importer
