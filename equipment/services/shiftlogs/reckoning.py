"""Files to days: one file alone, or all files of the rig that share its days."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import BinaryIO, Final

from equipment.models import ShiftLog
from equipment.services.shiftlogs.facts import RigOfTheTime
from equipment.services.shiftlogs.outcome import Progress, no_progress
from equipment.services.shiftlogs.storing import raw
from equipment.shiftlogs.blocks import Block, Day, RigFacts, Rules
from equipment.shiftlogs.days import joining
from equipment.shiftlogs.days import reckoning as pure
from equipment.shiftlogs.guessing import doubts
from equipment.shiftlogs.layout import Layout, Question
from equipment.shiftlogs.reading import stream as reading

ONE_DAY: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Piece:
    """One file, and how it is read.

    opener: opens it anew, seekable. size: of the file. [bytes]
    """

    opener: Callable[[], BinaryIO]
    layout: Layout
    answers: Mapping[str, str]
    size: int = 0

    @property
    def date(self) -> date | datetime | None:
        """When a log began whose rows do not say it."""
        return doubts.day(self.answers)


@dataclass(slots=True)
class Together:
    """What files together say: days by date, and what they leave to ask."""

    days: dict[date, Day] = field(default_factory=dict)
    questions: tuple[Question, ...] = ()
    notes: tuple[str, ...] = ()


def piece_of(log: ShiftLog) -> Piece:
    """A kept log, read as it was."""
    return Piece(lambda: raw(log), log.kept, log.answers, log.size)


def reckon(
    pieces: Sequence[Piece],
    *,
    rig: RigOfTheTime,
    around: datetime,
    rules: Rules,
    progress: Progress = no_progress,
) -> Together:
    """Reckon the days of several files as one.

    around: a moment in the files, for the pumps that are tried first. A day that another pump was
    fitted on is reckoned again with that one. The answers of a later piece go before those of an
    earlier one.
    """
    answers = {key: each for piece in pieces for key, each in piece.answers.items()}
    facts = rig.at(around)
    found = _pass(pieces, facts, answers, rules, progress)
    together = Together({day.date: day for day in found.days}, found.questions, found.notes)
    fit_days(
        together,
        facts,
        rig,
        lambda other: _pass(pieces, other, answers, rules, progress),
    )
    return together


def fit_days(
    together: Together,
    facts: RigFacts,
    rig: RigOfTheTime,
    again: Callable[[RigFacts], pure.Reckoned],
) -> None:
    """Reckon again the days on which the rig was another than the facts say."""
    of_day = {day.date: rig.at(middle(day)) for day in together.days.values()}
    for other in set(of_day.values()) - {facts}:
        days = {day.date: day for day in again(other).days}
        for each, there in of_day.items():
            if there == other:
                together.days[each] = days[each]


def middle(day: Day) -> datetime:
    """The moment whose pumps count for a day: the middle of its log."""
    return day.first_at + (day.last_at - day.first_at) / 2


def _pass(
    pieces: Sequence[Piece],
    facts: RigFacts,
    answers: Mapping[str, str],
    rules: Rules,
    progress: Progress,
) -> pure.Reckoned:
    with ExitStack() as opened:
        streams = []
        for place, piece in enumerate(pieces):
            content = opened.enter_context(piece.opener())
            reader = reading.read(
                content, piece.layout, facts=facts, answers=piece.answers, date=piece.date
            )
            tell = progress if place == 0 else no_progress
            streams.append(
                watched(reader, content, piece.size, "Joining the files of these days", tell)
            )
        return joining.join(streams, facts=facts, rules=rules, answers=answers)


def watched(
    reader: reading.Reader, content: BinaryIO, size: int, what: str, progress: Progress
) -> Iterator[Block]:
    """Pass blocks on, and say how far into so many bytes they have come."""
    for block in reader:
        share = min(1.0, content.tell() / max(size, 1))
        progress(what, 1 - share if reader.layout.newest_first else share)
        yield block
