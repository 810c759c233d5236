"""What happened, read from the rows that people entered; of what is kept only the rates' snapshot.

A reading's total is worked out here anew from the faces, too.
"""

from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

from equipment.models import (
    BroughtForward,
    Component,
    Counter,
    Due,
    Installation,
    JobBooking,
    Measurement,
    Postponement,
    Reading,
    Renewal,
    Rig,
    ServiceVersion,
    UsageRate,
)
from tests.equipment.dueoracle.plain import Asked, Booked, Counted, Doing, Story, Way

Totals = tuple[tuple[datetime, Decimal], ...]
#: Of a counter that the snapshot does not know: three times as wide as an exponential day, and
#: 1 over the squared spread of rigs whose spread is not known.
ALONE_SHAPE = 1 / 3
ALONE_ALPHA = 3.0


def stories(*, today: date, zone: ZoneInfo) -> Iterator[tuple[Due | None, int, int, Story | None]]:
    """Yield (kept row, component, service, story): one of row and story is None where they differ.

    today: of the last turn of the day, which the rigs' stays were reckoned on.
    """
    kept = {(row.component_id, row.version.service_id): row for row in _rows()}
    world = _World(today, zone)
    for component in Component.objects.select_related("type").filter(is_retired=False):
        for version in _versions(component):
            key = (component.pk, version.service_id)
            fitted = world.fitted.get(component.pk)
            only = {rig.pk for rig in version.service.only_rigs.all()}
            rig = fitted.position.rig_id if fitted else None
            if only and rig not in only:
                continue
            yield kept.pop(key, None), *key, world.story(component, version)
    for (component_pk, service), row in kept.items():
        yield row, component_pk, service, None


def _rows() -> list[Due]:
    return list(Due.objects.select_related("version__service", "component", "rig"))


def _versions(component: Component) -> list[ServiceVersion]:
    rows = ServiceVersion.objects.filter(
        is_current=True,
        service__is_retired=False,
        service__kind=component.type.kind_id,
        service__side__in={"", component.side},
    )
    versions = rows.select_related("service").prefetch_related(
        "triggers__season", "service__only_rigs"
    )
    return [version for version in versions.order_by("pk") if version.triggers.all()]


def stay_of(jobs: list[JobBooking], today: date, rig: Rig) -> date | None:
    """The first free day after the absence that is on, or after the next one; day by day."""
    away = set()
    for job in jobs:
        for number in range((job.last_day - job.first_day).days + 1):
            away.add(job.first_day + timedelta(days=number))
    day = today
    while day not in away:
        if not away or day > max(away):
            return None
        day += timedelta(days=1)
    while day in away:
        day += timedelta(days=1)
    return day


class _World:
    def __init__(self, today: date, zone: ZoneInfo) -> None:
        self.today, self.zone = today, zone
        self.fitted = {
            row.component_id: row
            for row in Installation.objects.select_related("position__rig").filter(
                removed_at__isnull=True
            )
        }
        self.jobs: dict[int, list[JobBooking]] = defaultdict(list)
        for job in JobBooking.objects.order_by("first_day"):
            self.jobs[job.rig_id].append(job)
        self.rates = {row.counter_id: row for row in UsageRate.objects.all()}
        newest = max(self.rates.values(), key=lambda row: row.as_of, default=None)
        self.open_from = newest.open_from if newest else today
        self.totals = {row.pk: totals_of(row) for row in Counter.objects.all()}
        self.renewals = list(Renewal.objects.select_related("version").order_by("pk"))
        self.undone = {row.undoes_id: row.pk for row in self.renewals if row.undoes_id}

    def story(self, component: Component, version: ServiceVersion) -> Story:
        fitted = self.fitted.get(component.pk)
        rig = fitted.position.rig if fitted else None
        jobs = self.jobs[rig.pk] if rig else []
        return Story(
            came_on=component.in_service_on,
            opening={
                "hours": component.opening_hours,
                "strokes": component.opening_strokes,
                "gallons": component.opening_gallons,
            },
            counted=tuple(self._counted(component)),
            used_on=self._used_on(component),
            jobs=tuple(Booked(j.first_day, j.last_day, float(j.intensity)) for j in jobs),
            asked=self._asked(version),
            doings=tuple(self._doings(component, version)),
            others=self._others(component, rig),
            measured=_measured(component),
            postponed=None if version.is_hard_limit else _postponed(component, version),
            brought=_brought(component, version),
            stay_on=stay_of(jobs, self.today, rig) if rig and not rig.is_laid_up else None,
            is_listed=rig is not None and not rig.is_laid_up,
            asked_at=version.service.created_at,
            open_from=self.open_from,
        )

    def _counted(self, component: Component) -> Iterator[Counted]:
        for stay in component.installations.select_related("position__rig"):
            for source in stay.wear_sources.select_related("counter"):
                totals = self.totals[source.counter_id]
                rate = self.rates.get(source.counter_id)
                known: tuple[float, float, float] | None
                if rate and rate.shape and rate.alpha and rate.beta:
                    known, open_shape = (rate.shape, rate.alpha, rate.beta), rate.open_shape
                    share, load = rate.share, rate.load
                else:
                    known, open_shape, share, load = _alone(totals), ALONE_SHAPE, 1.0, 1.0
                yield Counted(
                    measure=source.measure,
                    totals=totals,
                    per_count=source.per_count,
                    began_at=source.began_at,
                    ended_at=source.ended_at,
                    # Nothing is used in a rig that is laid up.
                    rate=None if stay.position.rig.is_laid_up else known,
                    share=share,
                    load=load,
                    open_shape=open_shape or ALONE_SHAPE,
                )

    def _used_on(self, component: Component) -> date:
        """The last day on which it is known to have been used, wherever it sat."""
        moments = []
        for counted in self._counted(component):
            for (begun, before), (ended, after) in zip(
                counted.totals, counted.totals[1:], strict=False
            ):
                until = ended if counted.ended_at is None else min(ended, counted.ended_at)
                if after > before and until > max(begun, counted.began_at):
                    moments.append(until)
        known = component.created_at.astimezone(self.zone).date()
        return max(
            (each.astimezone(self.zone).date() for each in moments),
            default=max(component.in_service_on, known),
        )

    def _asked(self, version: ServiceVersion) -> Asked:
        ways = tuple(
            Way(
                measure=row.measure,
                interval=row.interval,
                first_at=row.first_at,
                season=(row.season.month, row.season.day) if row.season else None,
                after=row.after_id,
                watched=row.watched,
                low=row.low,
                high=row.high,
            )
            for row in version.triggers.all()
        )
        return Asked(
            service=version.service_id,
            ways=ways,
            is_all=version.rule == "all",
            tolerance=version.tolerance_percent / 100,
            early=version.early_percent / 100,
            is_hard_limit=version.is_hard_limit,
            is_fixed=version.renews == "fixed",
        )

    def _doings(self, component: Component, version: ServiceVersion) -> Iterator[Doing]:
        for row in self.renewals:
            if row.component_id != component.pk or row.undoes_id:
                continue
            if row.version.service_id != version.service_id:
                continue
            grid = None
            if row.version.renews == "fixed":
                for trigger in row.version.triggers.all():
                    if trigger.measure in ("days", "months"):
                        grid = (trigger.measure, int(trigger.interval))
            yield Doing(
                number=row.pk,
                service=version.service_id,
                done_at=row.done_at,
                grid=grid,
                early=row.version.early_percent / 100,
                undone_number=self.undone.get(row.pk),
            )

    def _others(self, component: Component, rig: Rig | None) -> dict[int, tuple[datetime, ...]]:
        near = {component.pk}
        if rig:
            near |= {
                row.component_id for row in self.fitted.values() if row.position.rig_id == rig.pk
            }
        found: dict[int, list[datetime]] = defaultdict(list)
        for row in self.renewals:
            if row.component_id in near and not row.undoes_id and row.pk not in self.undone:
                found[row.version.service_id].append(row.done_at)
        return {service: tuple(moments) for service, moments in found.items()}


def totals_of(counter: Counter) -> Totals:
    """What a counter had counted at each reading in force, from what its face showed."""
    shown, total = counter.first_value, Decimal(0)
    found = [(counter.started_at, total)]
    rows = Reading.objects.filter(counter=counter, is_in_force=True).order_by("at", "pk")
    for row in rows:
        if row.step == "rollover":
            assert counter.rollover is not None
            total += counter.rollover - shown + row.value
        elif row.step in ("reset", "replaced"):
            seen = row.before_reset - shown if row.before_reset is not None else Decimal(0)
            total += seen + row.value - (row.face_start or Decimal(0))
        else:
            total += row.value - shown
        shown = row.value
        found.append((row.at, total))
    return tuple(found)


def _alone(totals: Totals) -> tuple[float, float, float] | None:
    """What a counter says of itself: its mean over 90 days, known as well as so many days are."""
    mean = Counted("", totals, Decimal(1), totals[0][0], None, None, 1.0, 1.0, 1.0).a_day()
    if not mean:
        return None
    days = min((totals[-1][0] - totals[0][0]) / timedelta(days=1), 90.0)
    alpha = ALONE_ALPHA + ALONE_SHAPE * days
    return ALONE_SHAPE, alpha, mean * (ALONE_ALPHA - 1) / ALONE_SHAPE + mean * days


def _measured(component: Component) -> dict[str, tuple[tuple[datetime, Decimal], ...]]:
    found: dict[str, list[tuple[datetime, Decimal]]] = defaultdict(list)
    for row in Measurement.objects.filter(component=component).order_by("at", "pk"):
        found[row.name].append((row.at, row.value))
    return {name: tuple(rows) for name, rows in found.items()}


def _postponed(component: Component, version: ServiceVersion) -> tuple[datetime, date] | None:
    row = Postponement.objects.filter(
        component=component, service=version.service_id, taken_off_at__isnull=True
    ).last()
    return (row.at, row.until) if row else None


def _brought(component: Component, version: ServiceVersion) -> tuple[datetime, date] | None:
    last = (
        Renewal.objects.filter(
            component=component,
            version__service=version.service_id,
            undoes__isnull=True,
            undone_by__isnull=True,
        )
        .order_by("done_at", "pk")
        .last()
    )
    rows = BroughtForward.objects.filter(
        component=component, service=version.service_id, taken_off_at__isnull=True
    )
    standing = [row for row in rows if last is None or last.done_at < row.at]
    first = min(standing, key=lambda row: row.due_on, default=None)
    return (first.at, first.due_on) if first else None
