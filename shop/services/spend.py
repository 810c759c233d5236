"""What the rigs cost in parts: the ledger's sheet movements, by who pays, to the cent.

Spend is what left stock for a signed sheet, less what came back of it, at the cost it had. It
belongs to the rig that the sheet is charged to, or to shop stock, on the day it moved.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet, Sum

from equipment.models import Rig
from equipment.services.gallons import gallons_sprayed
from inventory.costing import issue_value_cents
from inventory.models import Location, Lot, Movement, Part
from shop.models import ServiceSheet, SheetLine, SheetPart
from shop.periods import Period
from shop.services.sheet_parts import SOURCE

NOT_SAID: Final = "work not said"
#: For a rig whose gallons are few, a figure per gallon says nothing yet.
FEW_GALLONS: Final = 100


@dataclass(slots=True)
class RigSpend:
    """One payer's parts over a period; rig None: shop stock.

    cents >= 0 unless more came back than went. [cents] gallons: of both sides. [US gal]
    went_into: component → cents, in no order.
    """

    rig: Rig | None
    cents: int = 0
    gallons: Decimal = Decimal(0)
    sheets: set[int] = field(default_factory=set)
    went_into: dict[str, int] = field(default_factory=lambda: defaultdict(int))

    @property
    def cents_per_gallon(self) -> Decimal | None:
        """None where so little was sprayed that the figure would say nothing. [cents / gal]"""
        return per_gallon(self.cents, self.gallons)

    @property
    def most_went_into(self) -> str:
        """The component that took most, and only if it is known; empty where nothing was spent."""
        known = {
            what: cents for what, cents in self.went_into.items() if cents > 0 and what != NOT_SAID
        }
        return max(known, key=lambda what: (known[what], what), default="")

    @property
    def most_share(self) -> int:
        """The part of the spend that went into it. [%]"""
        most = self.went_into.get(self.most_went_into, 0)
        return round(100 * most / self.cents) if self.cents > 0 else 0


@dataclass(frozen=True, slots=True)
class PartLine:
    """So much of a part used on a sheet, less what came back, and what it cost. [steps, cents]"""

    part: Part
    steps: int
    cents: int


@dataclass(frozen=True, slots=True)
class SheetSpend:
    """A sheet behind a figure."""

    sheet: ServiceSheet
    cents: int
    lines: tuple[PartLine, ...]


def per_gallon(cents: int, gallons: Decimal) -> Decimal | None:
    """Return spend per gallon; None below FEW_GALLONS. [cents / gal]"""
    return cents / gallons if gallons >= FEW_GALLONS else None


def sheet_movements(since: datetime, until: datetime) -> QuerySet[Movement]:
    """The ledger lines behind all spend of a period [since, until)."""
    return Movement.objects.spent().filter(source_kind=SOURCE, at__gte=since, at__lt=until)


def has_books_on(day: date, zone: ZoneInfo) -> bool:
    """Whether stock was moved before the end of a day: a comparison with it is of all its days."""
    return Movement.objects.filter(at__lt=Period(day, day).moments(zone)[1]).exists()


def spend_per_rig(*, since: datetime, until: datetime) -> list[RigSpend]:
    """Return what each rig cost over [since, until), by their numbers; shop stock last.

    Shop stock stands in the list only when something was charged to it. The sum over the list is
    the ledger's sum. The number of queries does not depend on how many rigs there are.
    """
    rigs = list(Rig.objects.order_by("number"))
    spends: dict[int | None, RigSpend] = {rig.pk: RigSpend(rig) for rig in rigs}
    stock = RigSpend(None)
    payers = _payers(since, until)
    where = _where_it_went(since, until)
    used = sheet_movements(since, until).order_by().values("source_number", "part")
    for number, part, cents in used.annotate(cents=Sum("value_cents")).values_list(
        "source_number", "part", "cents"
    ):
        spend = spends.get(payers.get(number), stock)
        spend.cents -= cents
        spend.sheets.add(number)
        spend.went_into[where.get((number, part), NOT_SAID)] -= cents
    for pk, gallons in gallons_sprayed(rigs=rigs, since=since, until=until).items():
        spends[pk].gallons = gallons
    return [*spends.values(), *([stock] if stock.sheets else [])]


def sheets_behind(*, rig: Rig | None, since: datetime, until: datetime) -> list[SheetSpend]:
    """Return the sheets behind a rig's spend (None: shop stock's), the newest first."""
    moved = sheet_movements(since, until)
    sheets = (
        ServiceSheet.objects.filter(
            charged_rig=rig, number__in=moved.order_by().values("source_number")
        )
        .select_related("rig", "component", "signed_by")
        .prefetch_related("lines__version__service", "lines__finding", "lines__position__kind")
    )
    by_sheet: dict[int, list[PartLine]] = defaultdict(list)
    numbers = {sheet.number: sheet for sheet in sheets}
    rows = list(
        moved.filter(source_number__in=numbers)
        .order_by()
        .values("source_number", "part")
        .annotate(steps=Sum("quantity_steps"), cents=Sum("value_cents"))
        .order_by("source_number", "part__number")
        .values_list("source_number", "part", "steps", "cents")
    )
    parts = Part.objects.in_bulk({part for _, part, _, _ in rows})
    for number, part, steps, cents in rows:
        if steps or cents:
            by_sheet[number].append(PartLine(parts[part], -steps, -cents))
    return [
        SheetSpend(
            numbers[number], sum(line.cents for line in by_sheet[number]), tuple(by_sheet[number])
        )
        for number in sorted(by_sheet, reverse=True)
    ]


def shelf_value() -> int:
    """Return what lies in the shop's bins and the rigs' drawers is worth. [cents]

    Of a lot that also lies in a tray or in quarantine, its share.
    """
    kept = Q(balances__location__kind__in=(Location.Kind.BIN, Location.Kind.DRAWER))
    lots = (
        Lot.objects.filter(quantity_left_steps__gt=0)
        .annotate(kept_steps=Sum("balances__quantity_steps", filter=kept))
        .values_list("value_left_cents", "quantity_left_steps", "kept_steps")
    )
    return sum(
        issue_value_cents(value_left_cents=value, quantity_left_steps=left, quantity_steps=here)
        for value, left, here in lots
        if here
    )


def _payers(since: datetime, until: datetime) -> Mapping[int, int | None]:
    numbers = sheet_movements(since, until).order_by().values("source_number")
    return dict(
        ServiceSheet.objects.filter(number__in=numbers).values_list("number", "charged_rig")
    )


def _where_it_went(since: datetime, until: datetime) -> dict[tuple[int, int], str]:
    """By sheet and part: the component whose service asked for it.

    A part that nobody planned belongs to the sheet's component where the sheet is about one only.
    """
    numbers = sheet_movements(since, until).order_by().values("source_number")
    about: dict[int, set[str]] = defaultdict(set)
    for number, kind, side in SheetLine.objects.filter(sheet__number__in=numbers).values_list(
        "sheet__number", "component__type__kind__name", "component__side"
    ):
        about[number].add(f"{kind or NOT_SAID} {side or ''}".strip())
    where: dict[tuple[int, int], str] = {}
    for number, part, kind, side in SheetPart.objects.filter(sheet__number__in=numbers).values_list(
        "sheet__number",
        "part",
        "line__component__type__kind__name",
        "line__component__side",
    ):
        only = next(iter(about[number])) if len(about[number]) == 1 else NOT_SAID
        where[number, part] = f"{kind} {side or ''}".strip() if kind else only
    return where
