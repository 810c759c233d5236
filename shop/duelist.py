"""The due list as it is read: pages by key, rows with everything they show, what was picked."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final, NamedTuple

from django.db.models import Q

from equipment.models import Due, Postponement, ServiceVersion
from equipment.services import including
from shop import kits, odds, rigview, words
from shop.models import ServiceSheet, SheetLine, Shop
from shop.services.left_undone import left_undone

ROWS_A_PAGE: Final = 50
#: Counting everything costs many times the page, so from here on it is "1,000+".
COUNTED: Final = 1000
#: A form that lists more than this was not ticked by hand.
MOST_PICKED: Final = 200
#: What the list may be sorted by; odds and kits the highest first.
DATE, RIG, ODDS, KITS = "date", "rig", "odds", "kits"
_HIGHEST_FIRST: Final = {ODDS: "odds_due_permille", KITS: "kit_cents"}
_CURSOR: Final = re.compile(r"(\d{1,15})\.(\d{4}-\d{2}-\d{2})\.(\d{1,18})")


class BadCursor(ValueError):
    """The address names no place in the list."""


@dataclass(frozen=True, slots=True)
class Cursor:
    """The row after which a page begins.

    rank: what the list is sorted by before the date: the rig's number, odds, or cents of its kits.
    """

    rank: int
    due_date: date
    pk: int

    def __str__(self) -> str:
        return f"{self.rank}.{self.due_date:%Y-%m-%d}.{self.pk}"

    @classmethod
    def of(cls, due: "ListedDue", *, sort: str) -> "Cursor":
        rank = {ODDS: due.odds_due_permille, KITS: due.kit_cents}.get(sort, due.rig_number)
        return cls(rank, due.due_date, due.pk)

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
    due_10: date
    due_90: date
    stay_on: date
    odds_due_permille: int
    odds_due_most_permille: int
    odds_late_permille: int
    postponed_to: date | None
    kit_cents: int
    labour_minutes: int
    is_hard_limit: bool

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
    "due_10",
    "due_90",
    "stay_on",
    "odds_due_permille",
    "odds_due_most_permille",
    "odds_late_permille",
    "postponed_to",
    "kit_cents",
    "version__labour_minutes",
    "version__is_hard_limit",
)


@dataclass(frozen=True, slots=True)
class DueRow:
    """One line of the due list."""

    due: ListedDue
    kit: kits.Kit
    sheet: ServiceSheet | None
    state: str
    state_word: str
    #: Before the next stay of its rig or the day asked for: as figures and in words.
    chance: odds.Chance | None
    odds: odds.Said
    #: Names of the smaller services that this one stands for, and the word on a postponement.
    includes: tuple[str, ...] = ()
    put_off: str = ""
    #: The last signed sheet that left it undone, where nobody has done it since.
    left_on: ServiceSheet | None = None

    @property
    def left_text(self) -> str:
        """ "left undone on sheet 0412"; empty where it was not."""
        return f"left undone on sheet {self.left_on}" if self.left_on else ""


@dataclass(frozen=True, slots=True)
class DuePage:
    """rows: at most ROWS_A_PAGE; following: the cursor of the next page, or None on the last."""

    rows: list[DueRow]
    following: Cursor | None


def ordered(rows: Any, *, sort: str, after: Cursor | None = None) -> Any:
    """Put due rows into the order of the list, from behind a cursor on.

    Each order is that of one index; the cursor's first bound repeats what the second says, since
    only a plain bound is looked up in an index.
    """
    if ranked := _HIGHEST_FIRST.get(sort):
        if after is not None:
            rows = rows.filter(**{f"{ranked}__lte": after.rank}).filter(
                Q(**{f"{ranked}__lt": after.rank}) | Q(**{ranked: after.rank}, pk__gt=after.pk)
            )
        return rows.order_by(f"-{ranked}", "pk")
    by_rig = sort == RIG
    if after is not None:
        later = Q(due_date__gt=after.due_date) | Q(due_date=after.due_date, pk__gt=after.pk)
        if by_rig:
            rows = rows.filter(rig_number__gte=after.rank).filter(
                Q(rig_number__gt=after.rank) | (Q(rig_number=after.rank) & later)
            )
        else:
            rows = rows.filter(due_date__gte=after.due_date).filter(later)
    return rows.order_by(*(["rig_number"] if by_rig else []), "due_date", "pk")


def fetch(
    rows: Any, *, sort: str = DATE, after: Cursor | None = None, most: int = ROWS_A_PAGE
) -> list[ListedDue]:
    """Return the first of filtered, listed due rows behind a cursor, in one query."""
    flat = ordered(rows, sort=sort, after=after).values_list(*FIELDS)[:most]
    return [ListedDue._make(row) for row in flat]


def page_of(
    rows: Any,
    *,
    sort: str,
    after: Cursor | None,
    today: date,
    shop: Shop,
    folded_to: date | None = None,
    odds_before: date | None = None,
    size: int = ROWS_A_PAGE,
) -> DuePage:
    """Return one page of filtered due rows.

    folded_to: smaller services whose bigger one falls due by this day stand in its row.
    odds_before: the day that odds are asked for; None: the next stay of each rig.
    """
    found = fetch(rows, sort=sort, after=after, most=size + 1)
    more = len(found) > size
    shown = found[:size]
    return DuePage(
        rows=rows_of(shown, today=today, shop=shop, folded_to=folded_to, odds_before=odds_before),
        following=Cursor.of(shown[-1], sort=sort) if more else None,
    )


def walk(
    rows: Any,
    *,
    sort: str,
    today: date,
    shop: Shop,
    folded_to: date | None = None,
    odds_before: date | None = None,
    size: int = 500,
) -> Iterator[DueRow]:
    """Go through all filtered rows, a stretch at a time: for a file of the whole list."""
    after: Cursor | None = None
    while True:
        page = page_of(
            rows,
            sort=sort,
            after=after,
            today=today,
            shop=shop,
            folded_to=folded_to,
            odds_before=odds_before,
            size=size,
        )
        yield from page.rows
        if page.following is None:
            return
        after = page.following


def rows_of(
    dues: Sequence[ListedDue],
    *,
    today: date,
    shop: Shop,
    folded_to: date | None = None,
    odds_before: date | None = None,
) -> list[DueRow]:
    """Add to due rows what stands beside them: kits, open sheets, states, odds."""
    asked = [(due.service_id, due.rig_id) for due in dues]
    stock = kits.stock_for(asked, today=today)
    sheets = sheets_of(dues)
    smaller = folded(dues, folded_to=folded_to) if folded_to else {}
    put_off = put_off_words(dues, today=today)
    left = left_undone((due.component_id, due.service_id) for due in dues)
    asked_odds = odds.before(dues, odds_before, zone=shop.zone) if odds_before else None
    rows = []
    for due, each in zip(dues, asked, strict=True):
        state, word = rigview.shown_state(
            due, today=today, warning_days=shop.warning_days, unread_days=shop.unread_days
        )
        sheet = sheets.get((due.component_id, due.version_id))
        chance = odds.kept(due) if asked_odds is None else asked_odds.get(due.pk)
        rows.append(
            DueRow(
                due,
                stock.kit(each),
                sheet,
                state,
                word,
                chance,
                odds.said(due, chance, today=today),
                includes=smaller.get(due.pk, ()),
                put_off=put_off.get((due.component_id, due.service_id), "")
                if due.postponed_to
                else "",
                left_on=left.get((due.component_id, due.service_id)),
            )
        )
    return rows


def folded(
    dues: Sequence[Due] | Sequence[ListedDue], *, folded_to: date
) -> dict[int, tuple[str, ...]]:
    """The smaller services that fall due by a day and are stood for by each of these rows."""
    small: dict[int, dict[int, str]] = {}
    for component, version, name in (
        Due.objects.listed()
        .filter(
            component__in={due.component_id for due in dues},
            due_date__lte=folded_to,
            bigger_date__lte=folded_to,
        )
        .order_by("due_date", "pk")
        .values_list("component", "version", "version__service__name")
    ):
        small.setdefault(component, {})[version] = name
    if not small:
        return {}
    bigger = ServiceVersion.objects.filter(
        pk__in={due.version_id for due in dues if due.component_id in small}
    )
    children = including.children_of(bigger)
    found = {}
    for due in dues:
        inside = including.reached(
            due.version_id, lambda version: (child.pk for child in children.get(version, ()))
        )
        names = [
            name for version, name in small.get(due.component_id, {}).items() if version in inside
        ]
        if names:
            found[due.pk] = tuple(names)
    return found


def put_off_words(
    dues: Sequence[Due] | Sequence[ListedDue], *, today: date
) -> dict[tuple[int, int], str]:
    """ "put off to 3 Dec by M. Harrow: waiting for the seal", by component and service."""
    components = {due.component_id for due in dues if due.postponed_to}
    if not components:
        return {}
    return {
        (row.component_id, row.service_id): (
            f"put off to {words.day(row.until, today=today)} by {row.author}: {row.reason}"
        )
        for row in Postponement.objects.standing()
        .filter(component__in=components)
        .select_related("author")
        .order_by("at", "pk")
    }


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
