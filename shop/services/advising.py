"""When each part is to be bought and up to how much: gathered, reckoned, kept.

Gathering reads everything in a number of queries that does not grow with the parts
(`_Gathered.of`); `shop.advice` reckons each part from plain figures; the rows keep those figures
with the number. What the shop goes by (`StockPolicy`) follows, unless a person fixed it by hand.
"""

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Min, Q, Sum
from django.utils import timezone

from equipment.models import Due, ServiceVersion
from equipment.services.coming import Renewals, renewals_by
from equipment.services.including import covered
from inventory.classes import YearlyUse, rank
from inventory.models import (
    Balance,
    KitLine,
    Location,
    Movement,
    Part,
    PurchaseOrderLine,
    StockAdvice,
    StockClass,
    StockPolicy,
    SupplierPart,
)
from shop.advice import (
    AHEAD_DAYS,
    MOST_PERIODS,
    PERIOD_DAYS,
    TARGETS_PERCENT,
    YEAR_DAYS,
    Drawer,
    Found,
    Given,
    LeadTime,
    Need,
    Terms,
    Unplanned,
    figures_of,
    reckon,
    unobserved_lead_times,
)
from shop.models import PartsNeed, Person, RigDrawer, Role, ServiceSheet, SheetLine, SheetPart, Shop
from shop.services.sheet_parts import SOURCE

#: Use is looked back at so far. [d]
LOOK_BACK_DAYS: Final = PERIOD_DAYS * MOST_PERIODS
#: A part watched for less does not say what a year uses. [d]
LEAST_WATCHED_DAYS: Final = 180
#: Where no supplier is known. Common practice, no source. [d]
USUAL_LEAD_DAYS: Final = 7
#: Before anything is seen, a part breaks unplanned about once in four years. No source.
PRIOR_EVENTS: Final = 0.5
PRIOR_DAYS: Final = 730.0
#: Odds are kept to so many digits, and the number is reckoned from what is kept.
DIGITS: Final = 4


@dataclass(frozen=True, slots=True)
class Advised:
    """What a reckoning did: parts reckoned, and policies that follow and were changed."""

    parts: int
    policies: int


def advise(
    *, shop: Shop, today: date, author: Person | None = None, at: datetime | None = None
) -> Advised:
    """Reckon the advice for every part anew, and let the policies that follow it follow.

    today: in the shop's zone. author, at: who asked for it and when; the turn of the day asks in
    the name of the first manager, as the day begins. Done twice a day it does no harm; of two at
    once the second waits.
    """
    at = at or _beginning(today, shop)
    given = gather(shop=shop, today=today)
    found = {pk: reckon(each) for pk, each in given.items()}
    with transaction.atomic():
        # One at a time: two would each add the same rows.
        Shop.objects.select_for_update().get(pk=shop.pk)
        _keep(given, found, today)
        policies = _follow(found, author or _first_manager(), at)
    return Advised(parts=len(found), policies=policies)


def gather(*, shop: Shop, today: date) -> dict[int, Given]:
    """Return by part all that its advice follows from."""
    return _Gathered.of(shop=shop, today=today).all_given()


def follow_again(*, part: Part, author: Person, at: datetime) -> None:
    """Let what the shop goes by follow the advice again: a number fixed by hand is given up."""
    with transaction.atomic():
        Shop.objects.select_for_update().first()
        StockPolicy.objects.filter(part=part, location__isnull=True).update(
            by_hand=False, reason="", review_on=None, set_by=author, set_at=at
        )
        row = StockAdvice.objects.filter(part=part, location__isnull=True).first()
        if row is not None:
            _follow_rows({part.pk: (row.reorder_point_steps, row.order_up_to_steps)}, author, at)


# --- kept ----------------------------------------------------------------------------------------


def _keep(given: Mapping[int, Given], found: Mapping[int, Found], today: date) -> None:
    kept = {row.part_id: row for row in StockAdvice.objects.filter(location__isnull=True)}
    new: list[StockAdvice] = []
    changed: list[StockAdvice] = []
    for pk, each in found.items():
        row = kept.get(pk) or StockAdvice(part_id=pk)
        row.reorder_point_steps = each.point_steps if each.order_up_to_steps else 0
        row.order_up_to_steps = each.order_up_to_steps
        row.value_class = given[pk].value_class
        row.figures = figures_of(given[pk], each)
        row.reckoned_on = today
        (changed if row.pk else new).append(row)
    StockAdvice.objects.bulk_create(new, batch_size=200)
    StockAdvice.objects.bulk_update(
        changed,
        ["reorder_point_steps", "order_up_to_steps", "value_class", "figures", "reckoned_on"],
        batch_size=200,
    )
    gone = [row.pk for pk, row in kept.items() if pk not in found]
    if gone:
        StockAdvice.objects.filter(pk__in=gone).delete()


def _follow(found: Mapping[int, Found], author: Person | None, at: datetime) -> int:
    if author is None:
        return 0
    wanted = {
        pk: (each.point_steps if each.order_up_to_steps else 0, each.order_up_to_steps)
        for pk, each in found.items()
    }
    return _follow_rows(wanted, author, at)


def _follow_rows(wanted: Mapping[int, tuple[int, int]], author: Person, at: datetime) -> int:
    """Set the policies that follow to these (point, level), by part; returns how many changed.

    Where none is to be kept there is no policy: a point of 0 would ask for one when none is left.
    """
    rows = {
        row.part_id: row
        for row in StockPolicy.objects.filter(location__isnull=True, part__in=wanted)
    }
    new: list[StockPolicy] = []
    changed: list[StockPolicy] = []
    gone: list[int] = []
    for pk, (point, level) in wanted.items():
        row = rows.get(pk)
        if row is not None and row.by_hand:
            continue
        if not level:
            if row is not None:
                gone.append(row.pk)
            continue
        if row is None:
            row = StockPolicy(part_id=pk, by_hand=False)
            new.append(row)
        elif (row.reorder_point_steps, row.order_up_to_steps) == (point, level):
            continue
        else:
            changed.append(row)
        row.reorder_point_steps, row.order_up_to_steps = point, level
        row.set_by, row.set_at = author, at
    StockPolicy.objects.bulk_create(new, batch_size=500)
    StockPolicy.objects.bulk_update(
        changed, ["reorder_point_steps", "order_up_to_steps", "set_by", "set_at"], batch_size=500
    )
    if gone:
        StockPolicy.objects.filter(pk__in=gone).delete()
    return len(new) + len(changed) + len(gone)


def _beginning(day: date, shop: Shop) -> datetime:
    return datetime.combine(day, time.min, tzinfo=shop.zone)


def _first_manager() -> Person | None:
    return Person.objects.filter(role=Role.MANAGER, is_active=True).order_by("pk").first()


# --- gathered ------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Use:
    """What was used of one part, looking back. steps: net. [steps]"""

    periods: Counter[int] = field(default_factory=Counter)
    last_year_steps: int = 0
    events: int = 0
    unplanned_steps: int = 0
    watched_days: int = 0


@dataclass(slots=True)
class _Gathered:
    """Everything read, by part."""

    today: date
    parts: Mapping[int, Part]
    needs: Mapping[int, Sequence[Need]]
    drawers: Mapping[int, Sequence[Drawer]]
    uses: Mapping[int, _Use]
    bought: Mapping[int, SupplierPart]
    on_order: Mapping[int, int]

    @classmethod
    def of(cls, *, shop: Shop, today: date) -> "_Gathered":
        since = _beginning(today - timedelta(days=LOOK_BACK_DAYS), shop)
        wanted = list(PartsNeed.objects.values_list("service", "part", "quantity_steps"))
        uses = _uses(since, today, shop)
        policies = StockPolicy.objects.filter(location__isnull=True).values_list("part", flat=True)
        used = {pk for pk, use in uses.items() if use.periods}
        asked = {part for _, part, _ in wanted} | used | set(policies)
        # Of a part that another has taken the place of, that one is bought.
        follows = _followers(asked)
        every = Part.objects.in_use().filter(superseded_by__isnull=True).with_stock(today=today)
        parts = {part.pk: part for part in every if part.pk in asked | set(follows.values())}
        bought = _bought(parts)
        days = _days(bought.values())
        buyable = set(bought) | set(policies)
        needs: dict[int, list[Need]] = defaultdict(list)
        for pk, need in _needs(wanted, buyable=buyable, days=days, today=today, shop=shop):
            needs[follows.get(pk, pk)].append(need)
        return cls(
            today=today,
            parts=parts,
            needs=needs,
            drawers=_drawers(today),
            uses=_joined(uses, follows),
            bought=bought,
            on_order=PurchaseOrderLine.objects.all().on_order(),
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
        use = self.uses.get(part.pk) or _Use()
        sold = self.bought.get(part.pk)
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
        lead_times, lead_from = _lead_times(sold)
        return Given(
            unit_name=part.unit_name,
            steps_per_unit=part.steps_per_unit,
            value_class="C",
            target=TARGETS_PERCENT["C"] / 100,
            lead_times=lead_times,
            lead_from=lead_from,
            review_days=max(1, sold.supplier.review_days if sold else 0),
            needs=needs,
            drawers=tuple(
                each
                for each in self.drawers.get(part.pk, ())
                if each.lacks_steps or each.rig in rigs
            ),
            unplanned=unplanned,
            past_steps=tuple(max(0, use.periods[back]) for back in range(periods - 1, -1, -1)),
            year_use_steps=_year_use(use, needs, unplanned),
            unit_cents=_unit_cents(part, sold),
            terms=_terms(part, sold),
            keeps_days=(expires - self.today).days if expires else None,
            usable_steps=part.usable_steps,  # type: ignore[attr-defined]
            on_order_steps=self.on_order.get(part.pk, 0),
        )


def _year_use(use: _Use, needs: Sequence[Need], unplanned: Unplanned) -> float:
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


# --- what services need --------------------------------------------------------------------------


def _needs(
    wanted: Iterable[tuple[int, int, int]],
    *,
    buyable: set[int],
    days: Sequence[int],
    today: date,
    shop: Shop,
) -> Iterator[tuple[int, Need]]:
    """Yield what each service of each rig, and each open sheet, may need of a part."""
    of_service: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for service, part, steps in wanted:
        of_service[service].append((part, steps))
    including = ServiceVersion.includes.through.objects.values("serviceversion")
    rows = Due.objects.listed().filter(
        Q(version__service__in=list(of_service)) | Q(version__in=including)
    )
    odds = renewals_by(rows, days=[today + timedelta(days=day) for day in days], zone=shop.zone)
    dues = list(
        rows.select_related("version__service", "component__type__kind", "position__kind").order_by(
            "rig_number", "pk"
        )
    )
    covers = covered((due.version, due.component) for due in dues)
    on_sheets = _on_open_sheets(covers)
    for due, chances in _alone(dues, odds, covers, on_sheets):
        by_day = {
            day: kept
            for day, of_day in zip(days, chances, strict=True)
            if (kept := tuple(round(chance, DIGITS) for chance in of_day))
        }
        if not by_day:
            continue
        where = due.position.heading if due.position else due.component.type.kind.name
        for part, steps in of_service.get(due.version.service_id, ()):
            yield (
                part,
                Need(
                    rig=due.rig_id or 0,
                    rig_number=due.rig_number,
                    what=f"{where}, {due.version.service.name}",
                    quantity_steps=steps,
                    chances=by_day,
                ),
            )
    yield from _of_sheets(buyable, days, today)


def _alone(
    dues: Sequence[Due],
    odds: Renewals,
    covers: Mapping[tuple[int, int], Sequence[ServiceVersion]],
    on_sheets: set[tuple[int, int]],
) -> Iterator[tuple[Due, list[tuple[float, ...]]]]:
    """Yield due rows with the chances of those renewals that ask for parts of their own.

    A renewal that falls due no sooner than a bigger service of the component that includes it is
    done with that one. The first renewal of what stands on an open sheet is the sheet's.
    """
    bigger: dict[tuple[int, int], list[Due]] = defaultdict(list)
    for due in dues:
        for child in covers.get((due.component_id, due.version_id), ()):
            bigger[due.component_id, child.service_id].append(due)
    for due in dues:
        if due.pk not in odds:
            continue
        key = (due.component_id, due.version.service_id)
        skipped = 1 if key in on_sheets else 0
        over = [each for each in bigger.get(key, ()) if each.pk in odds]
        found = []
        for place, chances in enumerate(odds[due.pk]):
            first = max((each for other in over for each in odds[other.pk][place][:1]), default=0.0)
            found.append(tuple(chance for chance in chances[skipped:] if chance > first))
        yield due, found


def _on_open_sheets(
    covers: Mapping[tuple[int, int], Sequence[ServiceVersion]],
) -> set[tuple[int, int]]:
    """(component, service) of what an open sheet will do, with what it stands for."""
    found = set()
    smaller: dict[tuple[int, int], set[int]] = defaultdict(set)
    services = dict(
        ServiceVersion.objects.filter(pk__in={version for _, version in covers}).values_list(
            "pk", "service"
        )
    )
    for (component, version), children in covers.items():
        smaller[component, services[version]] |= {child.service_id for child in children}
    for key in SheetLine.objects.filter(
        is_open=True, version__isnull=False, sheet__state__in=ServiceSheet.OPEN_STATES
    ).values_list("component", "version__service"):
        found.add(key)
        found |= {(key[0], service) for service in smaller.get(key, ())}
    return found


def _of_sheets(buyable: set[int], days: Sequence[int], today: date) -> Iterator[tuple[int, Need]]:
    """Yield what open sheets still need beyond what lies in their trays, certain on their day.

    Of a kit that was not there whole the lines are planned: what is promised of them is needed
    as it is, and so is what is short where it is bought by itself; else the kit is.
    """
    tray = {
        (place, part): steps
        for place, part, steps in Balance.objects.there()
        .filter(location__kind=Location.Kind.TRAY)
        .order_by()
        .values("location", "part")
        .annotate(steps=Sum("quantity_steps"))
        .values_list("location", "part", "steps")
    }
    rows = (
        SheetPart.objects.filter(sheet__state__in=ServiceSheet.OPEN_STATES, planned_steps__gt=0)
        .select_related("sheet__rig")
        .order_by("sheet__number", "pk")
    )
    kits = _in_kits(row.for_kit_id for row in rows if row.for_kit_id)
    asked: dict[tuple[int, int], int] = {}
    sheets: dict[int, ServiceSheet] = {}
    for row in rows:
        sheet = row.sheet
        sheets[sheet.pk] = sheet
        taken = tray.get((sheet.tray_id or 0, row.part_id), 0)
        missing = max(0, row.planned_steps - taken)
        if row.for_kit_id and row.short_steps and row.part_id not in buyable:
            whole = math.ceil(row.short_steps / kits.get((row.for_kit_id, row.part_id), 1))
            key = (sheet.pk, row.for_kit_id)
            asked[key] = max(asked.get(key, 0), whole)
            missing = max(0, missing - row.short_steps)
        if missing:
            key = (sheet.pk, row.part_id)
            asked[key] = asked.get(key, 0) + missing
    for (pk, part), steps in asked.items():
        sheet = sheets[pk]
        chances = {day: (1.0,) for day in days if sheet.planned_on <= today + timedelta(days=day)}
        if not chances:
            continue
        yield (
            part,
            Need(
                rig=sheet.rig_id or 0,
                rig_number=sheet.rig.number if sheet.rig else 0,
                what=f"sheet {sheet}",
                quantity_steps=steps,
                chances=chances,
                sheet=sheet.number,
            ),
        )


def _in_kits(kits: Iterable[int]) -> dict[tuple[int, int], int]:
    return {
        (kit, part): steps
        for kit, part, steps in KitLine.objects.filter(kit__in=set(kits)).values_list(
            "kit", "part", "quantity_steps"
        )
    }


# --- what lies in drawers, what was used, how it is bought ---------------------------------------


def _drawers(today: date) -> dict[int, list[Drawer]]:
    """By part, what lies in rigs' drawers, in date, and what should."""
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
    target = {
        (part, place): level
        for part, place, level in StockPolicy.objects.filter(location__in=rigs).values_list(
            "part", "location", "order_up_to_steps"
        )
    }
    found: dict[int, list[Drawer]] = defaultdict(list)
    for part, place in sorted({*here, *target}):
        rig, number = rigs[place]
        drawer = Drawer(rig, number, here[part, place], target.get((part, place), 0))
        if drawer.covers_steps:
            found[part].append(drawer)
    return found


def _uses(since: datetime, today: date, shop: Shop) -> dict[int, _Use]:
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
    uses: dict[int, _Use] = defaultdict(_Use)
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


def _joined(uses: Mapping[int, _Use], follows: Mapping[int, int]) -> dict[int, _Use]:
    """The use of each part with that of the parts it has taken the place of."""
    joined: dict[int, _Use] = {}
    for pk, use in uses.items():
        into = joined.setdefault(follows.get(pk, pk), _Use())
        into.periods.update(use.periods)
        into.last_year_steps += use.last_year_steps
        into.events += use.events
        into.unplanned_steps += use.unplanned_steps
        into.watched_days = max(into.watched_days, use.watched_days)
    return joined


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


def _bought(parts: Iterable[int]) -> dict[int, SupplierPart]:
    """By part, how it is bought: of the preferred supplier, else of the quickest."""
    found: dict[int, SupplierPart] = {}
    for sold in (
        SupplierPart.objects.filter(part__in=list(parts), supplier__retired=False)
        .select_related("supplier")
        .prefetch_related("price_breaks")
        .order_by("part", "-preferred", "lead_time_days", "pk")
    ):
        found.setdefault(sold.part_id, sold)
    return found


def _lead_times(sold: SupplierPart | None) -> tuple[tuple[LeadTime, ...], str]:
    if sold is None:
        return unobserved_lead_times(USUAL_LEAD_DAYS), "no supplier is known, so a usual one"
    return unobserved_lead_times(sold.lead_time_days), f"as {sold.supplier} says"


def _days(bought: Iterable[SupplierPart]) -> list[int]:
    """Every number of days ahead that some part asks for, rising."""
    days = set(AHEAD_DAYS)
    days |= {lead.days + 1 for lead in _lead_times(None)[0]}
    for sold in bought:
        review = max(1, sold.supplier.review_days)
        days |= {lead.days + review for lead in _lead_times(sold)[0]}
    return sorted(days)


def _terms(part: Part, sold: SupplierPart | None) -> Terms:
    if sold is None:
        cents = part.usual_cost_cents / part.steps_per_unit
        # Bought in whole units where nobody says how.
        pack = part.steps_per_unit
        price = round(cents * pack)
        return Terms(pack_steps=pack, least_packs=1, prices=((1, price),) if price else ())
    prices = tuple(
        (each.from_packs, each.pack_price_cents)
        for each in sorted(sold.price_breaks.all(), key=lambda each: each.from_packs)
        if each.pack_price_cents
    )
    if not prices and part.usual_cost_cents:
        prices = ((1, round(part.usual_cost_cents * sold.pack_steps / part.steps_per_unit)),)
    return Terms(pack_steps=sold.pack_steps, least_packs=sold.least_packs, prices=prices)


def _unit_cents(part: Part, sold: SupplierPart | None) -> int:
    """What one unit costs: what it usually did, else what the supplier asks for. [cents]"""
    if part.usual_cost_cents or sold is None:
        return part.usual_cost_cents
    prices = _terms(part, sold).prices
    return round(prices[0][1] * part.steps_per_unit / sold.pack_steps) if prices else 0
