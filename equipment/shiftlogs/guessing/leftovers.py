"""Columns that got no role: which of them could be what is missing, so that a person is asked."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.cells import plain
from equipment.shiftlogs.guessing.columns import FLAG, NUMBER, TEXT, Found
from equipment.shiftlogs.layout import HOURS, UNITS
from equipment.shiftlogs.reading.rows import RUNNING_WORDS, STOPPED_WORDS

_COUNTED: Final = ("strokes_a", "strokes_b", "gallons_a", "gallons_b", "gallons")
#: Words over a column that can say nothing but whether the rig runs.
_PLAINLY: Final = frozenset(
    ("running", "spraying", "pumping", "lauft", "laeuft", "betrieb", "marche", "marcha", "marcia")
)


def doubt_leftovers(
    found: Sequence[Found],
    free: Sequence[Found],
    unknown: Sequence[Found],
    roles: Mapping[int, tuple[str, str]],
    sides: Mapping[str, str],
    *,
    sign: int,
) -> tuple[list[str], list[str]]:
    """Return doubts for the question `columns`, and notes for the person.

    free: columns that nobody settled. unknown: those of them whose heading does not suffice.
    roles: given, by place. sides: "a" or "b" by the word for a side. sign: -1 newest first.
    """
    has = {role for role, _ in roles.values()}
    left = [e for e in free if e.index not in roles and not e.heading.is_decoy and e.moves_at_all()]
    muddles = [
        *_unsaid(unknown, has, sign),
        *_no_counter(found, unknown, roles, has, sign),
        *_units(left, has, sides),
        *_sided(free, roles, has, sides, sign),
        *_unnamed(left, has, sides, sign),
        *_steady(found, left, roles, sides),
    ]
    notes = []
    for each in left:
        if each.heading.quantity == h.RUNNING and each.kind in (TEXT, FLAG):
            states = {cell.casefold() for cell in each.cells if cell}
            known = states & (RUNNING_WORDS | STOPPED_WORDS)
            if len(states) == 2 and (known or _PLAINLY & set(plain(each.name).split())):
                first, second = sorted(states)
                place = each.index + 1
                muddles.append(
                    f"“{each.name}” says “{first}” or “{second}”: which of them means running? "
                    f"Answer with {place}=running:{first} or {place}=running:{second}."
                )
            else:
                notes.append(f"“{each.name}” was left out: it does not say plainly running or not.")
    return list(dict.fromkeys(muddles)), notes


def _unsaid(unknown: Sequence[Found], has: set[str], sign: int) -> Iterator[str]:
    """Columns whose heading names a quantity, and not where."""
    has_strokes = bool({"strokes_a", "strokes_b"} & has)
    for each in unknown:
        quantity = each.heading.quantity
        if quantity in (h.TEMP, h.PRESSURE):
            yield f"“{each.name}” does not say which side, or the hose, it measures."
        elif quantity in (h.STROKES, h.CYCLES) and not has_strokes:
            if each.rises(sign=sign):
                yield f"“{each.name}” does not say which side it counts."
            else:
                yield f"“{each.name}” rises and falls, so it is no counter of the rig."


def _no_counter(
    found: Sequence[Found],
    unknown: Sequence[Found],
    roles: Mapping[int, tuple[str, str]],
    has: set[str],
    sign: int,
) -> Iterator[str]:
    """A log in which nothing was taken for a counter, or nothing at all for anything."""
    if has & set(_COUNTED) or any(e.heading.quantity in (h.STROKES, h.CYCLES) for e in unknown):
        return
    rising = [e for e in unknown if e.moves() and e.rises(sign=sign)]
    if rising and not {"flow_a", "flow_b"} & has:
        names = ", ".join(f"“{e.name}”" for e in rising[:4])
        yield f"No heading names a counter of strokes or gallons; {names} only rise."
        return
    has_any = any(role.startswith(("temp_", "pressure_", "flow_", HOURS)) for role in has)
    figures = [e for e in found if e.kind == NUMBER and not e.heading.is_decoy]
    if not has_any and any(e.index not in roles for e in figures):
        yield "No heading says what a rig counts or measures."


_KINDS: Final = {
    "F": "temp", "C": "temp", "psi": "pressure", "bar": "pressure", "kPa": "pressure",
    "MPa": "pressure", "kgf/cm2": "pressure", "gal": "gallons", "l": "gallons",
}  # fmt: skip


def _units(left: Sequence[Found], has: set[str], sides: Mapping[str, str]) -> Iterator[str]:
    """Columns in a unit of what is measured, for which nothing else was found."""
    for each in left:
        kind = _KINDS.get(each.unit, "") if each.kind == NUMBER and each.unit in UNITS else ""
        if not kind:
            continue
        side = sides.get(each.heading.side, "hose" if each.heading.side == h.HOSE else "")
        wanted = f"{kind}_{side}" if side else kind
        if not any(role.startswith(wanted) for role in has):
            yield f"“{each.name}” is in {each.unit}, and nothing else was found for that."


def _sided(
    free: Sequence[Found],
    roles: Mapping[int, tuple[str, str]],
    has: set[str],
    sides: Mapping[str, str],
    sign: int,
) -> Iterator[str]:
    """Columns of a side that only rise, where no counter of that side was found."""
    for each in free:
        if each.index in roles or not each.moves():
            continue
        side = sides.get(each.heading.side, "")
        if (
            side
            and each.kind == NUMBER
            and each.rises(sign=sign)
            and not {f"strokes_{side}", f"gallons_{side}"} & has
        ):
            yield f"“{each.name}” only rises, as a counter does."


def _unnamed(
    left: Sequence[Found], has: set[str], sides: Mapping[str, str], sign: int
) -> Iterator[str]:
    """Columns of a side that vary, where its temperature or pressure was not found."""
    for each in left:
        side = sides.get(each.heading.side, "hose" if each.heading.side == h.HOSE else "")
        missing = {f"temp_{side}"} if side == "hose" else {f"temp_{side}", f"pressure_{side}"}
        if (
            side
            and each.kind == NUMBER
            and each.heading.quantity in ("", h.HEAT)
            and len(set(each.filled())) > 2
            and not each.rises(sign=sign)
            and missing - has
        ):
            yield f"“{each.name}” varies, and its heading does not say what it measures."


def _steady(
    found: Sequence[Found],
    left: Sequence[Found],
    roles: Mapping[int, tuple[str, str]],
    sides: Mapping[str, str],
) -> Iterator[str]:
    """A measured value that never changes, beside a column of that side which does: a set point?"""
    for at, (role, _) in roles.items():
        chosen = found[at]
        kind, _, side = role.partition("_")
        if kind not in ("temp", "pressure") or chosen.moves() or len(chosen.filled()) < 20:
            continue
        for each in left:
            of_side = sides.get(each.heading.side, "hose" if each.heading.side == h.HOSE else "")
            if each.kind == NUMBER and of_side == side and not each.heading.quantity:
                yield f"“{chosen.name}” never changes, and “{each.name}” does."
