"""Small shift logs as a controller would write them, and the reading of them for a test rig."""

import io
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

from django.core.files.storage import default_storage

from equipment.models import Counter, Reading
from equipment.services.shiftlogs import Outcome, read_log, source_of
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
