"""Which columns of a table tell when a row was written."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Final

from equipment.shiftlogs.blocks import RigFacts
from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.cells import ORDERS, plain, read_clock, read_date, read_moment
from equipment.shiftlogs.guessing.columns import CLOCK, DAY, MOMENT, NUMBER, TEXT, Found
from equipment.shiftlogs.guessing.headings import is_zone_word
from equipment.shiftlogs.guessing.table import Table
from equipment.shiftlogs.layout import CLOCK as CLOCK_ROLE
from equipment.shiftlogs.layout import (
    DATE,
    ELAPSED,
    EPOCH,
    OTHER,
    TIME,
    ZONE,
    AnswerRefused,
    LogRefused,
)

#: Seconds since 1970 of 2001-09-09 and 2039-11-09: between them a counter of ten digits is a time.
_EPOCHS = (("s", 1e9, 2.2e9), ("ms", 1e12, 2.2e12), ("us", 1e15, 2.2e15))


@dataclass(slots=True)
class Timing:
    """The columns of time, by place; None or () for those that are not.

    order: of year, month and day where headings name them. start: the date, as written, of a log
    whose rows count from its beginning.
    roles: role and unit by place, of all of them. zones: as headings and a column of zones write
    them. doubt: what is not sure, for the question `columns`.
    """

    moment: int | None = None
    day: tuple[int, ...] = ()
    clock: tuple[int, ...] = ()
    order: str = ""
    start: str = ""
    roles: dict[int, tuple[str, str]] = field(default_factory=dict)
    zones: tuple[str, ...] = ()
    doubt: str = ""
    is_epoch: bool = False
    is_elapsed: bool = False
    is_backward: bool = False
    days: tuple[str, ...] = ()
    epoch: tuple[float, ...] = ()

    @property
    def needs_date(self) -> bool:
        return self.moment is None and not self.day and not self.is_epoch

    def dates(self, order: str) -> list[date]:
        """Return the days of the sample, in one order."""
        found = []
        for text in self.days:
            both = read_moment(text)
            cell = both[0] if both else read_date(text)
            if cell and (on := cell.day(order)):
                found.append(on)
        return found

    def hints(self, facts: RigFacts) -> tuple[date, ...]:
        """Return the first and last day by a column of epochs beside the wall time."""
        return tuple(
            datetime.fromtimestamp(each, UTC).astimezone(facts.zone).date() for each in self.epoch
        )

    def ahead(self, first: datetime) -> timedelta | None:
        """Return how far the wall time is ahead of the epoch beside it. first: of the wall."""
        if not self.epoch:
            return None
        return first - datetime.fromtimestamp(self.epoch[0], UTC).replace(tzinfo=None)


def find_timing(
    table: Table, found: list[Found], given: Mapping[int, tuple[str, str]] | None
) -> Timing:
    """Return the columns of time. given: roles that a person or a layout settled.

    Raises LogRefused where no column tells the time.
    """
    timing = Timing()
    if given and any(
        role in (TIME, DATE, CLOCK_ROLE, EPOCH, ELAPSED) for role, _ in given.values()
    ):
        _settle(timing, found, given)
    else:
        free = [e for e in found if not (given and given.get(e.index, (OTHER,))[0] != OTHER)]
        _choose(timing, free)
    _halves(timing, found)
    _zones(timing, found)
    places = (timing.moment,) if timing.moment is not None else timing.day
    if places:
        texts = [" ".join(parts) for parts in zip(*(found[at].cells for at in places), strict=True)]
        timing.days = tuple(dict.fromkeys([*texts[:: max(1, len(texts) // 60)], texts[-1]]))
    return timing


#: By role, the kinds of cells that it can have, and words for it.
_HOLDS: Final = {
    TIME: (MOMENT,), DATE: (DAY, MOMENT, NUMBER), CLOCK_ROLE: (CLOCK, MOMENT, NUMBER, TEXT),
    EPOCH: (NUMBER,), ELAPSED: (NUMBER, CLOCK),
}  # fmt: skip
_WHAT: Final = {
    TIME: "date and time", DATE: "date", CLOCK_ROLE: "time of day", EPOCH: "seconds since 1970",
    ELAPSED: "time since the beginning",
}  # fmt: skip


def _settle(timing: Timing, found: list[Found], given: Mapping[int, tuple[str, str]]) -> None:
    for at, (role, unit) in sorted(given.items()):
        if role == TIME:
            timing.moment = at
        elif role == DATE:
            timing.day += (at,)
        elif role == CLOCK_ROLE:
            timing.clock += (at,)
        elif role == EPOCH:
            timing.is_epoch = True
            timing.is_backward = _falls(found[at])
            unit = unit or _epoch_unit(found[at]) or "s"
        elif role == ELAPSED:
            timing.is_elapsed = True
            timing.is_backward = _falls(found[at])
            unit = unit or _elapsed_unit(found[at]) or "s"
        else:
            continue
        timing.roles[at] = (role, unit)
    if timing.moment is not None and found[timing.moment].kind != MOMENT:
        # “time” said of a column that has the time of day alone, or the date alone.
        kind = found[timing.moment].kind
        if kind in (CLOCK, DAY):
            at, timing.moment = timing.moment, None
            timing.roles[at] = (CLOCK_ROLE if kind == CLOCK else DATE, "")
            if kind == CLOCK:
                timing.clock = (at,)
            else:
                timing.day = (at,)
    if timing.moment is not None or timing.day:
        timing.is_epoch = False
    for at, (role, _) in timing.roles.items():
        if found[at].kind not in _HOLDS[role]:
            raise AnswerRefused(
                "columns", f"Column {at + 1} (“{found[at].name}”) holds no {_WHAT[role]}."
            )


def _halves(timing: Timing, found: list[Found]) -> None:
    """AM and PM in a column of their own."""
    for each in found:
        if each.kind != TEXT:
            continue
        words = {cell.casefold().replace(".", "") for cell in each.cells if cell}
        if words and words <= {"am", "pm"}:
            if timing.moment is not None:
                raise LogRefused(
                    "AM and PM stand in a column of their own, beside date and time in one cell. "
                    "Put them into one cell, or the date and the time into two."
                )
            if timing.clock and each.index not in timing.clock:
                timing.clock += (each.index,)
                timing.roles[each.index] = (CLOCK_ROLE, "")
            return


#: Words over the parts of a moment that stand in columns of their own, and what they are.
_PARTS: Final = {
    word: part
    for part, words in (
        ("y", "year yr yyyy jahr annee ano anno jaar rok"),
        ("m", "month mon monat mois mes mese maand"),
        ("d", "day dd tag jour dia giorno dag"),
        ("H", "hour hr hh stunde heure hora ora uur"),
        ("M", "minute min minuto minuut mn"),
        ("S", "second sec ss sekunde seconde segundo secondo seg sek"),
    )
    for word in words.split()
}


def _parted(timing: Timing, found: list[Found]) -> bool:
    """Take year, month, day, hour and minute from columns of their own, if they are there."""
    parts: dict[str, Found] = {}
    for each in found:
        part = _PARTS.get(plain(each.name).rstrip("s."), "") or _PARTS.get(plain(each.name), "")
        if part and each.kind in (NUMBER, DAY, CLOCK):
            parts.setdefault(part, each)
    order = "".join(part for part in parts if part in "ymd")
    if order not in ORDERS or not {"H", "M"} <= parts.keys():
        return False
    clock = [parts[part].index for part in "HMS" if part in parts]
    if clock != sorted(clock):
        return False
    timing.day = tuple(parts[part].index for part in order)
    timing.clock = tuple(clock)
    timing.order = order
    timing.roles |= dict.fromkeys(timing.day, (DATE, ""))
    timing.roles |= dict.fromkeys(timing.clock, (CLOCK_ROLE, ""))
    return True


#: A date without a year before a time of day: "05/24 07:00:00", "24. May 7:00".
_YEARLESS: Final = re.compile(
    r"\s*(?:\d{1,2}[-/.]\s?\d{1,2}\.?|\d{1,2}\.?[-\s][^\W\d]{3,9}\.?|[^\W\d]{3,9}\.?\s\d{1,2},?)"
    r"[\sT,]+\d{1,2}:\d\d"
)


def _refuse_serials(found: list[Found]) -> None:
    for each in found:
        values = each.filled()
        if (
            each.kind == NUMBER
            and each.heading.quantity in (h.TIME, h.DATE, "")
            and each.moves()
            and all(40_000 < v < 60_000 and v != int(v) for v in values[1:])
            and each.rises()
        ):
            raise LogRefused(
                f"“{each.name}” holds a spreadsheet's numbers of days ({values[0]:g}) in place of "
                "dates. Format the column as date and time there, and save it as CSV again."
            )


def _score(each: Found) -> tuple[int, int, int]:
    heading = each.heading
    is_time = heading.quantity in (h.TIME, h.DATE, h.EPOCH)
    return (not heading.is_decoy) + is_time, heading.zone == "UTC", len(set(each.cells))


def _choose(timing: Timing, found: list[Found]) -> None:
    moments = [e for e in found if e.kind == MOMENT and (e.heading.quantity != h.HOURS)]
    days = [e for e in found if e.kind == DAY]
    clocks = [e for e in found if e.kind == CLOCK]
    epochs = [e for e in found if e.kind == NUMBER and _epoch_unit(e)]
    if moments:
        best = max(moments, key=_score)
        if _is_midnight(best) and clocks:
            days = [best]
        else:
            timing.moment = best.index
            timing.roles[best.index] = (TIME, "")
            _beside(timing, epochs)
            return
    timed = [e for e in clocks if not _is_span(e)]
    if _parted(timing, found):
        return
    if days and (timed or clocks):
        day = max(days, key=lambda e: (_score(e)[0], -e.index))
        clock = max(timed or clocks, key=lambda e: (_score(e)[0], len(set(e.cells)), -e.index))
        timing.day, timing.clock = (day.index,), (clock.index,)
        timing.roles |= {day.index: (DATE, ""), clock.index: (CLOCK_ROLE, "")}
        _beside(timing, epochs)
        return
    if epochs:
        best = max(epochs, key=lambda e: (e.heading.quantity == h.EPOCH, -e.index))
        timing.is_epoch = True
        timing.roles[best.index] = (EPOCH, _epoch_unit(best))
        timing.is_backward = _falls(best)
        return
    if timed:
        clock = max(timed, key=lambda e: (_score(e)[0], len(set(e.cells)), -e.index))
        timing.clock = (clock.index,)
        timing.roles[clock.index] = (CLOCK_ROLE, "")
        return
    if clocks:
        timing.is_elapsed = True
        timing.roles[clocks[0].index] = (ELAPSED, "hms")
        return
    _refuse_serials(found)
    counted = [
        e
        for e in found
        if e.kind == NUMBER
        and (
            e.heading.quantity in (h.ELAPSED, h.TIME)
            or (e.heading.unit in ("s", "ms") and e.heading.quantity == h.HOURS)
        )
        and not e.heading.is_decoy
        and e.moves()
    ]
    if counted:
        best = max(counted, key=lambda e: (e.heading.quantity == h.ELAPSED, e.rises(), -e.index))
        timing.is_elapsed = True
        unit = _elapsed_unit(best)
        timing.roles[best.index] = (ELAPSED, unit or "s")
        timing.is_backward = _falls(best)
        _dated_elapsed(timing, best, days)
        if not unit:
            timing.doubt = f"“{best.name}” counts time, and its unit is not written (s, min or h)."
        return
    for each in found:
        if (
            each.kind == TEXT
            and sum(map(bool, map(_YEARLESS.match, each.cells))) > len(each.cells) / 2
        ):
            raise LogRefused(
                f"The dates under “{each.name or each.index + 1}” have no year ({each.cells[0]}). "
                "Let the controller write it, or add it in a spreadsheet."
            )
    if days:
        raise LogRefused(
            "The rows have a date and no time of day. A log has a line for each moment."
        )
    raise LogRefused(
        "No column tells the time. A log has a line for each moment, with its time, and what was "
        "measured then."
    )


def _dated_elapsed(timing: Timing, counted: Found, days: list[Found]) -> None:
    """Take the date beside seconds: of the beginning, or of each midnight from which they count."""
    if not days:
        return
    day = max(days, key=lambda e: (_score(e)[0], -e.index))
    values = counted.filled()
    unit = timing.roles[counted.index][1]
    first = values[0] * {"s": 1, "ms": 0.001, "min": 60, "h": 3600}.get(unit, 1) if values else 0
    if 900 < first < 86_400:
        timing.day = (day.index,)
        timing.roles[day.index] = (DATE, "")
        timing.is_elapsed = False
    elif len(set(day.cells)) == 1:
        timing.start = day.cells[0]


def _is_span(each: Found) -> bool:
    """Say whether hours, minutes and seconds count from the beginning: from about 0, never back."""
    if each.heading.quantity not in (h.ELAPSED, h.HOURS):
        return False
    seen = [clock.us for cell in each.cells[:160] if (clock := read_clock(cell))]
    return bool(seen) and min(seen[0], seen[-1]) < 3_600_000_000 and seen in (
        sorted(seen), sorted(seen, reverse=True),
    )  # fmt: skip


def _beside(timing: Timing, epochs: list[Found]) -> None:
    named = [e for e in epochs if e.heading.quantity in (h.EPOCH, h.TIME)]
    if named and (values := named[0].filled()):
        scale = {"s": 1.0, "ms": 1e3, "us": 1e6}[_epoch_unit(named[0])]
        timing.epoch = (values[0] / scale, values[-1] / scale)


def _is_midnight(each: Found) -> bool:
    return all(
        both[1].us == 0 for cell in each.cells[:80] if (both := read_moment(cell)) is not None
    )


def _epoch_unit(each: Found) -> str:
    heading = each.heading
    if heading.quantity not in (h.EPOCH, h.TIME, h.DATE, h.ELAPSED, "") or heading.side:
        return ""
    values = each.filled()
    for unit, low, high in _EPOCHS:
        if values and all(low < value < high for value in values):
            return unit
    return ""


def _elapsed_unit(each: Found) -> str:
    if each.kind == CLOCK:
        return "hms"
    unit = each.heading.unit or each.unit
    return unit if unit in ("s", "ms", "min", "h") else ""


def _falls(each: Found) -> bool:
    return each.rises(sign=-1) and not each.rises()


def _zones(timing: Timing, found: list[Found]) -> None:
    for each in found:
        if each.heading.quantity == h.ZONE or (each.kind == TEXT and not each.heading.quantity):
            words = dict.fromkeys(cell for cell in each.cells if cell)
            if (
                words
                and len(words) <= 4
                and all(map(is_zone_word, words))
                and each.index not in timing.roles
            ):
                timing.roles[each.index] = (ZONE, "")
                timing.zones = tuple(words)
                return
    for at in (timing.moment, *timing.clock, *timing.day):
        if at is not None and found[at].heading.zone:
            timing.zones = (found[at].heading.zone,)
            return
