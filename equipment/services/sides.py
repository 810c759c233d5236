"""Side A against side B of a rig: compared as its pumps are driven, and the signal kept of it."""

from collections import Counter as Counting
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from decimal import Decimal
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.utils import timezone

from equipment import sides
from equipment.models import (
    Compared,
    Component,
    Counter,
    Measure,
    Rig,
    SideAnswer,
    SideSignal,
    SideWatch,
)
from equipment.services.advancing import Move
from equipment.services.locks import rigs_of
from equipment.services.pairs import (
    BOTH,
    TOGETHER,
    Faces,
    Found,
    NothingToCompare,
    Pair,
    pair_of,
    shifts_of,
)
from equipment.sides import Chart, Rules

SIZE_STEP: Final = Decimal("0.0001")
KEPT_OF_SIGNAL: Final = (
    "compared", "more", "since", "found_on", "size", "shifts", "is_back", "state",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Comparison:
    """What can be said of the two sides of a rig.

    compared: one of Compared; "" where nothing can be, and `why_not` says why.
    sources: where the shifts come from, "logs" and "counters".
    """

    pair: Pair
    compared: str
    why_not: str
    chart: Chart
    rules: Rules
    sources: frozenset[str]
    faces: Faces | None


def compare(rig: Rig, *, zone: ZoneInfo, since: datetime | None = None) -> Comparison:
    """Compare the sides of a rig as it is driven.

    since: shifts from then on are there, too; None: only those after the last change, which is all
    that a signal rests on.
    """
    pair = pair_of(rig)
    changed = max(pair.changes, default=None)
    since = changed if since is None or changed is None else min(since, changed)
    try:
        found, why_not = shifts_of(rig, pair, since, zone), ""
    except NothingToCompare as reason:
        found, why_not = Found("", [], frozenset()), str(reason)
    rules = Rules() if found.faces or found.compared == Compared.STROKES else sides.MEASURED
    return Comparison(
        pair=pair,
        compared=found.compared,
        why_not=why_not,
        chart=sides.chart(found.shifts, changes=pair.changes, rules=rules),
        rules=rules,
        sources=found.sources,
        faces=found.faces,
    )


def refresh(rigs: Iterable[Rig | int], *, zone: ZoneInfo) -> int:
    """Work out the kept signal of these rigs anew; return how many rows changed.

    The caller holds the locks of the rigs.
    """
    pks = {rig if isinstance(rig, int) else rig.pk for rig in rigs}
    if not pks:
        return 0
    signals = {row.rig_id: row for row in SideSignal.objects.filter(rig__in=pks)}
    watches = {row.rig_id: row for row in SideWatch.objects.filter(rig__in=pks)}
    return sum(
        _keep(rig, signals.get(rig.pk), watches.get(rig.pk), zone)
        for rig in Rig.objects.filter(pk__in=pks).order_by("pk")
    )


def refresh_for(components: Iterable[Component], *, zone: ZoneInfo) -> int:
    """The same for the rigs in which these components sit, where they are pumps of a side."""
    return refresh(rigs_of(row.pk for row in components if row.side), zone=zone)


def refresh_read(counters: Iterable[Counter], *, zone: ZoneInfo) -> int:
    """The same after readings of these counters, whatever they were."""
    rows = [row for row in counters if row.measure != Measure.HOURS]
    fixed = {row.rig_id for row in rows if row.rig_id is not None and row.side}
    travelling = [row.component_id for row in rows if row.component_id is not None]
    return refresh(fixed | (rigs_of(travelling) if travelling else set()), zone=zone)


def follow(moves: Mapping[int, Move], *, zone: ZoneInfo) -> None:
    """Move the watch of a rig on by appended readings: two statements, whatever its history.

    moves: by counter. One face alone says nothing yet, unless the other was read just before.
    Where more than the next shift follows from them, the rig is worked out anew.
    """
    counting = [move.counter for move in moves.values() if _counts_a_side(move.counter)]
    if not counting:
        return
    if max(Counting(counter.measure for counter in counting).values()) < len(BOTH):
        _read_after_the_other(counting, zone)
        return
    rigs = {counter.rig_id for counter in counting if counter.rig_id is not None}
    if travelling := [each.component_id for each in counting if each.component_id is not None]:
        rigs |= rigs_of(travelling)
    for row in SideWatch.objects.filter(rig__in=rigs).select_related("rig"):
        watch = _Watch.of(row.state) if row.state else None
        if watch is not None and any(pk not in moves for pk in watch.faces):
            continue
        following = watch.after([moves[pk] for pk in watch.faces], zone) if watch else None
        if following is None:
            refresh([row.rig], zone=zone)
        else:
            row.state = asdict(following)
            row.save(update_fields=["state"])


def _counts_a_side(counter: Counter) -> bool:
    return counter.measure != Measure.HOURS and (
        bool(counter.side) or counter.component_id is not None
    )


def _read_after_the_other(single: Sequence[Counter], zone: ZoneInfo) -> None:
    """Two people may read the two faces: work a rig out anew where both are read now."""
    fixed = {row.rig_id for row in single if row.rig_id is not None}
    found: set[int | None] = set()
    if fixed:
        just_read = Counter.objects.filter(
            rig__in=fixed,
            side__in=BOTH,
            last_at__gte=min(row.last_at for row in single) - TOGETHER,
        ).exclude(pk__in=[row.pk for row in single])
        found |= set(just_read.values_list("rig", flat=True))
    travelling = [row.component_id for row in single if row.component_id is not None]
    if travelling:
        found |= rigs_of(travelling)
    refresh([pk for pk in found if pk is not None], zone=zone)


@dataclass(frozen=True, slots=True)
class _Watch:
    """What is kept of a rig's watch, in values that JSON has.

    faces, steps, worths, totals: of side A, then B: the counters compared, their steps, what one
    count is worth, and their totals (as texts) when both were last read, at `read_at`.
    logged_until: to where logs tell of the time; "": no log. is_signalled: a signal stands.
    """

    faces: list[int] = field(default_factory=list)
    steps: list[float] = field(default_factory=list)
    worths: list[float] = field(default_factory=list)
    totals: list[str] = field(default_factory=list)
    read_at: list[str] = field(default_factory=list)
    logged_until: str = ""
    is_signalled: bool = False
    ys: list[float] = field(default_factory=list)
    errors: list[float] = field(default_factory=list)
    average: float = 0.0

    @classmethod
    def of(cls, kept: dict[str, Any]) -> "_Watch":
        return cls(**kept)

    def after(self, moves: Sequence[Move], zone: ZoneInfo) -> "_Watch | None":
        """Where the watch stands after both faces moved; None: more follows than that."""
        begins = max(map(datetime.fromisoformat, self.read_at), default=None)
        if (
            self.is_signalled
            or begins is None
            or [move.at_before.isoformat() for move in moves] != self.read_at
            or (self.logged_until and begins < datetime.fromisoformat(self.logged_until))
        ):
            return None
        now = [move.counter for move in moves]
        ends = max(counter.last_at for counter in now)
        moved: dict[str, Any] = {
            "totals": [f"{counter.total:.3f}" for counter in now],
            "read_at": [counter.last_at.isoformat() for counter in now],
        }
        amounts = [
            counter.total - Decimal(total) for counter, total in zip(now, self.totals, strict=True)
        ]
        if not any(amounts):
            return replace(self, **moved)
        a, b = (
            sides.Count(amount=float(amount), worth=worth, step=step)
            for amount, worth, step in zip(amounts, self.worths, self.steps, strict=True)
        )
        is_at_least = any(move.is_unseen for move in moves)
        shift = sides.Shift(timezone.localdate(ends, zone), begins, ends, a, b, is_at_least)
        standing, point = sides.advance(
            sides.Standing(tuple(self.ys), tuple(self.errors), self.average), shift, rules=Rules()
        )
        if point.is_out:
            return None
        return replace(
            self,
            **moved,
            ys=list(standing.ys),
            errors=list(standing.errors),
            average=standing.average,
        )


def _keep_watch(rig: Rig, found: Comparison, kept: SideWatch | None) -> int:
    faces = found.faces
    if faces is None:
        # Readings have no part in it.
        if kept is not None:
            kept.delete()
        return int(kept is not None)
    standing = found.chart.standing
    state = asdict(
        _Watch(
            faces=[face.pk for face in faces.counters],
            steps=[float(face.display_step) for face in faces.counters],
            worths=list(faces.worths),
            totals=[f"{read.total:.3f}" for read in faces.last_read],
            read_at=[read.at.isoformat() for read in faces.last_read],
            logged_until=faces.logged_until.isoformat() if faces.logged_until else "",
            is_signalled=found.chart.signal is not None,
            ys=list(standing.ys),
            errors=list(standing.errors),
            average=standing.average,
        )
    )
    if kept is not None and kept.state == state:
        return 0
    SideWatch.objects.update_or_create(rig=rig, defaults={"state": state})
    return 1


def _keep(rig: Rig, kept: SideSignal | None, watched: SideWatch | None, zone: ZoneInfo) -> int:
    found = compare(rig, zone=zone)
    changed = _keep_watch(rig, found, watched)
    signal = found.chart.signal
    if signal is None:
        if kept is not None:
            kept.delete()
        return changed + int(kept is not None)
    row = kept or SideSignal(rig=rig)
    before = [getattr(row, name) for name in KEPT_OF_SIGNAL]
    row.compared, row.more = found.compared, signal.more
    row.since, row.found_on = signal.since, signal.found_on
    row.size = Decimal(repr(signal.size)).quantize(SIZE_STEP)
    row.shifts, row.is_back = signal.shifts, signal.is_back
    acted = rig.side_answers.exclude(what=SideAnswer.What.DISMISSED)
    if found.chart.began_at is not None:
        acted = acted.filter(at__gt=found.chart.began_at)
    row.state = SideSignal.State.ACTED if acted.exists() else SideSignal.State.OPEN
    if kept is not None and [getattr(row, name) for name in KEPT_OF_SIGNAL] == before:
        return changed
    row.save()
    return changed + 1
