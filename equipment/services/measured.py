"""What was measured on components, and when a service that watches it falls due by it.

A value counts for one life of what is measured. Where another service measures it, the one that
watches it is the remedy, and a life begins when that was last done: what was measured before it, or
on the very sheet, stood so before the work. One case differs: a value that a check of the remedy
itself asked for on that sheet says how the work left it; of several of that name it is the last.

Where nothing but the service itself measures it, doing it is looking, and renews nothing: always
measured so, its values compare, and run on from one doing to the next, until the component is
rebuilt. Done without a value, it is not known how it stands, and there is no date.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Max
from django.utils import timezone

from equipment import due as dates
from equipment import trends
from equipment.due import FAR_DATE
from equipment.models import Check, Component, Measurement, Renewal, ServiceVersion, Trigger
from equipment.oil_cleanliness import scale_text
from equipment.values import Series, said, series

#: The kind of source of what was signed on a sheet.
SHEET: Final = "sheet"
NO_SHEET: Final = 0
#: States of a heading, those that tell more first.
_TELLS: Final = (trends.PAST, trends.HEADING, trends.AWAY, trends.UNSURE, trends.TOO_FEW)
#: So much of a name stands in a reason; the whole of it fits the column.
_LONGEST_NAME: Final = 80


@dataclass(frozen=True, slots=True)
class Value:
    """One measured value. sheet: the number of the sheet it was signed on, or NO_SHEET."""

    at: datetime
    value: Decimal
    unit: str
    sheet: int


@dataclass(frozen=True, slots=True)
class ValueDue:
    """What `equipment.triggers.by_value` asks, and why in plain words.

    values: those of this life in one unit, in the order of their times. heading: what they say,
    with times in days since the first of them; None without any.
    numbers: the values as the trend reckons with them, and low, high: its limits so. Of a
        cleanliness code each number has a trend; these are of the one that leads, and size_um says
        which: 4, 6 or 14 µm. 0 for all other units.
    """

    measured_on: date | None
    is_past_limit: bool
    meets_on: date | None
    because: str
    values: Sequence[Value]
    heading: trends.Heading | None
    numbers: Sequence[float] = ()
    low: float | None = None
    high: float | None = None
    size_um: int = 0


@dataclass(frozen=True, slots=True)
class Measured:
    """What was measured on some components, of what their services watch.

    values: by component and name, in the order of their times. asked: the units in which a version
    asks for a value itself, by version and name. units: those in which a kind's services do.
    askers: how many of them do. rebuilt: when each component was last rebuilt.
    """

    values: Mapping[tuple[int, str], Sequence[Value]]
    asked: Mapping[tuple[int, str], str]
    units: Mapping[tuple[int, str], str]
    askers: Mapping[tuple[int, str], int]
    rebuilt: Mapping[int, datetime]

    @classmethod
    def of(cls, components: Iterable[int], versions: Iterable[ServiceVersion]) -> "Measured":
        """versions: current ones with their services and triggers; three queries, none without
        a value that one of them watches."""
        watched: dict[int, set[str]] = defaultdict(set)
        for version in versions:
            for trigger in version.triggers.all():
                if trigger.measure == dates.VALUE:
                    watched[version.service.kind_id].add(trigger.watched)
        if not watched:
            return cls({}, {}, {}, {}, {})
        names = set().union(*watched.values())
        values: dict[tuple[int, str], list[Value]] = defaultdict(list)
        for row in Measurement.objects.filter(
            component__in=set(components), name__in=names
        ).order_by("at", "pk"):
            sheet = row.source_number if row.source_kind == SHEET else NO_SHEET
            values[row.component_id, row.name].append(Value(row.at, row.value, row.unit, sheet))
        asked: dict[tuple[int, str], str] = {}
        units: dict[tuple[int, str], str] = {}
        asking: set[tuple[int, str, int]] = set()
        for check in (
            Check.objects.filter(
                kind=Check.Kind.VALUE,
                text__in=names,
                version__is_current=True,
                version__service__is_retired=False,
                version__service__kind__in=watched,
            )
            .select_related("version__service")
            .order_by("version__service__name", "version", "order")
        ):
            asked[check.version_id, check.text] = check.unit
            kind_id = check.version.service.kind_id
            units.setdefault((kind_id, check.text), check.unit)
            asking.add((kind_id, check.text, check.version_id))
        askers = Counter((kind_id, name) for kind_id, name, _ in asking)
        rebuilt = (
            Renewal.objects.in_force()
            .filter(component__in={pk for pk, _ in values}, version__is_rebuild=True)
            .values_list("component")
            .annotate(at=Max("done_at"))
        )
        return cls(values, asked, units, askers, dict(rebuilt))

    def of_this_life(
        self,
        component: Component,
        version: ServiceVersion,
        watched: str,
        renewal: Renewal | None,
    ) -> list[Value]:
        """The values that count for a service as it was last done; all where it never was."""
        rows = self.values.get((component.pk, watched), ())
        unit = self._unit(version, watched, rows)
        rows = [row for row in rows if row.unit == unit]
        if renewal is None:
            return rows
        asks_itself = (version.pk, watched) in self.asked
        found = [row for row in rows if row.at > renewal.done_at]
        if asks_itself and renewal.source_kind == SHEET:
            on_it = [
                row
                for row in rows
                if row.at <= renewal.done_at and row.sheet == renewal.source_number
            ]
            found = on_it[-1:] + found
        is_looking = asks_itself and self.askers[version.service.kind_id, watched] == 1
        if not found or not is_looking:
            return found
        since = self.rebuilt.get(component.pk)
        before = rows[: rows.index(found[0])]
        return [row for row in before if since is None or row.at > since] + found

    def _unit(self, version: ServiceVersion, watched: str, rows: Sequence[Value]) -> str:
        """The unit in which it is asked for now; else that of the newest value."""
        of_kind = self.units.get((version.service.kind_id, watched))
        own = self.asked.get((version.pk, watched), of_kind)
        if own is not None:
            return own
        return rows[-1].unit if rows else ""


def value_due(
    *,
    measured: Measured,
    component: Component,
    version: ServiceVersion,
    trigger: Trigger,
    renewal: Renewal | None,
    zone: ZoneInfo,
) -> ValueDue:
    """Return what a trigger of kind VALUE needs of a component's measured values.

    renewal: the last one in force of the version's service, if any. Only values in the unit in
    which it is asked for now count; where nothing asks for it any more, in that of the newest.
    """
    values = measured.of_this_life(component, version, trigger.watched, renewal)
    name = _named(trigger.watched)
    if not values:
        when = "since this was last done" if renewal else "yet"
        return ValueDue(None, False, None, f"{name} was not measured {when}", (), None)
    first, last = values[0].at, values[-1]
    heading, leads = _leading(
        series([each.value for each in values], trigger.low, trigger.high, last.unit),
        times=[(each.at - first) / timedelta(days=1) for each in values],
    )
    meets_on = None
    if heading.meets is not None:
        meets_on = _day_after(first, heading.meets.at, zone)
    return ValueDue(
        measured_on=timezone.localdate(last.at, zone),
        is_past_limit=heading.state == trends.PAST,
        meets_on=meets_on,
        because=f"{name} {_said(values, heading, leads, meets_on, zone)}",
        values=values,
        heading=heading,
        numbers=leads.numbers,
        low=leads.low,
        high=leads.high,
        size_um=leads.size_um,
    )


def _leading(
    all_of_it: Sequence[Series], *, times: Sequence[float]
) -> tuple[trends.Heading, Series]:
    """What the series that tells most says: past its limit, else the first to meet it."""

    def key(pair: tuple[trends.Heading, Series]) -> tuple[int, float]:
        heading, _ = pair
        return _TELLS.index(heading.state), 0.0 if heading.meets is None else heading.meets.at

    return min(
        (
            (
                trends.heading_to(times=times, values=each.numbers, low=each.low, high=each.high),
                each,
            )
            for each in all_of_it
        ),
        key=key,
    )


def _said(
    values: Sequence[Value],
    heading: trends.Heading,
    leads: Series,
    meets_on: date | None,
    zone: ZoneInfo,
) -> str:
    """What the values say, after the name of what is measured."""
    last = values[-1]
    limit = "" if heading.limit is None else figure(heading.limit, last.unit)
    if leads.size_um and heading.limit is not None:
        limit = f"{scale_text(int(heading.limit))} at {leads.size_um} µm"
    was = f"was {figure(last.value, last.unit)} on {_day(timezone.localdate(last.at, zone))}"
    many = f"{len(values)} values since {_day(timezone.localdate(values[0].at, zone))}"
    match heading.state:
        case trends.PAST:
            return f"{was}, past {limit}"
        case trends.HEADING:
            about = f" about {_day(meets_on)}" if meets_on else ""
            return f"is heading to {limit}{about}: {many}"
        case trends.TOO_FEW:
            return f"{was}; a trend needs {trends.FEWEST_VALUES} values, so far {len(values)}"
        case trends.AWAY:
            return f"{was}: {many} lead away from its limit"
    return f"{was}: {many} show no sure trend"


def figure(value: Decimal | float, unit: str) -> str:
    """A measured value or its limit as people write it, with its unit."""
    return said(Decimal(str(value)), unit)


def _named(watched: str) -> str:
    short = watched if len(watched) <= _LONGEST_NAME else f"{watched[: _LONGEST_NAME - 1]}…"
    return f"“{short}”"


def _day(day: date) -> str:
    return f"{day:%-d %b %Y}"


def _day_after(first: datetime, days: float, zone: ZoneInfo) -> date | None:
    """The day so many days later; None beyond every calendar."""
    if days >= (FAR_DATE - first.date()).days - 1:
        return None
    return timezone.localdate(first + timedelta(days=days), zone)
