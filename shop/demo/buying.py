"""Who the shop buys from, what it ordered, what came late or short, and old parts owed back."""

from dataclasses import dataclass, field
from typing import Final

from inventory.models import Core, Part, PurchaseOrder, Supplier
from inventory.pack_prices import PackPrice
from inventory.services import set_policy
from inventory.services.buying import (
    Terms,
    Wish,
    create_supplier,
    draft_order,
    send_order,
    set_supplier_part,
    to_come_steps,
)
from inventory.services.buying_receipts import (
    Arrival,
    credit_core,
    receive_delivery,
    send_core_back,
)
from shop.demo import shelf
from shop.demo.story import Story

#: The last order went out so many days ago, at the latest; what fell to its point since waits.
LAST_ORDER: Final = -9
#: Back-ordered by the maker since it was last used: part → (since, the day promised).
AWAITED: Final = {"CO-504": (-120, -9)}
#: From this day on, a line of so many packs comes short by one, the rest later.
SHORT_FROM: Final = -16
#: Old parts that the supplier pays for: cents each.
CREDITS: Final = {"GE-605": 1_800, "CO-506": 6_000}
#: Old parts go back, and are paid for, so long after the new ones came. [d]
BACK_AFTER: Final = 20
CREDITED_AFTER: Final = 30


#: Fixed by hand, with why: (point, up to) in units.
BY_HAND: Final = {
    "CO-504": (1, 3, "one rig stands whenever none is here"),
    "GE-605": (2, 4, "first frost: two on the shelf until spring"),
    "PK-210": (1, 3, "a pump down is a day lost: always one here"),
    "PK-220": (1, 3, "a pump down is a day lost: always one here"),
}
FIXED_ON: Final = -30
REVIEW_ON: Final = 60
#: As the book was begun: they come by the pail and the case, with the truck.
IN_BULK: Final = ("OI-910", "OI-920", "OI-930", "OI-940")


@dataclass(frozen=True, slots=True)
class SupplierPlan:
    """A supplier: how long it says it takes, and takes at most [d]; freight of a delivery."""

    name: str
    contact: str
    account: str
    categories: tuple[str, ...]
    said_days: int
    longest_days: int
    least_order_cents: int
    freight_cents: int
    slip: str


SUPPLIERS: Final = (
    SupplierPlan(
        "Copper Lake Spray Supply",
        "order desk: 555 0142, orders@copperlake.example",
        "TH-2207",
        ("gun", "pump", "feed pump", "hose"),
        6, 10, 25_000, 1_850, "CL",
    ),
    SupplierPlan(
        "Harrow Air Works",
        "ask for the parts counter: 555 0177",
        "",
        ("compressor", "dryer", "supplied air"),
        10, 24, 0, 2_400, "H",
    ),
    SupplierPlan(
        "Millrace Fluids and Filters",
        "555 0119, delivers Tuesdays and Fridays",
        "31180",
        ("hydraulic unit", "generator", "fluids", "trailer"),
        3, 5, 10_000, 950, "MF",
    ),
)  # fmt: skip
#: What is not sold by the piece: units in a pack.
PACKS: Final = {
    "OI-910": 5, "OI-920": 12, "OI-930": 12, "OI-940": 6, "OI-950": 12, "PU-209": 5,
}  # fmt: skip
#: From so many packs on it costs less by so many percent.
BREAKS: Final = {"GK-100": (5, 8), "GU-101": (10, 10), "GU-102": (10, 10), "OI-950": (4, 12)}


@dataclass(slots=True)
class Buying:
    """The orders on their way, by the day on which something of them comes."""

    story: Story
    suppliers: dict[str, tuple[SupplierPlan, Supplier]] = field(default_factory=dict)
    coming: dict[int, list[PurchaseOrder]] = field(default_factory=dict)
    slips: int = 400


def begin(story: Story) -> Buying:
    """Name the suppliers and what they sell, from the first day on. The parts must be there."""
    buying = Buying(story)
    at = story.at(story.first_day, 6, 20)
    for plan in SUPPLIERS:
        supplier = create_supplier(
            name=plan.name,
            contact=plan.contact,
            our_account=plan.account,
            review_days=7,
            least_order_cents=plan.least_order_cents,
            author=story.manager,
            at=at,
        )
        for part in shelf.PLANS.values():
            if part.category in plan.categories:
                buying.suppliers[part.number] = plan, supplier
                _sells(story, plan, supplier, part)
    return buying


def _sells(story: Story, plan: SupplierPlan, supplier: Supplier, part: shelf.PartPlan) -> None:
    units = PACKS.get(part.number, 1)
    pack_cents = part.cost_cents * units
    prices = [PackPrice(1, pack_cents)]
    if part.number in BREAKS:
        packs, percent = BREAKS[part.number]
        prices.append(PackPrice(packs, pack_cents * (100 - percent) // 100))
    set_supplier_part(
        supplier=supplier,
        part=story.parts[part.number],
        terms=Terms(
            pack_steps=units * part.steps,
            lead_time_days=plan.said_days,
            core_cents=CREDITS.get(part.number, 0),
            their_number=f"{plan.slip}{part.number.replace('-', '')}",
            preferred=True,
            prices=tuple(prices),
        ),
    )


def on(buying: Buying, offset: int) -> None:
    """What is ordered on a Monday morning, and what is delivered on this day."""
    if offset == FIXED_ON:
        _fix_by_hand(buying.story)
    for order in buying.coming.pop(offset, ()):
        _deliver(buying, order, offset)
    if buying.story.day(offset).weekday() == 0 and offset <= LAST_ORDER:
        _order(buying, offset)


def _fix_by_hand(story: Story) -> None:
    for number, (point, level, why) in BY_HAND.items():
        steps = shelf.PLANS[number].steps
        set_policy(
            part=story.parts[number],
            reorder_point_steps=point * steps,
            order_up_to_steps=level * steps,
            author=story.manager,
            at=story.at(FIXED_ON, 7, 30),
            reason=why,
            review_on=story.day(REVIEW_ON),
        )


def _order(buying: Buying, offset: int) -> None:
    """What fell to its point is ordered up to its level, of each supplier in one order."""
    story = buying.story
    wishes: dict[int, list[Wish]] = {}
    plans: dict[int, tuple[SupplierPlan, Supplier]] = {}
    for part in Part.objects.at_reorder_point(today=story.day(offset)).order_by("number"):
        position = part.usable_steps + part.on_order_steps  # type: ignore[attr-defined]
        missing = part.order_up_to_steps - position  # type: ignore[attr-defined]
        if missing > 0:
            plan, supplier = buying.suppliers[part.number]
            plans[supplier.pk] = plan, supplier
            wishes.setdefault(supplier.pk, []).append(Wish(part, missing))
    for pk, wanted in wishes.items():
        plan, supplier = plans[pk]
        order = draft_order(
            supplier=supplier,
            wishes=wanted,
            author=story.manager,
            at=story.at(offset, 8, 5),
            request_id=story.new_id(),
        )
        promised = {
            each.part.pk: story.day(AWAITED[each.part.number][1])
            for each in wanted
            if _is_awaited(each.part, offset)
        }
        send_order(order=order, author=story.manager, at=story.at(offset, 8, 20), expected=promised)
        takes = min(
            story.stock_dice.randint(plan.said_days - 2, plan.said_days + 1)
            if story.stock_dice.random() < 0.7
            else story.stock_dice.randint(plan.said_days, plan.longest_days),
            plan.longest_days,
        )
        buying.coming.setdefault(offset + takes, []).append(order)


def _is_awaited(part: Part, offset: int) -> bool:
    return part.number in AWAITED and offset > AWAITED[part.number][0]


def _deliver(buying: Buying, order: PurchaseOrder, offset: int) -> None:
    """A delivery with its packing slip: what there is of the order, at this year's prices."""
    story = buying.story
    order.refresh_from_db()
    sent_on = order.sent_at.astimezone(story.zone).date() if order.sent_at else story.today
    sent_offset = (sent_on - story.today).days
    arrivals: list[Arrival] = []
    for line in order.lines.select_related("part").order_by("pk"):
        number = line.part.number
        steps = to_come_steps(line)
        if not steps or _is_awaited(line.part, sent_offset):
            continue
        if offset > SHORT_FROM and line.packs > 2:
            steps -= line.pack_steps
        arrivals.append(
            Arrival(
                line=line,
                location=story.places[shelf.PLANS[number].place],
                quantity_steps=steps,
                goods_cents=shelf.cost_on(
                    story, line.pack_price_cents * steps // line.pack_steps, offset
                ),
                lot_code=shelf.lot_code(story, offset),
                cured_on=shelf.made_on(story, shelf.PLANS[number], offset),
            )
        )
    if not arrivals:
        return
    plan, _ = buying.suppliers[arrivals[0].line.part.number]
    buying.slips += story.stock_dice.randint(3, 19)
    receive_delivery(
        order=order,
        packing_slip=f"{plan.slip}-{buying.slips:05d}",
        arrivals=arrivals,
        freight_cents=plan.freight_cents,
        author=story.manager,
        at=story.at(offset, 10, 40),
        request_id=story.new_id(),
    )


def send_old_parts_back(story: Story) -> None:
    """Old parts went back some weeks after the new ones came; the last still stand here."""
    for core in Core.objects.order_by("pk"):
        came = (core.owed_since - story.today).days
        if came + CREDITED_AFTER > LAST_ORDER:
            continue
        sent_back = story.at(came + BACK_AFTER, 15, 30)
        send_core_back(
            core=core, on=story.day(came + BACK_AFTER), author=story.manager, at=sent_back
        )
        credit_core(
            core=core,
            on=story.day(came + CREDITED_AFTER),
            cents=core.credit_cents,
            author=story.manager,
            at=story.at(came + CREDITED_AFTER, 9),
        )
