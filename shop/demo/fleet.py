"""Seven rigs of different make-up, their components, counters and the spares on the bench."""

from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from typing import Final

from equipment.models import (
    Basis,
    Component,
    ComponentKind,
    ComponentType,
    Counter,
    PumpDrive,
    Trigger,
)
from equipment.services import (
    TriggerPlan,
    add_position,
    check_plans,
    create_component,
    create_counter,
    create_rig,
    create_type,
    install_component,
    publish_version,
    set_hose,
    set_pump_drive,
)
from equipment.services.library import current_version
from shop.demo.story import Story

#: kind → (prefix of our tags, makes: name, displacement per counted stroke [in³], strokes / min)
MAKES: Final[dict[str, tuple[str, tuple[tuple[str, str, str], ...]]]] = {
    "generator": ("GEN", (("Diesel set, 30 kW", "", ""), ("Diesel set, 45 kW", "", ""))),
    "transfer switch": ("TSW", (("Manual transfer switch, 100 A", "", ""),)),
    "electrical panel": ("PNL", (("Trailer panel, 100 A", "", ""),)),
    "compressor": ("CMP", (("Screw compressor, 10 hp", "", ""), ("Piston compressor", "", ""))),
    "dryer": ("DRY", (("Refrigerated dryer, 40 cfm", "", ""),)),
    "hydraulic unit": ("HYD", (("Hydraulic unit, 1,000 psi", "", ""),)),
    "feed pump": ("FDP", (("Drum feed pump, 2 to 1", "", ""),)),
    "pump": (
        "PMP",
        (
            ("Piston pump, 4.2 in³ a stroke", "4.2", "90"),
            ("Piston pump, 8.4 in³ a cycle", "8.4", "45"),
            ("Air-driven pump, 5.1 in³ a stroke", "5.1", "80"),
        ),
    ),
    "preheater": ("HTR", (("Preheater, 10 kW", "", ""),)),
    "heated hose": ("HOS", (("Heated hose, 310 ft", "", ""), ("Heated hose, 210 ft", "", ""))),
    "whip hose": ("WHP", (("Whip hose, 10 ft", "", ""),)),
    "gun": ("GUN", (("Spray gun, air purge", "", ""),)),
    "outlets and cords": ("OUT", (("Outlets, cords and shore plug", "", ""),)),
    "trailer": ("TRL", (("Tandem trailer, 24 ft", "", ""), ("Single-axle trailer", "", ""))),
    "supplied-air system": ("AIR", (("Supplied-air panel, two masks", "", ""),)),
    "safety equipment": ("SAF", (("Eyewash, extinguisher, spill kit", "", ""),)),
}
#: Inside diameter of one line and its length: common practice, no source. [in] [ft]
HOSES: Final = {
    "Heated hose, 310 ft": ("0.375", 310),
    "Heated hose, 210 ft": ("0.375", 210),
    "Whip hose, 10 ft": ("0.25", 10),
}
OWN_INTERVALS: Final = (
    ("pump", "inlet strainers"), ("gun", "O-rings, regrease"), ("gun", "side seals"),
)  # fmt: skip
GALLONS: Final = Decimal(2000)
TWO_SIDED: Final = ("feed pump", "pump", "preheater")


@dataclass(frozen=True, slots=True)
class RigPlan:
    """How a rig is made up, and how much it works.

    kinds: what is fitted; of feed pump, pump and preheater one a side.
    gallons_a_day: of both sides, on a spray day. makes: kind → which make of MAKES, if not 0.
    counts: what counts the material: strokes, cycles or gallons of each side.
    pump_drive: how the pumps are driven, of PumpDrive.
    face: what its counters showed when we began.
    """

    number: int
    name: str
    description: str
    kinds: tuple[str, ...]
    gallons_a_day: int
    counts: str = Counter.Counts.STROKES
    makes: tuple[tuple[str, int], ...] = ()
    face: int = 0
    rollover: int = 0
    resets_each_job: bool = False
    pump_drive: str = PumpDrive.APART


_CORE: Final = ("pump", "preheater", "heated hose", "whip hose", "gun", "trailer")
_POWERED: Final = ("generator", "compressor", "dryer", "hydraulic unit", *_CORE)

RIGS: Final = (
    RigPlan(
        1, "Heron", "24 ft trailer, two masks, long hose",
        (*_POWERED, "transfer switch", "electrical panel", "feed pump", "outlets and cords",
         "supplied-air system", "safety equipment"),
        112, face=212_480,
    ),
    RigPlan(
        2, "Wren", "24 ft trailer, counters reset at each job",
        (*_POWERED, "feed pump", "safety equipment"), 85, resets_each_job=True,
    ),
    RigPlan(
        4, "Kestrel", "24 ft trailer, pumps that count there and back",
        (*_POWERED, "transfer switch", "feed pump", "outlets and cords"), 131,
        counts=Counter.Counts.CYCLES, makes=(("pump", 1), ("generator", 1)), face=96_300,
    ),
    RigPlan(
        5, "Plover", "single axle, air-driven pumps, no hydraulic unit",
        ("generator", "compressor", "dryer", "feed pump", *_CORE), 36,
        makes=(("pump", 2), ("compressor", 1), ("trailer", 1), ("heated hose", 1)), face=51_900,
        pump_drive=PumpDrive.LINKED,
    ),
    RigPlan(
        7, "Osprey", "24 ft trailer, pump A exchanged",
        (*_POWERED, "electrical panel", "feed pump", "outlets and cords"), 107,
        face=611_750, rollover=1_000_000,
    ),
    RigPlan(
        9, "Dunlin", "24 ft trailer, flow meters on both sides",
        (*_POWERED, "feed pump", "supplied-air system"), 95,
        counts=Counter.Counts.GALLONS, face=18_204, pump_drive=PumpDrive.LINKED,
    ),
    RigPlan(
        11, "Bittern", "single axle, shore power only, mostly in the yard",
        ("compressor", "dryer", *_CORE, "outlets and cords"), 62,
        makes=(("trailer", 1), ("heated hose", 1), ("compressor", 1)), face=30_115,
        pump_drive=PumpDrive.NOT_KNOWN,
    ),
)  # fmt: skip

#: On the shelf: kind, which make, and the life they had before us. [gal]
SPARES: Final = (("pump", 0, 6_200), ("gun", 0, 11_400), ("gun", 0, 8_300))


def build(story: Story) -> None:
    """Make the rigs, fit their components and give them their counters."""
    _own_intervals(story)
    types = _types(story)
    numbers = dict.fromkeys(MAKES, 0)
    for plan in RIGS:
        rig = create_rig(
            number=plan.number,
            name=plan.name,
            description=plan.description,
            at=story.at(story.first_day, 7),
        )
        rig = set_pump_drive(rig=rig, pump_drive=plan.pump_drive, zone=story.zone)
        story.rigs[plan.number] = rig
        _counters(story, plan)
        order = 0
        for kind in sorted(plan.kinds, key=lambda name: story.kinds[name].flow_order):
            make = types[kind][dict(plan.makes).get(kind, 0)]
            for side in ("A", "B") if kind in TWO_SIDED else ("",):
                order += 1
                position = add_position(rig=rig, order=order, kind=story.kinds[kind], side=side)
                story.positions[plan.number, f"{kind} {side}".strip()] = position
                component = _component(story, make, kind, side, numbers)
                install_component(
                    component=component,
                    position=position,
                    at=story.at(story.first_day, 8),
                    author=story.manager,
                    zone=story.zone,
                    reason="as found when the book was begun",
                )
    for kind, which, gallons in SPARES:
        _component(story, types[kind][which], kind, "", numbers, gallons=gallons)


def _own_intervals(story: Story) -> None:
    """Three services that the library asks for every week come in monthly stays here."""
    for kind, name in OWN_INTERVALS:
        version = current_version(kind=kind, name=name)
        publish_version(
            service=version.service,
            author=story.manager,
            at=story.at(story.first_day, 5, 40),
            zone=story.zone,
            triggers=(
                TriggerPlan(Trigger.Measure.DAYS, Decimal(30)),
                TriggerPlan(Trigger.Measure.GALLONS, GALLONS),
            ),
            checks=check_plans(version),
            cautions=list(version.cautions.all()),
            instructions=version.instructions,
            tolerance_percent=Decimal(20),
            labour_minutes=version.labour_minutes,
            skill=version.skill,
            condition_sign=version.condition_sign,
            source="our own, from two years of paper sheets",
            basis=Basis.SHOP,
        )


def _types(story: Story) -> dict[str, list[ComponentType]]:
    story.kinds = {kind.name: kind for kind in ComponentKind.objects.all()}
    made = {
        kind: [
            create_type(
                kind=story.kinds[kind],
                name=name,
                displacement_in3=Decimal(moved) if moved else None,
                max_strokes_per_minute=Decimal(pace) if pace else None,
            )
            for name, moved, pace in makes
        ]
        for kind, (_, makes) in MAKES.items()
    }
    for make in (make for kind in made.values() for make in kind):
        if make.name in HOSES:
            bore, length = HOSES[make.name]
            set_hose(type=make, inner_diameter_in=Decimal(bore), length_ft=Decimal(length))
    return made


def _component(
    story: Story,
    make: ComponentType,
    kind: str,
    side: str,
    numbers: dict[str, int],
    gallons: int = 0,
) -> Component:
    numbers[kind] += 1
    tag = f"{MAKES[kind][0]}-{numbers[kind]:02d}"
    began = story.day(story.first_day) - timedelta(days=story.dice.randint(4, 210))
    made = create_component(
        type=make,
        tag=tag,
        serial=f"{story.dice.randint(10_000, 99_999)}-{story.dice.randint(10, 99)}",
        side=side,
        in_service_on=began,
        at=story.at(story.first_day, 7, 30),
        zone=story.zone,
        opening_gallons=Decimal(gallons),
    )
    story.components[tag] = made
    return made


def _counters(story: Story, plan: RigPlan) -> None:
    started = story.at(story.first_day, 8)
    rig = story.rigs[plan.number]
    order = 0
    for kind in ("generator", "hydraulic unit", "compressor"):
        if kind not in plan.kinds:
            continue
        order += 1
        create_counter(
            rig=rig,
            name=f"{kind.capitalize()} hours",
            counts=Counter.Counts.HOURS,
            display_step=Decimal("0.1"),
            is_resettable=False,
            first_value=story.between(900, 4200, 1),
            started_at=started,
            zone=story.zone,
            order=order,
        )
    for side in ("A", "B"):
        order += 1
        create_counter(
            rig=rig,
            name=f"{side} {Counter.Counts(plan.counts).value}",
            counts=plan.counts,
            side=side,
            display_step=Decimal(1),
            rollover=Decimal(plan.rollover) if plan.rollover else None,
            max_per_minute={"strokes": Decimal(90), "cycles": Decimal(45)}.get(plan.counts),
            first_value=Decimal(plan.face + story.dice.randint(0, 900)),
            started_at=started,
            zone=story.zone,
            order=order,
        )
