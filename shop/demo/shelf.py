"""Parts and kits, where they lie, what they cost, and which service needs which."""

from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from equipment.services.library import current_version
from inventory.models import Location
from inventory.services import (
    KitLineSpec,
    TransferLine,
    create_location,
    create_part,
    receive,
    set_kit_lines,
    set_policy,
    transfer,
)
from shop.demo.story import Story
from shop.models import RigDrawer
from shop.services.needs import set_need


@dataclass(frozen=True, slots=True)
class PartPlan:
    """A part: cents a unit, when to buy and up to how much [units], how long it keeps [months]."""

    number: str
    name: str
    category: str
    cost_cents: int
    point: int
    up_to: int
    place: str
    unit: str = "piece"
    steps: int = 1
    keeps_months: int = 0
    #: Of a rubber, its storage group.
    group: str = ""
    #: How old the opening stock was: what nobody asked for has lain a while.
    opened_at_months: int = 0


PARTS: Final = (
    PartPlan("GU-101", "side seal, A side", "gun", 1390, 4, 16, "C-01", group="A"),
    PartPlan("GU-102", "side seal, B side", "gun", 1390, 4, 16, "C-01", group="A"),
    PartPlan("GU-103", "mix chamber", "gun", 7180, 2, 8, "C-02"),
    PartPlan("GU-104", "gun O-ring set", "gun", 1165, 4, 14, "C-02", group="B"),
    PartPlan("GU-105", "air valve seal set", "gun", 1620, 3, 10, "C-03", group="B"),
    PartPlan("GU-106", "gun check valve", "gun", 1935, 2, 8, "C-03"),
    PartPlan("GU-107", "gun screen, pair", "gun", 790, 2, 10, "C-03"),
    PartPlan("GU-108", "air piston cup", "gun", 1240, 1, 5, "C-03"),
    PartPlan("PU-201", "rod packing, A side", "pump", 4620, 1, 3, "D-01", group="B"),
    PartPlan("PU-202", "piston seal, A side", "pump", 3790, 1, 3, "D-01", group="B"),
    PartPlan("PU-203", "rod packing, B side", "pump", 4280, 1, 3, "D-01", group="B"),
    PartPlan("PU-204", "piston seal, B side", "pump", 3510, 1, 3, "D-01", group="B"),
    PartPlan("PU-205", "ball and seat set", "pump", 2740, 3, 10, "D-02"),
    PartPlan("PU-206", "rod wiper", "pump", 1380, 1, 4, "D-02"),
    PartPlan("PU-207", "cylinder O-ring set", "pump", 1120, 1, 4, "D-02", group="B"),
    PartPlan("PU-208", "lubricant tube", "pump", 980, 2, 8, "D-02"),
    PartPlan("PU-209", "strainer O-ring, pair", "pump", 240, 6, 30, "D-03", group="B"),
    PartPlan("FP-231", "feed pump packing", "feed pump", 3460, 1, 3, "D-04", group="B"),
    PartPlan(
        "FP-232",
        "air motor seal set",
        "feed pump",
        2980,
        1,
        3,
        "D-04",
        group="B",
        opened_at_months=72,
    ),
    PartPlan("HO-401", "whip hose, 10 ft", "hose", 9850, 1, 3, "E-01", keeps_months=36),
    PartPlan("HO-410", "hose seal set", "hose", 2190, 2, 8, "E-02", group="B", opened_at_months=66),
    PartPlan("HO-411", "wrap tape, roll", "hose", 860, 3, 12, "E-02"),
    PartPlan("HY-301", "return filter element", "hydraulic unit", 3275, 2, 6, "E-04"),
    PartPlan("HY-302", "suction strainer", "hydraulic unit", 2860, 1, 3, "E-04"),
    PartPlan("HY-303", "tank breather", "hydraulic unit", 1690, 1, 4, "E-04"),
    PartPlan("HY-304", "oil sample bottle", "hydraulic unit", 620, 4, 16, "E-04"),
    PartPlan("CO-501", "intake filter", "compressor", 1840, 3, 10, "F-01"),
    PartPlan("CO-502", "drive belt set", "compressor", 4350, 1, 4, "F-01"),
    PartPlan("CO-503", "compressor oil filter", "compressor", 1710, 2, 6, "F-01"),
    PartPlan("CO-504", "separator element", "compressor", 23800, 1, 2, "F-02"),
    PartPlan("CO-505", "compressor head gasket set", "compressor", 12450, 1, 2, "F-02"),
    PartPlan("CO-506", "reed valve plate", "compressor", 28650, 1, 2, "F-02"),
    PartPlan("DR-520", "coalescing filter element", "dryer", 5240, 2, 6, "F-03"),
    PartPlan("GE-601", "engine oil filter", "generator", 1795, 3, 12, "F-05"),
    PartPlan("GE-602", "primary fuel filter", "generator", 1420, 2, 8, "F-05"),
    PartPlan("GE-603", "secondary fuel filter", "generator", 1180, 2, 8, "F-05"),
    PartPlan("GE-604", "engine air filter", "generator", 2650, 2, 6, "F-06"),
    PartPlan("GE-605", "start battery", "generator", 15900, 1, 2, "F-06"),
    PartPlan("AR-701", "sorbent cartridge", "supplied air", 4780, 2, 8, "E-06", keeps_months=24),
    PartPlan("TR-801", "wheel bearing kit", "trailer", 6450, 1, 4, "F-08"),
    PartPlan("OI-910", "hydraulic oil", "fluids", 1625, 10, 40, "G-01", "gal", 10),
    PartPlan("OI-920", "engine oil", "fluids", 590, 16, 72, "G-01", "qt", 10),
    PartPlan("OI-930", "compressor oil", "fluids", 1140, 6, 24, "G-02", "qt", 10),
    PartPlan("OI-940", "pump lubricant", "fluids", 1280, 6, 24, "G-02", "qt", 10, keeps_months=24),
    PartPlan("OI-950", "gun grease cartridge", "fluids", 415, 10, 48, "G-02", keeps_months=24),
)
KITS: Final = (
    PartPlan("GK-100", "gun rebuild kit", "gun", 19_850, 3, 8, "C-04", group="A"),
    PartPlan("PK-210", "packing kit A", "pump", 15_975, 1, 3, "D-05", group="A"),
    PartPlan("PK-220", "packing kit B", "pump", 14_960, 1, 3, "D-05", group="A"),
    PartPlan("FK-230", "feed pump kit", "feed pump", 6_380, 1, 4, "D-06", group="A"),
)
KIT_LINES: Final[dict[str, dict[str, int]]] = {
    "GK-100": {
        "GU-101": 1, "GU-102": 1, "GU-103": 1, "GU-104": 1, "GU-105": 1, "GU-106": 2,
        "GU-107": 1, "GU-108": 1,
    },
    "PK-210": {"PU-201": 1, "PU-202": 1, "PU-205": 1, "PU-206": 1, "PU-207": 1, "PU-208": 1},
    "PK-220": {"PU-203": 1, "PU-204": 1, "PU-205": 1, "PU-206": 1, "PU-207": 1},
    "FK-230": {"FP-231": 1, "FP-232": 1},
}  # fmt: skip
#: (kind, side, service) → part and units each time it is done.
NEEDS: Final[dict[tuple[str, str, str], dict[str, int]]] = {
    ("pump", "A", "lubricant change"): {"OI-940": 1},
    ("pump", "A", "lubricant tube"): {"PU-208": 1},
    ("pump", "A", "packing and seals"): {"PK-210": 1, "OI-940": 1},
    ("pump", "B", "packing and seals"): {"PK-220": 1},
    ("pump", "", "inlet strainers"): {"PU-209": 1},
    ("pump", "", "balls and seats"): {"PU-205": 1},
    ("feed pump", "", "feed pump rebuild"): {"FK-230": 1},
    ("gun", "", "O-rings, regrease"): {"GU-104": 1, "OI-950": 1},
    ("gun", "", "side seals"): {"GU-101": 1, "GU-102": 1},
    ("gun", "", "mix chamber"): {"GU-103": 1},
    ("gun", "", "air valve and piston"): {"GU-105": 1, "OI-950": 1},
    ("gun", "", "full rebuild"): {"GK-100": 1, "OI-950": 2},
    ("hydraulic unit", "", "return filter"): {"HY-301": 1},
    ("hydraulic unit", "", "oil sample"): {"HY-304": 1},
    ("hydraulic unit", "", "oil change"): {"OI-910": 8, "HY-302": 1},
    ("hydraulic unit", "", "tank breather"): {"HY-303": 1},
    ("heated hose", "", "open joints"): {"HO-410": 1, "HO-411": 1},
    ("whip hose", "", "whip hose change"): {"HO-401": 1},
    ("compressor", "", "intake filter"): {"CO-501": 1},
    ("compressor", "", "belts"): {"CO-502": 1},
    ("compressor", "", "oil and filter"): {"CO-503": 1, "OI-930": 4},
    ("compressor", "", "separator element"): {"CO-504": 1},
    ("dryer", "", "dew point check"): {"DR-520": 1},
    ("generator", "", "oil and filter"): {"GE-601": 1, "OI-920": 6},
    ("generator", "", "fuel filters"): {"GE-602": 1, "GE-603": 1},
    ("generator", "", "air filter"): {"GE-604": 1},
    ("generator", "", "start battery change"): {"GE-605": 1},
    ("supplied-air system", "", "CO alarm and filters"): {"AR-701": 1},
    ("trailer", "", "brakes and bearings"): {"TR-801": 1},
}
#: What rides on a rig: part → units.
DRAWER: Final = {"GU-101": 1, "GU-102": 1, "GU-104": 1, "GU-107": 1, "OI-950": 2}
PLANS: Final = {plan.number: plan for plan in (*PARTS, *KITS)}


def build(story: Story) -> None:
    """Name parts and places, take in the opening stock, say what is needed."""
    at = story.at(story.first_day, 6)
    for code in sorted({plan.place for plan in PLANS.values()}):
        story.places[code] = create_location(code=code, author=story.manager, at=at)
    for plan in PLANS.values():
        story.parts[plan.number] = create_part(
            number=plan.number,
            name=plan.name,
            category=plan.category,
            unit_name=plan.unit,
            steps_per_unit=plan.steps,
            is_kit=plan.number in KIT_LINES,
            usual_cost_cents=plan.cost_cents,
            storage_group=plan.group,
            keeps_months=plan.keeps_months,
            author=story.manager,
            at=at,
        )
    for kit, lines in KIT_LINES.items():
        set_kit_lines(
            kit=story.parts[kit],
            lines=[
                KitLineSpec(part=story.parts[number], quantity_steps=pieces)
                for number, pieces in lines.items()
            ],
            author=story.manager,
            at=at,
        )
    for plan in PLANS.values():
        set_policy(
            part=story.parts[plan.number],
            reorder_point_steps=plan.point * plan.steps,
            order_up_to_steps=plan.up_to * plan.steps,
            author=story.manager,
            at=at,
            reason="set by hand when the book was begun",
        )
        take_in(
            story,
            plan,
            units=plan.up_to,
            offset=story.first_day,
            text="opening stock",
            age_months=plan.opened_at_months,
        )
    _needs(story)


def take_in(
    story: Story, plan: PartPlan, *, units: int, offset: int, text: str, age_months: int = 0
) -> None:
    """Receive so much of a part in its bin, without an order."""
    receive(
        part=story.parts[plan.number],
        location=story.places[plan.place],
        quantity_steps=units * plan.steps,
        value_cents=cost_on(story, plan.cost_cents * units, offset),
        lot_code=lot_code(story, offset),
        cured_on=made_on(story, plan, offset, age_months=age_months),
        author=story.manager,
        at=story.at(offset, 6, 40),
        request_id=story.new_id(),
        source_text=text,
    )


def cost_on(story: Story, cents: int, offset: int) -> int:
    """What cost so much at first costs on a day: it creeps up by some percent a year."""
    months = (offset - story.first_day) // 30
    return cents * (1000 + 3 * months + story.stock_dice.randint(-8, 8)) // 1000


def lot_code(story: Story, offset: int) -> str:
    return f"{story.day(offset):%y%m}-{story.stock_dice.randint(100, 999)}"


def made_on(story: Story, plan: PartPlan, offset: int, *, age_months: int = 0) -> date | None:
    """The day on which what comes today was made; None for what does not age."""
    if not (plan.group or plan.keeps_months):
        return None
    days = story.stock_dice.randint(30, 120) + age_months * 365 // 12
    return story.day(offset) - timedelta(days=days)


def _needs(story: Story) -> None:
    for (kind, side, service), parts in NEEDS.items():
        version = current_version(kind=kind, side=side, name=service)
        for number, units in parts.items():
            set_need(
                service=version.service,
                part=story.parts[number],
                quantity_steps=units * PLANS[number].steps,
            )


def fill_drawers(story: Story) -> None:
    """Give each rig its drawer, filled from the shelf. The rigs must be there."""
    at = story.at(story.first_day, 7, 45)
    for number, rig in story.rigs.items():
        drawer = create_location(
            code=f"drawer-{number:02d}",
            name=f"drawer of {rig}",
            kind=Location.Kind.DRAWER,
            author=story.manager,
            at=at,
        )
        RigDrawer.objects.create(rig=rig, location=drawer)
        story.places[drawer.code] = drawer
        transfer(
            lines=[
                TransferLine(
                    part=story.parts[part],
                    from_location=story.places[PLANS[part].place],
                    to_location=drawer,
                    quantity_steps=units * PLANS[part].steps,
                )
                for part, units in DRAWER.items()
            ],
            author=story.technician,
            at=at,
            request_id=story.new_id(),
            reason=f"drawer of {rig} filled",
        )
