"""What to order of whom: parts that fell to their point, by supplier, and what could fill an order.

What is drafted already is taken off, so that nobody drafts it twice.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from inventory.models import Part, PurchaseOrder, PurchaseOrderLine, Supplier, SupplierPart
from inventory.order_proposals import Offer, Proposed, propose
from inventory.pack_prices import PackPrice
from inventory.services.suppliers import bought_from

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
    sold = bought_from(part.pk for part in fallen)
    drafted = _drafted()
    drafts = _drafts()
    suppliers = {each.supplier_id: each.supplier for each in sold.values()}
    suppliers |= {each.supplier_id: each.supplier for each in drafts}
    lines = _by_supplier(fallen, sold, drafted)
    fillers = _fillers(list(lines), drafted, today)
    found = [
        Proposal(
            supplier=supplier,
            lines=tuple(lines.get(pk, ())),
            fillers=tuple(fillers.get(pk, ())),
            drafts=tuple(order for order in drafts if order.supplier_id == pk),
        )
        for pk, supplier in sorted(suppliers.items(), key=lambda each: each[1].name)
    ]
    return Proposals(
        by_supplier=tuple(each for each in found if each.lines or each.drafts),
        unsold=tuple(part for part in fallen if part.pk not in sold),
    )


def _by_supplier(
    parts: Iterable[Part], sold: Mapping[int, SupplierPart], drafted: Mapping[int, int]
) -> dict[int, list[ProposalLine]]:
    """By supplier, what to ask for of those parts that lack something, in their order."""
    lines: dict[int, list[ProposalLine]] = defaultdict(list)
    for part in parts:
        missing = _missing(part, drafted)
        if part.pk in sold and missing > 0:
            proposed = propose(missing, _offer(sold[part.pk]), keeps=not part.ages)
            lines[sold[part.pk].supplier_id].append(ProposalLine(part, proposed))
    return lines


def _offer(sold: SupplierPart) -> Offer:
    return Offer(
        pack_steps=sold.pack_steps,
        least_packs=sold.least_packs,
        prices=tuple(
            PackPrice(each.from_packs, each.pack_price_cents) for each in sold.price_breaks.all()
        ),
    )


def _missing(part: Part, drafted: Mapping[int, int]) -> int:
    """What lacks to the level of a part with its stock; below zero where nothing does. [steps]"""
    position = part.usable_steps + part.on_order_steps  # type: ignore[attr-defined]
    level: int = part.order_up_to_steps  # type: ignore[attr-defined]
    return level - position - drafted.get(part.pk, 0)


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
    suppliers: Sequence[int], drafted: Mapping[int, int], today: date
) -> dict[int, list[ProposalLine]]:
    """By supplier of whom something is ordered, the parts that fall to their point next."""
    if not suppliers:
        return {}
    theirs = SupplierPart.objects.filter(supplier__in=suppliers).values("part")
    following = list(Part.objects.next_to_reorder_point(today=today).filter(pk__in=theirs))
    found = _by_supplier(following, bought_from(part.pk for part in following), drafted)
    return {pk: lines[:MOST_FILLERS] for pk, lines in found.items() if pk in suppliers}
