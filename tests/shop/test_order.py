"""In which order a rig is locked out and goes back to service.

The order is read out of 29 CFR 1910.147(d)(1) to (d)(6), "shall be done in the following sequence",
and (e)(1) to (e)(3), "before lockout or tagout devices are removed". That cautions are read first,
and how long a lock and a proof are taken to hold, is common practice, no source.
"""

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shop.isolation import (
    IN_ORDER,
    PROOF_HOLDS,
    Before,
    Moment,
    Phase,
    Wanted,
    first_before,
    return_steps,
    still_before,
)

SEVEN: Final = datetime(2026, 3, 2, 7, tzinfo=UTC)
MATERIAL = frozenset({"material"})
#: A sheet by name: its steps around the checks, in their order.
SHEET: Final = {
    "caution": Before(1, is_caution=True),
    "tell": Before(2, phase=Phase.PREPARE),
    "stop": Before(3, phase=Phase.SHUT_DOWN),
    "shore": Before(4, phase=Phase.ISOLATE),
    "air": Before(5, phase=Phase.ISOLATE),
    "lock": Before(6, phase=Phase.LOCK),
    "drain": Before(7, phase=Phase.RELEASE),
    "try": Before(8, phase=Phase.VERIFY),
    "panel": Before(9, phase=Phase.VERIFY, for_electrician=True),
    "gauge": Before(10, phase=Phase.VERIFY, proves=MATERIAL),
    "clear": Before(11, phase=Phase.RETURN),
    "people": Before(12, phase=Phase.RETURN),
    "off": Before(13, phase=Phase.RETURN),
}
NAMES: Final = {step.key: name for name, step in SHEET.items()}
LOCKOUT: Final = ("caution", "tell", "stop", "shore", "air", "lock", "drain", "try", "gauge")
BACK: Final = ("clear", "people", "off")
#: Minutes after seven at which each of the lockout was done, as it goes.
AS_IT_GOES: Final = {name: place for place, name in enumerate(LOCKOUT)}

STILL = Wanted(is_still=True)
OPENS = Wanted(opens=MATERIAL, is_still=True)
RUNS = Wanted(is_run=True, is_after_return=True)
THEIRS = Wanted(for_electrician=True)
HOLDS: Final = int(PROOF_HOLDS.total_seconds() // 60)
NEXT_DAY: Final = 24 * 60


@dataclass(frozen=True)
class Case:
    """What comes before a step (by name) or a check, by what was done when. [min after seven]

    locks: when each person put on his lock, whose proofs then name it. started: when it ran last.
    """

    said: str
    wanted: str | Wanted
    done: dict[str, float]
    first: list[str]
    now: float = 60
    locked: float | None = None
    started: float | None = None
    locks: dict[str, float] = field(default_factory=dict)


def but(*without: str, **more: float) -> dict[str, float]:
    """As it goes, without some of it, and with more."""
    kept = {name: at for name, at in AS_IT_GOES.items() if name not in without}
    return kept | more


#: What shop and phone decide alike, as tests/journeys/test_order_on_a_phone.py shows.
CASES = [
    Case("a caution comes first of all", "caution", {}, []),
    Case("nothing before the cautions", "tell", {}, ["caution"]),
    Case("told, once they are read", "tell", {"caution": 0}, []),
    Case("shut down after that", "stop", {"caution": 0}, ["tell"]),
    Case("isolated after the shut down", "air", {"caution": 0, "tell": 1}, ["stop"]),
    Case(
        "in any order within one phase",
        "air",
        {"caution": 0, "tell": 1, "stop": 2},
        [],
    ),
    Case("a lock on every point", "lock", but("air", "lock"), ["air"]),
    Case("the lock, all isolated", "lock", but("lock"), []),
    Case("released behind the lock", "drain", but("lock", "drain", "try", "gauge"), ["lock"]),
    Case("tried when it is released", "try", but("drain", "try", "gauge"), ["drain"]),
    Case("tried behind the lock", "try", but("lock", "try", "gauge"), ["lock"]),
    Case("a gauge behind the lock", "gauge", but("lock", "drain", "gauge"), ["lock", "drain"]),
    Case("a gauge and the try-out in any order", "gauge", but("try", "gauge"), []),
    Case("an electrician proves it behind the lock", "panel", but("lock", "gauge"), ["lock"]),
    Case("nobody waits for an electrician", "gauge", but("gauge"), []),
    Case("by the lock of yesterday", "try", but(), ["lock"], now=NEXT_DAY),
    Case("to the minute", "try", but(), [], now=HOLDS + 5),
    Case("and no longer", "try", but(), ["lock"], now=HOLDS + 6),
    Case("by a lock from before a start", "gauge", but(), ["lock"], started=30),
    Case("by one put on again since", "gauge", but(lock=40), [], started=30),
    Case("the lock itself again", "lock", but(), [], started=30),
    Case("clear before the people", "people", but(), ["clear"]),
    Case("both before the locks", "off", but(), ["clear", "people"]),
    Case("told before the locks", "off", but(clear=20), ["people"]),
    Case("off", "off", but(clear=20, people=21), []),
    Case("cleared before the last lock", "off", but(clear=20, people=31), ["clear"], locked=30),
    Case("cleared since", "off", but(clear=31, people=32), [], locked=30),
    Case("the way back of a lockout that was broken off", "clear", {"caution": 0}, []),
    Case("still work, locked out", STILL, but(), []),
    Case("still work, never tried", STILL, but("try"), ["try"]),
    Case("after the locks are off", STILL, but(), ["lock", "try"], started=30),
    Case("after they are on again", STILL, but(lock=40, **{"try": 41}), [], started=30),
    Case("on the next day", STILL, but(), ["lock", "try"], now=NEXT_DAY),
    Case("on the next day, put right", Wanted(), but(), [], now=NEXT_DAY),
    Case("opened on the next day", OPENS, but(), ["lock", "try", "gauge"], now=NEXT_DAY),
    Case(
        "proved before the lock of who proved it",
        OPENS,
        but(),
        ["try", "gauge"],
        locks={"try": 7.5, "gauge": 8.5},
    ),
    Case("proved behind it", OPENS, but(), [], locks={"try": 5, "gauge": 5}),
    Case("isolated again after the proofs", OPENS, but(air=20), ["try", "gauge"]),
    Case("isolated again, and opens nothing", STILL, but(air=20), ["try"]),
    Case("isolated again before one of them", OPENS, but(air=20, gauge=21), ["try"]),
    Case("isolated again, then proved", OPENS, but(air=20, gauge=21, **{"try": 20}), []),
    Case("shut down again", OPENS, but(stop=20), ["try", "gauge"]),
    Case("released again", OPENS, but(drain=20), ["try", "gauge"]),
    Case("released again, theirs", THEIRS, but(panel=9, drain=20), ["try", "panel"]),
    Case("released again, put right", Wanted(), but(drain=20), []),
    Case("proved again after that", "gauge", but(drain=20), []),
    Case("a caution read again", OPENS, but(caution=20), []),
    Case("another's lock put on later", OPENS, but(lock=20), [], locks={"try": 5, "gauge": 5}),
    Case("what opens nothing wants no gauge of it", STILL, but(), [], locks={"gauge": 9}),
    Case("an electrician's", THEIRS, but(), ["panel"]),
    Case("theirs, after a start", THEIRS, but(panel=9), ["lock", "try", "panel"], started=30),
    Case("run before the way back", RUNS, but(), list(BACK)),
    Case("run after it", RUNS, but(clear=20, people=21, off=22), [], locked=5),
    Case("run with a lock on again", RUNS, but(clear=20, people=21, off=22), list(BACK), locked=30),
    Case("run as found", Wanted(is_run=True), {}, ["caution"]),
]  # fmt: skip


def moment(minutes: float | None) -> Moment | None:
    return None if minutes is None else Moment(SEVEN + timedelta(minutes=minutes))


def standing(case: Case) -> list[Before]:
    return [
        replace(
            step,
            is_done=name in case.done,
            at=SEVEN + timedelta(minutes=case.done[name]) if name in case.done else None,
            locked=moment(case.locks.get(name)),
        )
        for name, step in SHEET.items()
    ]


def decided(case: Case) -> list[str]:
    """What the shop says comes first."""
    steps, at = standing(case), SEVEN + timedelta(minutes=case.now)
    when: dict[str, Any] = {"started": moment(case.started), "locked": moment(case.locked)}
    found = (
        first_before(steps, SHEET[case.wanted].key, at=at, **when)
        if isinstance(case.wanted, str)
        else still_before(steps, case.wanted, at=at, **when)
    )
    return [NAMES[key] for key in found]


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.said)
def test_what_comes_first_in_each_case(case: Case) -> None:
    assert decided(case) == case.first


def at_random(random: Random) -> Case:
    """Any of the steps done at any time, in no order."""
    names = [name for name in SHEET if random.random() < 0.8]
    checks = [STILL, OPENS, RUNS, THEIRS, Wanted(), Wanted(is_run=True), Wanted(opens=MATERIAL)]

    def sometimes(share: float) -> float | None:
        return random.randrange(1200) if random.random() < share else None

    locks = {name: sometimes(0.5) for name in names}
    return Case(
        said="at random",
        wanted=random.choice([random.choice(list(SHEET)), random.choice(checks)]),
        done={name: random.randrange(600) for name in names},
        first=[],
        now=random.randrange(600, 1400),
        locked=sometimes(0.5),
        started=sometimes(0.3),
        locks={name: at for name, at in locks.items() if at is not None},
    )


def test_a_step_from_before_there_were_phases_waits_for_nothing() -> None:
    old = [Before(1, is_caution=True), Before(2), Before(3)]
    assert list(first_before(old, 3, started=None, at=SEVEN)) == []


def test_the_way_back_has_the_steps_of_the_rule() -> None:
    assert len(return_steps()) == len(BACK)
    assert [step.phase for step in return_steps()] == [SHEET[name].phase for name in BACK]


# --- whatever is tapped --------------------------------------------------------------------------


def tapped(taps: list[str]) -> list[str]:
    """What of these taps, a minute apart, is taken."""
    taken: list[str] = []
    done: dict[str, float] = {}
    locked: float | None = None
    started: float | None = None
    for minute, name in enumerate(taps):
        case = Case("", name, done, [], minute, locked, started)
        if decided(case):
            continue
        taken.append(name)
        done = {**done, name: minute}
        locked = minute if name == "lock" else locked
        started = minute if name == "off" else started
    return taken


def rank(name: str) -> int:
    step = SHEET[name]
    return -1 if step.is_caution else [*IN_ORDER, Phase.RETURN].index(Phase(step.phase))


@given(st.lists(st.sampled_from(list(SHEET)), max_size=60))
def test_whatever_is_tapped_what_is_taken_keeps_the_order(taps: list[str]) -> None:
    """29 CFR 1910.147(d): each step had all of the earlier ones done; (e): and the way back too."""
    taken = tapped(taps)
    for place, name in enumerate(taken):
        before = taken[:place]
        if name in BACK:
            last_lock = max((n for n, each in enumerate(before) if each == "lock"), default=-1)
            assert set(BACK[: BACK.index(name)]) <= set(before[last_lock + 1 :])
            continue
        earlier = {other for other in LOCKOUT if rank(other) < rank(name)}
        assert earlier <= set(before)
        if rank(name) > rank("lock") and "off" in before:
            last_off = len(before) - 1 - before[::-1].index("off")
            assert "lock" in before[last_off + 1 :]


@given(st.randoms(use_true_random=False), st.integers(1, 3))
def test_nothing_in_the_order_of_the_paper_is_refused(random: Any, times: int) -> None:
    """Phase by phase, within each in any order, there and back as often as there is work."""
    wanted: list[str] = []
    for _ in range(times):
        names = [*LOCKOUT, "panel"]
        random.shuffle(names)
        wanted += [*sorted(names, key=rank), *BACK]
    assert tapped(wanted) == wanted
