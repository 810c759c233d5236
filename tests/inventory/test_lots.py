"""Lots that expired, lots that are used longer, and where lots went through kits."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Location, Lot, LotExtension, Movement, Part
from inventory.services import (
    IssueLine,
    LotExpired,
    NotEnoughOnHand,
    NotExtended,
    TransferLine,
    break_kit,
    extend_lot,
    issue,
    latest_until,
    make_kit,
    put_back,
    reverse,
    transfer,
)
from inventory.services.lineage import ancestors, descendants
from inventory.services.tracing import became, came_from, used_for, uses_of
from inventory.shelf_life import EXTENSION_YEARS, StorageGroup, latest_extension
from tests.inventory.factories import AT, BinFactory, PartFactory, kit_of, received, who_and_when

pytestmark = pytest.mark.django_db

TODAY = AT.date()
GONE = TODAY - timedelta(days=1)


@pytest.fixture
def part() -> Part:
    return PartFactory(number="OR-214", name="O-ring", storage_group="B")


@pytest.fixture
def shelf() -> Location:
    return BinFactory(code="K-03")


# --- expired --------------------------------------------------------------------------------------


def test_a_named_lot_that_expired_is_not_issued_until_somebody_says_why(
    part: Part, shelf: Location
) -> None:
    lot = received(part, shelf, 4, 400, lot_code="77", expires_on=GONE)
    lines = [IssueLine(part, shelf, 1, lot)]
    with pytest.raises(LotExpired, match=f"Lot 77 of OR-214 O-ring expired on {GONE}"):
        issue(lines=lines, **who_and_when())
    with pytest.raises(LotExpired):
        issue(lines=lines, expired_reason="  ", **who_and_when())
    with pytest.raises(NotEnoughOnHand, match=r"4.* more there, but expired"):
        issue(lines=[IssueLine(part, shelf, 1)], **who_and_when())
    [row] = issue(lines=lines, reason="used", expired_reason="Looked at, sound", **who_and_when())
    assert (row.lot, row.reason) == (lot, "used. Expired: Looked at, sound")
    [row] = issue(lines=[IssueLine(part, shelf, 1)], expired_reason="Sound", **who_and_when())
    assert (row.lot, row.reason) == (lot, "Expired: Sound")


def test_it_may_be_used_on_its_last_day(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 1, expires_on=TODAY)
    issue(lines=[IssueLine(part, shelf, 1, lot)], **who_and_when())


@pytest.mark.parametrize(
    ("kind", "goes"), [("bin", 1), ("quarantine", 1), ("drawer", 0), ("tray", 0)]
)
def test_what_expired_goes_to_quarantine_and_not_along(
    part: Part, shelf: Location, kind: str, goes: int
) -> None:
    lot = received(part, shelf, 1, expires_on=GONE)
    to = BinFactory() if kind == "bin" else BinFactory(**{kind: True})
    lines = [TransferLine(part, shelf, to, 1, lot)]
    if not goes:
        with pytest.raises(LotExpired):
            transfer(lines=lines, **who_and_when())
    rows = transfer(
        lines=lines, expired_reason="" if goes else "Only one there is", **who_and_when()
    )
    assert [row.quantity_steps for row in rows] == [-1, 1]
    assert {row.reason for row in rows} == {"" if goes else "Expired: Only one there is"}


def test_an_expired_kit_that_is_named_may_be_opened_and_its_parts_stay_expired(
    shelf: Location,
) -> None:
    kit, [seal] = kit_of(seal=2)
    lot = received(kit, shelf, 1, 200, expires_on=GONE)
    break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, lot=lot, **who_and_when())
    assert seal.lots.get().expires_on == GONE


# --- used longer ----------------------------------------------------------------------------------


def extend(lot: Lot, until: date, **more: Any) -> LotExtension:
    return extend_lot(lot=lot, until=until, **{"reason": "Ten looked at", **who_and_when(**more)})


@pytest.mark.parametrize(("group", "years"), [("A", 2), ("B", 3), ("C", 5)])
def test_a_rubber_is_extended_by_what_its_group_allows(
    shelf: Location, group: str, years: int
) -> None:
    """ISO 2230:2002, storage period tables: 2, 3 and 5 years more
    (tests/reference/data or ../shared/reference/shelf_life_elastomers.csv, extension_value)."""
    part = PartFactory(storage_group=group)
    lot = received(part, shelf, 1, expires_on=date(2026, 1, 31))
    last = date(2026 + years, 1, 31)
    assert latest_until(lot) == last
    with pytest.raises(NotExtended, match=f"until {last} at most"):
        extend(lot, last + timedelta(days=1))
    extend(lot, last - timedelta(days=30))
    lot.refresh_from_db()
    assert lot.expires_on == last - timedelta(days=30)
    # Counted from the day it came with: extensions do not add up.
    with pytest.raises(NotExtended):
        extend(lot, last + timedelta(days=1))
    extend(lot, last)
    assert [(each.was, each.until) for each in lot.extensions.order_by("pk")] == [
        (date(2026, 1, 31), last - timedelta(days=30)),
        (last - timedelta(days=30), last),
    ]


def test_what_keeps_by_months_asks_for_a_reason_only(shelf: Location) -> None:
    lot = received(PartFactory(keeps_months=6), shelf, 1, expires_on=GONE)
    assert latest_until(lot) is None
    with pytest.raises(NotExtended, match="looked at"):
        extend(lot, date(2040, 1, 1), reason="  ")
    row = extend(lot, date(2040, 1, 1))
    assert (row.was, row.reason) == (GONE, "Ten looked at")
    issue(lines=[IssueLine(lot.part, shelf, 1)], **who_and_when())


@pytest.mark.parametrize(
    ("until", "why"),
    [
        (lambda lot: lot.expires_on, "until .* already"),
        (lambda lot: TODAY - timedelta(days=1), "past"),
    ],
)
def test_a_day_that_helps_nobody_is_refused(
    part: Part, shelf: Location, until: Callable[[Lot], date], why: str
) -> None:
    lot = received(part, shelf, 1, expires_on=TODAY - timedelta(days=9))
    with pytest.raises(NotExtended, match=why):
        extend(lot, until(lot))
    with pytest.raises(NotExtended, match="keeps"):
        extend(received(part, shelf, 1), TODAY)
    assert not LotExtension.objects.exists()


def test_an_extension_sent_twice_counts_once(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 1, expires_on=GONE)
    told = {"request_id": uuid4()}
    first = extend(lot, TODAY, **told)
    assert extend(lot, TODAY, **told) == first
    assert LotExtension.objects.count() == 1


def test_no_extension_passes_the_last_day_there_is() -> None:
    assert latest_extension(date(9998, 1, 1), group=StorageGroup.C) == date.max
    assert set(EXTENSION_YEARS) == set(StorageGroup)


# --- where it went --------------------------------------------------------------------------------


def use(part: Part, place: Location, steps: int, sheet: int, lot: Lot | None = None) -> Movement:
    told = who_and_when(source_kind="sheet", source_number=sheet)
    return issue(lines=[IssueLine(part, place, steps, lot)], **told)[0]


def seen(lot: Lot) -> set[tuple[str, int, int, bool]]:
    return {(each.lot.code, each.source_number, each.steps, each.through) for each in uses_of(lot)}


def test_uses_are_net_of_what_came_back(part: Part, shelf: Location) -> None:
    lot = received(part, shelf, 9)
    use(part, shelf, 3, 1)
    use(part, shelf, 2, 2)
    undone = use(part, shelf, 1, 3)
    back = {"source_kind": "sheet", "part": part, "location": shelf}
    put_back(quantity_steps=1, source_number=1, **back, **who_and_when())
    put_back(quantity_steps=2, source_number=2, **back, **who_and_when())
    reverse(movement=undone, reason="no", **who_and_when())
    assert seen(lot) == {("L-1", 1, 2, False)}
    assert [(each.lot, each.steps) for each in used_for("sheet", [1, 2, 3])] == [(lot, 2)]


def test_a_lot_is_followed_through_kits_both_ways(shelf: Location) -> None:
    """A bought kit is opened, one of its seals used, the other made into a kit with a bought one;
    that kit is used."""
    kit, [seal] = kit_of(seal=2)
    bought = received(kit, shelf, 2, 2_000, lot_code="bought")
    break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, **who_and_when())
    laid_out = seal.lots.get()
    use(seal, shelf, 1, 1)
    other = received(seal, shelf, 1, 333, lot_code="other")
    make_kit(kit=kit, location=shelf, quantity=1, lot_code="made", **who_and_when())
    made = Lot.objects.get(code="made")
    use(kit, shelf, 1, 2, made)
    use(kit, shelf, 1, 3, bought)
    assert descendants(bought.pk) == {bought.pk, laid_out.pk, made.pk}
    assert ancestors(made.pk) == {bought.pk, laid_out.pk, other.pk, made.pk}
    assert seen(bought) == {
        ("bought", 3, 1, False),
        ("bought", 1, 1, True),
        ("made", 2, 1, True),
    }
    assert seen(other) == {("made", 2, 1, True)}
    assert set(came_from(made)) == {bought, laid_out, other}
    assert became(bought) == [laid_out, made]
    assert came_from(bought) == []


def test_a_kit_put_together_again_is_not_traced(shelf: Location) -> None:
    kit, [seal] = kit_of(seal=1)
    bought = received(kit, shelf, 1, 100)
    row, _ = break_kit(kit=kit, location=shelf, to_location=shelf, quantity=1, **who_and_when())
    reverse(movement=row, reason="not opened", **who_and_when())
    assert descendants(bought.pk) == {bought.pk}
    assert ancestors(seal.lots.get().pk) == {seal.lots.get().pk}


def test_each_opened_lot_goes_into_its_own_parts(shelf: Location) -> None:
    kit, [seal, spring] = kit_of(seal=2, spring=1)
    first = received(kit, shelf, 1, 100, lot_code="first")
    second = received(kit, shelf, 1, 500, lot_code="second")
    break_kit(kit=kit, location=shelf, to_location=shelf, quantity=2, **who_and_when())
    for lot in (first, second):
        assert [each.code for each in became(lot)] == [lot.code, lot.code]
        assert {each.part for each in became(lot)} == {seal, spring}
