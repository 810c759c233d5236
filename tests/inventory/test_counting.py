"""Counting a place: a difference is against the books at the moment of entry, and posted once."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.models import (
    Count,
    CountLine,
    Location,
    Movement,
    Part,
    RobbedKit,
    StockClass,
)
from inventory.services import (
    IssueLine,
    StockRefused,
    TransferLine,
    issue,
    prove,
    receive,
    transfer,
)
from inventory.services.counting import (
    EVERY_DAYS,
    CountClosed,
    CountedAlready,
    EnteredMeanwhile,
    NotEntered,
    approve_count,
    drop_count,
    due_for_count,
    enter_as_booked,
    enter_counted,
    find_robbed,
    finish_count,
    is_strange,
    not_entered,
    places_to_count,
    recount,
    start_count,
    variances,
)
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    in_place,
    kit_of,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db


def begun(place: Location, kind: str = "cycle", **more: Any) -> Count:
    return start_count(location=place, kind=kind, **who_and_when(**more))


def entered(count: Count, part: Part, steps: int) -> Any:
    return enter_counted(
        count=count,
        part=part,
        counted_steps=steps,
        author=PersonFactory(),
        at=AT,
        event_id=uuid4(),
    )


def finished(count: Count, *none_of: Part) -> Count:
    return finish_count(count=count, none_of=none_of, author=PersonFactory(), at=AT)


def approved(count: Count) -> list[Movement]:
    return approve_count(count=count, author=PersonFactory(), at=AT)


def used(part: Part, place: Location, steps: int) -> None:
    issue(lines=[IssueLine(part, place, steps)], **who_and_when())


def test_what_is_issued_after_the_entry_is_no_difference() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 10, 10_000)
    count = begun(place)
    entered(count, part, 8)
    used(part, place, 3)
    (row,) = approved(finished(count))
    assert (row.kind, row.quantity_steps, row.value_cents) == ("count", -2, -2_000)
    assert (row.source_kind, row.source_number) == ("count", count.number)
    assert in_place(part, place) == 5
    assert prove() == []


def test_what_lies_on_a_tray_is_not_counted_in_the_bin() -> None:
    kit, _ = kit_of(seal=2)
    place, tray = BinFactory(), BinFactory(tray=True)
    received(kit, place, 4, 4_000)
    count = begun(place)
    transfer(lines=[TransferLine(kit, place, tray, 1)], **who_and_when())
    entered(count, kit, 3)
    used(kit, tray, 1)
    assert approved(finished(count)) == []
    assert (in_place(kit, place), in_place(kit, tray)) == (3, 0)
    assert prove() == []


def test_a_kit_taken_to_a_tray_after_its_entry_is_not_missed() -> None:
    kit, _ = kit_of(seal=2)
    place, tray = BinFactory(), BinFactory(tray=True)
    received(kit, place, 4, 4_000)
    count = begun(place)
    entered(count, kit, 4)
    transfer(lines=[TransferLine(kit, place, tray, 1)], **who_and_when())
    assert approved(finished(count)) == []
    assert (in_place(kit, place), in_place(kit, tray)) == (3, 1)
    assert prove() == []


def test_a_shortage_takes_what_expires_first_and_says_its_value_before() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 3, 300, lot_code="late", expires_on=date(2028, 1, 1))
    received(part, place, 2, 1_000, lot_code="soon", expires_on=date(2026, 6, 1))
    count = begun(place)
    entered(count, part, 2)
    finished(count)
    (variance,) = variances(count)
    assert (variance.line.difference_steps, variance.value_cents) == (-3, -1_100)
    rows = approved(count)
    assert [(row.lot.code, row.quantity_steps) for row in rows] == [("soon", -2), ("late", -1)]
    assert sum(row.value_cents for row in rows) == variance.value_cents
    assert prove() == []


def test_what_is_found_is_worth_as_the_rest_of_its_lot_or_as_usual() -> None:
    part, other, place = PartFactory(), PartFactory(usual_cost_cents=700), BinFactory()
    received(part, place, 4, 1_000)
    count = begun(place)
    entered(count, part, 5)
    entered(count, other, 2)  # unknown there until now
    finished(count)
    values = {each.line.part_id: each.value_cents for each in variances(count)}
    assert values == {part.pk: 250, other.pk: 1_400}
    assert {row.part_id: row.value_cents for row in approved(count)} == values
    assert (in_place(part, place), in_place(other, place)) == (5, 2)
    assert prove() == []


def test_a_shortage_that_is_no_longer_there_is_refused_and_nothing_is_posted() -> None:
    part, other, place = PartFactory(number="A-1"), PartFactory(number="B-1"), BinFactory()
    received(part, place, 3, 300)
    received(other, place, 5, 500)
    count = begun(place)
    entered(count, part, 4)
    entered(count, other, 1)
    used(other, place, 3)
    finished(count)
    assert [each.value_cents for each in variances(count)] == [100, None]
    before = Movement.objects.count()
    with pytest.raises(StockRefused, match="Have it counted again"):
        approved(count)
    count.refresh_from_db()
    assert (Movement.objects.count(), count.state) == (before, Count.State.COUNTED)
    recount(count=count, parts=[other])
    entered(count, other, 2)
    approved(finished(count))
    assert (in_place(part, place), in_place(other, place)) == (4, 2)
    assert prove() == []


def test_entered_again_the_new_figure_and_the_new_books_stand() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 10, 1_000)
    count = begun(place)
    entered(count, part, 3)
    used(part, place, 4)
    line = entered(count, part, 6)
    assert count.lines.get() == line
    assert (line.counted_steps, line.books_steps) == (6, 6)


def test_each_thing_sent_twice_counts_once() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 10, 1_000)
    sent = {"location": place, "kind": "cycle", **who_and_when()}
    count = start_count(**sent)
    assert start_count(**sent) == count
    entry = {"count": count, "part": part, "author": PersonFactory(), "at": AT}
    event = uuid4()
    first = enter_counted(**entry, counted_steps=9, event_id=event)
    used(part, place, 1)
    again = enter_counted(**entry, counted_steps=9, event_id=event)
    assert (first.pk, first.books_steps) == (again.pk, again.books_steps)
    finished(count)
    finished(count)
    assert enter_counted(**entry, counted_steps=9, event_id=event) == first  # heard before
    rows = approved(count)
    assert approved(count) == rows
    assert in_place(part, place) == 8
    assert prove() == []


def test_a_replaced_figure_sent_again_late_does_not_win() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 10, 1_000)
    count, who = begun(place), PersonFactory()

    def send(steps: int, event: Any, *, drawn: int, at: int) -> CountLine:
        drawn_at, now = (AT + timedelta(minutes=each) for each in (drawn, at))
        given = {"count": count, "part": part, "author": who, "at": now, "event_id": event}
        return enter_counted(counted_steps=steps, drawn_at=drawn_at, **given)

    first, second = uuid4(), uuid4()
    send(3, first, drawn=0, at=1)
    send(5, second, drawn=1, at=2)
    with pytest.raises(EnteredMeanwhile, match="entered 5 pieces"):
        send(3, first, drawn=0, at=3)
    with pytest.raises(EnteredMeanwhile):  # another's page, which did not show it
        send(4, uuid4(), drawn=1, at=3)
    with pytest.raises(EnteredMeanwhile):  # the page went back and sent another figure
        send(6, second, drawn=1, at=3)
    assert send(5, second, drawn=1, at=9).counted_at == AT + timedelta(minutes=2)
    assert count.lines.get().counted_steps == 5
    send(4, uuid4(), drawn=3, at=4)
    assert count.lines.get().counted_steps == 4


def test_one_id_in_two_counts_is_no_second_entry() -> None:
    part, event = PartFactory(), uuid4()
    counts = [begun(BinFactory()), begun(BinFactory())]
    sent = {"part": part, "counted_steps": 2, "author": PersonFactory(), "at": AT}
    enter_counted(count=counts[0], event_id=event, **sent)
    with pytest.raises(EnteredMeanwhile):
        enter_counted(count=counts[1], event_id=event, **sent)
    assert not counts[1].lines.exists()


def test_all_there_means_what_the_books_have_now_and_is_no_word_of_a_blind_count() -> None:
    part, place = PartFactory(), BinFactory(drawer=True)
    received(part, place, 5, 500)
    told = {"part": part, "counted_steps": None, "author": PersonFactory(), "at": AT}
    check, event = begun(place, "drawer"), uuid4()
    entered(check, part, 4)
    used(part, place, 2)  # since the page was drawn
    line = enter_counted(count=check, event_id=event, **told)
    assert enter_counted(count=check, event_id=event, **told) == line
    assert (line.counted_steps, line.books_steps) == (3, 3)
    drop_count(count=check, author=PersonFactory(), at=AT)
    with pytest.raises(StockRefused, match="blind"):
        enter_counted(count=begun(place), event_id=uuid4(), **told)


def test_a_kit_found_robbed_is_neither_missed_nor_counted_twice() -> None:
    """Two in the drawer: one whole entered, then the other robbed. One whole is what lies there."""
    kit, (seal, _) = kit_of(seal=2, spring=1)
    drawer = BinFactory(drawer=True)
    received(kit, drawer, 2, 2_000)
    check = begun(drawer, "drawer")
    entered(check, kit, 1)
    found = {"count": check, "kit": kit, "missing": {seal: 1}, **who_and_when()}
    robbed = find_robbed(**found)
    assert not_entered(check) == [kit]
    later = AT + timedelta(minutes=1)
    who = PersonFactory()
    enter_counted(count=check, part=kit, counted_steps=None, author=who, at=later, event_id=uuid4())
    assert find_robbed(**found) == robbed
    assert approved(finished(check)) == []
    assert in_place(kit, drawer) == 1
    assert find_robbed(**found) == robbed  # heard before
    with pytest.raises(CountClosed):
        find_robbed(**{**found, "request_id": uuid4()})
    assert RobbedKit.objects.count() == 1
    assert prove() == []


def test_an_issue_while_a_kit_is_on_a_tray_and_a_count_goes_on() -> None:
    """Each part is compared with the books of its own moment, whatever moved before or after."""
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    place, tray, drawer = BinFactory(), BinFactory(tray=True), BinFactory(drawer=True)
    received(kit, place, 4, 4_000)
    received(seal, place, 10, 1_000)
    received(spring, place, 6, 600)
    count = begun(place)
    transfer(lines=[TransferLine(kit, place, tray, 1)], **who_and_when())
    entered(count, seal, 9)  # one is missing
    used(seal, place, 3)
    entered(count, kit, 3)  # the fourth is on the tray
    used(kit, tray, 1)
    transfer(lines=[TransferLine(kit, place, tray, 1)], **who_and_when())
    entered(count, spring, 7)  # one was found
    transfer(lines=[TransferLine(spring, place, drawer, 2)], **who_and_when())
    received(seal, place, 5, 500)
    rows = approved(finished(count))
    assert {row.part_id: row.quantity_steps for row in rows} == {seal.pk: -1, spring.pk: 1}
    assert [in_place(part, place) for part in (kit, seal, spring)] == [2, 11, 5]
    assert [in_place(kit, tray), in_place(spring, drawer)] == [1, 2]
    assert prove() == []


def test_a_place_is_counted_once_at_a_time_and_counts_are_numbered() -> None:
    place = BinFactory(code="K-03")
    first = begun(place)
    with pytest.raises(CountedAlready, match=f"already: count {first.number}"):
        begun(place)
    drop_count(count=first, author=PersonFactory(), at=AT)
    assert begun(place).number == first.number + 1


def test_trays_and_retired_places_are_not_counted() -> None:
    with pytest.raises(StockRefused, match="is a tray"):
        begun(BinFactory(tray=True))
    with pytest.raises(StockRefused, match="retired"):
        begun(BinFactory(retired=True))


def test_what_nobody_entered_is_asked_about_and_then_none() -> None:
    part, other, place = PartFactory(), PartFactory(), BinFactory()
    received(part, place, 2, 200)
    received(other, place, 3, 300)
    count = begun(place)
    entered(count, part, 2)
    with pytest.raises(NotEntered) as asked:
        finished(count)
    assert asked.value.parts == [other]
    assert not count.lines.filter(part=other).exists()
    approved(finished(count, other))
    assert in_place(other, place) == 0
    assert prove() == []


def test_what_came_in_since_the_question_is_asked_about_too() -> None:
    part, late, place = PartFactory(), PartFactory(), BinFactory()
    received(part, place, 2, 200)
    count = begun(place)
    received(late, place, 3, 300)
    with pytest.raises(NotEntered) as asked:
        finished(count, part)
    assert asked.value.parts == [late]
    assert not count.lines.exists()  # nothing half-written


def test_only_what_is_open_is_entered_and_only_what_is_finished_is_approved() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 2, 200)
    count = begun(place)
    entered(count, part, 1)
    with pytest.raises(CountClosed, match="still being counted"):
        approved(count)
    finished(count)
    with pytest.raises(CountClosed, match="waits for approval"):
        entered(count, part, 2)
    drop_count(count=count, author=PersonFactory(), at=AT)
    with pytest.raises(CountClosed, match="was dropped"):
        approved(count)
    assert in_place(part, place) == 2


def test_who_approves_approves_what_was_looked_at() -> None:
    part, place = PartFactory(), BinFactory()
    received(part, place, 5, 500)
    count = begun(place)
    entered(count, part, 1)
    seen = finished(count).counted_at
    recount(count=count, parts=[part])
    entered(count, part, 4)
    finish_count(count=count, none_of=(), author=PersonFactory(), at=AT + timedelta(minutes=5))
    with pytest.raises(StockRefused, match="counted anew"):
        approve_count(count=count, author=PersonFactory(), at=AT, seen=seen)
    assert in_place(part, place) == 5


def test_below_zero_is_refused() -> None:
    part, place = PartFactory(), BinFactory()
    count = begun(place)
    with pytest.raises(StockRefused, match="below zero"):
        entered(count, part, -1)


def test_a_drawer_check_takes_the_rest_as_the_books_have_it_and_a_count_does_not() -> None:
    part, other, place = PartFactory(), PartFactory(), BinFactory(drawer=True)
    received(part, place, 2, 200)
    received(other, place, 3, 300)
    check = begun(place, "drawer")
    entered(check, part, 1)
    enter_as_booked(count=check, parts=[part, other], author=PersonFactory(), at=AT)
    lines = dict(check.lines.values_list("part", "counted_steps"))
    assert lines == {part.pk: 1, other.pk: 3}
    drop_count(count=check, author=PersonFactory(), at=AT)
    with pytest.raises(StockRefused, match="blind"):
        enter_as_booked(count=begun(place), parts=[part], author=PersonFactory(), at=AT)


@pytest.mark.parametrize(
    ("counted", "books", "strange"),
    [(100, 0, False), (101, 0, True), (101, 11, False), (111, 11, True), (0, 500, False)],
)
def test_ten_times_the_books_and_above_a_hundred_is_asked_about(
    counted: int, books: int, strange: bool
) -> None:
    assert is_strange(PartFactory(), counted_steps=counted, books_steps=books) is strange


@pytest.mark.parametrize("days", [("A", 30), ("B", 90), ("C", 365)])
def test_a_class_is_counted_every_so_many_days(days: tuple[str, int]) -> None:
    # common practice, no source
    today = date(2026, 3, 2)
    letter, every = days
    assert due_for_count(None, letter, EVERY_DAYS, today) == today
    assert due_for_count(today, letter, EVERY_DAYS, today) == today + timedelta(days=every)
    with pytest.raises(ValueError, match="no value class"):
        due_for_count(None, "D", EVERY_DAYS, today)


@given(
    st.dates(date(2000, 1, 1), date(2100, 1, 1)),
    st.integers(1, 900),
    st.integers(1, 900),
)
def test_a_class_counted_more_often_is_never_due_later(last: date, often: int, more: int) -> None:
    every = {"A": often, "B": often + more}
    dues = [due_for_count(last, letter, every, last) for letter in "AB"]
    assert dues[0] < dues[1]


def test_places_are_due_by_their_dearest_part() -> None:
    cheap, dear = PartFactory(usual_cost_cents=1), PartFactory(usual_cost_cents=90_000)
    place, store = BinFactory(code="A-1"), BinFactory(code="B-1")
    received(cheap, place, 9)
    received(cheap, store, 9)
    received(dear, store, 9)
    used(dear, store, 1)
    used(cheap, store, 1)
    count = begun(store)
    entered(count, cheap, 8)
    entered(count, dear, 8)
    approved(finished(count))
    today = AT.date()

    def rows() -> list[tuple[str, str, date]]:
        found = places_to_count(today=today, since=AT - timedelta(days=365))
        return [(row.location.code, row.value_class, row.due_on) for row in found]

    assert rows() == [("A-1", "C", today), ("B-1", "A", today + timedelta(days=30))]
    StockClass.objects.create(
        letter="A",
        target_percent=98,
        count_every_days=7,
        changed_by=PersonFactory(),
        changed_at=AT,
    )
    assert rows()[1] == ("B-1", "A", today + timedelta(days=7))


STEPS = st.lists(
    st.tuples(st.sampled_from(["receive", "issue", "enter", "again"]), st.integers(0, 6)),
    max_size=8,
)


@settings(max_examples=12)
@given(st.integers(0, 9), STEPS)
def test_whatever_happens_meanwhile_the_difference_is_that_of_the_last_entry(
    first: int, steps: list[tuple[str, int]]
) -> None:
    part, place = PartFactory(), BinFactory()
    lies = 0  # what the books should say, told without them
    off: int | None = None

    def come(quantity: int) -> None:
        nonlocal lies
        if quantity:
            receive(
                part=part,
                location=place,
                quantity_steps=quantity,
                value_cents=quantity * 33 + 1,
                lot_code="L",
                **who_and_when(),
            )
            lies += quantity

    come(first)
    count = begun(place)
    for what, quantity in steps:
        if what == "receive":
            come(quantity)
        elif what == "issue":
            if 0 < quantity <= lies:
                used(part, place, quantity)
                lies -= quantity
        else:
            entered(count, part, quantity)
            off = quantity - lies
    if off is None:
        entered(count, part, lies)
        off = 0
    finished(count)
    if lies + off < 0:
        with pytest.raises(StockRefused):
            approved(count)
    else:
        approved(count)
        lies += off
    assert in_place(part, place) == lies
    assert prove() == []


def test_where_nothing_differs_nobody_has_to_approve() -> None:
    part, place, who = PartFactory(), BinFactory(), PersonFactory()
    received(part, place, 5, 500)
    count = begun(place)
    entered(count, part, 5)
    done = finished(count)
    assert (done.state, done.settled_by_id) == (Count.State.POSTED, who.pk)
    assert finished(count).state == Count.State.POSTED  # sent twice
    assert approved(count) == []
    [row] = places_to_count(today=AT.date(), since=AT - timedelta(days=365))
    assert row.last_counted_on == AT.date()
    assert prove() == []
