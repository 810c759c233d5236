"""The due list as it is read: pages by key, rows with everything they show, what was picked."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, NamedTuple

from django.db.models import Q

from equipment.models import Due
from shop import kits, rigview
from shop.models import ServiceSheet, SheetLine, Shop

ROWS_A_PAGE: Final = 50
#: Counting everything costs many times the page, so from here on it is "1,000+".
COUNTED: Final = 1000
#: A form that lists more than this was not ticked by hand.
MOST_PICKED: Final = 200
_CURSOR: Final = re.compile(r"(\d{1,4})\.(\d{4}-\d{2}-\d{2})\.(\d{1,18})")


class BadCursor(ValueError):
    """The address names no place in the list."""


@dataclass(frozen=True, slots=True)
class Cursor:
    """The row after which a page begins."""

    rig_number: int
    due_date: date
    pk: int

    def __str__(self) -> str:
        return f"{self.rig_number}.{self.due_date:%Y-%m-%d}.{self.pk}"

    @classmethod
    def of(cls, due: "ListedDue") -> "Cursor":
        return cls(due.rig_number, due.due_date, due.pk)

    @classmethod
    def read(cls, text: str) -> "Cursor":
        """Read what `str` wrote. Raises BadCursor."""
        found = _CURSOR.fullmatch(text)
        if found is None:
            raise BadCursor(text)
        try:
            return cls(int(found[1]), date.fromisoformat(found[2]), int(found[3]))
        except ValueError as error:
            raise BadCursor(text) from error


class ListedDue(NamedTuple):
    """A due row with the names it is shown by, read flat.

    A page of model instances, each with its seven neighbours, takes five times as long to build;
    the fields are those of FIELDS, in order.
    """

    pk: int
    rig_id: int
    rig_number: int
    rig_name: str
    place_side: str
    kind_name: str
    component_id: int
    tag: str
    version_id: int
    service_id: int
    service_name: str
    measure: str
    interval: Decimal
    since: Decimal
    is_at_least: bool
    rate_per_day: Decimal | None
    read_on: date
    tolerance: Decimal
    due_date: date
    late_date: date
    is_past_due: bool
    is_past_tolerance: bool
    brought_on: date
    brought_because: str

    @property
    def place(self) -> str:
        """ "Pump A"."""
        return f"{self.kind_name} {self.place_side}".strip()

    @property
    def what(self) -> str:
        """ "Pump A, packing and seals"."""
        return f"{self.place}, {self.service_name}"


FIELDS: Final = (
    "pk",
    "rig_id",
    "rig_number",
    "rig__name",
    "position__side",
    "kind__name",
    "component_id",
    "component__tag",
    "version_id",
    "version__service_id",
    "version__service__name",
    "measure",
    "interval",
    "since",
    "is_at_least",
    "rate_per_day",
    "read_on",
    "tolerance",
    "due_date",
    "late_date",
    "is_past_due",
    "is_past_tolerance",
    "brought_on",
    "brought_because",
)


@dataclass(frozen=True, slots=True)
class DueRow:
    """One line of the due list."""

    due: ListedDue
    kit: kits.Kit
    sheet: ServiceSheet | None
    state: str
    state_word: str


@dataclass(frozen=True, slots=True)
class DuePage:
    """rows: at most ROWS_A_PAGE; following: the cursor of the next page, or None on the last."""

    rows: list[DueRow]
    following: Cursor | None


def ordered(rows: Any, *, by_rig: bool, after: Cursor | None = None) -> Any:
    """Put due rows into the order of the list, from behind a cursor on.

    Each order is that of one index; the cursor's first bound repeats what the second says, since
    only a plain bound is looked up in an index.
    """
    if after is not None:
        later = Q(due_date__gt=after.due_date) | Q(due_date=after.due_date, pk__gt=after.pk)
        if by_rig:
            rows = rows.filter(rig_number__gte=after.rig_number).filter(
                Q(rig_number__gt=after.rig_number) | (Q(rig_number=after.rig_number) & later)
            )
        else:
            rows = rows.filter(due_date__gte=after.due_date).filter(later)
    return rows.order_by(*(["rig_number"] if by_rig else []), "due_date", "pk")


def fetch(
    rows: Any, *, by_rig: bool = False, after: Cursor | None = None, most: int = ROWS_A_PAGE
) -> list[ListedDue]:
    """Return the first of filtered, listed due rows behind a cursor, in one query."""
    flat = ordered(rows, by_rig=by_rig, after=after).values_list(*FIELDS)[:most]
    return [ListedDue._make(row) for row in flat]


def page_of(
    rows: Any,
    *,
    by_rig: bool,
    after: Cursor | None,
    today: date,
    shop: Shop,
    size: int = ROWS_A_PAGE,
) -> DuePage:
    """Return one page of filtered due rows."""
    found = fetch(rows, by_rig=by_rig, after=after, most=size + 1)
    more = len(found) > size
    shown = found[:size]
    return DuePage(
        rows=rows_of(shown, today=today, shop=shop),
        following=Cursor.of(shown[-1]) if more else None,
    )


def walk(rows: Any, *, by_rig: bool, today: date, shop: Shop, size: int = 500) -> Iterator[DueRow]:
    """Go through all filtered rows, a stretch at a time: for a file of the whole list."""
    after: Cursor | None = None
    while True:
        page = page_of(rows, by_rig=by_rig, after=after, today=today, shop=shop, size=size)
        yield from page.rows
        if page.following is None:
            return
        after = page.following


def rows_of(dues: Sequence[ListedDue], *, today: date, shop: Shop) -> list[DueRow]:
    """Add to due rows what stands beside them: kits, open sheets, states."""
    asked = [(due.service_id, due.rig_id) for due in dues]
    stock = kits.stock_for(asked, today=today)
    sheets = sheets_of(dues)
    rows = []
    for due, each in zip(dues, asked, strict=True):
        state, word = rigview.shown_state(
            due, today=today, warning_days=shop.warning_days, unread_days=shop.unread_days
        )
        sheet = sheets.get((due.component_id, due.version_id))
        rows.append(DueRow(due, stock.kit(each), sheet, state, word))
    return rows


def sheets_of(dues: Iterable[Due | ListedDue]) -> dict[tuple[int, int], ServiceSheet]:
    """The open sheet each of these services is on, by component and version."""
    components = {due.component_id for due in dues}
    lines = SheetLine.objects.filter(
        is_open=True, version__isnull=False, component__in=components
    ).select_related("sheet")
    return {
        (line.component_id, line.version_id): line.sheet
        for line in lines
        if line.component_id and line.version_id
    }


def capped(rows: Any) -> int:
    """Count rows, but no further than one past COUNTED."""
    return rows.order_by()[: COUNTED + 1].count()


def count_text(count: int) -> str:
    return f"{count:,}" if count <= COUNTED else f"{COUNTED:,}+"
