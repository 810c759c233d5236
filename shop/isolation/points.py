"""The sources of energy of a rig: how each is isolated, let go and proved to be at zero."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from shop.isolation.sources import CAUTION_SOURCES, gettext_noop

#: Said of one of several, read back by it in somebody's language.
SWITCH_AT: Final = gettext_noop("Transfer switch at position {order}")


class Energy(StrEnum):
    """What a point holds off. The middle three hold pressure and can be opened."""

    ELECTRIC = "electric"
    MATERIAL = "material"
    OIL = "oil"
    AIR = "air"
    HEAT = "heat"


class Proof(StrEnum):
    """How it is verified that a point holds no energy."""

    GAUGE = "gauge"
    START = "start"
    TESTER = "tester"
    LOOK = "look"


@dataclass(frozen=True, slots=True)
class Fitted:
    """A position with something in it. kind: as the shop writes it. flow: what leaves it."""

    kind: str
    side: str = ""
    order: int = 0
    flow: str = ""


@dataclass(frozen=True, slots=True)
class Point:
    """One source of energy of a rig: how it is isolated, let go and proved to be at zero.

    kinds: what it isolates, as the shop names its kinds. place: where it is; empty: not said yet.
    release: how what is stored is let go; empty: nothing is stored. verify: where and how zero is
    seen; of what is tried to start, it stands on no sheet. unit: of a gauge. source: where its
    words come from.
    """

    name: str
    energy: str
    isolate: str
    verify_by: str
    verify: str
    kinds: tuple[str, ...] = ()
    side: str = ""
    place: str = ""
    release: str = ""
    unit: str = ""
    source: str = ""


_SHORE = Point(
    name=gettext_noop("Shore power"),
    energy=Energy.ELECTRIC,
    kinds=("outlets and cords",),
    isolate=gettext_noop("Pull the plug and lock a cover over it."),
    verify_by=Proof.START,
    verify="Nothing runs from shore power.",
    source=CAUTION_SOURCES["SC05"],
)
_GENERATOR = Point(
    name=gettext_noop("Generator"),
    energy=Energy.ELECTRIC,
    kinds=("generator",),
    isolate=gettext_noop("Stop the engine, open its breaker and lock it."),
    verify_by=Proof.START,
    verify="The engine does not start.",
    source=CAUTION_SOURCES["SC05"],
)
_BATTERY = Point(
    name=gettext_noop("Start battery"),
    energy=Energy.ELECTRIC,
    kinds=("generator",),
    isolate=gettext_noop("Take the ground lead off first, tie it back and lock it."),
    verify_by=Proof.START,
    verify="The engine does not crank.",
    source=f"{CAUTION_SOURCES['SC05']}; {CAUTION_SOURCES['SC21']}",
)
_PANEL = Point(
    name=gettext_noop("Electrical panel"),
    energy=Energy.ELECTRIC,
    kinds=("electrical panel",),
    isolate=gettext_noop("Open the main breaker and lock it."),
    verify_by=Proof.TESTER,
    verify=gettext_noop("A licensed electrician proves it dead with a tested meter."),
    source=CAUTION_SOURCES["SC16"],
)
_HEAT = Point(
    name=gettext_noop("Heaters"),
    energy=Energy.HEAT,
    kinds=("preheater", "heated hose"),
    isolate=gettext_noop("Open the breakers of the preheaters and the hose heat and lock them."),
    release=gettext_noop(
        "Let it cool: fluid, metal and oil stay hot enough to burn long after power is off."
    ),
    verify_by=Proof.LOOK,
    verify=gettext_noop("Cool enough to work on, by its temperature display or a probe."),
    source=CAUTION_SOURCES["SC04"],
)
AIR = Point(
    name=gettext_noop("Air"),
    energy=Energy.AIR,
    kinds=("compressor", "dryer"),
    isolate=gettext_noop("Stop the compressor, lock its motor and shut the outlet valve."),
    release=gettext_noop("Drain the receiver fully and leave the drain open while you work."),
    verify_by=Proof.GAUGE,
    verify=gettext_noop("Air receiver gauge"),
    unit="psi",
    source=CAUTION_SOURCES["SC03"],
)
HYDRAULIC = Point(
    name=gettext_noop("Hydraulic pressure"),
    energy=Energy.OIL,
    kinds=("hydraulic unit",),
    isolate=gettext_noop("Stop the power pack and lock its disconnect."),
    release=gettext_noop("Lower or release every load and bleed the circuit."),
    verify_by=Proof.GAUGE,
    verify=gettext_noop("Hydraulic gauge"),
    unit="psi",
    source=CAUTION_SOURCES["SC01"],
)
#: The points of which a rig has one at most.
ANYWHERE: Final = (_SHORE, _GENERATOR, _BATTERY, _PANEL, HYDRAULIC, AIR, _HEAT)
_FLUID_KINDS: Final = ("feed pump", "pump", "preheater", "heated hose", "whip hose")


def switch(name: str) -> Point:
    """A transfer switch by this name."""
    return Point(
        name=name,
        energy=Energy.ELECTRIC,
        kinds=("transfer switch",),
        isolate=gettext_noop(
            "Set it to off and lock it. Opening one supply leaves the other live: lock both."
        ),
        verify_by=Proof.TESTER,
        verify=gettext_noop("A licensed electrician proves it dead with a tested meter."),
        source=CAUTION_SOURCES["SC16"],
    )


def fluid(side: str) -> Point:
    """The heated fluid of a side."""
    return Point(
        name=gettext_noop("Heated fluid"),
        side=side,
        energy=Energy.MATERIAL,
        kinds=_FLUID_KINDS,
        isolate=gettext_noop("Shut off the feed pump and its air. The pump is parked."),
        release=gettext_noop(
            "Open the recirculation valve and relieve this side into its own drum."
        ),
        verify_by=Proof.GAUGE,
        verify=gettext_noop("Gauge"),
        unit="psi",
        source=CAUTION_SOURCES["SC02"],
    )


def starting_points(fitted: Iterable[Fitted]) -> tuple[Point, ...]:
    """The points that a rig with these components begins with; a manager makes them its own.

    Shore power is always there: whether a rig has it is said on its page.
    """
    places = list(fitted)
    kinds = {_named(each.kind) for each in places}

    def known(names: Collection[str], *, energy: str = "") -> tuple[str, ...]:
        """What is fitted of these, or carries this energy onwards, as the shop writes it."""
        found = [
            each.kind
            for each in places
            if _named(each.kind) in names or (energy and each.flow == energy)
        ]
        return tuple(dict.fromkeys(found))

    switches = sorted(each.order for each in places if _named(each.kind) == "transfer switch")
    points = [_SHORE]
    if "generator" in kinds:
        points += [_GENERATOR, _BATTERY]
    if len(switches) == 1:
        points.append(switch(gettext_noop("Transfer switch")))
    else:
        points += [switch(SWITCH_AT.format(order=order)) for order in switches]
    if "electrical panel" in kinds:
        points.append(_PANEL)
    # In the shop's own spelling.
    points = [replace(each, kinds=known(each.kinds)) for each in points]
    for point in (HYDRAULIC, AIR, _HEAT):
        if here := known(point.kinds, energy=point.energy):
            points.append(replace(point, kinds=here))
    if here := known(_FLUID_KINDS, energy=Energy.MATERIAL):
        points += [replace(fluid(side), kinds=here) for side in "AB"]
    return tuple(points)


def without_a_point(*, kinds: Iterable[str], points: Iterable[Point]) -> list[str]:
    """Which of these kinds no point isolates, in their order, each once."""
    covered = {_named(kind) for point in points for kind in point.kinds}
    return [kind for kind in dict.fromkeys(kinds) if _named(kind) not in covered]


def _named(kind: str) -> str:
    """A kind as it is compared: a shop that writes “Generator” has the same energy to lock."""
    return kind.strip().casefold()
