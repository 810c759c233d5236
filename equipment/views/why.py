"""Why each service of a component falls due when it does: what was counted, done and decided."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from equipment.due import DAYS, FAR_DATE, MONTHS
from equipment.models import (
    Component,
    Due,
    DueClock,
    Measure,
    Postponement,
    Renewal,
    UsageRate,
    WearSource,
)

#: So many renewals of a service are listed; the line of time under it has them all.
RENEWALS: Final = 5


@dataclass(frozen=True, slots=True)
class Clock:
    """One trigger and its date. decides: the service falls due on the date of this one."""

    row: DueClock
    unit: str
    by_use: bool
    by_calendar: bool
    has_date: bool
    decides: bool


@dataclass(frozen=True, slots=True)
class Pace:
    """What the forecast of a counter is reckoned from. mean: [counter units / use-day]"""

    usage: UsageRate
    measure: str
    unit: str
    mean: float


@dataclass(slots=True)
class Why:
    """Everything behind one due row, newest first."""

    due: Due
    clocks: list[Clock] = field(default_factory=list)
    renewals: list[Renewal] = field(default_factory=list)
    postponements: list[Postponement] = field(default_factory=list)
    paces: list[Pace] = field(default_factory=list)

    @property
    def standing(self) -> Postponement | None:
        """The postponement that its dates follow now."""
        if self.due.postponed_to is None:
            return None
        return next((each for each in self.postponements if each.taken_off_at is None), None)


def reasons(component: Component, dues: Sequence[Due]) -> dict[int, Why]:
    """Return what stands behind the due rows of a component, by row. Four queries."""
    found = {due.pk: Why(due) for due in dues}
    paces = _paces(component)
    for row in DueClock.objects.filter(due__in=found).order_by("due_date", "measure"):
        why = found[row.due_id]
        by_use = row.measure in Measure.values
        why.clocks.append(
            Clock(
                row=row,
                unit=row.get_measure_display() if by_use else "days",
                by_use=by_use,
                by_calendar=row.measure in (DAYS, MONTHS),
                has_date=row.due_date != FAR_DATE,
                decides=row.measure == why.due.measure,
            )
        )
        why.paces += paces.get(row.measure, [])
    services = {why.due.version.service_id: why for why in found.values()}
    renewals = (
        Renewal.objects.filter(component=component, undoes__isnull=True)
        .filter(version__service__in=services)
        .select_related("version", "author", "within__version__service", "undone_by__author")
    )
    for renewal in renewals.order_by("-done_at", "-pk"):
        why = services[renewal.version.service_id]
        if len(why.renewals) < RENEWALS:
            why.renewals.append(renewal)
    put_off = Postponement.objects.filter(component=component, service__in=services)
    for each in put_off.select_related("author", "taken_off_by").order_by("-at", "-pk"):
        services[each.service_id].postponements.append(each)
    return found


def _paces(component: Component) -> dict[str, list[Pace]]:
    """By measure: the counters that it wears by now, with their forecasts."""
    found: dict[str, list[Pace]] = defaultdict(list)
    sources = WearSource.objects.filter(
        installation__component=component, ended_at__isnull=True, counter__usage__isnull=False
    ).select_related("counter__usage")
    for source in sources.order_by("counter__order", "counter"):
        usage = source.counter.usage
        rate = usage.rate
        if rate is None:
            continue
        found[source.measure].append(Pace(usage, source.measure, source.counter.unit, rate.mean))
    return found
