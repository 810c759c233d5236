"""What the clocks of a due row count from, and the dates of those that go by time or by an event.

What wears by use, and days without use, are forecast (`forecasting`); everything else of a clock
follows from what happened, and is set here when that changes.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from equipment import due as dates
from equipment import triggers
from equipment.caldates import Every
from equipment.models import (
    Component,
    DueClock,
    Installation,
    JobBooking,
    Renewal,
    ServiceVersion,
    Trigger,
)
from equipment.models.rigs import ZERO
from equipment.services.kept import set_dates
from equipment.services.lives import Lives
from equipment.services.measured import Measured, value_due


@dataclass(frozen=True, slots=True)
class Events:
    """What happened around some components, and what is booked.

    done: the last renewal in force, by (component, service). mates: by component, those fitted in
    its rig now, itself among them. jobs: by rig. measured: what the services watch.
    """

    done: Mapping[tuple[int, int], Renewal]
    mates: Mapping[int, Sequence[int]]
    jobs: Mapping[int, Sequence[triggers.Away]]
    measured: Measured

    @classmethod
    def around(
        cls,
        history: Lives,
        versions: Collection[ServiceVersion],
        renewals: Mapping[tuple[int, int], Renewal],
    ) -> "Events":
        """renewals: of these components; those of their rigs' others are read where asked for."""
        asked = [each for version in versions for each in version.triggers.all()]
        rigs = {each.position.rig_id for each in history.fitted.values()}
        jobs: dict[int, list[triggers.Away]] = defaultdict(list)
        if any(each.measure == dates.JOB for each in asked):
            rows = JobBooking.objects.filter(rig__in=rigs).order_by("rig", "first_day")
            for rig, first, last in rows.values_list("rig_id", "first_day", "last_day"):
                jobs[rig].append(triggers.Away(first, last))
        others = {each.after_id for each in asked if each.after_id is not None}
        done, mates = dict(renewals), {pk: [pk] for pk in history.components}
        if others:
            fitted = Installation.objects.filter(position__rig__in=rigs, removed_at__isnull=True)
            by_rig: dict[int, list[int]] = defaultdict(list)
            for component, rig in fitted.order_by("pk").values_list(
                "component_id", "position__rig_id"
            ):
                by_rig[rig].append(component)
            for pk, here in history.fitted.items():
                mates[pk] = by_rig[here.position.rig_id]
            beyond = {pk for of in mates.values() for pk in of} - set(history.components)
            for row in (
                Renewal.objects.in_force()
                .select_related("version")
                .filter(component__in=beyond, version__service__in=others)
                .order_by("done_at", "pk")
            ):
                done[row.component_id, row.version.service_id] = row
        return cls(done, mates, jobs, Measured.of(history.components, versions))


def followers(rig: int) -> list[Component]:
    """What is fitted in a rig and has a service that falls due after another one there."""
    kinds = Trigger.objects.filter(
        measure=dates.AFTER, version__is_current=True, version__service__is_retired=False
    ).values("version__service__kind")
    return list(
        Component.objects.filter(
            type__kind__in=kinds,
            installations__position__rig=rig,
            installations__removed_at__isnull=True,
        )
    )


def reckon(
    *,
    clock_of: Callable[[str], DueClock],
    component: Component,
    version: ServiceVersion,
    renewal: Renewal | None,
    history: Lives,
    events: Events,
) -> list[DueClock]:
    """Return the clocks of a service on a component, one for each measure it is asked in.

    clock_of: the kept clock of a measure, or a new one. Of several triggers of one measure, after
    one of several services, the one that falls first counts.
    """
    by_measure: dict[str, list[Trigger]] = defaultdict(list)
    for trigger in version.triggers.all():
        by_measure[trigger.measure].append(trigger)
    found = []
    for measure in dates.MEASURES:
        if not by_measure[measure]:
            continue
        clock = clock_of(measure)
        clock.is_renewed = renewal is not None
        clock.life_at_renewal = clock.since = clock.allowed_of = ZERO
        clock.is_at_least, clock.because = False, ""
        clock.counted_from = renewal.counts_from if renewal else component.in_service_on
        if measure in dates.USE:
            _use(clock, by_measure[measure][0], component, renewal, history)
        elif measure == dates.IDLE:
            clock.interval = by_measure[measure][0].interval
            clock.counted_from = history.used_on(component)
        else:
            _by_time(clock, by_measure[measure], component, version, renewal, history, events)
        found.append(clock)
    return found


def _use(
    clock: DueClock,
    trigger: Trigger,
    component: Component,
    renewal: Renewal | None,
    history: Lives,
) -> None:
    key = component.pk, clock.measure
    life = history.life_at(key, renewal.done_at) if renewal else None
    counts = triggers.use_clock(
        interval=trigger.interval, first_at=trigger.first_at, renewed_at_life=life
    )
    clock.interval, clock.allowed_of = counts.interval, counts.allowed_of
    clock.life_at_renewal = counts.from_life
    since_renewal = renewal is not None and counts.from_life == life
    clock.is_at_least = history.is_at_least(
        key, renewal.done_at if renewal and since_renewal else None
    )


def _by_time(
    clock: DueClock,
    asked: Sequence[Trigger],
    component: Component,
    version: ServiceVersion,
    renewal: Renewal | None,
    history: Lives,
    events: Events,
) -> None:
    """Set the clock by the trigger that falls first."""
    first: triggers.Dates | None = None
    for trigger in asked:
        found, counted_from, because = _dates(trigger, component, version, renewal, history, events)
        if first is None or found.due_date < first.due_date:
            first = found
            clock.interval, clock.counted_from = trigger.interval, counted_from
            clock.because = because
    set_dates(clock, first or triggers.NO_DATES)


def _dates(
    trigger: Trigger,
    component: Component,
    version: ServiceVersion,
    renewal: Renewal | None,
    history: Lives,
    events: Events,
) -> tuple[triggers.Dates, date, str]:
    """The dates of a trigger of time, the day it counts from, and why where that is not plain."""
    counts_from = renewal.counts_from if renewal else component.in_service_on
    number = int(trigger.interval)
    if trigger.measure in (dates.DAYS, dates.MONTHS):
        every = Every(days=number) if trigger.measure == dates.DAYS else Every(months=number)
        found = triggers.by_calendar(
            counts_from=counts_from,
            every=every,
            tolerance=version.tolerance,
            early=version.early,
            anchor=renewal.anchor if renewal else None,
        )
        return found, counts_from, ""
    # Nobody asked for it before the shop had the service: what was then is not missed.
    begun = max(counts_from, timezone.localdate(version.service.created_at, history.zone))
    # From the day done: a planned day is one of days and months.
    since = timezone.localdate(renewal.done_at, history.zone) if renewal else begun
    fitted = history.fitted.get(component.pk)
    if trigger.measure == dates.SEASON and trigger.season is not None:
        found = triggers.by_season(
            counts_from=since,
            is_renewed=renewal is not None,
            month=trigger.season.month,
            day=trigger.season.day,
            window_days=number,
        )
        return found, since, f"before {trigger.season.name}"[:200]
    if trigger.measure == dates.JOB:
        jobs = events.jobs.get(fitted.position.rig_id, ()) if fitted else ()
        found = triggers.by_job(
            jobs=jobs, counts_from=since, is_renewed=renewal is not None, window_days=number
        )
        return found, since, "before the rig leaves for its next job"
    if trigger.measure == dates.VALUE:
        value = value_due(
            measured=events.measured,
            component=component,
            version=version,
            trigger=trigger,
            renewal=renewal,
            zone=history.zone,
        )
        found = triggers.by_value(
            measured_on=value.measured_on,
            is_past_limit=value.is_past_limit,
            meets_on=value.meets_on,
            days_before=number,
        )
        return found, value.measured_on or since, value.because
    rows = [
        events.done[mate, trigger.after_id]
        for mate in events.mates[component.pk]
        if trigger.after_id is not None and (mate, trigger.after_id) in events.done
    ]
    asked_at = max(history.came(component), version.service.created_at)
    if renewal:
        asked_at = renewal.done_at
    after = [row for row in rows if row.done_at > asked_at]
    if trigger.after is None or not after:
        return triggers.NO_DATES, since, ""
    last = max(after, key=lambda row: (row.done_at, row.pk))
    done_on = timezone.localdate(last.done_at, history.zone)
    found = triggers.by_other(other_done_on=done_on, days_after=number, early=version.early)
    return found, done_on, f"after {trigger.after.name}, done {done_on:%-d %b %Y}"[:200]
