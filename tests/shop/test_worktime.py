"""Minutes from taps: worked examples by hand, and what holds whatever is tapped."""

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from random import Random
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.worktime import LONGEST, LONGEST_OVER_MIDNIGHT, End, Tap, stretches, too_long, worked

ZONE = ZoneInfo("America/Chicago")
#: Seven in the morning on the shop's wall.
START = datetime(2026, 3, 2, 7, 0, tzinfo=ZONE).astimezone(UTC)
MINUTE = timedelta(minutes=1)
ANN, BEN = 1, 2
PUMP, GUN = 411, 412


def tap(person: int, sheet: int, does: str, minutes: float, *, order: int = 0) -> Tap:
    """A tap so many minutes after seven: "start", "stop", or "sure"."""
    return Tap(person, sheet, does == "start", START + minutes * MINUTE, order, does == "sure")


def minutes_of(*taps: Tap, sheet: int = PUMP, now: float = 24 * 60) -> dict[int, int]:
    found = stretches(taps, closed={}, zone=ZONE)
    by_person = worked(found, sheet=sheet, now=START + now * MINUTE, zone=ZONE)
    return {person: each.minutes for person, each in by_person.items()}


def test_two_people_and_a_break_add_up_as_on_paper() -> None:
    # Worked by hand: Ann 7:00 – 9:30 and 10:00 – 10:45, Ben 9:00 – 10:00.
    assert minutes_of(
        tap(ANN, PUMP, "start", 0),
        tap(ANN, PUMP, "stop", 150),
        tap(BEN, PUMP, "start", 120),
        tap(ANN, PUMP, "start", 180),
        tap(BEN, PUMP, "stop", 180),
        tap(ANN, PUMP, "stop", 225),
    ) == {ANN: 195, BEN: 60}


def test_a_start_twice_and_a_stop_for_nothing_say_nothing() -> None:
    assert minutes_of(
        tap(ANN, PUMP, "stop", -30),
        tap(ANN, PUMP, "start", 0),
        tap(ANN, PUMP, "start", 20),
        tap(ANN, PUMP, "stop", 60),
        tap(ANN, PUMP, "stop", 90),
    ) == {ANN: 60}


def test_a_start_elsewhere_ends_the_first() -> None:
    taps = (
        tap(ANN, PUMP, "start", 0),
        tap(ANN, GUN, "start", 40),
        tap(ANN, PUMP, "stop", 70),
        tap(ANN, GUN, "stop", 100),
    )
    assert minutes_of(*taps) == {ANN: 40}
    assert minutes_of(*taps, sheet=GUN) == {ANN: 60}
    first = stretches(taps, closed={}, zone=ZONE)[0]
    assert (first.ended_by, first.other) == (End.ELSEWHERE, GUN)


def test_a_late_tap_of_a_phone_falls_into_its_place() -> None:
    """Ann's phone had no signal: her stop on the pump comes in after her start on the gun."""
    known = [tap(ANN, PUMP, "start", 0), tap(ANN, GUN, "start", 100, order=1)]
    assert minutes_of(*known) == {ANN: 100}
    assert minutes_of(*known, tap(ANN, PUMP, "stop", 45, order=2)) == {ANN: 45}


def test_what_runs_over_night_is_asked_about_and_not_guessed() -> None:
    left = tap(ANN, PUMP, "start", 580)  # 16:40
    next_morning = 24 * 60
    found = stretches([left], closed={}, zone=ZONE)
    work = worked(found, sheet=PUMP, now=START + next_morning * MINUTE, zone=ZONE)[ANN]
    assert (work.minutes, work.since, work.asked) == (0, None, tuple(found))
    # A stop next morning is no answer; one that says until when is.
    assert minutes_of(left, tap(ANN, PUMP, "stop", next_morning)) == {ANN: 0}
    assert minutes_of(left, tap(ANN, PUMP, "stop", next_morning), tap(ANN, PUMP, "sure", 630)) == {
        ANN: 50
    }
    # It may have been a night at the bench after all.
    assert minutes_of(
        left, tap(ANN, PUMP, "stop", next_morning), tap(ANN, PUMP, "sure", next_morning)
    ) == {ANN: next_morning - 580}


def test_a_start_after_a_night_begins_anew() -> None:
    morning = 24 * 60
    taps = [tap(ANN, PUMP, "start", 580), tap(ANN, PUMP, "start", morning)]
    assert minutes_of(*taps, tap(ANN, PUMP, "stop", morning + 30), now=2 * morning) == {ANN: 30}


@pytest.mark.parametrize(
    ("begins", "lasts", "asked"),
    [
        ((2026, 3, 2, 22, 0), LONGEST_OVER_MIDNIGHT, False),
        ((2026, 3, 2, 22, 0), LONGEST_OVER_MIDNIGHT + MINUTE, True),
        ((2026, 3, 2, 6, 0), LONGEST, False),
        ((2026, 3, 2, 6, 0), LONGEST + MINUTE, True),
        # Clocks go forward that night: 6 h 30 min on the wall are 5 h 30 min of work.
        ((2026, 3, 7, 22, 30), timedelta(hours=5, minutes=30), False),
    ],
)
def test_how_long_is_too_long(
    begins: tuple[int, int, int, int, int], lasts: timedelta, asked: bool
) -> None:
    start = datetime(*begins, tzinfo=ZONE).astimezone(UTC)
    assert too_long(start, start + lasts, zone=ZONE) is asked


def test_the_signature_ends_what_runs_and_nothing_counts_after_it() -> None:
    taps = [tap(ANN, PUMP, "start", 0), tap(BEN, PUMP, "start", 80), tap(BEN, PUMP, "stop", 90)]
    closed = {PUMP: START + 60 * MINUTE}
    found = stretches(taps, closed=closed, zone=ZONE)
    assert [(each.person, each.ended_by) for each in found] == [(ANN, End.CLOSED)]
    assert worked(found, sheet=PUMP, now=START + 600 * MINUTE, zone=ZONE)[ANN].minutes == 60


@pytest.mark.parametrize(("seconds", "minutes"), [(1, 1), (29, 1), (89, 1), (90, 2), (3600, 60)])
def test_minutes_are_rounded_once_over_all(seconds: int, minutes: int) -> None:
    assert minutes_of(tap(ANN, PUMP, "start", 0), tap(ANN, PUMP, "stop", seconds / 60)) == {
        ANN: minutes
    }


@dataclass(frozen=True)
class Case:
    """What somebody tapped, minutes after seven, and how long they then worked on the pump until
    `now`. closed: sheets that were signed."""

    said: str
    taps: list[tuple[int, str, float]]
    minutes: int
    now: float = 300
    closed: dict[int, float] = field(default_factory=dict)


MORNING = 24 * 60.0
#: What shop and phone reckon alike, as tests/journeys/test_worktime_on_a_phone.py shows.
CASES = [
    Case("nothing", [], 0),
    Case("it runs", [(PUMP, "start", 200)], 100),
    Case("a break", [(PUMP, "start", 0), (PUMP, "stop", 60), (PUMP, "start", 90)], 270),
    Case(
        "a start while it runs", [(PUMP, "start", 0), (PUMP, "start", 30), (PUMP, "stop", 50)], 50
    ),
    Case("a stop for nothing", [(PUMP, "stop", 5), (PUMP, "start", 10), (PUMP, "stop", 20)], 10),
    Case("elsewhere", [(PUMP, "start", 0), (GUN, "start", 40), (GUN, "stop", 100)], 40),
    Case("a stop of another sheet", [(PUMP, "start", 0), (GUN, "stop", 40)], 300),
    Case("known late", [(PUMP, "start", 0), (GUN, "start", 100), (PUMP, "stop", 45)], 45),
    Case("a night is not counted", [(PUMP, "start", 580)], 0, now=MORNING),
    Case("nor where it was stopped then", [(PUMP, "start", 580), (PUMP, "stop", MORNING)], 0),
    Case("but where that was sure", [(PUMP, "start", 580), (PUMP, "sure", MORNING)], 860),
    Case(
        "somebody says until when",
        [(PUMP, "start", 580), (PUMP, "stop", MORNING), (PUMP, "sure", 630)],
        50,
        now=MORNING + 10,
    ),
    Case(
        "anew after a night",
        [(PUMP, "start", 580), (PUMP, "start", MORNING), (PUMP, "stop", MORNING + 30)],
        30,
        now=2 * MORNING,
    ),
    Case("past midnight, not for long", [(PUMP, "start", 840)], 300, now=1140),
    Case("too long a day", [(PUMP, "start", 0)], 0, now=14 * 60 + 1),
    Case("a long day", [(PUMP, "start", 0)], 840, now=14 * 60),
    Case("seconds are a minute", [(PUMP, "start", 0), (PUMP, "stop", 0.1)], 1),
    Case("rounded once", [(PUMP, "start", 0), (PUMP, "stop", 1.5)], 2),
    Case("down below a half", [(PUMP, "start", 0), (PUMP, "stop", 1.49)], 1),
    Case("of one instant", [(PUMP, "start", 10), (PUMP, "stop", 10)], 0),
    Case("the signature ends it", [(PUMP, "start", 0)], 60, closed={PUMP: 60}),
    Case("what is tapped later says nothing", [(PUMP, "start", 70)], 0, closed={PUMP: 60}),
    Case("nor elsewhere", [(PUMP, "start", 0), (GUN, "start", 70)], 300, closed={GUN: 60}),
]


def tapped(case: Case) -> list[Tap]:
    return [
        tap(ANN, sheet, does, at, order=order) for order, (sheet, does, at) in enumerate(case.taps)
    ]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.said)
def test_what_one_worked_in_each_case(case: Case) -> None:
    closed = {sheet: START + at * MINUTE for sheet, at in case.closed.items()}
    found = stretches(tapped(case), closed=closed, zone=ZONE)
    work = worked(found, sheet=PUMP, now=START + case.now * MINUTE, zone=ZONE)
    assert sum(each.minutes for each in work.values()) == case.minutes


TAPS = st.lists(
    st.builds(
        tap,
        st.sampled_from([ANN, BEN]),
        st.sampled_from([PUMP, GUN]),
        st.sampled_from(["start", "stop", "sure"]),
        st.integers(0, 72 * 60),
    ),
    max_size=25,
)
CLOSED = st.dictionaries(
    st.sampled_from([PUMP, GUN]),
    st.integers(0, 72 * 60).map(lambda minutes: START + minutes * MINUTE),
)


@given(TAPS, CLOSED)
def test_nobody_is_in_two_places_and_nothing_is_invented(
    taps: list[Tap], closed: dict[int, datetime]
) -> None:
    taps = [
        Tap(each.person, each.sheet, each.starts, each.at, order, each.is_sure)
        for order, each in enumerate(taps)
    ]
    found = stretches(taps, closed=closed, zone=ZONE)
    instants = {each.at for each in taps} | set(closed.values())
    starts = {(each.person, each.sheet, each.at) for each in taps if each.starts}
    for each in found:
        assert (each.person, each.sheet, each.start) in starts
        assert each.end is None or (each.end >= each.start and each.end in instants)
        if each.sheet in closed:
            assert each.end is not None
            assert each.end <= closed[each.sheet]
    for person in (ANN, BEN):
        own = [each for each in found if each.person == person]
        for before, after in pairwise(own):
            assert before.end is not None
            assert before.end <= after.start
    # At most one of a person's stretches runs.
    running = [each.person for each in found if each.end is None]
    assert len(running) == len(set(running))


@given(TAPS, CLOSED, st.integers())
def test_the_order_in_which_taps_arrive_does_not_matter(
    taps: list[Tap], closed: dict[int, datetime], seed: int
) -> None:
    kept = [
        Tap(each.person, each.sheet, each.starts, each.at, order, each.is_sure)
        for order, each in enumerate(taps)
    ]
    arrived = kept[:]
    Random(seed).shuffle(arrived)
    assert stretches(arrived, closed=closed, zone=ZONE) == stretches(kept, closed=closed, zone=ZONE)


@given(TAPS)
def test_what_one_does_changes_nothing_for_another(taps: list[Tap]) -> None:
    both = stretches(taps, closed={}, zone=ZONE)
    alone = stretches([each for each in taps if each.person == ANN], closed={}, zone=ZONE)
    assert [each for each in both if each.person == ANN] == alone


@given(TAPS)
def test_a_tap_that_came_twice_changes_no_minute(taps: list[Tap]) -> None:
    now = START + 73 * 60 * MINUTE

    def minutes(of: list[Tap]) -> dict[int, int]:
        found = stretches(of, closed={}, zone=ZONE)
        return {
            sheet * 10 + person: work.minutes
            for sheet in (PUMP, GUN)
            for person, work in worked(found, sheet=sheet, now=now, zone=ZONE).items()
            if work.minutes
        }

    kept = [
        Tap(each.person, each.sheet, each.starts, each.at, order, each.is_sure)
        for order, each in enumerate(taps)
    ]
    assert minutes([each for tapped in kept for each in (tapped, tapped)]) == minutes(kept)
