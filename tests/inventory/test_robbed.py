"""A kit found robbed: into a tray, never counted, made whole or taken apart, the books right."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest

from inventory.models import Balance, Location, Lot, Movement, Part, RobbedKit
from inventory.services import (
    AlternateSpec,
    CannotReverse,
    KitLineSpec,
    NotAKit,
    NotEnoughOnHand,
    NothingToMove,
    NotRobbedAnyMore,
    PlaceRetired,
    StockRefused,
    issue,
    make_whole,
    missing_from,
    prove,
    reverse,
    set_kit_lines,
    take_apart,
    whole_kits,
)
from inventory.services.moving import IssueLine
from inventory.services.robbed import missing_from_each
from tests.inventory.factories import (
    AT,
    PartFactory,
    PersonFactory,
    Shelf,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf() -> Shelf:
    return Shelf()


def test_a_robbed_kit_is_pieces_in_a_tray_and_says_what_is_missing(shelf: Shelf) -> None:
    robbed = shelf.rob()
    assert (robbed.lies_in, robbed.tray.kind, robbed.ended_at) == (shelf.drawer, "tray", None)
    assert robbed.tray.code == f"robbed-{robbed.pk:04}"
    assert shelf.here(shelf.kit, shelf.drawer) == 1
    assert (shelf.here(shelf.seal, robbed.tray), shelf.here(shelf.spring, robbed.tray)) == (1, 1)
    [missing] = missing_from(robbed)
    assert str(missing) == "1 piece of seal Packing set"
    written_off = Movement.objects.get(kind="scrap")
    assert (written_off.part, written_off.quantity_steps) == (shelf.seal, -1)
    assert (written_off.source_kind, written_off.source_number) == ("robbed", robbed.pk)
    assert prove() == []


def test_no_figure_of_stock_counts_a_robbed_kit_or_its_pieces(shelf: Shelf) -> None:
    received(shelf.kit, shelf.bin, 1)
    shelf.rob(location=shelf.bin)
    for number in (shelf.kit.number, "seal", "spring"):
        part = Part.objects.with_stock(today=AT.date()).get(number=number)
        drawers = 2 if part == shelf.kit else 0
        assert (part.on_hand_steps, part.usable_steps, part.in_drawers_steps) == (0, 0, drawers)
    every = Location.objects.shop_bins() | Location.objects.drawers()
    assert whole_kits(kit=shelf.kit, places=every, today=AT.date()).whole == 2
    assert whole_kits(kit=shelf.kit, places=every, today=AT.date()).could_make == 0


def test_what_a_sheet_took_is_issued_to_it(shelf: Shelf) -> None:
    robbed = shelf.rob(taken_for=("sheet", 412))
    [spent] = Movement.objects.spent().of_source("sheet", 412)
    assert (spent.part, spent.quantity_steps) == (shelf.seal, -1)
    assert spent.value_cents < 0
    assert [each.part for each in missing_from(robbed)] == [shelf.seal]
    assert prove() == []


@pytest.mark.parametrize("act", ["rob", "make whole", "take apart"])
def test_sent_twice_it_counts_once(act: str, shelf: Shelf) -> None:
    received(shelf.seal, shelf.bin, 5, 500)
    told = who_and_when()
    robbed = shelf.rob(**told) if act == "rob" else shelf.rob()
    again = who_and_when() if act == "rob" else told
    for _ in range(2):
        if act == "rob":
            assert shelf.rob(**told) == robbed
        elif act == "make whole":
            make_whole(robbed=robbed, fill_from=shelf.bin, **again)
        else:
            take_apart(robbed=robbed, to_location=shelf.bin, **again)
    assert RobbedKit.objects.count() == 1
    assert shelf.here(shelf.kit, shelf.drawer) == (2 if act == "make whole" else 1)
    assert shelf.here(shelf.seal, shelf.bin) == {"rob": 5, "make whole": 4, "take apart": 6}[act]
    assert prove() == []


def test_made_whole_it_lies_where_it_lay_and_its_tray_is_gone(shelf: Shelf) -> None:
    cured = date(2025, 5, 1)
    received(shelf.seal, shelf.bin, 3, 300, cured_on=cured, expires_on=date(2030, 1, 1))
    robbed = shelf.rob()
    left = Balance.objects.filter(location=robbed.tray).values_list("lot", flat=True)
    worth = sum(Lot.objects.filter(pk__in=left).values_list("value_left_cents", flat=True))
    make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    made = Lot.objects.filter(part=shelf.kit).latest("pk")
    assert (made.code, made.expires_on, made.cured_on) == ("K77", date(2030, 1, 1), cured)
    assert made.value_left_cents == worth + 100
    assert shelf.here(shelf.kit, shelf.drawer) == 2
    assert shelf.here(shelf.seal, shelf.bin) == 2
    assert not Balance.objects.there().filter(location=robbed.tray).exists()
    robbed.tray.refresh_from_db()
    assert robbed.tray.retired
    assert robbed.ended_at == AT
    assert prove() == []
    with pytest.raises(NotRobbedAnyMore, match="already"):
        make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    with pytest.raises(NotRobbedAnyMore):
        take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())


def test_what_is_not_in_the_bin_is_said_and_nothing_is_half_done(shelf: Shelf) -> None:
    robbed = shelf.rob(missing={shelf.seal: 2})
    received(shelf.seal, shelf.bin, 1)
    received(shelf.seal, shelf.bin, 7, expires_on=AT.date() - timedelta(days=1))
    moved = Movement.objects.count()
    with pytest.raises(NotEnoughOnHand) as refused:
        make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    assert str(refused.value) == (
        "Not enough of seal Packing set in K-03: 2 pieces asked, 1 piece there. "
        "7 pieces more there, but expired."
    )
    assert Movement.objects.count() == moved
    robbed.refresh_from_db()
    assert robbed.ended_at is None


def test_an_alternate_and_a_successor_make_it_whole(shelf: Shelf) -> None:
    other = PartFactory(number="other-seal")
    newer = PartFactory(number="newer-spring")
    Part.objects.filter(pk=shelf.spring.pk).update(superseded_by=newer)
    lines = [
        KitLineSpec(shelf.seal, 2, (AlternateSpec(other, 1),)),
        KitLineSpec(shelf.spring, 1),
    ]
    set_kit_lines(kit=shelf.kit, lines=lines, author=PersonFactory(), at=AT)
    robbed = shelf.rob(missing={shelf.seal: 1, shelf.spring: 1})
    assert {(each.part.number, each.quantity_steps) for each in missing_from(robbed)} == {
        ("seal", 1),
        ("newer-spring", 1),
    }
    received(other, shelf.bin, 1, 50)
    received(newer, shelf.bin, 1, 70)
    make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    # The one seal that was left in the tray is of no use beside the other sort.
    assert shelf.here(shelf.seal, shelf.bin) == 1
    assert shelf.here(shelf.kit, shelf.drawer) == 2
    assert prove() == []
    again = shelf.rob(lot=Lot.objects.filter(part=shelf.kit).latest("pk"), missing={other: 1})
    assert shelf.here(newer, again.tray) == 1
    assert {each.part for each in missing_from(again)} == {shelf.seal}


def test_taken_apart_its_pieces_are_loose_parts(shelf: Shelf) -> None:
    robbed = shelf.rob()
    take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())
    assert (shelf.here(shelf.seal, shelf.bin), shelf.here(shelf.spring, shelf.bin)) == (1, 1)
    robbed.tray.refresh_from_db()
    assert robbed.tray.retired
    assert robbed.ended_at == AT
    assert prove() == []


def test_a_kit_of_which_nothing_is_left_can_be_cleared(shelf: Shelf) -> None:
    robbed = shelf.rob(missing={shelf.seal: 2, shelf.spring: 1})
    take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())
    assert robbed.ended_at == AT
    assert prove() == []


def test_a_kit_whose_lines_were_taken_out_can_still_be_cleared(shelf: Shelf) -> None:
    robbed = shelf.rob()
    set_kit_lines(kit=shelf.kit, lines=[], author=PersonFactory(), at=AT)
    assert missing_from(robbed) == []
    with pytest.raises(NotAKit):
        make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())
    assert shelf.here(shelf.spring, shelf.bin) == 1


def test_nonsense_is_refused_and_leaves_nothing(shelf: Shelf) -> None:
    before = Movement.objects.count(), Location.objects.count()
    stranger = PartFactory(number="strange")
    for missing, words in (
        ({}, "Say what is missing"),
        ({shelf.seal: 3}, "3 pieces of seal Packing set cannot be missing: one .* holds 2 pieces"),
        ({stranger: 1}, "holds none"),
    ):
        with pytest.raises(StockRefused, match=words):
            shelf.rob(missing=missing)
    with pytest.raises(NothingToMove):
        shelf.rob(missing={shelf.seal: 0})
    with pytest.raises(NotEnoughOnHand):
        shelf.rob(location=shelf.bin)
    assert (Movement.objects.count(), Location.objects.count()) == before
    assert not RobbedKit.objects.exists()
    robbed = shelf.rob()
    Location.objects.filter(pk=shelf.bin.pk).update(retired=True)
    shelf.bin.refresh_from_db()
    with pytest.raises(PlaceRetired):
        take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())


def test_an_expired_kit_is_robbed_where_there_is_no_other(shelf: Shelf) -> None:
    old = AT.date() - timedelta(days=1)
    expired = received(shelf.kit, shelf.bin, 1, 900, expires_on=old)
    robbed = shelf.rob(location=shelf.bin)
    expired.refresh_from_db()
    assert expired.quantity_left_steps == 0
    # The pieces are as old as the kit was: they come out of the tray, and make no new kit good.
    received(shelf.seal, shelf.bin, 1)
    make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    assert Lot.objects.filter(part=shelf.kit).latest("pk").expires_on == old


def test_a_robbery_taken_back_is_a_whole_kit_again(shelf: Shelf) -> None:
    received(shelf.seal, shelf.bin, 1)
    robbed = shelf.rob()
    opened = Movement.objects.filter(kind="break")[0]
    reverse(movement=opened, **who_and_when(reason="Wrong kit"))
    robbed.refresh_from_db()
    robbed.tray.refresh_from_db()
    assert robbed.ended_at == AT
    assert robbed.tray.retired
    assert shelf.here(shelf.kit, shelf.drawer) == 2
    assert prove() == []


def test_making_whole_taken_back_it_is_robbed_again(shelf: Shelf) -> None:
    received(shelf.seal, shelf.bin, 1)
    robbed = shelf.rob()
    make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    made = Movement.objects.filter(kind="make")[0]
    reverse(movement=made, **who_and_when(reason="Not yet"))
    robbed.refresh_from_db()
    robbed.tray.refresh_from_db()
    assert robbed.ended_at is None
    assert not robbed.tray.retired
    assert [each.quantity_steps for each in missing_from(robbed)] == [1]
    assert prove() == []


def test_taking_apart_taken_back_it_is_robbed_again(shelf: Shelf) -> None:
    robbed = shelf.rob()
    take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())
    for part in (shelf.seal, shelf.spring):
        carried = Movement.objects.get(kind="transfer", part=part, location=shelf.bin)
        reverse(movement=carried, **who_and_when(reason="Not yet"))
    robbed.refresh_from_db()
    robbed.tray.refresh_from_db()
    assert (robbed.ended_at, robbed.ended_by, robbed.tray.retired) == (None, None, False)
    assert [each.part for each in missing_from(robbed)] == [shelf.seal]
    take_apart(robbed=robbed, to_location=shelf.bin, **who_and_when())
    assert prove() == []


def test_nothing_is_put_back_into_the_tray_of_a_kit_made_whole(shelf: Shelf) -> None:
    """It would lie where nobody looks; with the making undone first, it may."""
    received(shelf.seal, shelf.bin, 2)
    received(shelf.spring, shelf.bin, 1)
    robbed = shelf.rob()
    [used] = issue(lines=[IssueLine(shelf.spring, robbed.tray, 1)], **who_and_when())
    make_whole(robbed=robbed, fill_from=shelf.bin, **who_and_when())
    with pytest.raises(CannotReverse, match="made whole since"):
        reverse(movement=used, **who_and_when(reason="Not used"))
    robbed.tray.refresh_from_db()
    assert robbed.tray.retired
    reverse(movement=Movement.objects.filter(kind="make")[0], **who_and_when(reason="Not yet"))
    reverse(movement=used, **who_and_when(reason="Not used"))
    assert shelf.here(shelf.spring, robbed.tray) == 1
    assert prove() == []


def test_many_are_asked_for_at_once(shelf: Shelf, django_assert_max_num_queries: Any) -> None:
    every = [shelf.rob(), shelf.rob(missing={shelf.spring: 1})]
    with django_assert_max_num_queries(6):
        found = missing_from_each(every)
    assert [[each.part.number for each in found[row.pk]] for row in every] == [["seal"], ["spring"]]


def test_a_piece_issued_from_the_tray_is_missing_too(shelf: Shelf) -> None:
    robbed = shelf.rob()
    issue(lines=[IssueLine(shelf.spring, robbed.tray, 1)], **who_and_when(request_id=uuid4()))
    assert {each.part.number for each in missing_from(robbed)} == {"seal", "spring"}
