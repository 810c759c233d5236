"""Trying a file out, and importing it: all of its rows or none, and only once."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Final
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from shop.importing.columns import Kind, Problem, Record, Run, read_records
from shop.importing.files import Table, read_table
from shop.importing.fleet import COMPONENTS, COUNTERS, RIGS
from shop.importing.readings import READINGS
from shop.importing.stock import KIT_LINES, PARTS, STOCK
from shop.models import ImportedFile, Person

#: In the order in which a new shop needs them.
KINDS: Final[Mapping[str, Kind]] = MappingProxyType(
    {kind.slug: kind for kind in (RIGS, COUNTERS, COMPONENTS, PARTS, KIT_LINES, STOCK, READINGS)}
)


class ImportRefused(ValueError):
    """A file that is not imported; its text is meant for the person."""


class ImportedAlready(ImportRefused):
    """The very same file was imported before."""

    def __init__(self, earlier: ImportedFile) -> None:
        self.earlier = earlier
        super().__init__(
            f"This file was imported already, by {earlier.author} on {earlier.at:%Y-%m-%d}, as "
            f"“{earlier.name}”. Its rows count once."
        )


class RowsRefused(ImportRefused):
    """Some rows cannot be taken, so none was."""

    def __init__(self, outcome: "Outcome") -> None:
        self.outcome = outcome
        bad = len({problem.row for problem in outcome.problems})
        rows = "1 row cannot" if bad == 1 else f"{bad:,} rows cannot"
        super().__init__(f"{rows} be taken, so nothing was imported.")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of trying a file out, or of importing it."""

    kind: Kind
    table: Table
    records: tuple[Record, ...]
    problems: tuple[Problem, ...]
    #: What the rows add besides themselves, and by which rows.
    also_adds: tuple[tuple[str, tuple[int, ...]], ...]
    earlier: ImportedFile | None = None

    @property
    def good_rows(self) -> int:
        return len(self.table.rows) - len({problem.row for problem in self.problems})

    @property
    def may_be_imported(self) -> bool:
        return not self.problems and self.earlier is None


def try_out(
    *, kind: Kind, content: bytes, author: Person, now: datetime, zone: ZoneInfo
) -> Outcome:
    """Find everything that is wrong with a file, by doing what it says and undoing all of it.

    Raises FileRefused where it cannot be read at all.
    """
    table = read_table(content)
    if earlier := earlier_import(kind, table.digest):
        return Outcome(kind, table, (), (), (), earlier)
    with transaction.atomic():
        outcome = _do(kind, table, author, now, zone)
        transaction.set_rollback(True)
    return outcome


def import_file(
    *, kind: Kind, content: bytes, name: str, author: Person, now: datetime, zone: ZoneInfo
) -> ImportedFile:
    """Take in all rows of a file in one transaction.

    Raises FileRefused, ImportedAlready, RowsRefused, with nothing written.
    """
    table = read_table(content)
    with transaction.atomic():
        # First of all: of two people at once, the second waits here, and is told.
        try:
            with transaction.atomic():
                made = ImportedFile.objects.create(
                    kind=kind.slug,
                    digest=table.digest,
                    name=name[:200],
                    rows=len(table.rows),
                    author=author,
                    at=now,
                )
        except IntegrityError as twice:
            earlier = earlier_import(kind, table.digest)
            if earlier is None:
                raise
            raise ImportedAlready(earlier) from twice
        outcome = _do(kind, table, author, now, zone)
        if outcome.problems:
            raise RowsRefused(outcome)
    return made


def earlier_import(kind: Kind, digest: str) -> ImportedFile | None:
    """Return the record of a file that was imported, if it was."""
    files = ImportedFile.objects.select_related("author")
    return files.filter(kind=kind.slug, digest=digest).first()


def _do(kind: Kind, table: Table, author: Person, now: datetime, zone: ZoneInfo) -> Outcome:
    run = Run(author=author, now=now, zone=zone, digest=table.digest, kind=kind.slug)
    records = read_records(kind, table, run)
    kind.importer(kind, run, records)
    return Outcome(
        kind=kind,
        table=table,
        records=tuple(records),
        problems=tuple(sorted(run.problems, key=lambda problem: (problem.row, problem.column))),
        also_adds=tuple((what, tuple(rows)) for what, rows in run.also_adds.items()),
    )
