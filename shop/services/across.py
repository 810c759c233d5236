"""What the two sides of a rig showed on a sheet, one against the other."""

from collections.abc import Iterable
from dataclasses import dataclass

from equipment.own_units import above
from shop import across, unitwords
from shop.models import SheetLine, SheetStep


@dataclass(frozen=True, slots=True)
class Against:
    """What a check of side B is compared with.

    key: of the check of side A. said: "A is 12 °F above B"; empty until both have a value.
    """

    key: int
    said: str


def compared(
    steps: Iterable[SheetStep], lines: Iterable[SheetLine], system: str
) -> dict[int, Against]:
    """By the check of side B, the one of side A and how far apart they are. No query.

    steps: with their entries. lines: theirs, with their positions. system: of the units in which
    it is said, "us" or "metric".
    """
    on = {line.pk: line for line in lines}
    measured = {
        step.pk: step
        for step in steps
        if step.section == SheetStep.Section.CHECK
        and step.kind == SheetStep.Kind.VALUE
        and step.line_id in on
    }
    pairs = across.pairs(
        across.Measured(
            key=step.pk,
            line=step.line_id,
            work=on[step.line_id].version_id,
            side=_side(on[step.line_id]),
            title=step.title,
            unit=step.unit,
        )
        for step in measured.values()
        if step.line_id is not None
    )
    return {
        b: Against(key=a, said=_said(measured[a], measured[b], system)) for b, a in pairs.items()
    }


def _side(line: SheetLine) -> str:
    return line.position.side if line.position else ""


def _said(a: SheetStep, b: SheetStep, system: str) -> str:
    values = [None if step.entry is None else step.entry.measured for step in (a, b)]
    if values[0] is None or values[1] is None:
        return ""
    unit = a.in_units(system)
    apart = above(unit, values[0], b.in_units(system), values[1])
    return "" if apart is None else unitwords.apart(unit, apart)
