"""A log whose counter is far from where the rig's is: perhaps another rig's log."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from equipment.counters import ReadingRefused, plain
from equipment.models import Counter, Reading
from equipment.services.shiftlogs.wanted import Wanted

#: So many times what was usual, or what the log itself tells of a day, was never counted unseen.
USUAL: Final = 10
OWN: Final = 3
DAY: Final = timedelta(days=1)


class AnotherCounter(ReadingRefused):
    """More lies between the reading before and the log than was ever counted in that time."""

    def __init__(self, *, gained: Decimal, elapsed: timedelta) -> None:
        self.gained = gained
        days = max(1, round(elapsed / DAY))
        time = "a day" if days == 1 else f"{days:,} days"
        super().__init__(
            f"That is {plain(gained)} more than the reading before it, far more than was ever "
            f"counted in {time}. Is it the log of another rig?"
        )


def strangers(
    wanted: Sequence[Wanted], same: Collection[tuple[int, date]]
) -> Mapping[tuple[int, date], tuple[Wanted, ReadingRefused]]:
    """Return what begins implausibly far above the last reading, by counter and day.

    Only where that reading is no log's, where what is usual is known, and where nobody has said
    that it is the same counter: `same`, by counter and day.
    """
    groups: dict[tuple[int, date], list[Wanted]] = {}
    for each in wanted:
        groups.setdefault(each.group, []).append(each)
    counters = Counter.objects.in_bulk({counter for counter, _ in groups})
    found: dict[tuple[int, date], tuple[Wanted, ReadingRefused]] = {}
    for group, readings in groups.items():
        first, counter = readings[0], counters[group[0]]
        if group in same or first.step != Reading.Step.CONTINUED or not counter.rate_per_day:
            continue
        before = Reading.objects.of(counter).filter(at__lte=first.at).last()
        if before is None or before.source == Reading.Source.LOG:
            continue
        gained, elapsed = first.value - before.value, first.at - before.at
        days = Decimal(elapsed / DAY) + 1
        own = max(readings[-1].value - first.value, Decimal(0))
        if gained > days * max(USUAL * counter.rate_per_day, OWN * own):
            found[group] = (first, AnotherCounter(gained=gained, elapsed=elapsed))
    return found
