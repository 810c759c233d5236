"""What came of looking at a log, or of reading it, for a page and for the shell."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from equipment.models import LogContradiction, ShiftLog
from equipment.shiftlogs.blocks import Day
from equipment.shiftlogs.layout import Layout, Question

READ: Final = "read"
KNOWN: Final = "known"
ASKS: Final = "asks"
REFUSED: Final = "refused"

#: Told what is being done, and how much of it is done: 0 to 1.
Progress = Callable[[str, float], None]


@dataclass(frozen=True, slots=True)
class BadRow:
    """A row that cannot be read. line: its number in the file, 1 first."""

    line: int
    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """One file of one rig.

    status: READ (or, by a mere look, would be), KNOWN (was read before; nothing changes), ASKS
        (questions are open; nothing is written), REFUSED (reason says why; nothing is written).
    days: with READ and KNOWN the days that the file tells of, as they stand with all files of the
        rig; with ASKS as far as they are known while the question is open, for a picture.
    contradictions: open ones of those days.
    layout, notes, preview: how the file was understood, what was decided and why, and its first
        rows as cells; layout is None where it was refused before that.
    rows, bad_rows, bad_rows_shown: good rows, bad ones, and the first of those.
    counters: names of the rig's counters whose readings the log gives, by role.
    log: the kept file with READ and KNOWN; None by a mere look.
    """

    file: str
    status: str
    reason: str = ""
    questions: tuple[Question, ...] = ()
    days: tuple[Day, ...] = ()
    contradictions: tuple[LogContradiction, ...] = ()
    layout: Layout | None = None
    notes: tuple[str, ...] = ()
    preview: tuple[tuple[str, ...], ...] = ()
    rows: int = 0
    bad_rows: int = 0
    bad_rows_shown: tuple[BadRow, ...] = ()
    counters: tuple[tuple[str, str], ...] = ()
    log: ShiftLog | None = None

    @property
    def is_done(self) -> bool:
        return self.status in (READ, KNOWN)


def no_progress(what: str, share: float) -> None:
    """For a caller that does not want to be told."""
