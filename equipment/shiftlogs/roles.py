"""Which column is which: headings first, values as the check, and what is left in doubt."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from . import doubts
from . import words as h
from .cells import MISSING
from .columns import EMPTY, FLAG, NUMBER, TEXT, Found
from .layout import HOURS, OTHER, TIMES, UNITS, Column, LogRefused, Question
from .layout import RUNNING as RUNNING_ROLE
from .leftovers import doubt_leftovers
from .preamble import Said
from .rows import RUNNING_WORDS, STOPPED_WORDS
from .table import Table
from .times_found import Timing

_UNSAID = frozenset(MISSING)
_STATES = RUNNING_WORDS | STOPPED_WORDS | frozenset(("0", "1"))
_COUNTERS: Final = (h.STROKES, h.CYCLES, h.COUNT)
_MEASURED: Final = (h.TEMP, h.PRESSURE, h.FLOW, h.VOLUME)
#: What a rig can show, by unit: beyond it, a number is a sensor's word for “no value”. From memory:
#: hoses burst below 10,000 psi, and no component is sprayed frozen or boiling.
_REAL: Final = {
    "psi": (-15.0, 8000.0), "bar": (-1.0, 550.0), "kPa": (-101.0, 55000.0), "MPa": (-0.1, 55.0),
    "kgf/cm2": (-1.0, 560.0),
    "F": (-60.0, 450.0), "C": (-50.0, 230.0),
    "gal/min": (-0.5, 60.0), "l/min": (-2.0, 230.0), "gal/h": (-30.0, 3600.0),
    "l/h": (-120.0, 14000.0),
}  # fmt: skip
#: Numbers that loggers and sensors write for “no value”, the commonest first; from memory.
_CODES: Final = (
    -9999.0, 9999.0, -999.0, 999.0, 999.9, 9999.9, -999.9, -9999.9, 32767.0, -32768.0, 65535.0,
    -127.0, 850.0, -1.0, -99.0, -99.9, -100.0, -196.6, -200.0, -273.0, -273.15, -459.0, -459.67,
    -888.0, -99999.0, -32767.0, -3276.8, -3276.7, -327.68, 327.67, 655.35, 888.0, 888.8, 1023.0,
    1372.0, 2048.0, 3276.7, 4095.0, 6553.5, 6553.4, 7999.0, 8888.0, 8888.8, 32768.0, 65534.0,
    88888.0, 99999.0, 999999.0, 9.9e37, 1e30,
)  # fmt: skip
#: So many of them are watched for in each column, though the rows looked at do not have them.
_ALWAYS: Final = 13


@dataclass(slots=True)
class Roles:
    """Roles of all columns, and what is open or was decided about them."""

    columns: tuple[Column, ...] = ()
    questions: list[Question] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


@dataclass(slots=True)
class _Work:
    """On the way: role and unit by place, and the doubts about columns in words."""

    given: Mapping[int, tuple[str, str]] | None
    answers: Mapping[str, str]
    said: Said
    sign: int
    roles: dict[int, tuple[str, str]] = field(default_factory=dict)
    muddles: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)


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
    work = _Work(given, answers, said, -1 if back else 1, dict(timing.roles))
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
    _units(work, found)
    _unreal(work, found)
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


def _columns(work: _Work, found: Sequence[Found]) -> tuple[Column, ...]:
    made = []
    for each in found:
        role, unit = work.roles.get(each.index, (OTHER, ""))
        made.append(Column(each.index, each.name, role, unit))
    return tuple(made)


# --- with headings ----------------------------------------------------------------------------


def _by_headings(work: _Work, found: Sequence[Found], free: Sequence[Found]) -> None:
    sides = _sides(work, found, free)
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
    if quantity in _COUNTERS:
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
    """Say whether a column says running or not: in known words, or one of two is known."""
    words = _states(each)
    if each.kind in (TEXT, FLAG) and len(words) == 2:
        return bool(words & (RUNNING_WORDS | STOPPED_WORDS))
    return each.kind in (FLAG, NUMBER, TEXT) and words <= _STATES


def _states(each: Found) -> set[str]:
    return {cell.casefold() for cell in each.cells} - _UNSAID


def _running_word(each: Found) -> str:
    """Return the one of two words that means running, "" where the reader knows both."""
    words = _states(each)
    if each.kind == NUMBER or len(words) != 2 or words <= _STATES:
        return ""
    runs = words & RUNNING_WORDS or words - STOPPED_WORDS
    return next(iter(runs))


def _counters(work: _Work, wanted: dict[str, list[Found]]) -> None:
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
        return _running_word(each)
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
        return _running_word(each)
    if role == HOURS:
        return each.unit if each.unit in ("h", "min", "s") else "h"
    unit = each.heading.quantity if role.startswith("strokes_") else each.unit
    return unit if doubts.fits(role, unit) else ""


# --- sides ------------------------------------------------------------------------------------


def _sides(work: _Work, found: Sequence[Found], free: Sequence[Found]) -> dict[str, str]:
    """Return "a" (isocyanate) or "b" by the word for a side in headings; ask where in doubt."""
    sides = {h.ISO: "a", h.RESIN: "b"}
    sided = [
        e
        for e in free
        if not e.heading.is_decoy
        and e.kind == NUMBER
        and (e.heading.quantity in (*_COUNTERS, *_MEASURED))
    ]
    used = {e.heading.side for e in sided}
    meant = _letters(used)
    used = {meant.get(each, each) for each in used}
    pairs = [pair for pair in h.PAIRS if used & set(pair)]
    letters = {
        (e.heading.letter == "A") == (e.heading.side == h.ISO) for e in found if e.heading.letter
    }
    if work.said.a_is_iso is not None:
        letters.add(work.said.a_is_iso)
    answer = doubts.sides(work.answers)
    settled = _settled(work, found)
    for pair in pairs:
        first = answer
        if first is None:
            first = settled
        if first is None and pair == ("A", "B"):
            if len(letters) == 1:
                first = next(iter(letters))
            elif not letters and _is_english(found):
                first = True
        if first is None:
            if not any(each.key == "sides" for each in work.questions):
                work.questions.append(doubts.ask_sides(pair, _why(pair, letters)))
            first = True
        sides[pair[0]], sides[pair[1]] = ("a", "b") if first else ("b", "a")
    return sides | {letter: sides[name] for letter, name in meant.items() if name in sides}


def _letters(used: set[str]) -> dict[str, str]:
    """Return what I, L and R stand for: beside I or iso, R is resin; beside L it is right."""
    if used & {"I", h.ISO} and "L" not in used:
        return {"I": "1" if "2" in used else h.ISO, "R": h.RESIN}
    return {"I": "1", "L": "left", "R": "right"}


def _settled(work: _Work, found: Sequence[Found]) -> bool | None:
    """Return what the roles that a person gave say of the first of a pair."""
    firsts = {pair[0] for pair in h.PAIRS}
    seconds = {pair[1] for pair in h.PAIRS}
    said = set()
    for at, (role, _) in (work.given or {}).items():
        side = found[at].heading.side
        if role.endswith(("_a", "_b")) and side in firsts | seconds:
            said.add((side in firsts) == role.endswith("_a"))
    return said.pop() if len(said) == 1 else None


def languages(found: Sequence[Found]) -> dict[str, float]:
    """Return how many headings have words of a language; a word of several is shared out."""
    score: dict[str, float] = {}
    for each in found:
        for language in each.heading.languages:
            score[language] = score.get(language, 0) + 1 / len(each.heading.languages)
    return score


def _is_english(found: Sequence[Found]) -> bool:
    score = languages(found)
    others = max((value for language, value in score.items() if language != "en"), default=0)
    if score.get("en", 0) != others:
        return score.get("en", 0) > others
    # Words of several languages, or of none: American units speak for English.
    is_plain = all(each.name.replace("°", "").isascii() for each in found)
    return is_plain and any(each.heading.unit in ("psi", "F", "gal", "gal/min") for each in found)


def _why(pair: tuple[str, str], letters: set[bool]) -> str:
    first, second = pair
    if len(letters) > 1:
        return "The file calls isocyanate A in one place and B in another."
    if pair == ("A", "B"):
        return "A and B change places between countries, and no heading names the chemical."
    return f"The headings say {first} and {second}, and not which is the isocyanate."


# --- without headings -------------------------------------------------------------------------


def _without_headings(work: _Work, free: Sequence[Found]) -> None:
    """Guess what can be guessed from values alone; a person has to say which it is."""
    work.muddles.append("The file has no headings.")
    rising = [
        e for e in free if e.kind == NUMBER and e.moves() and e.whole() and e.rises(sign=work.sign)
    ]
    counters = [e for e in rising if max(e.filled(), default=0) > 1]
    for each, role in zip(counters[:2], ("strokes_a", "strokes_b"), strict=False):
        if len(counters) >= 2:
            work.roles[each.index] = (role, "strokes")


# --- units ------------------------------------------------------------------------------------


def _units(work: _Work, found: Sequence[Found]) -> None:
    _like(
        work, found, "pressure_", h.PRESSURE, work.said.pressure, doubts.pressure_unit(work.answers)
    )
    metric = "C" if work.said.is_metric else "F" if work.said.is_us else ""
    _like(work, found, "temp_", h.TEMP, work.said.temp or metric, doubts.temp_unit(work.answers))
    _like(work, found, "gallons", h.VOLUME, "", "")
    _like(work, found, "flow_", h.FLOW, "", "")
    _counts(work, found)
    open_places = [
        at for at, (role, unit) in work.roles.items() if not unit and role.startswith(_NEED)
    ]
    for at in open_places:
        role = work.roles[at][0]
        if role.startswith(("gallons", "flow_")):
            has = {each for each, _ in work.roles.values()}
            matters = not ({"strokes_a", "strokes_b"} & has)
            if role.startswith("flow_"):
                matters = matters and not any(each.startswith("gallons") for each in has)
            if matters and not work.given:
                work.muddles.append(f"“{found[at].name}” has no unit.")
            else:
                work.notes.append(f"“{found[at].name}” has no unit and was left out.")
                work.roles[at] = (OTHER, "")
    _ask_units(work, found)


_NEED: Final = ("pressure_", "temp_", "gallons", "flow_")


def _like(
    work: _Work, found: Sequence[Found], start: str, quantity: str, said: str, answer: str
) -> None:
    """Give columns without a unit that of others like them."""
    units = {unit for role, unit in work.roles.values() if role.startswith(start) and unit}
    if not units:
        kinds = {e.unit or e.heading.unit for e in found if e.heading.quantity == quantity}
        units = {unit for unit in kinds if unit in UNITS}
    unit = next(iter(units)) if len(units) == 1 else ""
    if not units and said:
        tops = [_top(found[at]) for at, (role, _) in work.roles.items() if role.startswith(start)]
        unit = said if max(tops, default=0.0) <= _REAL[said][1] / 1.5 else ""
    unit = unit or answer
    for at, (role, known) in list(work.roles.items()):
        if role.startswith(start) and not known and unit:
            work.roles[at] = (role, unit)


def _counts(work: _Work, found: Sequence[Found]) -> None:
    """Strokes or cycles. An answer goes before the heading: to some shops a stroke is a cycle."""
    answer = doubts.counts(work.answers)
    told = {at for at, (_, unit) in (work.given or {}).items() if unit}
    for at, (role, _) in list(work.roles.items()):
        if role.startswith("strokes_") and answer and at not in told:
            work.roles[at] = (role, answer)
    counters = [
        (at, unit) for at, (role, unit) in work.roles.items() if role.startswith("strokes_")
    ]
    places = [at for at, unit in counters if not unit]
    if not places:
        return
    units = {unit for _, unit in counters if unit}
    unit = next(iter(units)) if len(units) == 1 else work.said.counts
    if not unit:
        work.questions.append(doubts.ask_counts([found[at].name or f"{at + 1}" for at in places]))
        unit = "strokes"
    for at in places:
        work.roles[at] = (work.roles[at][0], unit)


def _ask_units(work: _Work, found: Sequence[Found]) -> None:
    for start, ask, likely in (
        ("pressure_", doubts.ask_pressure, _likely_pressure),
        ("temp_", doubts.ask_temp, _likely_temp),
    ):
        places = [
            at for at, (role, unit) in work.roles.items() if role.startswith(start) and not unit
        ]
        if not places:
            continue
        tops = {at: _top(found[at]) for at in places}
        at = max(tops, key=lambda each: tops[each])
        unit = likely(tops[at], _works(found))
        if unit:
            work.notes.append(
                f"“{found[at].name}” goes up to {tops[at]:g}: that can only be {unit}."
            )
        else:
            work.questions.append(ask(found[at].name or f"column {at + 1}", tops[at]))
            unit = "psi" if start == "pressure_" else "F"
        for place in places:
            work.roles[place] = (work.roles[place][0], unit)


def _plausible(each: Found) -> list[float]:
    """Return values without a sensor's word for “no value”."""
    codes = set(_CODES)
    return [v for v in each.filled() if v not in codes and v < 30000] or each.filled()


def _top(each: Found) -> float:
    """Return the value that one row in twenty reaches, so that a slip decides nothing."""
    values = sorted(_plausible(each))
    return values[-1 - len(values) // 20] if values else 0.0


def _works(found: Sequence[Found]) -> bool:
    """Say whether the rig sprayed in the rows looked at."""
    return any(e.heading.quantity in (*_COUNTERS, h.VOLUME) and e.moves() for e in found)


def _likely_pressure(top: float, is_spraying: bool) -> str:
    """Return the one unit in which a rig can reach this pressure, "" where there are several.

    In spraying a rig makes 400 to 3,600 psi: 28 to 250 bar, 2,760 to 25,000 kPa, 2.8 to 25 MPa; at
    rest and in circulation it makes up to 160 psi, which are 11 bar and 1,100 kPa.
    """
    if not is_spraying:
        return "kPa" if 8000 < top <= 25000 else ""
    if 1100 <= top < 2700:
        return "psi"
    return "kPa" if 3700 < top <= 25000 else ""


def _likely_temp(top: float, is_spraying: bool) -> str:
    return "F" if 100 <= top <= 250 else ""


def out_of_range(
    columns: Sequence[Column], found: Sequence[Found]
) -> tuple[tuple[str, float], ...]:
    """Return the numbers with which sensors say that they have no value, by role.

    Those that a rig cannot show in the column's unit: the known ones, and any that repeats.
    """
    codes: list[tuple[str, float]] = []
    for column in columns:
        if column.unit not in _REAL:
            continue
        low, high = _REAL[column.unit]
        outside = Counter(v for v in found[column.index].filled() if not low <= v <= high)
        seen = [value for value, often in outside.items() if often > 1 or value in _CODES]
        watched = [each for each in _CODES[:_ALWAYS] if not low <= each <= high]
        codes += [(column.role, each) for each in dict.fromkeys((*watched, *seen))]
    return tuple(codes)


def _unreal(work: _Work, found: Sequence[Found]) -> None:
    """Doubt columns most of whose values no rig can show in their unit, as tenths of a degree."""
    for at, (_, unit) in work.roles.items():
        if unit in _REAL and not (work.given and at in work.given):
            low, high = _REAL[unit]
            values = [v for v in found[at].filled() if v not in _CODES]
            odd = [v for v in values if not low <= v <= high]
            if len(odd) * 2 > len(values):
                work.muddles.append(f"“{found[at].name}” shows {odd[0]:g}, which cannot be {unit}.")
