"""Breaking and making kits, one level at a time; and how many whole ones there are."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db.models import Sum

from inventory.costing import Draw, split_cents
from inventory.models import KitAlternate, KitLine, Location, Lot, Movement, Part
from inventory.services.posting import (
    NotEnoughOnHand,
    NothingToMove,
    PlaceRetired,
    Posting,
    StockRefused,
    day_of,
)
from inventory.services.promises import free_steps
from inventory.whole_kits import MOST_KITS, Lines, Way, how_many, picked, short_of


class NotAKit(StockRefused):
    """A part without lines cannot be broken or made."""

    def __init__(self, part: Part) -> None:
        self.part = part
        super().__init__(f"{part} is not a kit, or nobody has said yet what is in it.")


@dataclass(frozen=True, slots=True)
class WholeKits:
    """Of a kit, in some places: what lies there free and whole, and what could be made. [kits]

    short: what one more would need, part by part, in the order of their numbers. [steps]
    """

    whole: int
    could_make: int
    short: tuple[tuple[Part, int], ...]


@dataclass(frozen=True, slots=True)
class Recipes:
    """What may go into a kit and the kits in it: parts by key, and their lines as ways."""

    parts: dict[int, Part]
    lines: dict[int, Lines]


def whole_kits(*, kit: Part, places: Iterable[Location], today: date) -> WholeKits:
    """Say how many kits lie whole and free in some places, and how many more loose parts make.

    Counted is what is in date and promised to nobody; what expired, trays and quarantine are not
    (name bins or drawers). Alternates, what is bought in a part's place, and kits in the kit are
    reckoned with, as in `inventory/whole_kits.py`. Raises NotAKit.
    """
    recipes = recipes_of([kit])
    if not recipes.lines.get(kit.pk):
        raise NotAKit(kit)
    stock: Counter[int] = Counter()
    for (part, _), steps in free_steps(recipes.parts, list(places), today=today).items():
        # A place that lacks what was promised there takes nothing from another.
        stock[part] += max(0, steps)
    whole = stock.pop(kit.pk, 0)
    number = how_many(kit.pk, recipes.lines, stock)
    missing = short_of(kit.pk, recipes.lines, stock, number + 1) if number < MOST_KITS else {}
    named = [(part, missing[pk]) for pk, part in recipes.parts.items() if pk in missing]
    return WholeKits(
        whole=whole,
        could_make=number,
        short=tuple(sorted(named, key=lambda each: each[0].number)),
    )


def break_kit(
    *,
    kit: Part,
    location: Location,
    to_location: Location,
    quantity: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    lot: Lot | None = None,
    reason: str = "",
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Open kits and lay their parts into a place. Returns the kit's lines, then the parts'.

    quantity: kits, > 0. A lot that was made here gives what went into it, alternates too, where
    each of its kits got the same; any other lot gives the kit's lines as they are said today, since
    nobody knows which kit of the lot this is. Each part becomes a new lot that carries the kit's
    lot code, cure date, expiry and place in the queue. The kit's cost is shared by what the parts
    usually cost, so that the cents add up.
    Raises NotEnoughOnHand, NothingToMove, NotAKit, PlaceRetired.
    """
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)

    def work() -> None:
        if to_location.retired:
            raise PlaceRetired(to_location)
        lines_of(kit)
        # An expired kit that is named may be opened: its parts carry its use-by day along.
        draws = posting.draw(
            part=kit,
            location=location,
            quantity_steps=quantity,
            lot=lot,
            expired_too=lot is not None,
        )
        posting.take_out(kind=Movement.Kind.BREAK, part=kit, location=location, draws=draws)
        for each in draws:
            lay_out(posting, kit=kit, drawn=each, to_location=to_location)

    return posting.post(work, parts=[kit], places=[location, to_location], lots=[lot])


def make_kit(
    *,
    kit: Part,
    location: Location,
    quantity: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    lot_code: str = "",
    reason: str = "",
    source_kind: str = "hand",
    source_number: int = 0,
    source_text: str = "",
) -> list[Movement]:
    """Make kits whole from the parts in a place. Returns the parts' lines, then the kit's.

    quantity: kits, > 0. A line takes its own part, then what is bought in its place, then its
    alternates by rank; kits inside are taken whole. The kit costs what its parts cost, expires
    when the first of them does and carries the oldest cure date.
    Raises NotEnoughOnHand, NothingToMove, NotAKit, PlaceRetired.
    """
    posting = Posting(author, at, request_id, reason, source_kind, source_number, source_text)
    if quantity <= 0:
        raise NothingToMove(kit)
    if quantity > MOST_KITS:
        raise StockRefused(f"Make at most {MOST_KITS} kits at once.")
    lines_of(kit)
    recipes = recipes_of([kit], deep=False)
    inside = recipes.lines[kit.pk]
    may_go_in = [recipes.parts[pk] for pk in _keys(inside)]

    def work() -> None:
        if location.retired:
            raise PlaceRetired(location)
        stock = {part.pk: in_date(posting, part, location) for part in may_go_in}
        taken = picked(inside, stock, quantity)
        if taken is None:
            raise _short_here(posting, recipes, kit, location, stock, quantity)
        used: list[Draw] = []
        for each in taken:
            used += take_for_kit(posting, recipes.parts[each.part], location, each.quantity_steps)
        put_together(
            posting,
            kit=kit,
            location=location,
            quantity=quantity,
            used=used,
            lot_code=lot_code or f"made {day_of(at).isoformat()}",
        )

    return posting.post(work, parts=may_go_in, places=[location])


# --- what making, breaking and robbed kits share --------------------------------------------------


def lines_of(kit: Part) -> Sequence[KitLine]:
    """The lines of a kit, in the order they were said. Raises NotAKit."""
    lines = list(kit.lines.select_related("part").order_by("pk"))
    if not kit.is_kit or not lines:
        raise NotAKit(kit)
    return lines


def recipes_of(kits: Iterable[Part], *, deep: bool = True) -> Recipes:
    """What may fill the lines of kits; and, deep, of every kit that may be made for them.

    A way is a part and, step for step, whatever is bought in its place, one after the other.
    """
    waiting = {kit.pk for kit in kits}
    parts: dict[int, Part] = {kit.pk: kit for kit in kits}
    lines: dict[int, Lines] = {}
    while waiting:
        rows = list(KitLine.objects.filter(kit__in=waiting).order_by("pk"))
        alternates: dict[int, list[KitAlternate]] = {}
        for other in KitAlternate.objects.filter(line__in=rows).order_by("rank", "pk"):
            alternates.setdefault(other.line_id, []).append(other)
        named = {row.part_id for row in rows}
        named |= {other.part_id for each in alternates.values() for other in each}
        _learn(named, parts)
        found: dict[int, list[tuple[Way, ...]]] = {pk: [] for pk in waiting}
        for row in rows:
            ways = (row, *alternates.get(row.pk, ()))
            found[row.kit_id].append(
                tuple(Way(_chain(way.part_id, parts), way.quantity_steps) for way in ways)
            )
        lines |= {pk: tuple(each) for pk, each in found.items()}
        reached = {pk for each in found.values() for pk in _keys(each)}
        waiting = {pk for pk in reached if parts[pk].is_kit and pk not in lines} if deep else set()
    return Recipes(parts, lines)


def _learn(wanted: set[int], parts: dict[int, Part]) -> None:
    """Read parts that are not known yet, and what is bought in their place."""
    while missing := wanted - parts.keys():
        found = Part.objects.in_bulk(missing)
        parts |= found
        wanted = {part.superseded_by_id for part in found.values() if part.superseded_by_id}
    following = {part.superseded_by_id for part in parts.values() if part.superseded_by_id}
    if following - parts.keys():
        _learn(following, parts)


def _chain(pk: int, parts: Mapping[int, Part]) -> tuple[int, ...]:
    chain = [pk]
    while (after := parts[chain[-1]].superseded_by_id) is not None and after not in chain:
        chain.append(after)
    return tuple(chain)


def _keys(lines: Iterable[tuple[Way, ...]]) -> list[int]:
    """The parts that lines name, each once, in their order."""
    keys = [part for line in lines for way in line for part in way.parts]
    return list(dict.fromkeys(keys))


def in_date(posting: Posting, part: Part, location: Location) -> int:
    """How much of a part `Posting.draw` would take from a place. [steps]"""
    return sum(
        posting.there(location, lot)
        for lot in posting.lots_there(part, location)
        if location.holds_what_was_picked or lot.expires_on >= posting.today
    )


def _short_here(
    posting: Posting,
    recipes: Recipes,
    kit: Part,
    location: Location,
    stock: Mapping[int, int],
    quantity: int,
) -> NotEnoughOnHand:
    """The first part that is short, in the words of every shortage."""
    missing = short_of(kit.pk, {kit.pk: recipes.lines[kit.pk]}, stock, quantity)
    line = next(each for each in recipes.lines[kit.pk] if each[0].parts[-1] in missing)
    bought = line[0].parts[-1]
    part = recipes.parts[bought]
    there = sum(stock[each] for each in line[0].parts)
    lying = sum(posting.there(location, lot) for lot in posting.lots_there(part, location))
    return NotEnoughOnHand(
        part=part,
        location=location,
        asked_steps=there + missing[bought],
        there_steps=there,
        expired_steps=lying - stock[part.pk],
    )


def take_for_kit(
    posting: Posting, part: Part, location: Location, quantity_steps: int
) -> list[Draw]:
    """Take a part out of a place to make a kit of it."""
    draws = posting.draw(part=part, location=location, quantity_steps=quantity_steps)
    posting.take_out(kind=Movement.Kind.MAKE, part=part, location=location, draws=draws)
    return draws


def put_together(
    posting: Posting,
    *,
    kit: Part,
    location: Location,
    quantity: int,
    used: Sequence[Draw],
    lot_code: str,
) -> None:
    """Lay the kits made of what was drawn into a place."""
    value = sum(each.value_cents for each in used)
    lots = [posting.lots[each.lot_id] for each in used]
    cured = [each.cured_on for each in lots if each.cured_on is not None]
    made = posting.new_lot(
        part=kit,
        code=lot_code,
        quantity_steps=quantity,
        value_cents=value,
        cured_on=min(cured, default=None),
        expires_on=min(each.expires_on for each in lots),
    )
    posting.line(
        kind=Movement.Kind.MAKE,
        part=kit,
        location=location,
        lot=made,
        quantity_steps=quantity,
        value_cents=value,
    )


def contents(kit: Part, lot: Lot) -> list[tuple[Part, int]]:
    """What lies in one kit of a lot, as `break_kit` says. [steps]"""
    made = Movement.objects.filter(
        lot=lot, part=kit, kind=Movement.Kind.MAKE, quantity_steps__gt=0, reversed_by__isnull=True
    ).first()
    if made is not None:
        went_in = (
            Movement.objects.filter(
                request_id=made.request_id, kind=Movement.Kind.MAKE, quantity_steps__lt=0
            )
            .order_by()
            .values_list("part")
            .annotate(total=Sum("quantity_steps"))
        )
        totals = {pk: -total for pk, total in went_in}
        if all(total % made.quantity_steps == 0 for total in totals.values()):
            parts = Part.objects.in_bulk(totals)
            said = [line.part_id for line in kit.lines.order_by("pk")]
            order = sorted(totals, key=lambda pk: said.index(pk) if pk in said else len(said) + pk)
            return [(parts[pk], totals[pk] // made.quantity_steps) for pk in order]
    return [(line.part, line.quantity_steps) for line in lines_of(kit)]


def lay_out(
    posting: Posting, *, kit: Part, drawn: Draw, to_location: Location
) -> list[tuple[Part, Lot]]:
    """Lay what was in the kits drawn of one lot into a place; return its new lots."""
    kit_lot = posting.lots[drawn.lot_id]
    inside = contents(kit, kit_lot)
    quantities = [steps * drawn.quantity_steps for _, steps in inside]
    shares = split_cents(
        drawn.value_cents,
        [part.cost_of(steps) for (part, _), steps in zip(inside, quantities, strict=True)],
    )
    laid: list[tuple[Part, Lot]] = []
    for (part, _), steps, cents in zip(inside, quantities, shares, strict=True):
        part_lot = posting.new_lot(
            part=part,
            code=kit_lot.code,
            quantity_steps=steps,
            value_cents=cents,
            received_at=kit_lot.received_at,
            cured_on=kit_lot.cured_on,
            expires_on=kit_lot.expires_on,
        )
        posting.line(
            kind=Movement.Kind.BREAK,
            part=part,
            location=to_location,
            lot=part_lot,
            quantity_steps=steps,
            value_cents=cents,
        )
        laid.append((part, part_lot))
    return laid
