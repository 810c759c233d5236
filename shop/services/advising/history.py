"""What was used of each part, and what of it no service had planned."""

from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final

from django.db.models import Min
from django.utils import timezone

from inventory.models import Movement
from shop.advice import MOST_PERIODS, PERIOD_DAYS, YEAR_DAYS
from shop.models import ServiceSheet, SheetPart, Shop
from shop.services.sheet_parts import SOURCE

#: Use is looked back at so far. [d]
LOOK_BACK_DAYS: Final = PERIOD_DAYS * MOST_PERIODS


@dataclass(slots=True)
class Use:
    """What was used of one part, looking back. steps: net. [steps]"""

    periods: Counter[int] = field(default_factory=Counter)
    last_year_steps: int = 0
    events: int = 0
    unplanned_steps: int = 0
    watched_days: int = 0


def uses_since(since: datetime, today: date, shop: Shop) -> dict[int, Use]:
    """By part, what was used since a moment, and what of it no service had planned.

    What one sheet used beyond its plan is one event; so is an issue by hand. What came back, or
    was reversed, is taken off.
    """
    planned = {
        (number, part): steps
        for number, part, steps in SheetPart.objects.filter(
            sheet__state=ServiceSheet.State.SIGNED, sheet__signed_at__gte=since
        ).values_list("sheet__number", "part", "planned_steps")
    }
    uses: dict[int, Use] = defaultdict(Use)
    sources: Counter[tuple[int, str, int]] = Counter()
    for pk, part, kind, number, steps, at, reverses in (
        Movement.objects.spent()
        .filter(at__gte=since)
        .order_by()
        .values_list(
            "pk", "part", "source_kind", "source_number", "quantity_steps", "at", "reverses"
        )
    ):
        back = max(0, (today - timezone.localdate(at, shop.zone)).days)
        use = uses[part]
        use.periods[back // PERIOD_DAYS] -= steps
        if back < YEAR_DAYS:
            use.last_year_steps -= steps
        # What was done by hand has no number: each stands for itself, with what reversed it.
        sources[part, kind if number else "", number or reverses or pk] -= steps
    for (part, kind, number), steps in sources.items():
        over = steps - (planned.get((number, part), 0) if kind == SOURCE else 0)
        if over > 0:
            uses[part].events += 1
            uses[part].unplanned_steps += over
    first = Movement.objects.order_by().values("part").annotate(first=Min("at"))
    for part, at in first.values_list("part", "first"):
        watched = (today - timezone.localdate(at, shop.zone)).days
        if part in uses or watched > 0:
            uses[part].watched_days = min(LOOK_BACK_DAYS, max(0, watched))
    return {part: use for part, use in uses.items() if use.periods or use.watched_days}


def joined(uses: Mapping[int, Use], follows: Mapping[int, int]) -> dict[int, Use]:
    """The use of each part with that of the parts it has taken the place of."""
    joined: dict[int, Use] = {}
    for pk, use in uses.items():
        into = joined.setdefault(follows.get(pk, pk), Use())
        into.periods.update(use.periods)
        into.last_year_steps += use.last_year_steps
        into.events += use.events
        into.unplanned_steps += use.unplanned_steps
        into.watched_days = max(into.watched_days, use.watched_days)
    return joined
