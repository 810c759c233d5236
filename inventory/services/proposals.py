"""What to order of whom: parts that fell to their point, by supplier, and what could fill an order.

What is drafted already is taken off, so that nobody drafts it twice.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from inventory.models import Part, PurchaseOrder, PurchaseOrderLine, Supplier, SupplierPart
from inventory.order_proposals import Offer, Proposed, best_offer, propose
from inventory.pack_prices import PackPrice

#: Parts that are offered to fill an order.
MOST_FILLERS = 6


@dataclass(frozen=True, slots=True)
class ProposalLine:
    """A part, with its stock, and what to ask for."""

    part: Part
    proposed: Proposed


@dataclass(frozen=True, slots=True)
class Proposal:
    """What to order of one supplier now. fillers: what falls to its point next, the soonest first.

    drafts: orders to it that wait to be sent.
    """

    supplier: Supplier
    lines: tuple[ProposalLine, ...]
    fillers: tuple[ProposalLine, ...]
    drafts: tuple[PurchaseOrder, ...]

    @property
    def price_cents(self) -> int:
        return sum(line.proposed.price_cents for line in self.lines)

    @property
    def lacks_cents(self) -> int:
        """To the supplier's least order; 0 where nothing is ordered or no price is known."""
        total = self.price_cents
        return max(0, self.supplier.least_order_cents - total) if total else 0


@dataclass(frozen=True, slots=True)
class Proposals:
    """Everything to buy now. unsold: parts that nobody is known to sell."""

    by_supplier: tuple[Proposal, ...]
    unsold: tuple[Part, ...]


def proposals(*, today: date) -> Proposals:
    """Return what to order of whom. A number of queries that does not grow with the parts."""
    fallen = list(Part.objects.at_reorder_point(today=today).order_by("number"))
    sold = _sold(part.pk for part in fallen)
    drafted = _drafted()
    lines: dict[int, list[ProposalLine]] = defaultdict(list)
    suppliers: dict[int, Supplier] = {}
    unsold = []
    for part in fallen:
        by_whom = sold.get(part.pk)
        if by_whom is None:
            unsold.append(part)
            continue
        supplier, offer = by_whom
        suppliers[supplier.pk] = supplier
        if (missing := _missing(part, drafted)) > 0:
            lines[supplier.pk].append(
                ProposalLine(part, propose(missing, offer, keeps=not part.ages))
            )
    drafts = _drafts()
    for order in drafts:
        suppliers[order.supplier_id] = order.supplier
    fillers = _fillers(lines, drafted, today)
    found = [
        Proposal(
            supplier=supplier,
            lines=tuple(lines[pk]),
            fillers=tuple(fillers.get(pk, ())),
            drafts=tuple(order for order in drafts if order.supplier_id == pk),
        )
        for pk, supplier in sorted(suppliers.items(), key=lambda each: each[1].name)
    ]
    return Proposals(
        by_supplier=tuple(each for each in found if each.lines or each.drafts),
        unsold=tuple(unsold),
    )


def _missing(part: Part, drafted: Mapping[int, int]) -> int:
    """What lacks to the level of a part with its stock; below zero where nothing does. [steps]"""
    position = part.usable_steps + part.on_order_steps  # type: ignore[attr-defined]
    level: int = part.order_up_to_steps  # type: ignore[attr-defined]
    return level - position - drafted.get(part.pk, 0)


def _sold(parts: Iterable[int]) -> dict[int, tuple[Supplier, Offer]]:
    """By part, of whom it is bought and how."""
    offers: dict[int, list[Offer]] = defaultdict(list)
    suppliers: dict[int, Supplier] = {}
    for row in (
        SupplierPart.objects.filter(part__in=list(parts), supplier__retired=False)
        .select_related("supplier")
        .prefetch_related("price_breaks")
        .order_by("pk")
    ):
        suppliers[row.supplier_id] = row.supplier
        offers[row.part_id].append(
            Offer(
                supplier=row.supplier_id,
                pack_steps=row.pack_steps,
                least_packs=row.least_packs,
                prices=tuple(
                    PackPrice(each.from_packs, each.pack_price_cents)
                    for each in row.price_breaks.all()
                ),
                is_preferred=row.preferred,
                lead_time_days=row.lead_time_days,
            )
        )
    found = {}
    for part, of_part in offers.items():
        if (best := best_offer(of_part)) is not None:
            found[part] = suppliers[best.supplier], best
    return found


def _drafts() -> list[PurchaseOrder]:
    return list(
        PurchaseOrder.objects.filter(state=PurchaseOrder.State.DRAFT)
        .select_related("supplier")
        .order_by("number")
    )


def _drafted() -> dict[int, int]:
    """By part, what stands in drafts. [steps]"""
    found: dict[int, int] = defaultdict(int)
    for line in PurchaseOrderLine.objects.filter(order__state=PurchaseOrder.State.DRAFT):
        found[line.part_id] += line.quantity_steps
    return found


def _fillers(
    lines: Mapping[int, list[ProposalLine]], drafted: Mapping[int, int], today: date
) -> dict[int, list[ProposalLine]]:
    """By supplier of whom something is ordered, the parts that fall to their point next."""
    if not any(lines.values()):
        return {}
    following = list(
        Part.objects.next_to_reorder_point(today=today).filter(
            supplier_parts__supplier__in=[pk for pk, of in lines.items() if of]
        )
    )
    sold = _sold(part.pk for part in following)
    found: dict[int, list[ProposalLine]] = defaultdict(list)
    seen = set()
    for part in following:
        supplier, offer = sold[part.pk]
        room = len(found[supplier.pk]) < MOST_FILLERS
        if part.pk in seen or not lines.get(supplier.pk) or not room:
            continue
        seen.add(part.pk)
        if (missing := _missing(part, drafted)) > 0:
            found[supplier.pk].append(
                ProposalLine(part, propose(missing, offer, keeps=not part.ages))
            )
    return found
