"""Rows of a world as the blocks that reading hands on, without any text between."""

from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np

from equipment.shiftlogs.blocks import Block, RigFacts

from .world import Rig, Row

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def facts_of(rig: Rig) -> RigFacts:
    """Return what the rig knows, in the importer's words."""
    return RigFacts(
        zone=ZoneInfo(rig.zone),
        in3_per_stroke_a=None if rig.in3_a is None else float(rig.in3_a),
        in3_per_stroke_b=None if rig.in3_b is None else float(rig.in3_b),
        rollover_a=rig.top_a,
        rollover_b=rig.top_b,
    )


def blocks_of(rows: Sequence[Row], rig: Rig, *, size: int = 4096) -> Iterator[Block]:
    """Yield the rows, `size` to a block."""
    zone = ZoneInfo(rig.zone)
    roles = list(dict.fromkeys(role for row in rows for role in row.values))
    has_running = any(row.running is not None for row in rows)
    for start in range(0, len(rows), size):
        some = rows[start : start + size]
        yield Block(
            line=np.arange(start + 2, start + 2 + len(some), dtype=np.int64),
            instant_us=np.array(
                [round((row.at - _EPOCH).total_seconds() * 1e6) for row in some], dtype=np.int64
            ),
            day=np.array(
                [(row.at.astimezone(zone).date() - date(1970, 1, 1)).days for row in some],
                dtype=np.int64,
            ),
            values={
                role: np.array(
                    [
                        np.nan if row.values.get(role) is None else float(row.values[role] or 0)
                        for row in some
                    ]
                )
                for role in roles
            },
            running=np.array([row.running is not False for row in some]) if has_running else None,
        )
