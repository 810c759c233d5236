"""The clocks that count use, as the forecast takes them, and the days it finds for them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from django.utils import timezone

from equipment import due as dates
from equipment import forecast
from equipment.due import LONGEST_LOOK_BACK_DAYS
from equipment.forecast import Clocks, Timeline
from equipment.models import Wear
from equipment.services.ahead import UNKNOWN, Ahead, part_of
from equipment.services.kept import AnyClock, AnyDue, Flat, Sources
from equipment.services.lives import Key

SECONDS_A_DAY: Final = 86_400
#: What is asked of each clock of use: which of its amounts, and with what chance.
DUE, LATE, WINDOW = range(3)
_ASKED: Final = (
    (DUE, forecast.EARLY),
    (DUE, forecast.MIDDLE),
    (DUE, forecast.LATE),
    (LATE, forecast.MIDDLE),
    (WINDOW, forecast.MIDDLE),
)


@dataclass(frozen=True, slots=True)
class InUse:
    """The clocks of use among others, as the forecast takes them.

    at: their places. remaining: by amount and clock. [measure]
    """

    at: Any
    used: Sequence[tuple[AnyDue, AnyClock]]
    clocks: Clocks
    remaining: forecast.Floats

    @classmethod
    def of(
        cls,
        flat: Flat,
        wear: Mapping[Key, Wear],
        sources: Sources,
        ahead: Ahead,
        zone: ZoneInfo,
    ) -> "InUse":
        at = [place for place, (_, clock) in enumerate(flat.clocks) if clock.measure in dates.USE]
        used = [flat.clocks[place] for place in at]
        return cls(
            at=np.array(at, dtype=np.int64),
            used=used,
            clocks=_columns(used, wear, sources, ahead, zone),
            remaining=np.array([_remaining(row, clock) for row, clock in used]).reshape(-1, 3).T,
        )

    def days(self, wear: Mapping[Key, Wear], timeline: Timeline) -> list[forecast.Days]:
        """Return the days of _ASKED.

        What was reached before the reading was reached on a day estimated backwards by the mean
        rate, at most LONGEST_LOOK_BACK_DAYS ago.
        """
        count = len(self.used)
        which = np.tile(np.arange(count), len(_ASKED))
        left = np.concatenate([self.remaining[amount] for amount, _ in _ASKED])
        clocks = self.clocks[which]
        found = forecast.days_reached(
            clocks=clocks,
            timeline=timeline,
            remaining=left,
            chance=np.repeat([chance for _, chance in _ASKED], count),
        )
        # At the limit itself the tolerance is used, not exceeded.
        reached = left <= 0
        if reached.any():
            worn = [wear.get((row.component_id, clock.measure)) for row, clock in self.used]
            rate = np.array([float((each and each.rate_per_day) or np.nan) for each in worn])[which]
            with np.errstate(invalid="ignore"):
                back = np.nan_to_num(np.ceil(np.maximum(left / rate, -LONGEST_LOOK_BACK_DAYS)))
            found = np.where(reached, clocks.read_day + back.astype(np.int64), found)
        return list(found.reshape(len(_ASKED), count))


def _columns(
    used: Sequence[tuple[AnyDue, AnyClock]],
    wear: Mapping[Key, Wear],
    sources: Sources,
    ahead: Ahead,
    zone: ZoneInfo,
) -> Clocks:
    """The clocks of use as the forecast takes them."""
    parts: dict[Key, tuple[Any, ...]] = {}
    rows = []
    for row, clock in used:
        key = row.component_id, clock.measure
        if key not in parts:
            # On the bench and on a rig laid up nothing is used.
            part = part_of(sources.get(key, ()), ahead.rates) if row.is_listed else UNKNOWN
            worn = wear.get(key)
            local = timezone.localtime(row.renewed_at if worn is None else worn.read_at, zone)
            passed = local.hour * 3600 + local.minute * 60 + local.second
            parts[key] = (
                ahead.places.get(row.rig_id or 0, 0),
                local.date().toordinal(),
                passed / SECONDS_A_DAY,
                part.share,
                part.load,
                part.rate.shape,
                part.open_shape,
                part.rate.alpha,
                part.rate.beta * part.factor,
            )
        rows.append(parts[key])
    rig, read_day, *others = np.array(rows, dtype=np.float64).reshape(-1, 9).T
    return Clocks(rig.astype(np.int64), read_day.astype(np.int64), *others)


def _remaining(row: AnyDue, clock: AnyClock) -> tuple[float, float, float]:
    """What remains until it is due, until its tolerance is used up, until its window opens."""
    left = clock.interval - clock.since
    return (
        float(left),
        float(left + clock.allowed_of * row.tolerance),
        float(left - clock.allowed_of * row.early),
    )
