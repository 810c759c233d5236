"""A sheet that waits for parts says for what and since when, and is told when they have come."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from inventory.models import Part
from inventory.services import Need, reserve
from shop.models import MissingPart, Person, Shop, WaitEntry
from shop.services.clocking import clock_of, start_time
from shop.services.drafting import void_sheet
from shop.services.needs import set_need
from shop.services.refusals import SheetClosed, SheetRefused
from shop.services.waiting import Wait, go_on, wait_for_parts, waited_of, waits_of
from tests.inventory.factories import BinFactory, PartFactory, received
from tests.shop.services.conftest import Hands, later, rows_of_every_table
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db


@pytest.fixture
def clamp(world: SheetWorld) -> Part:
    """A part that the rebuild needs two of, and that is nowhere in the shop."""
    part: Part = PartFactory(number="C-1", name="hose clamp")
    set_need(service=world.rebuild.version.service, part=part, quantity_steps=2)
    return part


@pytest.fixture
def hands(clamp: Part, world: SheetWorld, technician: Person) -> Hands:
    return Hands(world.draft(), technician)


def wait(hands: Hands, missing: str = "", *parts: Part, **more: Any) -> WaitEntry:
    given = {"event_id": uuid4(), "author": hands.who, "at": NOW, "recorded_at": NOW, **more}
    return wait_for_parts(sheet=hands.sheet, missing=missing, parts=parts, **given)


def on(hands: Hands, **more: Any) -> WaitEntry:
    given = {"event_id": uuid4(), "author": hands.who, "at": NOW, "recorded_at": NOW, **more}
    return go_on(sheet=hands.sheet, **given)


def told(hands: Hands) -> Wait | None:
    return waits_of([hands.fresh()], today=TODAY).get(hands.sheet.pk)


def test_it_says_what_is_missing_since_when_and_by_whom(hands: Hands, clamp: Part) -> None:
    wait(hands, "a long hex key", clamp)
    waits = told(hands)
    assert waits is not None
    assert waits.text == "hose clamp, 2 pieces; a long hex key"
    assert (waits.since, waits.entry.author, waits.has_come) == (NOW, hands.who, False)
    assert hands.sheet.is_waiting_for_parts


def test_what_was_waited_for_stays_told(hands: Hands, clamp: Part) -> None:
    """A wait ends with going on, with the next one, or with the sheet; the last stays open."""

    def waited() -> list[tuple[str, int, int]]:
        return [
            (each.text, (each.since - NOW).seconds // 60, (each.until - NOW).seconds // 60)
            for each in waited_of(hands.fresh())
        ]

    assert waited() == []
    wait(hands, "", clamp)
    assert waited() == []
    on(hands, at=NOW + timedelta(minutes=10))
    wait(hands, "a hex key", at=NOW + timedelta(minutes=20))
    wait(hands, "a long hex key", at=NOW + timedelta(minutes=25))
    gone_on_from = [("hose clamp, 2 pieces", 0, 10), ("a hex key", 20, 25)]
    assert waited() == gone_on_from
    void_sheet(
        sheet=hands.sheet,
        reason="sold",
        author=hands.who,
        at=NOW + timedelta(minutes=50),
        request_id=uuid4(),
    )
    assert waited() == [*gone_on_from, ("a long hex key", 25, 50)]


def test_it_is_told_when_what_was_missing_has_come_in(
    hands: Hands, world: SheetWorld, clamp: Part
) -> None:
    wait(hands, "", clamp)
    for pieces, has_come in ((1, False), (1, True)):
        received(clamp, world.bin, pieces, 300)
        waits = told(hands)
        assert waits is not None
        assert waits.has_come is has_come
    on(hands)
    assert told(hands) is None
    assert not hands.sheet.is_waiting_for_parts
    # Going on looks again, so that nobody else is promised it meanwhile.
    assert hands.sheet.parts.get(part=clamp).short_steps == 0


def test_what_others_were_promised_has_not_come_in(
    hands: Hands, world: SheetWorld, clamp: Part
) -> None:
    wait(hands, "", clamp)
    received(clamp, world.bin, 2, 300)
    reserve(
        needs=[Need(part=clamp, quantity_steps=1)],
        places=[world.bin],
        source_kind="sheet",
        source_number=999,
        author=world.manager,
        at=NOW,
    )
    waits = told(hands)
    assert waits is not None
    assert not waits.has_come


def test_what_lies_in_another_rigs_drawer_has_not_come_in(hands: Hands, clamp: Part) -> None:
    wait(hands, "", clamp)
    received(clamp, BinFactory(drawer=True), 2, 300)
    waits = told(hands)
    assert waits is not None
    assert not waits.has_come


def test_what_is_only_told_in_words_stays_open(hands: Hands, world: SheetWorld) -> None:
    wait(hands, "the blue hose")
    waits = told(hands)
    assert waits is not None
    assert (waits.text, waits.has_come) == ("the blue hose", False)


def test_a_part_that_left_the_sheet_meanwhile_is_waited_for_all_the_same(
    hands: Hands, world: SheetWorld
) -> None:
    other: Part = PartFactory(number="X-1", name="spring")
    wait(hands, "", other)
    waits = told(hands)
    assert waits is not None
    assert (waits.text, waits.has_come) == ("spring", False)
    received(other, world.bin, 1, 300)
    waits = told(hands)
    assert waits is not None
    assert waits.has_come


def test_waiting_says_for_what(hands: Hands) -> None:
    before = rows_of_every_table()
    with pytest.raises(SheetRefused, match="Say what is missing"):
        wait(hands, "  ")
    with pytest.raises(SheetRefused, match="300"):
        wait(hands, "x" * 301)
    assert rows_of_every_table() == before


def test_waiting_ends_the_time_of_who_says_so(hands: Hands, shop: Shop) -> None:
    given = {"sheet": hands.sheet, "author": hands.who, "event_id": uuid4()}
    start_time(**given, **later(NOW))
    wait(hands, "a seal", **later(NOW + timedelta(minutes=20)))
    clock = clock_of(hands.who, now=NOW + timedelta(hours=1), zone=shop.zone)
    assert clock.running is None


def test_sent_twice_it_counts_once(hands: Hands, clamp: Part) -> None:
    event = uuid4()
    first = wait(hands, "", clamp, event_id=event)
    on(hands, **later(NOW + timedelta(hours=1)))
    assert wait(hands, "", clamp, event_id=event) == first
    assert told(hands) is None
    assert MissingPart.objects.count() == 1


def test_twin_without_its_id_it_waits_once_more(hands: Hands, clamp: Part) -> None:
    wait(hands, "", clamp)
    on(hands, **later(NOW + timedelta(hours=1)))
    wait(hands, "", clamp, **later(NOW + timedelta(hours=2)))
    assert told(hands) is not None


def test_an_older_word_that_comes_in_late_does_not_win(hands: Hands) -> None:
    on(hands, **later(NOW + timedelta(hours=1)))
    wait(hands, "a seal", at=NOW, recorded_at=NOW + timedelta(hours=2))
    assert told(hands) is None


def test_nothing_waits_on_a_signed_sheet(world: SheetWorld, technician: Person) -> None:
    hands = Hands(world.draft(world.oil), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=Decimal(240))
    hands.use()
    hands.sign()
    with pytest.raises(SheetClosed):
        wait(hands, "a seal")
    with pytest.raises(SheetClosed):
        on(hands)


def test_the_database_holds_what_an_entry_may_say(hands: Hands, clamp: Part) -> None:
    made = wait(hands, "", clamp)
    with pytest.raises(IntegrityError), transaction.atomic():
        MissingPart.objects.create(wait=made, part=clamp, steps=1)
    with (
        pytest.raises(IntegrityError, match="what_goes_on_misses_nothing"),
        transaction.atomic(),
    ):
        WaitEntry.objects.create(
            sheet=hands.sheet,
            goes_on=True,
            missing="a seal",
            event_id=uuid4(),
            author=hands.who,
            **later(NOW),
        )


def test_many_sheets_are_asked_about_with_few_queries(
    hands: Hands, world: SheetWorld, clamp: Part, django_assert_num_queries: Any
) -> None:
    wait(hands, "", clamp)
    sheets = [hands.fresh()]
    with django_assert_num_queries(7):
        waits_of(sheets, today=TODAY)
    with django_assert_num_queries(0):
        waits_of([], today=TODAY)
