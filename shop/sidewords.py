"""What is said of the two sides of a rig: how far off, which pump to look at, and for what."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from equipment.models import Basis, Compared, Rig, SideSignal
from shop import words

OTHER: Final = {"A": "B", "B": "A"}
MATERIAL: Final = {"A": "isocyanate", "B": "resin"}
#: Trade knowledge; no source was found for any of it.
BASIS: Final = Basis.COMMON_PRACTICE
#: By simulation with the baseline estimated: `equipment.sides`, tests/equipment/test_sides.py.
FALSE_ALARMS: Final = "about one false alarm in 600 shifts"

SLIPS: Final = (
    ("inlet check", "ball or seat leaks: part of the stroke goes back to the drum"),
    ("outlet check", "ball or seat leaks: the pump takes back what it gave"),
    ("packing and piston seal", "worn: material passes the rod or the piston"),
)
STARVES: Final = (
    ("starved inlet", "strainer blocked, feed pump weak, drum vent shut: the pump does not fill"),
    ("cold material", "too thick to fill the pump: look at drum and inlet temperature"),
)
BLOCKED: Final = (
    ("blocked outlet", "gun screen, side seal or mix chamber port: pressure backs up"),
)


@dataclass(frozen=True, slots=True)
class Suspect:
    """A pump, and what about it to look at: (what, why)."""

    side: str
    why: str
    causes: tuple[tuple[str, str], ...]


def percent(share: Decimal | float) -> str:
    """ "5.2 %" of 0.052."""
    return f"{abs(float(share)) * 100:.1f} %"


def suspects(*, compared: str, more: str) -> list[Suspect]:
    """Which pump to look at first, and for what."""
    less = OTHER[more]
    if compared == Compared.STROKES:
        return [
            Suspect(more, "it makes more strokes for the same volume", SLIPS + STARVES),
            Suspect(
                less,
                "only where nothing holds the ratio by measured flow: then fewer strokes may mean "
                "that this side gets less material",
                STARVES,
            ),
        ]
    if compared == Compared.FLOW:
        return [Suspect(less, "it gives less than the other", SLIPS + STARVES)]
    return [
        Suspect(less, "its pressure is lower than it was", SLIPS + STARVES),
        Suspect(more, "or its pressure is higher than it was", BLOCKED),
    ]


def first_suspect(signal: SideSignal) -> str:
    """The side whose pump is looked at first."""
    return suspects(compared=signal.compared, more=signal.more)[0].side


def signal_text(signal: SideSignal, *, today: date) -> str:
    """ "Pump A makes 5.2 % more strokes against pump B than this pair's baseline, since 22 Jan"."""
    since = f"since {words.day(signal.since, today=today)} ({signal.shifts} shifts)"
    size = percent(signal.size)
    if signal.compared == Compared.STROKES:
        return (
            f"Pump {signal.more} makes {size} more strokes against pump {OTHER[signal.more]} than "
            f"this pair’s baseline, {since}"
        )
    if signal.compared == Compared.FLOW:
        less = OTHER[signal.more]
        return (
            f"Pump {less} gives {size} less against pump {signal.more} than this pair’s baseline, "
            f"{since}"
        )
    return (
        f"Pressure of side {signal.more} stands {size} higher against side {OTHER[signal.more]} "
        f"than this pair’s baseline, {since}"
    )


def work_text(signal: SideSignal, *, today: date) -> str:
    """What found work says that is opened from a signal; at most 300 characters."""
    first = suspects(compared=signal.compared, more=signal.more)[0]
    look_at = ", ".join(what for what, _ in first.causes)
    return f"{signal_text(signal, today=today)}. Look at pump {first.side}: {look_at}."[:300]


def by_rig(rigs: Iterable[Rig]) -> list[SideSignal]:
    """The signals of these rigs that nobody answered yet, the newest first."""
    return list(
        SideSignal.objects.filter(rig__in=[rig.pk for rig in rigs], state=SideSignal.State.OPEN)
        .select_related("rig")
        .order_by("-found_on", "rig__number")
    )
