"""How each part is bought: from whom, how long it takes, in what packs, at what price."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from inventory.lead_times import MOST_DAYS, Wait, took_in_words
from inventory.lead_times import LeadTime as Learnt
from inventory.models import Part, PurchaseOrderLine, SupplierPart
from inventory.services.buying_times import learnt_by_part, waits_of
from inventory.services.posting import day_of
from inventory.services.suppliers import bought_from
from shop.advice import AHEAD_DAYS, LateOrder, LeadTime, Terms, unobserved_lead_times

#: Where no supplier is known. Common practice, no source. [d]
USUAL_LEAD_DAYS: Final = 7
#: Odds are kept to so many digits.
DIGITS: Final = 4


@dataclass(frozen=True, slots=True)
class Late:
    """A line under way past its day: what of it is to come, and how long it takes in all."""

    order: int
    steps: int
    late_days: int
    waited_days: int
    takes: Learnt


@dataclass(frozen=True, slots=True)
class Buying:
    """By part: who sells it, how long an order of today takes and by what, what is under way."""

    sold: Mapping[int, SupplierPart]
    lead_times: Mapping[int, tuple[LeadTime, ...]]
    lead_from: Mapping[int, str]
    on_order: Mapping[int, int]
    late: Mapping[int, Sequence[Late]]

    @classmethod
    def of(cls, parts: Iterable[int], *, today: date) -> "Buying":
        """Read it all. Four queries."""
        sold = bought_from(parts)
        under_way = list(
            PurchaseOrderLine.objects.to_come().select_related("order").order_by("order__number")
        )
        on_order: Counter[int] = Counter()
        for line in under_way:
            on_order[line.part_id] += line.to_come_steps  # type: ignore[attr-defined]
        late_lines = [line for line in under_way if line.expected_on and line.expected_on < today]
        suppliers = {each.supplier_id for each in sold.values()}
        suppliers |= {line.order.supplier_id for line in late_lines}
        waits = waits_of(sorted(suppliers), today=today)
        found = learnt_by_part(
            [
                (each.supplier_id, each.part_id, min(MOST_DAYS, each.lead_time_days))
                for each in sold.values()
            ],
            waits=waits,
        )
        whole = _by_supplier(waits)
        return cls(
            sold=sold,
            lead_times={
                pk: tuple(
                    LeadTime(days, round(weight, DIGITS))
                    for days, weight in found[each.supplier_id, pk].bands()
                )
                for pk, each in sold.items()
            },
            lead_from={
                pk: _basis(each, waits, whole.get(each.supplier_id, ()))
                for pk, each in sold.items()
            },
            on_order=on_order,
            late=_late(late_lines, waits, today=today),
        )

    def lead(self, part: int) -> tuple[tuple[LeadTime, ...], str]:
        """How long an order of today takes, and by what."""
        if part in self.lead_times:
            return self.lead_times[part], self.lead_from[part]
        return unobserved_lead_times(USUAL_LEAD_DAYS), "no supplier is known, so a usual one"

    def review_days(self, part: int) -> int:
        """Until its stock is looked at again: every day, or when its supplier's order goes out."""
        return max(1, self.sold[part].supplier.review_days) if part in self.sold else 1

    def days(self) -> list[int]:
        """Every number of days ahead that some part asks for, rising."""
        days = set(AHEAD_DAYS) | {lead.days + 1 for lead in self.lead(0)[0]}
        for part, leads in self.lead_times.items():
            days |= {lead.days + self.review_days(part) for lead in leads}
        return sorted(days)

    def late_orders(self, part: int, days: Iterable[int]) -> tuple[LateOrder, ...]:
        """What is late of a part, with the chance by each of those days that it is not here yet."""
        days = sorted(days)
        return tuple(
            LateOrder(
                order=each.order,
                steps=each.steps,
                late_days=each.late_days,
                missing={
                    day: round(each.takes.later_than(each.waited_days + day), DIGITS)
                    for day in days
                },
            )
            for each in self.late.get(part, ())
        )


def _by_supplier(waits: Mapping[tuple[int, int], Sequence[Wait]]) -> dict[int, list[int]]:
    """By supplier, the days of all lines that came, rising."""
    found: dict[int, list[int]] = defaultdict(list)
    for (supplier, _), of_part in waits.items():
        found[supplier] += [wait.days for wait in of_part if wait.came]
    for days in found.values():
        days.sort()
    return found


def _basis(
    sold: SupplierPart, waits: Mapping[tuple[int, int], Sequence[Wait]], whole: Sequence[int]
) -> str:
    own = [wait.days for wait in waits.get((sold.supplier_id, sold.part_id), ()) if wait.came]
    return took_in_words(
        supplier=str(sold.supplier),
        said_days=sold.lead_time_days,
        own_days=own,
        supplier_days=whole,
    )


def _late(
    lines: Sequence[PurchaseOrderLine],
    waits: Mapping[tuple[int, int], Sequence[Wait]],
    *,
    today: date,
) -> dict[int, list[Late]]:
    """By part, what is late. What came by then says that nothing of it came sooner."""
    found: dict[int, list[Late]] = defaultdict(list)
    for line in lines:
        assert line.expected_on is not None, "A late line has the day it was expected."
        assert line.order.sent_at is not None, "What is under way was sent."
        sent = day_of(line.order.sent_at)
        waited = max(0, (today - sent).days)
        key = (line.order.supplier_id, line.part_id)
        said = min(MOST_DAYS, max(0, (line.expected_on - sent).days))
        takes = learnt_by_part([(*key, said)], waits=waits)[key]
        found[line.part_id].append(
            Late(
                order=line.order.number,
                steps=line.to_come_steps,  # type: ignore[attr-defined]
                late_days=(today - line.expected_on).days,
                waited_days=waited,
                takes=takes.after_waiting(waited),
            )
        )
    return found


def terms_of(part: Part, sold: SupplierPart | None) -> Terms:
    """In what packs, how many at least and at what prices it is bought."""
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


def unit_cents_of(part: Part, sold: SupplierPart | None) -> int:
    """What one unit costs: what it usually did, else what the supplier asks for. [cents]"""
    if part.usual_cost_cents or sold is None:
        return part.usual_cost_cents
    prices = terms_of(part, sold).prices
    return round(prices[0][1] * part.steps_per_unit / sold.pack_steps) if prices else 0
