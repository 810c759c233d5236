"""The steps around the checks of a sheet, in the order of 29 CFR 1910.147(d) and (e)."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from shop.isolation.points import (
    AIR,
    ANYWHERE,
    HYDRAULIC,
    SWITCH_AT,
    Energy,
    Fitted,
    Point,
    Proof,
    fluid,
    starting_points,
    switch,
)
from shop.isolation.sources import CAUTION_SOURCES, NO_SOURCE, gettext_noop

#: A caution of one of these asks for every source to be locked out.
LOCKOUT_CAUTIONS: Final = frozenset({"SC01", "SC02", "SC03", "SC04", "SC05", "SC16", "SC19"})
HEAT_CAUTIONS: Final = frozenset({"SC04", "SC14"})
#: The caution that speaks of the pressure of each of these.
PRESSURE_CAUTIONS: Final = {Energy.MATERIAL: "SC02", Energy.OIL: "SC01", Energy.AIR: "SC03"}
#: What the steps say of the rig's own points; read back by it in somebody's language.
THIS_RIG: Final = gettext_noop(
    "This rig: {names}. The maker's instructions and local codes go first."
)
TRY_EACH: Final = gettext_noop(
    "Try each by its own control: {names}. Nothing moves or runs. Then set the controls back to"
    " off."
)
OF_A_SIDE: Final = gettext_noop("{name} {side}")
AT_A_PLACE: Final = gettext_noop("{text} ({place})")
COMPOSED: Final = (THIS_RIG, TRY_EACH, SWITCH_AT, OF_A_SIDE, AT_A_PLACE)


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

#: What is done for one source, and so not at all where the source is not there; and the way back,
#: where the locks stay on. Whoever locks out tells everyone, puts on his own lock and tries to
#: start, whatever the rig has; and what proves a pressure gone is never left out.
_OF_ONE_SOURCE: Final = frozenset({Phase.ISOLATE, Phase.RELEASE, Phase.RETURN})


def may_be_absent(phase: str, *, for_electrician: bool) -> bool:
    """Whether a step before or after the checks may be answered by "not applicable".

    for_electrician: of a proof, that it is of one source, with a tested meter.
    """
    return phase in _OF_ONE_SOURCE or (phase == Phase.VERIFY and for_electrician)


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
            gettext_noop("Know every source and tell everyone"),
            THIS_RIG.format(names=names),
            PARAGRAPHS[Phase.PREPARE],
        ),
        Step(
            Phase.SHUT_DOWN,
            # A pump cannot be parked once the power pack is locked.
            gettext_noop("Shut down in the usual order"),
            gettext_noop(
                "Park the pumps, then stop everything by its own controls, as its maker says."
            ),
            PARAGRAPHS[Phase.SHUT_DOWN],
        ),
    ]
    steps += [_of(each, Phase.ISOLATE, each.name, each.isolate) for each in here]
    steps.append(
        Step(
            Phase.LOCK,
            gettext_noop("Your own lock"),
            gettext_noop(
                "Put your own lock and tag on every point above and keep the key. Whoever else"
                " works here does the same."
            ),
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
                gettext_noop("Tried to start"),
                TRY_EACH.format(names=names),
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
        yield from (fluid("A"), fluid("B"))
    for energy, point in ((Energy.OIL, HYDRAULIC), (Energy.AIR, AIR)):
        if energy in opened and energy not in kept:
            yield point


def _of(point: Point, phase: Phase, title: str, text: str) -> Step:
    """A step of one point, with where it is and where its words come from."""
    is_proof = phase == Phase.VERIFY
    is_tested = is_proof and point.verify_by == Proof.TESTER
    return Step(
        phase=phase,
        title=title,
        text=(
            AT_A_PLACE.format(text=text, place=point.place)
            if text and point.place
            else text or point.place
        ),
        source="; ".join(filter(None, (PARAGRAPHS[phase], point.source))),
        side=point.side,
        unit=point.unit if is_proof and point.verify_by == Proof.GAUGE else "",
        proves=(point.energy,) if is_proof and point.energy in PRESSURE_CAUTIONS else (),
        for_electrician=is_tested,
    )


def _spoken(point: Point) -> str:
    return OF_A_SIDE.format(name=point.name, side=point.side) if point.side else point.name


def return_steps() -> tuple[Step, ...]:
    """The way back to service after a lockout, in the order of 29 CFR 1910.147(e)."""
    return (
        Step(
            Phase.RETURN,
            gettext_noop("Rig clear"),
            gettext_noop(
                "Tools and rags out, guards and covers back, every fitting tight. Interlocks and"
                " safety devices are back in service."
            ),
            f"29 CFR 1910.147(e)(1); {CAUTION_SOURCES['SC29']}",
        ),
        Step(
            Phase.RETURN,
            gettext_noop("People clear and told"),
            gettext_noop(
                "Nobody stands near what moves. Everyone is told that the locks come off."
            ),
            "29 CFR 1910.147(e)(2)",
        ),
        Step(
            Phase.RETURN,
            gettext_noop("Locks off"),
            gettext_noop(
                "Each person takes off his own lock, nobody another's. Bring pressure and heat up"
                " slowly; look for leaks with card or wood, never with a hand or a glove."
            ),
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
            gettext_noop("Nothing feeds it"),
            gettext_noop(
                "No air, oil, material or electric lead is joined to it. The maker's instructions"
                " go first."
            ),
            PARAGRAPHS[Phase.ISOLATE],
        )
    ]
    if is_hot:
        steps.append(
            Step(
                Phase.RELEASE,
                gettext_noop("Cool enough to work on"),
                gettext_noop(
                    "Fluid, metal and oil stay hot enough to burn long after power is off."
                ),
                f"{PARAGRAPHS[Phase.RELEASE]}; {CAUTION_SOURCES['SC04']}",
            )
        )
    if needed:
        steps += [
            Step(
                Phase.RELEASE,
                gettext_noop("Trapped pressure let go"),
                gettext_noop(
                    "Pressure can stay shut in between two checks. Clamp it, turn its ports away"
                    " from people, loosen them slowly and catch what comes; A and B apart."
                ),
                f"{PARAGRAPHS[Phase.RELEASE]}; {CAUTION_SOURCES['SC06']}",
            ),
            Step(
                Phase.RELEASE,
                gettext_noop("Springs held"),
                gettext_noop(
                    "A spring may push when the last screw comes out. Hold the cover and let it go"
                    " slowly, as its maker says."
                ),
                f"{PARAGRAPHS[Phase.RELEASE]}; {NO_SOURCE}",
            ),
            Step(
                Phase.VERIFY,
                gettext_noop("Nothing more comes out"),
                gettext_noop(
                    "All ports are open and nothing comes. If it has a gauge, that reads zero."
                ),
                f"{PARAGRAPHS[Phase.VERIFY]}; {CAUTION_SOURCES['SC02']}",
                proves=tuple(sorted(needed)),
            ),
        ]
    return tuple(steps)


def every_step() -> tuple[Step, ...]:
    """Every step that there can be from starting points: what must be right in any language."""
    kinds = {kind for point in (*ANYWHERE, switch(""), fluid("A")) for kind in point.kinds}
    codes = LOCKOUT_CAUTIONS | HEAT_CAUTIONS
    opened = frozenset(map(str, PRESSURE_CAUTIONS))
    steps: list[Step] = []
    for switches in (1, 2):
        fitted = [Fitted(kind) for kind in sorted(kinds)]
        fitted += [Fitted("transfer switch", order=order) for order in range(1, switches)]
        for inside in (False, True):
            steps += lockout_steps(
                starting_points(fitted),
                caution_codes=codes,
                opened=opened,
                inside_enclosures=inside,
            )
    steps += [*bench_steps(caution_codes=codes, opened=opened), *return_steps()]
    return tuple(dict.fromkeys(steps))
