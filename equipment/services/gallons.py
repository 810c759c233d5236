"""How many gallons a rig sprayed, from whatever counts them."""

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from decimal import Decimal

from django.db.models import OuterRef, Q, Subquery

from equipment.counters import Total, interpolate
from equipment.models import Counter, Measure, Reading, Rig, Side, WearSource
from equipment.models.rigs import ZERO


def gallons_sprayed(*, rigs: Iterable[Rig], since: datetime, until: datetime) -> dict[int, Decimal]:
    """Return the gallons of both sides that each rig sprayed over [since, until), by its key.

    A side counts what passed the position that saw most of it, so that strokes, flow meters and
    exchanged pumps are each counted once; a counter of both sides goes before two of one side.
    Between readings the count is taken as even; what was not read yet is not in it.
    Four queries, however many rigs.
    """
    passed = gallons_by_side(rigs=rigs, since=since, until=until)
    gallons: dict[int, Decimal] = {}
    for rig in {rig for rig, _ in passed}:
        of = {side: passed.get((rig, side), ZERO) for side in Side.values}
        gallons[rig] = of[Side.NONE] or of[Side.A] + of[Side.B]
    return gallons


def gallons_by_side(
    *, rigs: Iterable[Rig], since: datetime, until: datetime
) -> dict[tuple[int, str], Decimal]:
    """Return the gallons of each side of each rig over [since, until), as `gallons_sprayed` does.

    By the rig's key and the side; no side where what counts does not tell the two apart.
    """
    sources = list(
        WearSource.objects.filter(
            measure=Measure.GALLONS, installation__position__rig__in=list(rigs)
        ).select_related("installation__position", "counter")
    )
    counters = {source.counter_id for source in sources}
    before, after = totals_at(counters, since), totals_at(counters, until)
    passed: dict[tuple[int, str], dict[int, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    for source in sources:
        position, counter = source.installation.position, source.counter
        first = max(before[counter.pk], source.start_total)
        last = after[counter.pk]
        if source.end_total is not None:
            last = min(last, source.end_total)
        side = counter.side or position.side
        passed[position.rig_id, side][position.pk] += max(last - first, ZERO) * source.per_count
    return {key: max(positions.values()) for key, positions in passed.items()}


def totals_at(counters: Iterable[int], moment: datetime) -> dict[int, Decimal]:
    """Return what each counter had counted at a moment, even between two readings.

    Flat after the last reading; zero before counting began. [counter units]
    """
    readings = Reading.objects.in_force().filter(counter=OuterRef("pk"))
    earlier = readings.filter(at__lte=moment).order_by("-at", "-pk")
    later = readings.filter(at__gt=moment).order_by("at", "pk")
    rows = (
        Counter.objects.filter(Q(pk__in=set(counters)))
        .annotate(
            earlier_at=Subquery(earlier.values("at")[:1]),
            earlier_total=Subquery(earlier.values("total")[:1]),
            later_at=Subquery(later.values("at")[:1]),
            later_total=Subquery(later.values("total")[:1]),
        )
        .values_list("pk", "started_at", "earlier_at", "earlier_total", "later_at", "later_total")
    )
    totals: dict[int, Decimal] = {}
    for pk, started_at, earlier_at, earlier_total, later_at, later_total in rows:
        points = [Total(at=started_at, total=ZERO, at_least=False)]
        for at, total in ((earlier_at, earlier_total), (later_at, later_total)):
            if at is not None:
                points.append(Total(at=at, total=total, at_least=False))
        totals[pk] = interpolate(points, moment)[0]
    return totals
