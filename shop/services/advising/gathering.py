"""Everything that advice follows from, read in a number of queries that does not grow."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from typing import Final

from inventory.classes import YearlyUse, rank
from inventory.models import Balance, Part, StockAdvice, StockClass, StockPolicy
from shop.advice import (
    AHEAD_DAYS,
    LIKELY,
    MOST_PERIODS,
    PERIOD_DAYS,
    TARGETS_PERCENT,
    YEAR_DAYS,
    Drawer,
    Given,
    Need,
    Unplanned,
)
from shop.models import PartsNeed, RigDrawer, Shop
from shop.services.advising.buying import Buying, terms_of, unit_cents_of
from shop.services.advising.history import LOOK_BACK_DAYS, Use, joined, uses_since
from shop.services.advising.needing import needs_of

#: A part watched for less does not say what a year uses. [d]
LEAST_WATCHED_DAYS: Final = 180
#: Before anything is seen, a part breaks unplanned about once in four years. No source.
PRIOR_EVENTS: Final = 0.5
PRIOR_DAYS: Final = 730.0


def beginning(day: date, shop: Shop) -> datetime:
    """When a day of the shop begins."""
    return datetime.combine(day, time.min, tzinfo=shop.zone)


@dataclass(slots=True)
class Gathered:
    """Everything read, by part."""

    today: date
    parts: Mapping[int, Part]
    needs: Mapping[int, Sequence[Need]]
    drawers: Mapping[int, Sequence[Drawer]]
    uses: Mapping[int, Use]
    buying: Buying

    @classmethod
    def of(cls, *, shop: Shop, today: date) -> "Gathered":
        since = beginning(today - timedelta(days=LOOK_BACK_DAYS), shop)
        wanted = list(PartsNeed.objects.values_list("service", "part", "quantity_steps"))
        uses = uses_since(since, today, shop)
        policies = StockPolicy.objects.filter(location__isnull=True).values_list("part", flat=True)
        used = {pk for pk, use in uses.items() if use.periods}
        asked = {part for _, part, _ in wanted} | used | set(policies)
        # Of a part that another has taken the place of, that one is bought.
        follows = _followers(asked)
        every = Part.objects.in_use().filter(superseded_by__isnull=True).with_stock(today=today)
        parts = {part.pk: part for part in every if part.pk in asked | set(follows.values())}
        buying = Buying.of(parts, today=today)
        days = buying.days()
        buyable = set(buying.sold) | set(policies)
        needs: dict[int, list[Need]] = defaultdict(list)
        for pk, need in needs_of(wanted, buyable=buyable, days=days, today=today, shop=shop):
            needs[follows.get(pk, pk)].append(need)
        return cls(
            today=today,
            parts=parts,
            needs=needs,
            drawers=_drawers(today),
            uses=joined(uses, follows),
            buying=buying,
        )

    def all_given(self) -> dict[int, Given]:
        prior_days = self._prior_days()
        drafts = {pk: self._given(part, prior_days) for pk, part in self.parts.items()}
        classes = {
            int(each.part): each.letter
            for each in rank(
                YearlyUse(
                    part=str(pk),
                    units=given.year_use_steps / given.steps_per_unit,
                    unit_cost=given.unit_cents,
                )
                for pk, given in drafts.items()
            )
        }
        targets = TARGETS_PERCENT | {
            row.letter: float(row.target_percent) for row in StockClass.objects.all()
        }
        return {
            pk: replace(given, value_class=classes[pk], target=targets[classes[pk]] / 100)
            for pk, given in drafts.items()
        }

    def _prior_days(self) -> float:
        """In how many days PRIOR_EVENTS happen to a part of this shop, on the whole."""
        events = sum(self.uses[pk].events for pk in self.parts if pk in self.uses)
        days = sum(self.uses[pk].watched_days for pk in self.parts if pk in self.uses)
        return PRIOR_EVENTS * (days + PRIOR_DAYS) / (events + PRIOR_EVENTS)

    def _given(self, part: Part, prior_days: float) -> Given:
        use = self.uses.get(part.pk) or Use()
        sold = self.buying.sold.get(part.pk)
        needs = tuple(
            sorted(
                self.needs.get(part.pk, ()),
                key=lambda need: (-sum(need.by(AHEAD_DAYS[-1])), need.rig_number, need.what),
            )
        )
        rigs = {need.rig for need in needs}
        periods = min(MOST_PERIODS, use.watched_days // PERIOD_DAYS)
        unplanned = Unplanned(
            events=use.events,
            steps=use.unplanned_steps,
            watched_days=use.watched_days,
            prior_events=PRIOR_EVENTS,
            prior_days=round(prior_days, 1),
        )
        expires = part.use_by(self.today)
        lead_times, lead_from = self.buying.lead(part.pk)
        review_days = self.buying.review_days(part.pk)
        return Given(
            unit_name=part.unit_name,
            steps_per_unit=part.steps_per_unit,
            value_class="C",
            target=TARGETS_PERCENT["C"] / 100,
            lead_times=lead_times,
            lead_from=lead_from,
            review_days=review_days,
            needs=needs,
            drawers=tuple(
                each
                for each in self.drawers.get(part.pk, ())
                if each.lacks_steps or each.rig in rigs
            ),
            unplanned=unplanned,
            past_steps=tuple(max(0, use.periods[back]) for back in range(periods - 1, -1, -1)),
            year_use_steps=_year_use(use, needs, unplanned),
            unit_cents=unit_cents_of(part, sold),
            terms=terms_of(part, sold),
            keeps_days=(expires - self.today).days if expires else None,
            usable_steps=part.usable_steps,  # type: ignore[attr-defined]
            on_order_steps=self.buying.on_order.get(part.pk, 0),
            late_orders=self.buying.late_orders(
                part.pk, {lead.days + review_days for lead in lead_times}
            ),
        )


def _year_use(use: Use, needs: Sequence[Need], unplanned: Unplanned) -> float:
    """What a year uses: as it was; of a part not watched for long, what lies ahead if more."""
    watched = min(YEAR_DAYS, use.watched_days)
    behind = max(0, use.last_year_steps) * YEAR_DAYS / watched if watched else 0.0
    if use.watched_days >= LEAST_WATCHED_DAYS:
        return round(behind, 1)
    last = AHEAD_DAYS[-1]
    services = sum(need.quantity_steps * sum(need.by(last)) for need in needs)
    broken = unplanned.within(last)
    ahead = (services + broken.mean * broken.quantity_steps) * YEAR_DAYS / last
    return round(max(behind, ahead), 1)


def _drawers(today: date) -> dict[int, list[Drawer]]:
    """By part, what lies in rigs' drawers, in date, and what should. Four queries."""
    rigs = {
        place: (rig, number)
        for place, rig, number in RigDrawer.objects.values_list("location", "rig", "rig__number")
    }
    here: Counter[tuple[int, int]] = Counter()
    for part, place, steps in (
        Balance.objects.there()
        .filter(location__in=rigs, lot__expires_on__gte=today)
        .values_list("part", "location", "quantity_steps")
    ):
        here[part, place] += steps
    target, refill = _targets(list(rigs))
    found: dict[int, list[Drawer]] = defaultdict(list)
    for part, place in sorted({*here, *target}):
        rig, number = rigs[place]
        key = (part, place)
        drawer = Drawer(rig, number, here[key], target.get(key, 0), refill.get(key, 0))
        if drawer.here_steps or drawer.target_steps:
            found[part].append(drawer)
    return found


def _targets(
    drawers: Sequence[int],
) -> tuple[dict[tuple[int, int], int], dict[tuple[int, int], int]]:
    """By part and drawer, what it should hold, and what it should hold again once used from.

    What a manager said stands, used or not. A computed number that a likely service asks for goes
    with that service, and only the rest of it is filled again.
    """
    target, refill = {}, {}
    for part, place, level, by_hand in StockPolicy.objects.filter(location__in=drawers).values_list(
        "part", "location", "order_up_to_steps", "by_hand"
    ):
        target[part, place] = refill[part, place] = level
        if by_hand:
            continue
        refill[part, place] = 0
    for part, place, figures in StockAdvice.objects.filter(location__in=drawers).values_list(
        "part", "location", "figures"
    ):
        if (part, place) in target and not refill[part, place]:
            likely = sum(steps for chance, steps, *_ in figures["needs"] if chance >= LIKELY)
            refill[part, place] = max(0, target[part, place] - likely)
    return target, refill


def _followers(asked: set[int]) -> dict[int, int]:
    """By part that another has taken the place of, the part that is bought now."""
    next_part = dict(
        Part.objects.filter(superseded_by__isnull=False).values_list("pk", "superseded_by")
    )
    found = {}
    for pk in asked & set(next_part):
        at, seen = pk, {pk}
        while (after := next_part.get(at)) is not None and after not in seen:
            at = after
            seen.add(after)
        found[pk] = at
    return found
