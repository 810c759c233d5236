"""In which unit a column is written, and which of its numbers are none."""

from collections import Counter
from collections.abc import Sequence
from typing import Final

from equipment.shiftlogs.guessing import doubts
from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.columns import Found
from equipment.shiftlogs.guessing.draft import COUNTERS, Draft
from equipment.shiftlogs.layout import OTHER, UNITS, Column

#: What a rig can show, by unit: beyond it, a number is a sensor's word for “no value”. From memory:
#: hoses burst below 10,000 psi, and no component is sprayed frozen or boiling.
REAL: Final = {
    "psi": (-15.0, 8000.0), "bar": (-1.0, 550.0), "kPa": (-101.0, 55000.0), "MPa": (-0.1, 55.0),
    "kgf/cm2": (-1.0, 560.0),
    "F": (-60.0, 450.0), "C": (-50.0, 230.0),
    "gal/min": (-0.5, 60.0), "l/min": (-2.0, 230.0), "gal/h": (-30.0, 3600.0),
    "l/h": (-120.0, 14000.0),
}  # fmt: skip
#: Numbers that loggers and sensors write for “no value”, the commonest first; from memory.
CODES: Final = (
    -9999.0, 9999.0, -999.0, 999.0, 999.9, 9999.9, -999.9, -9999.9, 32767.0, -32768.0, 65535.0,
    -127.0, 850.0, -1.0, -99.0, -99.9, -100.0, -196.6, -200.0, -273.0, -273.15, -459.0, -459.67,
    -888.0, -99999.0, -32767.0, -3276.8, -3276.7, -327.68, 327.67, 655.35, 888.0, 888.8, 1023.0,
    1372.0, 2048.0, 3276.7, 4095.0, 6553.5, 6553.4, 7999.0, 8888.0, 8888.8, 32768.0, 65534.0,
    88888.0, 99999.0, 999999.0, 9.9e37, 1e30,
)  # fmt: skip
#: What no component is sprayed at for long, hotter or harder; from memory.
_SPRAYED: Final = {
    "F": 250.0, "C": 110.0, "psi": 6000.0, "bar": 410.0, "kPa": 41_000.0, "MPa": 41.0,
}  # fmt: skip
#: So many of them are watched for in each column, though the rows looked at do not have them.
_ALWAYS: Final = 13


def settle_units(work: Draft, found: Sequence[Found]) -> None:
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
    work: Draft, found: Sequence[Found], start: str, quantity: str, said: str, answer: str
) -> None:
    """Give columns without a unit that of others like them."""
    units = {unit for role, unit in work.roles.values() if role.startswith(start) and unit}
    if not units:
        kinds = {e.unit or e.heading.unit for e in found if e.heading.quantity == quantity}
        units = {unit for unit in kinds if unit in UNITS}
    unit = next(iter(units)) if len(units) == 1 else ""
    if not units and said:
        tops = [_top(found[at]) for at, (role, _) in work.roles.items() if role.startswith(start)]
        unit = said if max(tops, default=0.0) <= REAL[said][1] / 1.5 else ""
    unit = unit or answer
    for at, (role, known) in list(work.roles.items()):
        if role.startswith(start) and not known and unit:
            work.roles[at] = (role, unit)


def _counts(work: Draft, found: Sequence[Found]) -> None:
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


def _ask_units(work: Draft, found: Sequence[Found]) -> None:
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
    codes = set(CODES)
    return [v for v in each.filled() if v not in codes and v < 30000] or each.filled()


def _top(each: Found) -> float:
    """Return the value that one row in twenty reaches, so that a slip decides nothing."""
    values = sorted(_plausible(each))
    return values[-1 - len(values) // 20] if values else 0.0


def _works(found: Sequence[Found]) -> bool:
    """Say whether the rig sprayed in the rows looked at."""
    return any(e.heading.quantity in (*COUNTERS, h.VOLUME) and e.moves() for e in found)


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
        if column.unit not in REAL:
            continue
        low, high = REAL[column.unit]
        outside = Counter(v for v in found[column.index].filled() if not low <= v <= high)
        seen = [value for value, often in outside.items() if often > 1 or value in CODES]
        watched = [each for each in CODES[:_ALWAYS] if not low <= each <= high]
        codes += [(column.role, each) for each in dict.fromkeys((*watched, *seen))]
    return tuple(codes)


def doubt_unreal(work: Draft, found: Sequence[Found]) -> None:
    """Doubt columns most of whose values no rig can show in their unit, as tenths of a degree."""
    for at, (_, unit) in work.roles.items():
        if unit in REAL and not (work.given and at in work.given):
            low, high = REAL[unit]
            values = [v for v in found[at].filled() if v not in CODES]
            odd = [v for v in values if not low <= v <= high]
            if len(odd) * 2 > len(values):
                work.muddles.append(f"“{found[at].name}” shows {odd[0]:g}, which cannot be {unit}.")
            elif (top := _top(found[at])) > _SPRAYED.get(unit, top):
                work.muddles.append(
                    f"“{found[at].name}” goes up to {top:g} {unit}, beyond what is ever sprayed."
                )
