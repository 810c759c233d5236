"""An invoice that comes late and differs: the difference goes where the parts went.

What is left of the lot bears its share and stays worth it; the rest leaves the lot again, charged
to what took the parts: to the sheet that used them, to what was scrapped or found missing, and,
through a kit opened or made, to the lots that they became and whatever took those.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.db.models import Sum

from inventory.costing import share_change, split_cents
from inventory.models import Movement
from inventory.services.lineage import Passage, descendants, passages
from inventory.services.posting import Posting, StockRefused

#: As often is begun anew when somebody opens or makes kits of the lot meanwhile.
TRIES: Final = 5


class CostStands(StockRefused):
    """A cost that cannot be changed so; its text is meant for the person."""


class _GrewMeanwhile(Exception):
    """Some of a lot went into a lot that is not locked."""


@dataclass(slots=True)
class _Taken:
    """What one line took of a lot, less what came back of it. [steps, cents], both >= 0."""

    row: Movement
    steps: int
    cents: int


def invoiced_cents(receipt: Movement) -> int:
    """Return what a receipt cost, with all that late invoices changed. [cents]"""
    changed = Movement.objects.filter(about=receipt, reversed_by__isnull=True)
    return receipt.value_cents + (changed.aggregate(total=Sum("value_cents"))["total"] or 0)


def correct_cost(
    *,
    movement: Movement,
    value_cents: int,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
    reason: str,
) -> list[Movement]:
    """Say what a receipt cost after all. Sent twice with one request_id, it counts once.

    movement: the receipt's line. value_cents: of the whole receipt, >= 0, whatever was said
    before. The first line written is about the receipt and bears the whole difference; each other
    takes a share out of a lot, about the movement that took those parts and with its source, or
    carries it into the lot that they became. Shares go by quantity, by the cent, and no lot or
    issue comes to cost less than nothing. What was put back counts as not taken.
    Raises CostStands for anything but a receipt that stands, below zero, where it costs that much
    already, and where the lot is being opened or made into kits at this moment.
    """
    if value_cents < 0:
        raise CostStands("What it cost cannot be below zero.")
    if movement.kind != Movement.Kind.RECEIPT:
        raise CostStands("Only a receipt has an invoice.")
    posting = Posting(author, at, request_id, reason)

    def work() -> None:
        if Movement.objects.filter(reverses=movement).exists():
            raise CostStands("This receipt was reversed: there is nothing left to correct.")
        difference = value_cents - invoiced_cents(movement)
        if difference == 0:
            raise CostStands("It costs that much already.")
        _spread(posting, movement, difference)

    for _ in range(TRIES):
        try:
            return posting.post(work, parts=(), places=(), lots=descendants(movement.lot_id))
        except _GrewMeanwhile:
            posting = Posting(author, at, request_id, reason)
    raise CostStands(f"{movement.lot} is being opened or made into kits just now. Send it again.")


def _spread(posting: Posting, receipt: Movement, difference: int) -> None:
    """Write the change lot by lot. A lot is older than those it became: keys are the order."""
    coming: dict[int, tuple[Movement, int]] = {receipt.lot_id: (receipt, difference)}
    onward: dict[int, Passage] = {each.out.pk: each for each in passages(posting.lots)}
    if any(row.lot_id not in posting.lots for each in onward.values() for row in each.into):
        raise _GrewMeanwhile
    while coming:
        about, cents = coming.pop(min(coming))
        if not cents:
            continue
        lot = posting.lots[about.lot_id]
        taken = [each for each in _taken(lot.pk) if each.steps]
        shares = share_change(
            cents,
            [lot.quantity_left_steps, *(each.steps for each in taken)],
            [lot.value_left_cents, *(each.cents for each in taken)],
        )[1:]
        _change(posting, about, cents)
        for each, share in zip(taken, shares, strict=True):
            if not share:
                continue
            _change(posting, each.row, -share)
            if each.row.pk in onward:
                into = onward[each.row.pk].into
                for row, part in zip(into, _onward(into, share), strict=True):
                    before = coming.get(row.lot_id, (row, 0))[1]
                    coming[row.lot_id] = (row, before + part)


def _change(posting: Posting, about: Movement, cents: int) -> None:
    posting.line(
        kind=Movement.Kind.COST,
        part=about.part,
        location=about.location,
        lot=posting.lots[about.lot_id],
        quantity_steps=0,
        value_cents=cents,
        about=about,
    )


def _onward(into: tuple[Movement, ...], cents: int) -> list[int]:
    """A share of a kit's cost, over the parts laid out of it: as they cost when it was opened."""
    worth = [max(0, invoiced_cents(row)) for row in into]
    if not any(worth):
        return split_cents(cents, worth)
    return share_change(cents, worth, worth)


def _taken(lot: int) -> list[_Taken]:
    """What each line took of a lot, with its cost as changed so far, less what came back."""
    rows = list(
        Movement.objects.filter(lot=lot, reversed_by__isnull=True)
        .exclude(kind__in=(Movement.Kind.TRANSFER, Movement.Kind.REVERSAL))
        .select_related("part", "location")
        .order_by("pk")
    )
    changed: dict[int, int] = defaultdict(int)
    for row in rows:
        if row.about_id is not None:
            changed[row.about_id] += row.value_cents
    taken = [
        _Taken(row, -row.quantity_steps, -row.value_cents - changed[row.pk])
        for row in rows
        if row.quantity_steps < 0
    ]
    for source in {(row.source_kind, row.source_number) for row in rows}:
        issues = [
            each
            for each in taken
            if each.row.kind == Movement.Kind.ISSUE
            and (each.row.source_kind, each.row.source_number) == source
        ]
        back = [
            row
            for row in rows
            if row.kind == Movement.Kind.RETURN and (row.source_kind, row.source_number) == source
        ]
        if back:
            _take_back(issues, back)
    return taken


def _take_back(issues: list[_Taken], back: Iterable[Movement]) -> None:
    """Less what was put back for the same source: the quantity of the latest issues first.

    What the issues cost together is then shared by what is left of each: one source, one cost.
    """
    steps = cents = 0
    for row in back:
        steps += row.quantity_steps
        cents += row.value_cents
    cost = sum(each.cents for each in issues) - cents
    for each in reversed(issues):
        less = min(steps, each.steps)
        each.steps -= less
        steps -= less
    if any(each.steps for each in issues):
        for each, share in zip(
            issues, split_cents(cost, [each.steps for each in issues]), strict=True
        ):
            each.cents = share
