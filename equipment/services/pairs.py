"""The pair of pumps of a rig over time, and its shifts from logs and counters."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from itertools import pairwise
from typing import Final
from zoneinfo import ZoneInfo

from django.db.models import Q
from django.utils import timezone

from equipment.counters import REPLACED, RESET
from equipment.models import (
    Compared,
    Component,
    Counter,
    Finding,
    Installation,
    PumpDrive,
    Reading,
    Renewal,
    Rig,
    ShiftDay,
    Side,
    SideAnswer,
)
from equipment.services.wearing import STROKE_COUNTS
from equipment.sides import Count, Shift

BOTH: Final = (Side.A, Side.B)
#: Two faces read within this time were read together.
TOGETHER: Final = timedelta(minutes=15)
#: What a finding says that was opened from a signal.
FINDING_SOURCE: Final = "sides"


@dataclass(frozen=True, slots=True)
class Pair:
    """The two pumps of a rig now, and when either was exchanged or rebuilt."""

    fitted: dict[str, list[Installation]]
    changes: tuple[datetime, ...]

    def now(self, side: str) -> Component | None:
        there = self.fitted[side]
        return there[-1].component if there and there[-1].removed_at is None else None

    def in3(self, side: str, moment: datetime) -> Decimal | None:
        """Displacement per counted stroke of the pump that sat there, where it is known. [in³]"""
        for row in self.fitted[side]:
            if row.installed_at <= moment and (row.removed_at is None or moment <= row.removed_at):
                return row.component.type.displacement_in3
        return None


class NothingToCompare(Exception):
    """Why the sides of a rig cannot be compared, in words."""


def pair_of(rig: Rig) -> Pair:
    """The pumps of both sides over time, as `wearing.displacements_of` chooses them."""
    rows = list(
        Installation.objects.select_related("component__type", "position")
        .filter(position__rig=rig, position__side__in=BOTH)
        .filter(component__type__displacement_in3__isnull=False)
        .order_by("installed_at", "pk")
    )
    fitted: dict[str, list[Installation]] = {}
    for side in BOTH:
        of_side = [row for row in rows if row.position.side == side]
        nearest_the_gun = max((row.position.order for row in of_side), default=None)
        fitted[side] = [row for row in of_side if row.position.order == nearest_the_gun]
    changes = {moment for rows in fitted.values() for row in rows for moment in _ends(row)}
    return Pair(fitted=fitted, changes=tuple(sorted(changes | _rebuilds(fitted) | _said(rig))))


# --- when the pair changed ----------------------------------------------------------------------


def _ends(row: Installation) -> Iterable[datetime]:
    yield row.installed_at
    if row.removed_at is not None:
        yield row.removed_at


def _rebuilds(fitted: dict[str, list[Installation]]) -> set[datetime]:
    """When what wears inside one of the pumps was renewed while it sat in the rig."""
    by_component: dict[int, list[Installation]] = {}
    for rows in fitted.values():
        for row in rows:
            by_component.setdefault(row.component_id, []).append(row)
    renewals = Renewal.objects.in_force().filter(
        component__in=by_component, version__is_rebuild=True
    )
    return {
        done_at
        for component, done_at in renewals.values_list("component", "done_at")
        for row in by_component[component]
        if row.installed_at <= done_at and (row.removed_at is None or done_at <= row.removed_at)
    }


def _said(rig: Rig) -> set[datetime]:
    """When somebody put right what a signal showed, or said that nothing is wrong."""
    closed = Finding.objects.filter(
        source_kind=FINDING_SOURCE, source_number=rig.pk, closed_at__isnull=False
    )
    dismissed = rig.side_answers.filter(what=SideAnswer.What.DISMISSED)
    return {
        *(at for at in closed.values_list("closed_at", flat=True) if at is not None),
        *dismissed.values_list("at", flat=True),
    }


# --- shifts -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Read:
    """What a face had counted when it was read."""

    at: datetime
    total: Decimal


@dataclass(frozen=True, slots=True)
class Faces:
    """The two counters that are compared, A first.

    worths: of one count. last_read: when both were last read together; empty: not yet.
    logged_until: to where logs tell of the time instead.
    """

    counters: tuple[Counter, Counter]
    worths: tuple[float, float]
    last_read: tuple[Read, ...]
    logged_until: datetime | None


@dataclass(frozen=True, slots=True)
class Found:
    """What is compared (of Compared), the shifts in order of time, and the faces behind them."""

    compared: str
    shifts: list[Shift]
    sources: frozenset[str]
    faces: Faces | None = None


def shifts_of(rig: Rig, pair: Pair, since: datetime | None, zone: ZoneInfo) -> Found:
    """The shifts of a rig that began later than `since`. Raises NothingToCompare."""
    for side in BOTH:
        if not pair.fitted[side]:
            raise NothingToCompare(
                f"No pump of side {side} with a known displacement has been fitted in this rig."
            )
    days = list(ShiftDay.objects.filter(rig=rig).order_by("date"))
    if since is not None:
        days = [day for day in days if day.last_at > since]
    if rig.pump_drive != PumpDrive.LINKED:
        faces = _faces(rig, pair, STROKE_COUNTS)
        logged = [_logged(day, pair, faces) for day in days if _has_strokes(day)]
        if not logged and len(faces) < len(BOTH):
            raise NothingToCompare(
                "It takes a stroke counter on each side, or a shift log with both."
            )
        return _joined(Compared.STROKES, logged, faces, pair, since, zone)
    measured = [shift for day in days if (shift := _measured(day, "flow"))]
    faces = _faces(rig, pair, (Counter.Counts.GALLONS,))
    if measured or len(faces) == len(BOTH):
        return _joined(Compared.FLOW, measured, faces, None, since, zone)
    if pressed := [shift for day in days if (shift := _measured(day, "pressure"))]:
        return _joined(Compared.PRESSURE, pressed, {}, None, since, zone)
    raise NothingToCompare(
        "Linked pumps stroke alike whatever leaks. It takes a flow meter on each side, or a shift "
        "log with the flow or the pressure of both."
    )


def _joined(
    compared: str,
    logged: list[Shift],
    by_side: dict[str, Counter],
    pair: Pair | None,
    since: datetime | None,
    zone: ZoneInfo,
) -> Found:
    """Shifts of the logs, and those between readings of both faces where no log tells of the time.

    pair: the pumps whose displacement a count is worth; None: it is worth what it says.
    """
    counted: list[Shift] = []
    faces = None
    if len(by_side) == len(BOTH):
        read, unseen = _read(by_side, since)
        together = list(_together(read[Side.A], read[Side.B]))
        spans = [(shift.begins, shift.ends) for shift in logged]
        counted = _counted(by_side, together, unseen, pair, spans, zone)
        counters = by_side[Side.A], by_side[Side.B]
        last = together[-1] if together else ()
        # Not read together yet: by when both began, which no reading of one alone moves.
        moment = max(each.at for each in last) if last else max(c.started_at for c in counters)
        faces = Faces(
            counters=counters,
            worths=(_worth(pair, Side.A, moment), _worth(pair, Side.B, moment)),
            last_read=last,
            logged_until=max((ends for _, ends in spans), default=None),
        )
    sources = {name for name, rows in (("logs", logged), ("counters", counted)) if rows}
    shifts = sorted([*logged, *counted], key=lambda shift: shift.begins)
    return Found(compared, shifts, frozenset(sources), faces)


def _worth(pair: Pair | None, side: str, moment: datetime) -> float:
    return float((pair and pair.in3(side, moment)) or 1)


def _has_strokes(day: ShiftDay) -> bool:
    return day.strokes_a is not None or day.strokes_b is not None


def _logged(day: ShiftDay, pair: Pair, faces: dict[str, Counter]) -> Shift:
    def count(side: str, strokes: float | None) -> Count | None:
        if strokes is None:
            return None
        face, in3 = faces.get(side), pair.in3(side, day.last_at)
        # A log's strokes are single ones, a displacement belongs to what the face counts.
        per_count = 2 if face is not None and face.counts == Counter.Counts.CYCLES else 1
        step = float(face.display_step) if face is not None else 1.0
        return Count(
            amount=strokes,
            worth=float(in3) / per_count if in3 else 1.0,
            step=step * per_count,
        )

    return Shift(
        day=day.date,
        begins=day.first_at,
        ends=day.last_at,
        a=count(Side.A, day.strokes_a),
        b=count(Side.B, day.strokes_b),
        is_at_least=day.is_at_least,
    )


def _measured(day: ShiftDay, what: str) -> Shift | None:
    """A shift of means over the day, where the log has such a sensor."""
    means = {
        side: (day.details.get("extremes") or {}).get(f"{what}_{side.lower()}", {}).get("mean")
        for side in BOTH
    }
    if all(mean is None for mean in means.values()):
        return None
    a, b = (None if mean is None else Count(amount=float(mean)) for mean in means.values())
    return Shift(day=day.date, begins=day.first_at, ends=day.last_at, a=a, b=b)


def _faces(rig: Rig, pair: Pair, counts: Sequence[str]) -> dict[str, Counter]:
    """The counter of each side: the rig's own, else the one that travels with its pump."""
    pumps = {pump.pk: side for side in BOTH if (pump := pair.now(side))}
    found: dict[str, Counter] = {}
    rows = Counter.objects.filter(
        Q(rig=rig, side__in=BOTH) | Q(component__in=pumps), counts__in=counts, is_retired=False
    ).order_by("order", "pk")
    for row in sorted(rows, key=lambda each: each.rig_id is None):
        side = row.side if row.rig_id else pumps[row.component_id or 0]
        found.setdefault(side, row)
    return found


def _counted(
    faces: dict[str, Counter],
    together: Sequence[tuple[Read, Read]],
    unseen: dict[str, list[datetime]],
    pair: Pair | None,
    logged: Sequence[tuple[datetime, datetime]],
    zone: ZoneInfo,
) -> list[Shift]:
    shifts = []
    for before, now in pairwise(together):
        begins, ends = max(each.at for each in before), max(each.at for each in now)
        amounts = [late.total - early.total for early, late in zip(before, now, strict=True)]
        if not any(amounts) or any(first < ends and last > begins for first, last in logged):
            continue
        a, b = (
            Count(
                amount=float(amount),
                worth=_worth(pair, side, ends),
                step=float(faces[side].display_step),
            )
            for side, amount in zip(BOTH, amounts, strict=True)
        )
        is_at_least = any(
            early.at < moment <= late.at
            for side, early, late in zip(BOTH, before, now, strict=True)
            for moment in unseen[side]
        )
        shifts.append(Shift(timezone.localdate(ends, zone), begins, ends, a, b, is_at_least))
    return shifts


def _read(
    faces: dict[str, Counter], since: datetime | None
) -> tuple[dict[str, list[Read]], dict[str, list[datetime]]]:
    """By side: how a face was read, and at which readings something had gone unseen."""
    side_of = {face.pk: side for side, face in faces.items()}
    found: dict[str, list[Read]] = {side: [] for side in BOTH}
    unseen: dict[str, list[datetime]] = {side: [] for side in BOTH}
    for side, face in faces.items():
        if since is None or face.started_at >= since:
            found[side].append(Read(face.started_at, Decimal(0)))
    rows = Reading.objects.in_force().filter(counter__in=side_of)
    if since is not None:
        rows = rows.filter(at__gte=since)
    for pk, at, total, step, before_reset in rows.order_by("at", "pk").values_list(
        "counter_id", "at", "total", "step", "before_reset"
    ):
        found[side_of[pk]].append(Read(at, total))
        if step in (RESET, REPLACED) and before_reset is None:
            unseen[side_of[pk]].append(at)
    return found, unseen


def _together(a: Sequence[Read], b: Sequence[Read]) -> Iterable[tuple[Read, Read]]:
    """Readings of both faces taken together, in order of time."""
    i = j = 0
    while i < len(a) and j < len(b):
        apart = a[i].at - b[j].at
        if abs(apart) <= TOGETHER:
            yield a[i], b[j]
            i, j = i + 1, j + 1
        elif apart < timedelta(0):
            i += 1
        else:
            j += 1
