"""Which column is which: headings first, values as the check, and what is left in doubt."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from equipment.shiftlogs.guessing import doubts
from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.cells import MISSING
from equipment.shiftlogs.guessing.columns import EMPTY, FLAG, NUMBER, TEXT, Found
from equipment.shiftlogs.guessing.draft import COUNTERS, Draft
from equipment.shiftlogs.guessing.leftovers import doubt_leftovers
from equipment.shiftlogs.guessing.preamble import Said
from equipment.shiftlogs.guessing.scales import doubt_unreal, settle_units
from equipment.shiftlogs.guessing.table import Table
from equipment.shiftlogs.guessing.timing import Timing
from equipment.shiftlogs.guessing.which_side import name_sides
from equipment.shiftlogs.layout import HOURS, OTHER, TIMES, UNITS, Column, LogRefused, Question
from equipment.shiftlogs.layout import RUNNING as RUNNING_ROLE
from equipment.shiftlogs.reading.rows import RUNNING_WORDS, STOPPED_WORDS

_UNSAID = frozenset(MISSING)
_STATES = RUNNING_WORDS | STOPPED_WORDS | frozenset(("0", "1"))


@dataclass(slots=True)
class Roles:
    """Roles of all columns, and what is open or was decided about them."""

    columns: tuple[Column, ...] = ()
    questions: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def assign(
    table: Table,
    found: Sequence[Found],
    timing: Timing,
    said: Said,
    answers: Mapping[str, str],
    *,
    given: Mapping[int, tuple[str, str]] | None,
    is_backward: bool,
) -> Roles:
    """Return role and unit of each column.

    given: roles that a person or a layout settled, by place; with no headings they are all.
    Raises LogRefused where no column tells what a rig does.
    """
    back = is_backward or timing.is_backward
    work = Draft(given, answers, said, -1 if back else 1, dict(timing.roles))
    if timing.doubt:
        work.muddles.append(timing.doubt)
    free = [e for e in found if e.index not in work.roles and not (given and e.index in given)]
    if given:
        for at, (role, unit) in given.items():
            if at not in timing.roles:
                work.roles[at] = (role, unit or _unit_for(role, found[at]))
    if table.headings:
        _by_headings(work, found, free)
    elif not given:
        _without_headings(work, free)
    settle_units(work, found)
    doubt_unreal(work, found)
    columns = _columns(work, found)
    if work.muddles and not given:
        has = {each.role for each in columns} - {OTHER, *TIMES}
        guess = doubts.spell(columns) if has else ""
        work.questions.insert(0, doubts.ask_columns(work.muddles, guess))
    elif all(each.role in (OTHER, *TIMES) for each in columns):
        raise LogRefused(
            "No column tells what a rig did: no strokes, gallons, temperatures or pressures."
        )
    return Roles(columns, work.questions, work.notes)


def _columns(work: Draft, found: Sequence[Found]) -> tuple[Column, ...]:
    made = []
    for each in found:
        role, unit = work.roles.get(each.index, (OTHER, ""))
        made.append(Column(each.index, each.name, role, unit))
    return tuple(made)


# --- with headings ----------------------------------------------------------------------------


def _by_headings(work: Draft, found: Sequence[Found], free: Sequence[Found]) -> None:
    sides = name_sides(work, found, free)
    wanted: dict[str, list[Found]] = {}
    unknown: list[Found] = []
    for each in free:
        heading = each.heading
        if heading.is_decoy or heading.quantity in (h.SERIAL, h.DATE, h.TIME, h.ZONE, h.EPOCH):
            continue
        role = _role(each, sides, work.sign)
        if role == "?":
            unknown.append(each)
        elif role:
            wanted.setdefault(role, []).append(each)
    _bare_hose(wanted, free)
    _counters(work, wanted)
    taken = {role for role, _ in work.roles.values()}
    for role, candidates in wanted.items():
        if role in taken:
            continue
        best = _best(candidates)
        if best is None:
            names = " and ".join(f"“{e.name}”" for e in candidates)
            work.muddles.append(f"{names} could each be {_words(role)}.")
            best = candidates[0]
        work.roles[best.index] = (role, _unit(best))
    muddles, notes = doubt_leftovers(found, free, unknown, work.roles, sides, sign=work.sign)
    work.muddles += muddles
    work.notes += notes


def _role(each: Found, sides: Mapping[str, str], sign: int) -> str:
    """Return the role that a heading asks for and the values allow, "?" for one in doubt."""
    heading = each.heading
    side = sides.get(heading.side, "")
    quantity = heading.quantity
    if quantity == h.RUNNING:
        if _is_state(each):
            return RUNNING_ROLE if heading.side in ("", h.BOTH) else ""
        return "?" if side and each.kind == NUMBER and each.rises(sign=sign) else ""
    if each.kind not in (NUMBER, EMPTY):
        return ""
    if quantity in COUNTERS:
        if not each.rises(sign=sign):
            return "" if quantity == h.COUNT else "?"
        if side:
            return f"strokes_{side}"
        return "?" if heading.side in ("", "3") else ""
    if quantity == h.VOLUME:
        if not each.rises(sign=sign):
            return ""
        if side:
            return f"gallons_{side}"
        return "gallons" if heading.side in ("", h.BOTH) else ""
    if quantity == h.HOURS:
        return HOURS if not heading.side and each.rises(sign=sign) else ""
    if quantity == h.HEAT and max(each.filled(), default=0) > 100:
        quantity = h.TEMP  # no share of a heater's power
    if quantity in (h.TEMP, h.PRESSURE):
        if {0.0, 1.0} >= set(each.filled()) and each.kind == NUMBER:
            return ""  # an alarm, or whether it heats
        if heading.side == h.HOSE:
            return f"{quantity}_hose"
        if heading.side == "3":
            return "?"
        return f"{quantity}_{side}" if side else ""
    if quantity == h.FLOW:
        return f"flow_{side}" if side else ""
    if not quantity and side and each.rises(sign=sign) and each.moves():
        return "?"
    return "?" if not quantity and each.moves() and each.rises(sign=sign) else ""


def _is_state(each: Found) -> bool:
    """Say whether a column says running or not in words that the reader knows."""
    words = {cell.casefold() for cell in each.cells} - _UNSAID
    return each.kind in (FLAG, NUMBER, TEXT) and words <= _STATES


def _counters(work: Draft, wanted: dict[str, list[Found]]) -> None:
    """A counter that says strokes or cycles goes before one that does not say."""
    for role in ("strokes_a", "strokes_b"):
        candidates = wanted.get(role, [])
        for first in (h.STROKES, h.CYCLES):
            chosen = [e for e in candidates if e.heading.quantity == first]
            if chosen:
                wanted[role] = chosen
                break


def _bare_hose(wanted: dict[str, list[Found]], free: Sequence[Found]) -> None:
    """“Hose” alone is its temperature, if it is as warm as the sides are."""
    sides = [v for role in ("temp_a", "temp_b") for e in wanted.get(role, ()) for v in e.filled()]
    if not sides or "temp_hose" in wanted:
        return
    low, high = min(sides) - 40, max(sides) + 40
    for each in free:
        heading = each.heading
        if heading.side == h.HOSE and not heading.quantity and not heading.is_decoy:
            values = each.filled()
            if values and all(low <= v <= high for v in values) and (not heading.unit):
                wanted.setdefault("temp_hose", []).append(each)


def _best(candidates: Sequence[Found]) -> Found | None:
    top = max(each.heading.rank for each in candidates)
    best = [each for each in candidates if each.heading.rank == top]
    if len(best) == 1:
        return best[0]
    if len(moving := [each for each in best if each.moves()]) == 1:
        return moving[0]  # the others do not change, as set points do not
    if all(each.values == best[0].values for each in best):
        return best[0]
    return best[0] if all(_is_same(best[0], each) for each in best[1:]) else None


def _is_same(one: Found, other: Found) -> bool:
    """Say whether two columns show the same in two units, but for rounding."""
    if one.unit not in UNITS or other.unit not in UNITS or one.unit == other.unit:
        return False
    (by, plus), (other_by, other_plus) = UNITS[one.unit], UNITS[other.unit]
    pairs = [
        (x * by + plus, y * other_by + other_plus)
        for x, y in zip(one.values, other.values, strict=True)
        if x is not None and y is not None
    ]
    return bool(pairs) and all(abs(x - y) <= 1.0 + 0.01 * abs(x) for x, y in pairs)


def _words(role: str) -> str:
    name, _, side = role.partition("_")
    words = {"a": "the isocyanate side", "b": "the resin side", "hose": "the hose"}
    what = {"temp": "temperature", "strokes": "stroke counter", "gallons": "gallons"}.get(
        name, name
    )
    return f"the {what} of {words[side]}" if side else f"the {what}"


def _unit(each: Found) -> str:
    heading = each.heading
    if heading.quantity == h.RUNNING:
        return ""
    if heading.quantity in (h.STROKES, h.CYCLES):
        return heading.quantity
    if heading.quantity == h.COUNT:
        return ""
    unit = each.unit if each.unit in UNITS else ""
    if heading.quantity == h.HOURS:
        return unit if unit in ("h", "min", "s") else "h"
    return unit


def _unit_for(role: str, each: Found) -> str:
    """Return the unit of a column whose role a person gave without one."""
    if role == RUNNING_ROLE:
        return ""
    if role == HOURS:
        return each.unit if each.unit in ("h", "min", "s") else "h"
    unit = each.heading.quantity if role.startswith("strokes_") else each.unit
    return unit if doubts.fits(role, unit) else ""


# --- without headings -------------------------------------------------------------------------


def _without_headings(work: Draft, free: Sequence[Found]) -> None:
    """Guess what can be guessed from values alone; a person has to say which it is."""
    work.muddles.append("The file has no headings.")
    rising = [
        e for e in free if e.kind == NUMBER and e.moves() and e.whole() and e.rises(sign=work.sign)
    ]
    counters = [e for e in rising if max(e.filled(), default=0) > 1]
    for each, role in zip(counters[:2], ("strokes_a", "strokes_b"), strict=False):
        if len(counters) >= 2:
            work.roles[each.index] = (role, "strokes")
