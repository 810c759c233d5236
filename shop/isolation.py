"""Which energy of a rig is isolated, how zero is proved, and what keeps a check locked until then.

The order of the steps is that of 29 CFR 1910.147(d): prepare, shut down, isolate, lock, release
what is stored, verify; the way back is that of (e). On a construction site the same steps are
good practice ((a)(1)(ii)(A)). The wording is ours and general, after the cautions of the starting
library: the maker's instructions, local codes and licensed practice go first.

Numbers and words in, words out: no database, no clock.
"""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

#: A caution of one of these asks for every source to be locked out.
LOCKOUT_CAUTIONS: Final = frozenset({"SC01", "SC02", "SC03", "SC04", "SC05", "SC16", "SC19"})
HEAT_CAUTIONS: Final = frozenset({"SC04", "SC14"})

#: How long a proof of zero holds before something is opened. Pressure comes back with heat, so it
#: is looked at again after a shift. Common practice, no source.
PROOF_HOLDS: Final = timedelta(hours=8)

#: Said where the rig runs for a check.
RUN_NOTE: Final = (
    "The rig runs for this: tools and people clear, own locks off, and nothing open. Afterwards"
    " lock out again and prove zero before anything else is opened."
)
RUN_SOURCE: Final = "29 CFR 1910.147(f)(1)"


class Energy(StrEnum):
    """What a point holds off. The middle three hold pressure and can be opened."""

    ELECTRIC = "electric"
    MATERIAL = "material"
    OIL = "oil"
    AIR = "air"
    HEAT = "heat"


#: The caution that speaks of the pressure of each of these.
PRESSURE_CAUTIONS: Final = {Energy.MATERIAL: "SC02", Energy.OIL: "SC01", Energy.AIR: "SC03"}


class Proof(StrEnum):
    """How it is verified that a point holds no energy."""

    GAUGE = "gauge"
    START = "start"
    TESTER = "tester"
    LOOK = "look"


class Phase(StrEnum):
    """Where a step stands in the order of 29 CFR 1910.147(d) and (e)."""

    PREPARE = "prepare"
    SHUT_DOWN = "shut_down"
    ISOLATE = "isolate"
    LOCK = "lock"
    RELEASE = "release"
    VERIFY = "verify"
    RETURN = "return"


PARAGRAPHS: Final = {
    Phase.PREPARE: "29 CFR 1910.147(d)(1)",
    Phase.SHUT_DOWN: "29 CFR 1910.147(d)(2)",
    Phase.ISOLATE: "29 CFR 1910.147(d)(3)",
    Phase.LOCK: "29 CFR 1910.147(d)(4)",
    Phase.RELEASE: "29 CFR 1910.147(d)(5)",
    Phase.VERIFY: "29 CFR 1910.147(d)(6)",
}


#: Where the cautions that the words below follow are written, as the starting library says it.
CAUTION_SOURCES: Final = {
    "SC01": "29 CFR 1910.147(d)(5)(i)",
    "SC02": "29 CFR 1910.147(d)(5)(i) and (ii)",
    "SC03": "29 CFR 1910.147(d)(5)(i); 1910.169 from memory",
    "SC04": "29 CFR 1910.147; ASTM C1055",
    "SC05": "29 CFR 1910.147(c)(4), (c)(6)(i) and (d)",
    "SC06": "occupational medicine texts on high-pressure injection injury",
    "SC16": (
        "from memory: 29 CFR 1910.333(a)(1); 29 CFR 1926.416; NFPA 70 Articles 445 and 702;"
        " local code"
    ),
    "SC21": "general shop practice",
    "SC29": "29 CFR 1910.147(f)(1); general practice",
}


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
    seen. unit: of a gauge. source: where its words come from.
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


@dataclass(frozen=True, slots=True)
class Step:
    """One row of a sheet, before or after the checks.

    proves: kinds of pressure that it shows to be gone. unit: it is a gauge, which must read zero.
    is_start: done, the rig runs or may run again.
    """

    phase: str
    title: str
    text: str
    source: str
    side: str = ""
    unit: str = ""
    proves: tuple[str, ...] = ()
    for_electrician: bool = False
    is_start: bool = False


def _sources(*codes: str) -> str:
    return "; ".join(CAUTION_SOURCES[code] for code in codes)


_SHORE = Point(
    name="Shore power",
    energy=Energy.ELECTRIC,
    kinds=("outlets and cords",),
    isolate="Pull the plug and lock a cover over it.",
    verify_by=Proof.START,
    verify="Nothing runs from shore power.",
    source=CAUTION_SOURCES["SC05"],
)
_GENERATOR = Point(
    name="Generator",
    energy=Energy.ELECTRIC,
    kinds=("generator",),
    isolate="Stop the engine, open its breaker and lock it.",
    verify_by=Proof.START,
    verify="The engine does not start.",
    source=CAUTION_SOURCES["SC05"],
)
_BATTERY = Point(
    name="Start battery",
    energy=Energy.ELECTRIC,
    kinds=("generator",),
    isolate="Take the ground lead off first, tie it back and lock it.",
    verify_by=Proof.START,
    verify="The engine does not crank.",
    source=_sources("SC05", "SC21"),
)
_PANEL = Point(
    name="Electrical panel",
    energy=Energy.ELECTRIC,
    kinds=("electrical panel",),
    isolate="Open the main breaker and lock it.",
    verify_by=Proof.TESTER,
    verify="A licensed electrician proves it dead with a tested meter.",
    source=CAUTION_SOURCES["SC16"],
)
_HEAT = Point(
    name="Heaters",
    energy=Energy.HEAT,
    kinds=("preheater", "heated hose"),
    isolate="Open the breakers of the preheaters and the hose heat and lock them.",
    release="Let it cool: fluid, metal and oil stay hot enough to burn long after power is off.",
    verify_by=Proof.LOOK,
    verify="Cool enough to work on, by its temperature display or a probe.",
    source=CAUTION_SOURCES["SC04"],
)
_AIR = Point(
    name="Air",
    energy=Energy.AIR,
    kinds=("compressor", "dryer"),
    isolate="Stop the compressor, lock its motor and shut the outlet valve.",
    release="Drain the receiver fully and leave the drain open while you work.",
    verify_by=Proof.GAUGE,
    verify="Air receiver gauge",
    unit="psi",
    source=CAUTION_SOURCES["SC03"],
)
_HYDRAULIC = Point(
    name="Hydraulic pressure",
    energy=Energy.OIL,
    kinds=("hydraulic unit",),
    isolate="Stop the power pack and lock its disconnect.",
    release="Lower or release every load and bleed the circuit.",
    verify_by=Proof.GAUGE,
    verify="Hydraulic gauge",
    unit="psi",
    source=CAUTION_SOURCES["SC01"],
)
_FLUID_KINDS: Final = ("feed pump", "pump", "preheater", "heated hose", "whip hose")


def _switch(name: str) -> Point:
    return Point(
        name=name,
        energy=Energy.ELECTRIC,
        kinds=("transfer switch",),
        isolate="Set it to off and lock it. Opening one supply leaves the other live: lock both.",
        verify_by=Proof.TESTER,
        verify="A licensed electrician proves it dead with a tested meter.",
        source=CAUTION_SOURCES["SC16"],
    )


def _fluid(side: str) -> Point:
    return Point(
        name="Heated fluid",
        side=side,
        energy=Energy.MATERIAL,
        kinds=_FLUID_KINDS,
        isolate="Shut off the feed pump and its air. The pump is parked.",
        release="Open the recirculation valve and relieve this side into its own drum.",
        verify_by=Proof.GAUGE,
        verify="Gauge",
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
        points.append(_switch("Transfer switch"))
    else:
        points += [_switch(f"Transfer switch at position {order}") for order in switches]
    if "electrical panel" in kinds:
        points.append(_PANEL)
    # In the shop's own spelling.
    points = [replace(each, kinds=known(each.kinds)) for each in points]
    for point in (_HYDRAULIC, _AIR, _HEAT):
        if here := known(point.kinds, energy=point.energy):
            points.append(replace(point, kinds=here))
    if here := known(_FLUID_KINDS, energy=Energy.MATERIAL):
        points += [replace(_fluid(side), kinds=here) for side in "AB"]
    return tuple(points)


def without_a_point(*, kinds: Iterable[str], points: Iterable[Point]) -> list[str]:
    """Which of these kinds no point isolates, in their order, each once."""
    covered = {_named(kind) for point in points for kind in point.kinds}
    return [kind for kind in dict.fromkeys(kinds) if _named(kind) not in covered]


def pressures(*, caution_codes: Collection[str], opened: Iterable[str]) -> frozenset[str]:
    """Which pressure must be proved gone: of what is opened, or that a caution speaks of."""
    spoken = {energy for energy, code in PRESSURE_CAUTIONS.items() if code in caution_codes}
    return frozenset(map(str, spoken)) | frozenset(opened)


def lockout_steps(
    points: Sequence[Point],
    *,
    caution_codes: Collection[str],
    opened: Collection[str],
    inside_enclosures: bool,
) -> tuple[Step, ...]:
    """The steps before the checks of a rig's sheet, in the order of 29 CFR 1910.147(d).

    opened: kinds of pressure that its checks open. inside_enclosures: some of it is work for a
    licensed electrician, who proves those points dead himself; nobody else waits for that.
    Empty when no caution speaks of live or stored energy and nothing is opened.
    """
    if LOCKOUT_CAUTIONS.isdisjoint(caution_codes) and not opened and not inside_enclosures:
        return ()
    needed = pressures(caution_codes=caution_codes, opened=opened)
    is_hot = not HEAT_CAUTIONS.isdisjoint(caution_codes)
    points = [*points, *_missing(points, needed=needed, opened=opened)]
    here = [each for each in points if each.energy != Energy.MATERIAL or each.energy in needed]
    names = ", ".join(_spoken(each) for each in here)
    steps = [
        Step(
            Phase.PREPARE,
            "Know every source and tell everyone",
            f"This rig: {names}. The maker's instructions and local codes go first.",
            PARAGRAPHS[Phase.PREPARE],
        ),
        Step(
            Phase.SHUT_DOWN,
            # A pump cannot be parked once the power pack is locked.
            "Shut down in the usual order",
            "Park the pumps, then stop everything by its own controls, as its maker says.",
            PARAGRAPHS[Phase.SHUT_DOWN],
        ),
    ]
    steps += [_of(each, Phase.ISOLATE, each.name, each.isolate) for each in here]
    steps.append(
        Step(
            Phase.LOCK,
            "Your own lock",
            "Put your own lock and tag on every point above and keep the key. Whoever else works"
            " here does the same.",
            f"{PARAGRAPHS[Phase.LOCK]}; {CAUTION_SOURCES['SC05']}",
        )
    )
    proved = [each for each in here if each.energy in needed and each.energy in PRESSURE_CAUTIONS]
    hot = [each for each in here if each.energy == Energy.HEAT and is_hot]
    stored = [each for each in (*hot, *proved) if each.release]
    steps += [_of(each, Phase.RELEASE, each.name, each.release) for each in stored]
    tested = [each for each in here if each.verify_by == Proof.TESTER and inside_enclosures]
    looked = [*hot, *(each for each in proved if each.verify_by != Proof.GAUGE)]
    tried = [each for each in here if each not in (*proved, *hot, *tested)]
    if tried:
        names = ", ".join(_spoken(each) for each in tried)
        steps.append(
            Step(
                Phase.VERIFY,
                "Tried to start",
                f"Try each by its own control: {names}. Nothing moves or runs. Then set the"
                " controls back to off.",
                f"{PARAGRAPHS[Phase.VERIFY]}; {CAUTION_SOURCES['SC05']}",
            )
        )
    steps += [_of(each, Phase.VERIFY, each.name, each.verify) for each in (*tested, *looked)]
    gauges = [each for each in proved if each.verify_by == Proof.GAUGE]
    steps += [_of(each, Phase.VERIFY, each.verify, "") for each in gauges]
    return tuple(steps)


def _missing(
    points: Sequence[Point], *, needed: Collection[str], opened: Collection[str]
) -> Iterator[Point]:
    """What is opened has a proof, whatever a shop calls its kinds or took off its list."""
    kept = {point.energy for point in points}
    if Energy.MATERIAL in needed and Energy.MATERIAL not in kept:
        yield from (_fluid("A"), _fluid("B"))
    for energy, point in ((Energy.OIL, _HYDRAULIC), (Energy.AIR, _AIR)):
        if energy in opened and energy not in kept:
            yield point


def _of(point: Point, phase: Phase, title: str, text: str) -> Step:
    """A step of one point, with where it is and where its words come from."""
    is_proof = phase == Phase.VERIFY
    is_tested = is_proof and point.verify_by == Proof.TESTER
    return Step(
        phase=phase,
        title=title,
        text=f"{text} ({point.place})" if text and point.place else text or point.place,
        source="; ".join(filter(None, (PARAGRAPHS[phase], point.source))),
        side=point.side,
        unit=point.unit if is_proof and point.verify_by == Proof.GAUGE else "",
        proves=(point.energy,) if is_proof and point.energy in PRESSURE_CAUTIONS else (),
        for_electrician=is_tested,
    )


def _spoken(point: Point) -> str:
    return f"{point.name} {point.side}".strip()


def return_steps() -> tuple[Step, ...]:
    """The way back to service after a lockout, in the order of 29 CFR 1910.147(e)."""
    return (
        Step(
            Phase.RETURN,
            "Rig clear",
            "Tools and rags out, guards and covers back, every fitting tight. Interlocks and"
            " safety devices are back in service.",
            f"29 CFR 1910.147(e)(1); {CAUTION_SOURCES['SC29']}",
        ),
        Step(
            Phase.RETURN,
            "People clear and told",
            "Nobody stands near what moves. Everyone is told that the locks come off.",
            "29 CFR 1910.147(e)(2)",
        ),
        Step(
            Phase.RETURN,
            "Locks off",
            "Each person takes off his own lock, nobody another's. Bring pressure and heat up"
            " slowly; look for leaks with card or wood, never with a hand or a glove.",
            f"29 CFR 1910.147(e)(3); {CAUTION_SOURCES['SC06']}",
            is_start=True,
        ),
    )


def bench_steps(*, caution_codes: Collection[str], opened: Collection[str]) -> tuple[Step, ...]:
    """What a component out of its rig may still hold. It has no source to isolate.

    Empty when no caution of the work speaks of stored energy and nothing is opened.
    """
    needed = pressures(caution_codes=caution_codes, opened=opened)
    is_hot = not HEAT_CAUTIONS.isdisjoint(caution_codes)
    is_wired = "SC16" in caution_codes
    if not needed and not is_hot and not is_wired and "SC05" not in caution_codes:
        return ()
    steps = [
        Step(
            Phase.ISOLATE,
            "Nothing feeds it",
            "No air, oil, material or electric lead is joined to it. The maker's instructions go"
            " first.",
            PARAGRAPHS[Phase.ISOLATE],
        )
    ]
    if is_hot:
        steps.append(
            Step(
                Phase.RELEASE,
                "Cool enough to work on",
                "Fluid, metal and oil stay hot enough to burn long after power is off.",
                f"{PARAGRAPHS[Phase.RELEASE]}; {CAUTION_SOURCES['SC04']}",
            )
        )
    if needed:
        steps += [
            Step(
                Phase.RELEASE,
                "Trapped pressure let go",
                "Pressure can stay shut in between two checks. Clamp it, turn its ports away from"
                " people, loosen them slowly and catch what comes; A and B apart.",
                f"{PARAGRAPHS[Phase.RELEASE]}; {CAUTION_SOURCES['SC06']}",
            ),
            Step(
                Phase.RELEASE,
                "Springs held",
                "A spring may push when the last screw comes out. Hold the cover and let it go"
                " slowly, as its maker says.",
                f"{PARAGRAPHS[Phase.RELEASE]}; common practice, no source",
            ),
            Step(
                Phase.VERIFY,
                "Nothing more comes out",
                "All ports are open and nothing comes. If it has a gauge, that reads zero.",
                f"{PARAGRAPHS[Phase.VERIFY]}; {CAUTION_SOURCES['SC02']}",
                proves=tuple(sorted(needed)),
            ),
        ]
    return tuple(steps)


@dataclass(frozen=True, slots=True)
class Before:
    """A step before the checks, as it stands for one person.

    at: when what is in force was entered; None: open. Of what each person does himself (a
    caution, the own lock): when this person did. turn: tells entries of one instant apart.
    is_done: entered, and a gauge reads zero.
    """

    key: int
    is_caution: bool = False
    phase: str = ""
    proves: frozenset[str] = frozenset()
    for_electrician: bool = False
    is_done: bool = False
    at: datetime | None = None
    turn: int = 0


@dataclass(frozen=True, slots=True)
class Wanted:
    """A check that somebody wants to enter, as far as the locks go.

    opens: kinds of pressure that it opens; empty too where the answer opens nothing.
    """

    opens: frozenset[str] = frozenset()
    is_run: bool = False
    for_electrician: bool = False


@dataclass(frozen=True, slots=True)
class Start:
    """The last time the rig was started, as an entry says it."""

    at: datetime
    turn: int = 0


def still_before(
    steps: Iterable[Before], wanted: Wanted, *, started: Start | None, at: datetime | None
) -> Iterator[int]:
    """Keys of the steps that must be done, or done again, before a check is entered at an instant.

    Cautions come before every check. A check for which the rig runs needs no lockout. All others
    need each step done once. One that opens something also needs the own lock and the proofs of
    that pressure later than the last start, and the proofs no older than PROOF_HOLDS.
    Steps for a licensed electrician keep only electricians' checks locked.
    at: None asks only what was never done.
    """
    for step in steps:
        if wanted.is_run and not step.is_caution:
            continue
        if step.for_electrician and not wanted.for_electrician:
            continue
        if not step.is_done or (at is not None and _is_spent(step, wanted, started, at)):
            yield step.key


def _is_spent(step: Before, wanted: Wanted, started: Start | None, at: datetime) -> bool:
    if step.at is None or not (wanted.opens or (wanted.for_electrician and not wanted.is_run)):
        return False
    is_proof = step.for_electrician or not step.proves.isdisjoint(wanted.opens)
    if not is_proof and step.phase not in (Phase.LOCK, Phase.VERIFY):
        return False
    if step.proves and not is_proof:
        return False  # proves another pressure than the one that is opened
    if started is not None and (started.at, started.turn) > (step.at, step.turn):
        return True
    return is_proof and at - step.at > PROOF_HOLDS


def _named(kind: str) -> str:
    """A kind as it is compared: a shop that writes “Generator” has the same energy to lock."""
    return kind.strip().casefold()
