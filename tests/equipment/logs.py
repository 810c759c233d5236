"""Small shift logs as a controller would write them, and the reading of them for a test rig."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from typing import Any

from django.core.files.storage import default_storage

from equipment.models import (
    Counter,
    LogContradiction,
    LogLayout,
    Reading,
    ShiftDay,
    ShiftLog,
    Wear,
)
from equipment.services.shiftlogs import (
    Outcome,
    read_log,
    settle_contradiction,
    source_of,
    withdraw_log,
)
from equipment.services.shiftlogs.storing import FOLDER
from equipment.shiftlogs.blocks import Rules
from tests.equipment.factories import ZONE, SprayRig, day

HEADINGS = "Time,A strokes,B strokes,A temp (°F),B temp (°F)"
#: When the logs of these tests are read, unless told otherwise.
NOW = day(60)


def climb(start: int, rows: int, *, each: int = 3) -> list[int]:
    """A counter that counts on with every row."""
    return [start + each * place for place in range(rows)]


def log_text(
    start: str,
    a: Sequence[int | str],
    b: Sequence[int | str],
    *,
    seconds: int = 5,
    headings: str = HEADINGS,
) -> bytes:
    """Rows of wall time in the shop's zone, one for each value of the two counters."""
    begins = datetime.fromisoformat(start)
    rows = [
        f"{begins + timedelta(seconds=place * seconds)},{of_a},{of_b},120.5,118.0"
        for place, (of_a, of_b) in enumerate(zip(a, b, strict=True))
    ]
    return ("\n".join([headings, *rows]) + "\n").encode()


def read(made: SprayRig, content: bytes, *, name: str = "day.csv", **given: Any) -> Outcome:
    """Read a log for a rig, as its author."""
    return read_log(
        **{
            "rig": made.rig,
            "source": source_of(io.BytesIO(content), name),
            "author": made.author,
            "at": NOW,
            "zone": ZONE,
            "rules": Rules(),
            **given,
        }
    )


def shown(counter: Counter) -> list[tuple[str, int, str]]:
    """The readings in force of a counter: wall time, value, and who says so."""
    return [
        (f"{row.at.astimezone(ZONE):%d %H:%M:%S}", int(row.value), row.source)
        for row in Reading.objects.of(counter)
    ]


def files_kept() -> set[str]:
    """Names of the files in the storage of logs."""
    try:
        return set(default_storage.listdir(FOLDER)[1])
    except FileNotFoundError:
        return set()


@contextmanager
def nothing_stored() -> Iterator[None]:
    """What happens inside leaves no file behind, and takes none away."""
    before = files_kept()
    yield
    assert files_kept() == before


#: 50 minutes at a row each 5 seconds and 3 strokes a row: 36 a minute.
ROWS = 600
DAY = date(2026, 1, 12)
MORNING = log_text("2026-01-12 07:00:00", climb(100, ROWS), climb(200, ROWS))
NOON = log_text("2026-01-12 12:00:00", climb(1903, ROWS), climb(2003, ROWS))


def evening(number: int, value: int, made: SprayRig) -> Reading:
    """A person reads counter A at 18:00 on a day of January."""
    at = datetime(2026, 1, number, 18, 0, tzinfo=ZONE)
    return made.read(at, fresh=False, a=value)[0]


def open_ones() -> list[LogContradiction]:
    return list(LogContradiction.objects.open().order_by("at"))


def settle(each: LogContradiction, how: str, made: SprayRig, **given: Any) -> LogContradiction:
    return settle_contradiction(
        contradiction=each, how=how, author=made.author, at=NOW, zone=ZONE, **given
    )


def withdraw(log: ShiftLog | None, made: SprayRig, reason: str = "the wrong rig's") -> ShiftLog:
    assert log is not None
    return withdraw_log(
        log=log, author=made.author, at=NOW, reason=reason, zone=ZONE, rules=Rules()
    )


def everything() -> list[Any]:
    """All rows that a log can touch."""
    models = (ShiftLog, ShiftDay, LogContradiction, LogLayout, Reading, Wear, Counter)
    return [list(model.objects.order_by("pk").values()) for model in models]
