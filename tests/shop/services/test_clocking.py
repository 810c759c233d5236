"""Time on a sheet as it is tapped: kept once, a second pair of hands, and what was left running."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction

from shop.models import Person, Role, ServiceSheet, Shop, TimeEntry
from shop.services.clocking import (
    clock_of,
    hands_of,
    labour_minutes,
    likely_minutes,
    start_time,
    stop_time,
    stretches_of,
    worked_on,
)
from shop.services.drafting import void_sheet
from shop.services.paper import paper_of
from shop.services.refusals import SheetClosed, SheetRefused
from shop.worktime import End
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db
MINUTE = timedelta(minutes=1)


@pytest.fixture
def second(person_as: Callable[..., Person]) -> Person:
    return person_as(Role.TECHNICIAN, sign_in="second")


def after(minutes: float) -> datetime:
    return NOW + minutes * MINUTE


def sheet_zone() -> ZoneInfo:
    return Shop.objects.get().zone


def tap(
    does: Callable[..., TimeEntry],
    sheet: ServiceSheet,
    who: Person,
    minutes: float,
    *,
    event_id: UUID | None = None,
    **more: Any,
) -> TimeEntry:
    given = {"at": after(minutes), "recorded_at": after(minutes), **more}
    return does(sheet=sheet, event_id=event_id or uuid4(), author=who, **given)


def test_a_second_technician_joins_by_starting_time(hands: Hands, second: Person) -> None:
    tap(start_time, hands.sheet, hands.who, 0)
    tap(start_time, hands.sheet, second, 10)
    tap(stop_time, hands.sheet, second, 30)
    tap(stop_time, hands.sheet, hands.who, 45)
    sheet = hands.fresh()
    assert (sheet.state, sheet.started_at, sheet.technician) == ("under_way", NOW, hands.who)
    zone = sheet_zone()
    told = hands_of(sheet, now=after(60), zone=zone)
    assert [(each.person, each.minutes) for each in told] == [(hands.who, 45), (second, 20)]
    assert labour_minutes(sheet, now=after(60), zone=zone) == 65


def test_the_paper_and_the_kept_copy_say_who_worked_on_it(done: Hands, second: Person) -> None:
    before = paper_of(done.sheet, today=NOW.date(), system="us").cells
    assert ("Technician", done.who.name) in before
    tap(start_time, done.sheet, second, 10)
    with_both = ("Technician", f"{done.who.name}, with {second.name}")
    assert with_both in paper_of(done.sheet, today=NOW.date(), system="us").cells
    sheet = done.sign(at=after(60))
    assert with_both in map(tuple, sheet.signed_copy.document["cells"])


def test_a_signature_proposes_the_time_of_all(hands: Hands, second: Person) -> None:
    zone, planned = sheet_zone(), 45 + 90
    assert likely_minutes(hands.sheet, now=after(50), zone=zone).minutes == planned
    hands.answer(hands.steps("caution")[0])
    assert likely_minutes(hands.fresh(), now=after(50), zone=zone).minutes == 50
    assert likely_minutes(hands.sheet, now=NOW + timedelta(days=1), zone=zone).minutes == planned
    for who, begins, ends in ((hands.who, 0, 20), (second, 5, 15)):
        tap(start_time, hands.sheet, who, begins)
        tap(stop_time, hands.sheet, who, ends)
    likely = likely_minutes(hands.sheet, now=after(50), zone=zone)
    assert (likely.minutes, likely.persons) == (30, (hands.who.pk, second.pk))


def test_whoever_enters_something_worked_on_it_too(hands: Hands, second: Person) -> None:
    hands.answer(hands.steps("caution")[0])
    hands.answer(hands.steps("caution")[1], author=second)
    told = hands_of(hands.sheet, now=NOW, zone=sheet_zone())
    assert {(each.person, each.minutes) for each in told} == {(hands.who, 0), (second, 0)}


def test_a_sheet_that_is_with_nobody_is_theirs_who_begin(world: SheetWorld, second: Person) -> None:
    sheet = world.draft()
    tap(start_time, sheet, second, 0)
    assert ServiceSheet.objects.get(pk=sheet.pk).technician == second


def test_a_tap_sent_twice_counts_once(hands: Hands) -> None:
    event = uuid4()
    first = tap(start_time, hands.sheet, hands.who, 0, event_id=event)
    tap(stop_time, hands.sheet, hands.who, 30)
    assert tap(start_time, hands.sheet, hands.who, 31, event_id=event) == first
    assert labour_minutes(hands.sheet, now=after(60), zone=sheet_zone()) == 30


def test_twin_without_its_id_a_start_sent_again_runs_on(hands: Hands) -> None:
    tap(start_time, hands.sheet, hands.who, 0)
    tap(stop_time, hands.sheet, hands.who, 30)
    tap(start_time, hands.sheet, hands.who, 31)
    assert labour_minutes(hands.sheet, now=after(60), zone=sheet_zone()) == 59


def test_the_database_refuses_a_second_tap_of_one_id(hands: Hands) -> None:
    entry = tap(start_time, hands.sheet, hands.who, 0)
    with pytest.raises(IntegrityError):
        TimeEntry.objects.create(
            sheet=hands.sheet,
            does="stop",
            event_id=entry.event_id,
            author=hands.who,
            at=NOW,
            recorded_at=NOW,
        )


def test_only_an_end_is_sure(hands: Hands) -> None:
    with pytest.raises(IntegrityError, match="only_an_end_of_work_is_sure"), transaction.atomic():
        TimeEntry.objects.create(
            sheet=hands.sheet,
            does="start",
            is_sure=True,
            event_id=uuid4(),
            author=hands.who,
            at=NOW,
            recorded_at=NOW,
        )


def test_time_runs_on_one_sheet_at_a_time(world: SheetWorld, technician: Person) -> None:
    oil, gun = world.draft(world.oil), world.draft(world.rebuild)
    tap(start_time, oil, technician, 0)
    tap(start_time, gun, technician, 20)
    zone = sheet_zone()
    clock = clock_of(technician, now=after(50), zone=zone)
    assert clock.running is not None
    assert (clock.running[0], clock.asked) == (gun, [])
    assert labour_minutes(oil, now=after(50), zone=zone) == 20
    assert labour_minutes(gun, now=after(50), zone=zone) == 30
    left = next(each for each in stretches_of([oil], zone=zone) if each.sheet == oil.pk)
    assert (left.ended_by, left.other) == (End.ELSEWHERE, gun.pk)


def test_what_was_left_running_is_asked_about_until_somebody_says(hands: Hands) -> None:
    tap(start_time, hands.sheet, hands.who, 0)
    morning, zone = 20 * 60, sheet_zone()
    clock = clock_of(hands.who, now=after(morning), zone=zone)
    assert (clock.running, [sheet for sheet, _ in clock.asked]) == (None, [hands.sheet])
    assert labour_minutes(hands.sheet, now=after(morning), zone=zone) == 0
    tap(stop_time, hands.sheet, hands.who, 50, recorded_at=after(morning), is_sure=True)
    assert clock_of(hands.who, now=after(morning), zone=zone).asked == []
    assert labour_minutes(hands.sheet, now=after(morning), zone=zone) == 50


def test_nobody_stops_in_the_future(hands: Hands) -> None:
    before = rows_of_every_table()
    with pytest.raises(SheetRefused, match="has not come yet"):
        tap(stop_time, hands.sheet, hands.who, 5, recorded_at=after(4))
    assert rows_of_every_table() == before


def test_a_void_sheet_takes_no_time_and_ends_what_ran(hands: Hands, manager: Person) -> None:
    tap(start_time, hands.sheet, hands.who, 0)
    void_sheet(sheet=hands.sheet, author=manager, at=after(30), reason="sold", request_id=uuid4())
    with pytest.raises(SheetClosed):
        tap(start_time, hands.sheet, hands.who, 40)
    zone = sheet_zone()
    assert worked_on(hands.fresh(), now=after(90), zone=zone)[hands.who.pk].minutes == 30
    assert clock_of(hands.who, now=after(90), zone=zone).running is None
