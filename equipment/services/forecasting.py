"""Dates and odds of due rows, from their clocks and from what lies ahead of their rigs.

One way for a reading, for some components and for the whole fleet, so that kept rows and a rebuild
never differ. The dates of triggers of time stand on their clocks already; those of use are
forecast here (`equipment.forecast`), and all are put together (`equipment.combining`).
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
from django.utils import timezone

from equipment import combining, forecast, triggers
from equipment import due as dates
from equipment.combining import Columns
from equipment.due import FAR_DATE
from equipment.models import ServiceVersion, Wear
from equipment.models.rigs import ZERO
from equipment.services.ahead import Ahead
from equipment.services.in_use import LATE, InUse
from equipment.services.including import reached
from equipment.services.kept import AnyClock, AnyDue, Entry, Flat, Sources, set_dates
from equipment.services.lives import Key
from equipment.services.odds import Chances, chances_of, together


def settle(
    entries: Sequence[Entry],
    *,
    wear: Mapping[Key, Wear],
    sources: Sources,
    zone: ZoneInfo,
) -> None:
    """Set the dates and odds of due rows, and the figures of the clock that leads each.

    entries: every row of its component is among them; each has at least one clock, in the order of
    `equipment.due.MEASURES`. wear: of all their components. sources: what drives it, with counters.
    """
    if not entries:
        return
    open_sources = {
        key: [source for source in of if source.ended_at is None] for key, of in sources.items()
    }
    ahead = Ahead.of(
        rows=[row for row, _ in entries],
        counters={source.counter_id for of in open_sources.values() for source in of},
    )
    flat = Flat.of(entries)
    for row, clock in flat.clocks:
        if clock.measure in dates.USE:
            _read(row, clock, wear, zone)
        elif clock.measure == dates.IDLE:
            _idle(row, clock, open_sources, ahead, zone)
    in_use = InUse.of(flat, wear, open_sources, ahead, zone)
    columns = _forecast(flat, in_use, wear, ahead)
    stays = [ahead.stays.get(row.rig_id or 0, FAR_DATE).toordinal() for row, _ in flat.clocks]
    chances = chances_of(flat, in_use, np.array(stays, dtype=np.int64), ahead)
    leads = combining.leads(columns, starts=flat.starts, is_all=flat.is_all)
    _keep_dates(flat, columns)
    _keep_odds(flat, chances, ahead.stays)
    for row, lead in zip(flat.rows, leads.tolist(), strict=True):
        _follow(row, flat.clocks[lead][1], wear)
    _keep_bigger(flat.rows)


def _read(row: AnyDue, clock: AnyClock, wear: Mapping[Key, Wear], zone: ZoneInfo) -> None:
    """What was used since the renewal, as last read."""
    worn = wear.get((row.component_id, clock.measure))
    clock.since = max((ZERO if worn is None else worn.life) - clock.life_at_renewal, ZERO)
    read_at = row.renewed_at if worn is None else worn.read_at
    clock.counted_from = timezone.localdate(read_at, zone)
    clock.is_past_due = clock.since >= clock.interval


def _idle(
    row: AnyDue,
    clock: AnyClock,
    sources: Sources,
    ahead: Ahead,
    zone: ZoneInfo,
) -> None:
    """Since when nothing was used: the day that stands there, or what its counters showed since."""
    used = [clock.counted_from]
    for measure in dates.USE:
        for source in sources.get((row.component_id, measure), ()):
            moved_at = source.counter.moved_at
            if moved_at is not None and moved_at > source.began_at:
                used.append(timezone.localdate(moved_at, zone))
    clock.counted_from = max(used)
    found = triggers.by_idle_days(
        used_on=clock.counted_from,
        done_on=timezone.localdate(row.renewed_at, zone) if clock.is_renewed else None,
        jobs=ahead.jobs.get(row.rig_id or 0, ()),
        idle_days=int(clock.interval),
        early=row.early,
    )
    set_dates(clock, found)


def _forecast(flat: Flat, in_use: InUse, wear: Mapping[Key, Wear], ahead: Ahead) -> Columns:
    """The dates of every clock; those of use are kept on it, too."""
    middle, window, late = (flat.days(name) for name in ("due_date", "window_from", "late_date"))
    early, last = middle.copy(), middle.copy()
    is_past_late = np.zeros(len(flat.clocks), dtype=bool)
    at = in_use.at
    if len(at):
        early[at], middle[at], last[at], late[at], window[at] = in_use.days(wear, ahead.timeline)
        is_past_late[at] = in_use.remaining[LATE] < 0
        for (_, clock), day, first, limit in zip(
            in_use.used, middle[at].tolist(), window[at].tolist(), late[at].tolist(), strict=True
        ):
            clock.due_date = date.fromordinal(day)
            clock.window_from, clock.late_date = date.fromordinal(first), date.fromordinal(limit)
    return Columns(
        due_10=early,
        due_date=middle,
        due_90=last,
        window_from=window,
        late_date=late,
        is_past_due=np.array([clock.is_past_due for _, clock in flat.clocks], dtype=bool),
        is_past_tolerance=is_past_late,
    )


def _keep_dates(flat: Flat, columns: Columns) -> None:
    until = np.array(
        [
            combining.NOT_POSTPONED if row.postponed_to is None else row.postponed_to.toordinal()
            for row in flat.rows
        ],
        dtype=np.int64,
    )
    wanted = np.array([row.brought_on.toordinal() for row in flat.rows], dtype=np.int64)
    of_rows = combining.combine(columns, starts=flat.starts, is_all=flat.is_all)
    of_rows = combining.postpone(of_rows, until=until)
    of_rows = combining.bring_forward(of_rows, wanted_by=wanted)
    for row, found in zip(flat.rows, combining.dates_of(of_rows), strict=True):
        row.due_10, row.due_date, row.due_90 = found.due_10, found.due_date, found.due_90
        row.window_from, row.late_date = found.window_from, found.late_date
        row.is_past_due, row.is_past_tolerance = found.is_past_due, found.is_past_tolerance


def _keep_odds(flat: Flat, chances: Chances, stays: Mapping[int, date]) -> None:
    """The odds before the next stay of its rig; none where no stay is known."""
    until = [stays.get(row.rig_id or 0, FAR_DATE) for row in flat.rows]
    due, most, late = (
        forecast.permille(each).tolist() for each in together(flat, chances, until=until)
    )
    for place, row in enumerate(flat.rows):
        row.stay_on = until[place]
        row.odds_due_permille, row.odds_due_most_permille = due[place], most[place]
        row.odds_late_permille = late[place]


def _follow(row: AnyDue, clock: AnyClock, wear: Mapping[Key, Wear]) -> None:
    """Show the figures of the trigger that gives the due date."""
    row.measure, row.interval, row.since = clock.measure, clock.interval, clock.since
    row.is_at_least, row.read_on = clock.is_at_least, clock.counted_from
    worn = wear.get((row.component_id, clock.measure)) if clock.measure in dates.USE else None
    row.rate_per_day = None if worn is None else worn.rate_per_day


def _keep_bigger(rows: Sequence[AnyDue]) -> None:
    """When a listed service that includes this one, on the same component, falls due."""
    through = ServiceVersion.includes.through.objects
    includes: dict[int, list[int]] = defaultdict(list)
    for version, service in through.filter(
        serviceversion__in={row.version_id for row in rows}
    ).values_list("serviceversion_id", "service_id"):
        includes[version].append(service)
    by_service: dict[int, dict[int, AnyDue]] = defaultdict(dict)
    for row in rows:
        row.bigger_date = FAR_DATE
        by_service[row.component_id][row.service_id] = row
    if not includes:
        return
    for bigger in rows:
        if not bigger.is_listed or bigger.version_id not in includes:
            continue
        here = by_service[bigger.component_id]

        def below(service: int, here: Mapping[int, AnyDue] = here) -> list[int]:
            return [each for each in includes.get(here[service].version_id, ()) if each in here]

        for service in reached(bigger.service_id, below):
            smaller = here[service]
            smaller.bigger_date = min(smaller.bigger_date, bigger.due_date)
