"""Which energy is locked out, and which gauges must read zero, before the checks open.

The order of control of hazardous energy (isolate, lock, release what is stored, prove) follows
29 CFR 1910.147(d); on a construction site the same steps are good practice. The wording is ours
and general: the maker's instructions and local codes go first.
"""

from collections.abc import Collection
from dataclasses import dataclass

#: A caution of one of these asks for every source to be locked out.
LOCKOUT_CAUTIONS = frozenset({"SC01", "SC02", "SC03", "SC04", "SC05", "SC16", "SC19"})
FLUID_PRESSURE_CAUTION = "SC02"
HYDRAULIC_PRESSURE_CAUTION = "SC01"
AIR_PRESSURE_CAUTION = "SC03"
PROVED_BY = "29 CFR 1910.147(d)"


@dataclass(frozen=True, slots=True)
class LockoutPoint:
    """One source of energy, and what to do to it.

    kinds: it is shown when the rig has one of these kinds of component; empty: always.
    """

    source: str
    action: str
    kinds: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class ZeroGauge:
    """A gauge whose reading of zero is entered before anything is opened."""

    name: str
    side: str
    unit: str = "psi"


LOCKOUT_POINTS = (
    LockoutPoint("Shore power", "plug out and locked"),
    LockoutPoint("Generator", "stopped, battery lead off and locked", frozenset({"generator"})),
    LockoutPoint("Transfer switches", "both open and locked", frozenset({"transfer switch"})),
    LockoutPoint("Air", "receiver drained, drain left open", frozenset({"compressor"})),
    LockoutPoint("Hydraulic unit", "disconnect locked", frozenset({"hydraulic unit"})),
    LockoutPoint("Heaters", "breakers locked", frozenset({"preheater", "heated hose"})),
    LockoutPoint("Tried to start", "nothing moved"),
)


def lockout_points(
    *, caution_codes: Collection[str], kinds_fitted: Collection[str]
) -> tuple[LockoutPoint, ...]:
    """The sources to lock out for work with these cautions on a rig with these components.

    Empty when no caution of the work speaks of stored or live energy.
    """
    if LOCKOUT_CAUTIONS.isdisjoint(caution_codes):
        return ()
    fitted = _named(kinds_fitted)
    return tuple(
        point for point in LOCKOUT_POINTS if not point.kinds or not point.kinds.isdisjoint(fitted)
    )


def zero_gauges(
    *, caution_codes: Collection[str], kinds_fitted: Collection[str]
) -> tuple[ZeroGauge, ...]:
    """The gauges that must read zero before the work with these cautions opens anything."""
    codes, kinds = frozenset(caution_codes), _named(kinds_fitted)
    gauges: list[ZeroGauge] = []
    if FLUID_PRESSURE_CAUTION in codes:
        gauges += [ZeroGauge("Gauge", "A"), ZeroGauge("Gauge", "B")]
    if HYDRAULIC_PRESSURE_CAUTION in codes and "hydraulic unit" in kinds:
        gauges.append(ZeroGauge("Hydraulic gauge", ""))
    if AIR_PRESSURE_CAUTION in codes and "compressor" in kinds:
        gauges.append(ZeroGauge("Air receiver gauge", ""))
    return tuple(gauges)


def _named(kinds: Collection[str]) -> frozenset[str]:
    """Kinds as they are compared: a shop that writes “Generator” has the same energy to lock."""
    return frozenset(kind.strip().casefold() for kind in kinds)
