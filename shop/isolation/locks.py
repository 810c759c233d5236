"""What keeps a check locked, and what comes before a step; for whom and for how long."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from shop.isolation.steps import Phase

#: How long a lock and a proof of zero are taken to hold. Pressure comes back with heat, and a lock
#: may have been taken off over night, so they are looked at again after a shift. Common practice,
#: no source.
PROOF_HOLDS: Final = timedelta(hours=8)
#: In which order the steps before the checks are done: 29 CFR 1910.147(d)(1) to (d)(6).
IN_ORDER: Final = (
    Phase.PREPARE,
    Phase.SHUT_DOWN,
    Phase.ISOLATE,
    Phase.LOCK,
    Phase.RELEASE,
    Phase.VERIFY,
)


@dataclass(frozen=True, slots=True)
class Moment:
    """When the rig was started last, or the last lock put on, as an entry says it."""

    at: datetime
    turn: int = 0


@dataclass(frozen=True, slots=True)
class Before:
    """A step before the checks, or of the way back, as it stands for one person.

    at: when what is in force was entered; None: open. Of what each person does himself (a
    caution, the own lock): when this person did. turn: tells entries of one instant apart.
    is_done: entered, and a gauge reads zero; of the way back, that the locks come off.
    locked: when whoever entered it put on his own lock last.
    """

    key: int
    is_caution: bool = False
    phase: str = ""
    proves: frozenset[str] = frozenset()
    for_electrician: bool = False
    is_done: bool = False
    at: datetime | None = None
    turn: int = 0
    locked: Moment | None = None


@dataclass(frozen=True, slots=True)
class Wanted:
    """A check that somebody wants to enter, as far as the locks go.

    opens: kinds of pressure that it opens; empty too where the answer opens nothing.
    is_after_return: the rig runs for it once it is back in service, and not as it was found.
    is_still: it is work that is done locked out, and it is not done yet.
    """

    opens: frozenset[str] = frozenset()
    is_run: bool = False
    is_after_return: bool = False
    for_electrician: bool = False
    is_still: bool = False


def still_before(
    steps: Iterable[Before],
    wanted: Wanted,
    *,
    started: Moment | None,
    at: datetime | None,
    locked: Moment | None = None,
) -> Iterator[int]:
    """Keys of the steps that must be done, or done again, before a check is entered at an instant.

    Cautions come before every check. A check for which the rig runs needs no lockout. All others
    need each step done once. What is done locked out also needs the own lock and the try-out later
    than the last start and no older than PROOF_HOLDS; what opens something, the proofs of that
    pressure as well. A proof counts while its author's lock is the one that was on for it, and
    nothing else that comes before it was done again later (29 CFR 1910.147(d)(1) to (d)(6)).
    Steps for a licensed electrician keep only electricians' checks locked. One for which the rig
    runs after lockout needs the way back to service, later than the last lock that was put on.
    started, locked: the last start, the last lock put on by anybody.
    at: None asks only what was never done.
    """
    listed = list(steps)
    for step in listed:
        if step.phase == Phase.RETURN:
            if wanted.is_after_return and not _is_back(step, locked=locked):
                yield step.key
            continue
        if wanted.is_run and not step.is_caution:
            continue
        if step.for_electrician and not wanted.for_electrician:
            continue
        if not step.is_done or (at is not None and _is_spent(step, wanted, listed, started, at)):
            yield step.key


def first_before(
    steps: Iterable[Before],
    key: int,
    *,
    started: Moment | None,
    at: datetime,
    locked: Moment | None = None,
) -> Iterator[int]:
    """Keys of the steps that come before one of them is done at an instant, in their order.

    Before lockout the cautions are read. Then prepare, shut down, isolate, lock, release, verify,
    each when all of those before it is done (29 CFR 1910.147(d)(1) to (d)(6)); the steps of one of
    them in any order. What comes after the own lock needs it later than the last start and no
    older than PROOF_HOLDS. On the way back one step after the other ((e)(1) to (e)(3)), none
    older than the last lock that was put on.
    steps: as they stand for who does it, in the order of the sheet. What a step without a phase
    asks for, on a sheet from before there were any, is nothing.
    """
    listed = list(steps)
    wanted = next(step for step in listed if step.key == key)
    if wanted.phase == Phase.RETURN:
        for step in listed:
            if step.key == key:
                return
            if step.phase == Phase.RETURN and not _is_back(step, locked=locked):
                yield step.key
        return
    if wanted.is_caution or wanted.phase not in IN_ORDER:
        return
    earlier = IN_ORDER[: IN_ORDER.index(Phase(wanted.phase))]
    for step in listed:
        if not (step.is_caution or step.phase in earlier):
            continue
        if step.for_electrician and not wanted.for_electrician:
            continue
        if not step.is_done or (step.phase == Phase.LOCK and _is_old(step, started, at)):
            yield step.key


def _is_back(step: Before, *, locked: Moment | None) -> bool:
    """Whether a step of the way back is done, and no lock was put on after it."""
    return step.is_done and step.at is not None and not _is_later(locked, step)


def _is_spent(
    step: Before, wanted: Wanted, listed: Iterable[Before], started: Moment | None, at: datetime
) -> bool:
    is_theirs = wanted.for_electrician and not wanted.is_run
    if not (wanted.opens or wanted.is_still or is_theirs):
        return False
    is_proof = step.for_electrician or not step.proves.isdisjoint(wanted.opens)
    if not is_proof and step.phase not in (Phase.LOCK, Phase.VERIFY):
        return False
    if step.proves and not is_proof:
        return False  # proves another pressure than the one that is opened
    return _is_outdone(step, listed) or _is_old(step, started, at)


def _is_outdone(step: Before, listed: Iterable[Before]) -> bool:
    """Whether something that comes before a proof was done after it. Of the locks, only that of
    whoever entered it: another's, put on later, takes nothing from what he proved."""
    if step.phase == Phase.LOCK:
        return False
    return _is_later(step.locked, step) or any(
        each.at is not None and _is_later(Moment(each.at, each.turn), step)
        for each in listed
        if each.phase in IN_ORDER and each.phase not in (Phase.LOCK, Phase.VERIFY)
    )


def _is_old(step: Before, started: Moment | None, at: datetime) -> bool:
    """Whether something ran since a step was done, or a shift went by."""
    return step.at is not None and (_is_later(started, step) or at - step.at > PROOF_HOLDS)


def _is_later(moment: Moment | None, step: Before) -> bool:
    """Whether something happened after a step was entered."""
    if moment is None or step.at is None:
        return False
    return (moment.at, moment.turn) > (step.at, step.turn)
