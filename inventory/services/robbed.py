"""Kits found robbed: opened into a tray of their own, made whole again, or taken apart.

A robbed kit is pieces in a tray, and no kit: no figure of stock counts it, and no place can give
it out. What is missing from it is its lines less what the tray holds, so that the ledger alone
says it.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser

from inventory.costing import Draw, issue_value_cents
from inventory.models import Balance, Location, Lot, Movement, Part, RobbedKit
from inventory.services.kits import (
    in_date,
    lay_out,
    lines_of,
    put_together,
    recipes_of,
    take_for_kit,
)
from inventory.services.posting import (
    NotEnoughOnHand,
    NothingToMove,
    PlaceRetired,
    Posting,
    StockRefused,
    in_words,
)
from inventory.whole_kits import Way, picked, short_of

#: The source of what is moved to open, fill or clear a robbed kit; its number is the RobbedKit's.
SOURCE = "robbed"


class NotRobbedAnyMore(StockRefused):
    """A robbed kit that was made whole or taken apart meanwhile."""

    def __init__(self, robbed: RobbedKit) -> None:
        self.robbed = robbed
        super().__init__(f"This {robbed.kit} was made whole or taken apart already.")


@dataclass(frozen=True, slots=True)
class Missing:
    """So much of a part, > 0 [steps], is missing from a robbed kit."""

    part: Part
    quantity_steps: int

    def __str__(self) -> str:
        return f"{in_words(self.part, self.quantity_steps)} of {self.part}"


def rob_kit(
    *,
    kit: Part,
    location: Location,
    missing: Mapping[Part, int],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str = "",
    lot: Lot | None = None,
    taken_for: tuple[str, int] | None = None,
) -> RobbedKit:
    """One kit in a place turns out to lack pieces: open it into a tray of its own.

    missing: by part, what is not in it, > 0 [steps], no more than a kit of that lot holds.
    taken_for: the kind and number of what they were used for, such as ("sheet", 412), to which
    they are then issued; without it they are written off. lot: which kit it is; without it the
    first to expire, an expired one only where there is no other. Sent twice with one request_id,
    it counts once.
    Raises NotEnoughOnHand, NothingToMove, NotAKit, StockRefused.
    """
    posting = Posting(author, at, request_id, reason, SOURCE)
    lines_of(kit)
    if not missing:
        raise StockRefused(f"Say what is missing from {kit}.")
    for part, steps in missing.items():
        if steps <= 0:
            raise NothingToMove(part)

    def work() -> None:
        drawn = _draw_one(posting, kit, location, lot)
        robbed = _robbed_kit(posting, kit, location)
        posting.source_number = robbed.pk
        posting.take_out(kind=Movement.Kind.BREAK, part=kit, location=location, draws=[drawn])
        laid = lay_out(posting, kit=kit, drawn=drawn, to_location=robbed.tray)
        inside = {part.pk: lot for part, lot in laid}
        for part, steps in missing.items():
            held = inside.get(part.pk)
            if held is None or held.quantity_left_steps < steps:
                holds = in_words(part, held.quantity_left_steps) if held else "none"
                raise StockRefused(
                    f"{in_words(part, steps)} of {part} cannot be missing: "
                    f"one {kit.number} holds {holds}."
                )
        if taken_for is not None:
            posting.source_kind, posting.source_number = taken_for
        for part, steps in missing.items():
            held = inside[part.pk]
            value = issue_value_cents(
                value_left_cents=held.value_left_cents,
                quantity_left_steps=held.quantity_left_steps,
                quantity_steps=steps,
            )
            posting.line(
                kind=Movement.Kind.SCRAP if taken_for is None else Movement.Kind.ISSUE,
                part=part,
                location=robbed.tray,
                lot=held,
                quantity_steps=-steps,
                value_cents=-value,
            )

    posting.post(work, parts=[kit], places=[location], lots=[lot])
    return RobbedKit.objects.select_related("kit", "lies_in", "tray").get(request_id=request_id)


def missing_from(robbed: RobbedKit) -> list[Missing]:
    """What a robbed kit lacks: its lines less its tray, each by what is bought for it now."""
    return missing_from_each([robbed])[robbed.pk]


def missing_from_each(every: Iterable[RobbedKit]) -> dict[int, list[Missing]]:
    """What robbed kits lack, by their keys: in a handful of queries, however many they are."""
    every = list(every)
    recipes = recipes_of({each.kit_id: each.kit for each in every}.values(), deep=False)
    trays: dict[int, Counter[int]] = {each.tray_id: Counter() for each in every}
    for tray, part, steps in Balance.objects.filter(location__in=trays).values_list(
        "location_id", "part_id", "quantity_steps"
    ):
        trays[tray][part] += steps
    found: dict[int, list[Missing]] = {}
    for each in every:
        inside = recipes.lines[each.kit_id]
        if not inside:  # somebody took all lines out since: nothing can be said to be missing
            found[each.pk] = []
            continue
        short = short_of(each.kit_id, {each.kit_id: inside}, trays[each.tray_id], 1)
        found[each.pk] = [Missing(recipes.parts[pk], steps) for pk, steps in short.items()]
    return found


def make_whole(
    *,
    robbed: RobbedKit,
    fill_from: Location,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str = "",
) -> RobbedKit:
    """Take what a robbed kit lacks from a place, and lay the kit, whole, where it lay before.

    What its tray holds goes in first. A piece in the tray that is not needed goes to fill_from.
    Sent twice with one request_id, it counts once.
    Raises NotEnoughOnHand, NotRobbedAnyMore, PlaceRetired.
    """
    posting = Posting(author, at, request_id, reason, SOURCE, robbed.pk)
    kit, tray = robbed.kit, robbed.tray
    lines_of(kit)
    recipes = recipes_of([kit], deep=False)
    # Each part may come from the tray, then from the place: two sources of one way.
    sources = {"tray": tray, "place": fill_from}
    lines = tuple(
        tuple(
            Way(tuple((where, pk) for where in sources for pk in way.parts), way.quantity_steps)
            for way in line
        )
        for line in recipes.lines[kit.pk]
    )
    in_tray = [each.part for each in tray.balances.there().select_related("part")]
    parts = {part.pk: part for part in (*recipes.parts.values(), *in_tray) if part.pk != kit.pk}

    def work() -> None:
        row = _still_robbed(robbed)
        if row.lies_in.retired:
            raise PlaceRetired(row.lies_in)
        stock = {
            (where, pk): in_date(posting, part, place)
            for where, place in sources.items()
            for pk, part in parts.items()
        }
        taken = picked(lines, stock, 1)
        if taken is None:
            raise _lacking(posting, kit, recipes.lines[kit.pk], parts, fill_from, stock)
        needed: Counter[tuple[str, int]] = Counter()
        for each in taken:
            needed[each.part] += each.quantity_steps
        # First what is left over: the two lines of a transfer stand at 2k−1 and 2k.
        for pk, part in parts.items():
            spare = stock["tray", pk] - needed["tray", pk]
            if spare:
                _carry(posting, part, tray, fill_from, spare)
        used: list[Draw] = []
        for (where, pk), steps in needed.items():
            used += take_for_kit(posting, parts[pk], sources[where], steps)
        put_together(
            posting, kit=kit, location=row.lies_in, quantity=1, used=used, lot_code=_code_of(row)
        )
        _end(row, posting)

    posting.post(work, parts=parts.values(), places=[tray, fill_from, robbed.lies_in])
    robbed.refresh_from_db()
    return robbed


def take_apart(
    *,
    robbed: RobbedKit,
    to_location: Location,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str = "",
) -> RobbedKit:
    """Lay what is left of a robbed kit into a place, as loose parts.

    Sent twice with one request_id, it counts once; where nothing was left to lay anywhere, the
    second is told that it is done. Raises NotRobbedAnyMore, PlaceRetired.
    """
    posting = Posting(author, at, request_id, reason, SOURCE, robbed.pk)
    in_tray = [each.part for each in robbed.tray.balances.there().select_related("part")]
    parts = {part.pk: part for part in in_tray}

    def work() -> None:
        row = _still_robbed(robbed)
        if to_location.retired:
            raise PlaceRetired(to_location)
        for part in parts.values():
            if steps := in_date(posting, part, robbed.tray):
                _carry(posting, part, robbed.tray, to_location, steps)
        _end(row, posting)

    posting.post(work, parts=parts.values(), places=[robbed.tray, to_location])
    robbed.refresh_from_db()
    return robbed


def undo_robbed(kind: str, number: int, *, author: AbstractBaseUser, at: datetime) -> None:
    """Keep a robbed kit in step when its opening or its making whole is reversed.

    kind: of the movement reversed, whose source is the robbed kit of this number. Called inside
    the reversal's transaction, after the locks of lots.
    """
    robbed = RobbedKit.objects.select_for_update().get(pk=number)
    ends = kind == Movement.Kind.BREAK
    robbed.ended_by_id, robbed.ended_at = (author.pk, at) if ends else (None, None)
    robbed.save(update_fields=["ended_by", "ended_at"])
    Location.objects.filter(pk=robbed.tray_id).update(
        retired=ends, changed_by=author.pk, changed_at=at
    )


def put_back_into(
    trays: Collection[int], *, author: AbstractBaseUser, at: datetime
) -> RobbedKit | None:
    """Open robbed kits again into whose trays a reversal lays pieces.

    Returns one that was made whole, so that pieces in its tray would be seen by nobody: its making
    must be undone first. Called inside the reversal's transaction, after the locks of lots.
    """
    ended = RobbedKit.objects.select_for_update(of=("self",)).select_related("kit")
    for robbed in ended.filter(tray__in=trays, ended_at__isnull=False).order_by("pk"):
        made = Movement.objects.of_source(SOURCE, robbed.pk).filter(kind=Movement.Kind.MAKE)
        if made.filter(reversed_by__isnull=True).exists():
            return robbed
        robbed.ended_by, robbed.ended_at = None, None
        robbed.save(update_fields=["ended_by", "ended_at"])
        Location.objects.filter(pk=robbed.tray_id).update(
            retired=False, changed_by=author.pk, changed_at=at
        )
    return None


def _draw_one(posting: Posting, kit: Part, location: Location, lot: Lot | None) -> Draw:
    try:
        return posting.draw(
            part=kit, location=location, quantity_steps=1, lot=lot, expired_too=lot is not None
        )[0]
    except NotEnoughOnHand as short:
        if not short.expired_steps:
            raise
    return posting.draw(part=kit, location=location, quantity_steps=1, expired_too=True)[0]


def _robbed_kit(posting: Posting, kit: Part, location: Location) -> RobbedKit:
    """The row and its tray, which bears the row's number."""
    tray = Location.objects.create(
        code=f"robbed-{posting.request_id.hex}",
        name=f"{kit.number}, robbed",
        kind=Location.Kind.TRAY,
        changed_by_id=posting.author.pk,
        changed_at=posting.at,
    )
    robbed = RobbedKit.objects.create(
        kit=kit,
        lies_in=location,
        tray=tray,
        request_id=posting.request_id,
        found_by_id=posting.author.pk,
        found_at=posting.at,
        reason=posting.reason,
    )
    code = f"robbed-{robbed.pk:04}"
    # A person may have called a place so; then the tray keeps its long code.
    if not Location.objects.filter(code=code).exists():
        tray.code = code
        tray.save(update_fields=["code"])
    return robbed


def _still_robbed(robbed: RobbedKit) -> RobbedKit:
    """The locked row. Lots come first in the order of locks, so it is read after them."""
    row = RobbedKit.objects.select_for_update(of=("self",)).select_related("lies_in", "kit")
    found = row.get(pk=robbed.pk)
    if found.ended_at is not None:
        raise NotRobbedAnyMore(found)
    return found


def _end(row: RobbedKit, posting: Posting) -> None:
    row.ended_by_id, row.ended_at = posting.author.pk, posting.at
    row.save(update_fields=["ended_by", "ended_at"])
    Location.objects.filter(pk=row.tray_id).update(
        retired=True, changed_by=posting.author.pk, changed_at=posting.at
    )


def _code_of(robbed: RobbedKit) -> str:
    """The code of the lot that the robbed kit was opened from."""
    opened = Movement.objects.of_request(robbed.request_id).filter(part=robbed.kit_id)
    return opened.select_related("lot")[0].lot.code


def _carry(posting: Posting, part: Part, here: Location, there: Location, steps: int) -> None:
    for each in posting.draw(part=part, location=here, quantity_steps=steps):
        for place, sign in ((here, -1), (there, 1)):
            posting.line(
                kind=Movement.Kind.TRANSFER,
                part=part,
                location=place,
                lot=posting.lots[each.lot_id],
                quantity_steps=sign * each.quantity_steps,
                value_cents=0,
            )


def _lacking(
    posting: Posting,
    kit: Part,
    inside: tuple[tuple[Way, ...], ...],
    parts: Mapping[int, Part],
    fill_from: Location,
    stock: Mapping[tuple[str, int], int],
) -> NotEnoughOnHand:
    """What the place lacks to fill the kit, in the words of every shortage."""
    both = {pk: stock["tray", pk] + stock["place", pk] for pk in parts}
    short = short_of(kit.pk, {kit.pk: inside}, both, 1)
    pk = next(iter(short))
    part = parts[pk]
    there = stock["place", part.pk]
    lying = sum(posting.there(fill_from, lot) for lot in posting.lots_there(part, fill_from))
    return NotEnoughOnHand(
        part=part,
        location=fill_from,
        asked_steps=there + short[pk],
        there_steps=there,
        expired_steps=lying - there,
    )
