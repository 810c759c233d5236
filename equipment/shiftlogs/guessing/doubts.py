"""The questions that a file leaves open, and their answers, read generously."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Final

from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.cells import plain
from equipment.shiftlogs.guessing.headings import read_heading
from equipment.shiftlogs.guessing.moments import moment_of
from equipment.shiftlogs.guessing.zone_names import ABBREVIATIONS, offset_of, place_of
from equipment.shiftlogs.layout import (
    CLOCK,
    DATE,
    ELAPSED,
    EPOCH,
    HOURS,
    OTHER,
    ROLES,
    RUNNING,
    TIME,
    UNITS,
    AnswerRefused,
    Column,
    Question,
)  # fmt: skip

#: How the answer to "columns" is written; a page has lists to choose from instead.
SAY_COLUMNS: Final = " Say which column is which: place=role:unit, as “1=time, 2=strokes_a:cycles”."
ORDER_WORDS: Final = {
    "ymd": "year, month, day", "dmy": "day, month, year", "mdy": "month, day, year",
}  # fmt: skip


def _spellings(words: Mapping[str, str]) -> dict[str, str]:
    return {each: token for token, several in words.items() for each in several.split()}


_ORDERS: Final = _spellings({
    "ymd": "ymd yyyymmdd yymmdd yearfirst yearmonthday year iso",
    "dmy": "dmy ddmmyyyy ddmmyy ddmm dayfirst daymonthyear daymonth day european eu",
    "mdy": "mdy mmddyyyy mmddyy mmdd monthfirst monthdayyear monthday month american us",
})  # fmt: skip
_PRESSURES: Final = _spellings({
    "psi": "psi psig", "bar": "bar barg bars", "kPa": "kpa kilopascal", "MPa": "mpa megapascal",
    "kgf/cm2": "kgcm2 kgfcm2 kpcm2",
})  # fmt: skip
_TEMPS: Final = _spellings({
    "F": "f fahrenheit degf °f us degreesfahrenheit",
    "C": "c celsius degc °c centigrade metric degreescelsius",
})  # fmt: skip
_COUNTS: Final = _spellings({
    "strokes": "strokes stroke single singlestrokes singlestroke",
    "cycles": "cycles cycle double doublestrokes doublestroke thereandback thereandbackcycles",
})  # fmt: skip
_CLOCKS: Final = _spellings({
    "24": "24 24h 24hour 24hours", "12am": "am 12am morning forenoon",
    "12pm": "pm 12pm afternoon evening",
})  # fmt: skip


def _token(key: str, answers: Mapping[str, str], known: Mapping[str, str], said: str) -> str:
    given = answers.get(key, "")
    if not given.strip():
        return ""
    bare = re.sub(r"[\s_/.,;:()-]+", "", plain(given))
    if bare not in known:
        raise AnswerRefused(key, f"“{given}” is no answer here. {said}")
    return known[bare]


def date_order(answers: Mapping[str, str]) -> str:
    return _token("date_order", answers, _ORDERS, "Say ymd, dmy or mdy.")


def pressure_unit(answers: Mapping[str, str]) -> str:
    return _token("pressure_unit", answers, _PRESSURES, "Say psi, bar, kPa or MPa.")


def temp_unit(answers: Mapping[str, str]) -> str:
    return _token("temp_unit", answers, _TEMPS, "Say F or C.")


def counts(answers: Mapping[str, str]) -> str:
    return _token("counts", answers, _COUNTS, "Say strokes or cycles.")


def clock(answers: Mapping[str, str]) -> str:
    return _token("clock", answers, _CLOCKS, "Say 24, am or pm.")


def day(answers: Mapping[str, str]) -> date | None:
    """Return the day that a person gave for a log without dates. A moment keeps its time."""
    given = answers.get("date", "").strip()
    if not given:
        return None
    found = moment_of(given)
    if found is None:
        raise AnswerRefused("date", f"“{given}” is no date here. Write it as 2026-03-04.")
    return found


def zone(answers: Mapping[str, str]) -> str | None:
    """Return a zone as Layout has it, None where nobody gave one."""
    given = answers.get("zone", "").strip()
    if not given:
        return None
    if plain(given) in ("shop", "local", "shop's", "the shop's own", "here"):
        return ""
    if found := offset_of(given) or place_of(given):
        return found
    meanings = ABBREVIATIONS.get(given.upper(), ())
    if len(meanings) == 1:
        return meanings[0][0]
    raise AnswerRefused(
        "zone",
        f"“{given}” is no time zone that is known here, or names several. Write an offset as "
        "+02:00, a place as Europe/Berlin, or shop for the shop's own.",
    )


def sides(answers: Mapping[str, str]) -> bool | None:
    """Return whether the first of a pair (A, left, 1) is the isocyanate; None where nobody said."""
    given = answers.get("sides", "").strip()
    if not given:
        return None
    bare = re.sub(r"[\s_=:.-]+", " ", plain(given)).strip()
    if bare in ("as written", "as is", "a", "iso", "iso resin", "normal", "a iso", "a iso b resin"):
        return True
    if bare in ("swapped", "swap", "b", "resin iso", "exchanged", "reversed", "a resin b iso"):
        return False
    match = re.search(
        r"\b(a|b|left|right|1|2|l|r)\b.*?\b(iso\w*|resin|poly\w*|harz|resine?)\b", bare
    )
    if match:
        return (match[1] in ("a", "left", "1", "l")) == match[2].startswith("iso")
    raise AnswerRefused("sides", f"“{given}” is no answer here. Say a_is_iso or a_is_resin.")


_UNIT_WORDS: Final = {
    **{plain(each): each for each in UNITS}, "gpm": "gal/min", "lpm": "l/min", "°f": "F", "°c": "C",
    "ms": "ms", "us": "us", "hms": "hms", "stroke": "strokes", "cycle": "cycles", "gallons": "gal",
    "litres": "l", "liters": "l", "sec": "s", "degf": "F", "degc": "C",
}  # fmt: skip
_FITS: Final[tuple[tuple[str, tuple[str, ...]], ...]] = (
    ("strokes_", ("strokes", "cycles")), ("gallons", ("gal", "l")),
    ("flow_", ("gal/min", "gal/h", "l/min", "l/h")), ("temp_", ("F", "C")),
    ("pressure_", ("psi", "bar", "kPa", "MPa", "kgf/cm2")), (HOURS, ("h", "min", "s")),
    (EPOCH, ("s", "ms", "us")), (ELAPSED, ("s", "ms", "min", "h", "hms")),
)  # fmt: skip


def columns(
    answers: Mapping[str, str], headings: Sequence[str], width: int
) -> dict[int, tuple[str, str]] | None:
    """Return role and unit by place in the file (0 first), None where nobody said.

    Each part is place or heading = role[:unit]; "as_guessed" is not known here.
    """
    given = answers.get("columns", "").strip()
    if not given:
        return None
    found: dict[int, tuple[str, str]] = {}
    for part in re.split(r"\s*[,;\n]\s*(?=[^=,;\n]+=)", given.strip(",; \n")):
        name, mark, said = part.rpartition("=")
        if not mark:
            raise AnswerRefused("columns", f"“{part}” is not understood. Write 2=strokes_a:cycles.")
        name, said = name.strip(), said.strip()
        if said.isdigit() and plain(name).partition(":")[0].replace(" ", "_") in ROLES:
            name, said = said, name  # the other way round
        found[_place(name, headings, width)] = _role(said)
    twice = [r for r in {role for role, _ in found.values()} if r not in (OTHER, DATE, CLOCK)]
    for role in twice:
        if sum(each == role for each, _ in found.values()) > 1:
            raise AnswerRefused("columns", f"Two columns cannot both be {role}.")
    return found


def fits(role: str, unit: str) -> bool:
    """Say whether a column of a role may have a unit."""
    return any(unit in units for start, units in _FITS if role.startswith(start))


def _place(name: str, headings: Sequence[str], width: int) -> int:
    if name.isdigit() and 1 <= int(name) <= width:
        return int(name) - 1
    bare = plain(name).strip("\"'")
    places = [at for at, each in enumerate(headings) if plain(each) == bare]
    if len(places) == 1:
        return places[0]
    if places:
        raise AnswerRefused("columns", f"Two columns are called “{name}”: give the place, as 3=…")
    raise AnswerRefused(
        "columns", f"There is no column “{name}”. Columns are counted from 1 to {width}."
    )


def _role(said: str) -> tuple[str, str]:
    role, _, unit = said.partition(":")
    role = plain(role).replace(" ", "_").replace("-", "_")
    role = {
        "datetime": TIME,
        "timestamp": TIME,
        "skip": OTHER,
        "ignore": OTHER,
        "none": OTHER,
        "": OTHER,
    }.get(role, role)
    if role not in ROLES and (meant := _in_words(said)):
        role, unit = meant[0], unit or meant[1]
    if role not in ROLES:
        raise AnswerRefused(
            "columns", f"“{role}” is no kind of column. There are: {', '.join(ROLES)}."
        )
    if not unit.strip():
        return role, ""
    if role == RUNNING:
        return role, unit.strip().casefold()
    known = _UNIT_WORDS.get(plain(unit), "")
    fitting = next((units for start, units in _FITS if role.startswith(start)), ())
    if known not in fitting:
        words = f"It has one of {', '.join(fitting)}." if fitting else "It has no unit."
        raise AnswerRefused("columns", f"“{unit}” is no unit of {role}. {words}")
    return role, known


def _in_words(said: str) -> tuple[str, str] | None:
    """Return role and unit of a column that a person describes: "iso temperature", "A cycles"."""
    heading = read_heading(said.replace("_", " "))
    side = {"A": "a", "B": "b", h.ISO: "a", h.RESIN: "b", h.HOSE: "hose"}.get(heading.side, "")
    quantity, unit = heading.quantity, heading.unit if heading.unit in UNITS else ""
    if quantity in (h.STROKES, h.CYCLES, h.COUNT):
        role, unit = f"strokes_{side}", "" if quantity == h.COUNT else quantity
    elif quantity == h.VOLUME:
        role = f"gallons_{side}" if side else "gallons"
    elif quantity in (h.TEMP, h.PRESSURE, h.FLOW):
        role = f"{quantity}_{side}"
    else:
        role = quantity
    return (role, unit) if role in ROLES else None


def spell(columns: Sequence[Column]) -> str:
    """Return columns as an answer to the question `columns` is written."""
    return ", ".join(
        f"{each.index + 1}={each.role}{':' + each.unit if each.unit else ''}"
        for each in columns
        if each.role != OTHER
    )


# --- the questions ----------------------------------------------------------------------------


def ask_date_order(orders: Sequence[str], example: str) -> Question:
    meanings = []
    for each in orders:
        meanings.append((each, ORDER_WORDS[each] + _spelled(example, each)))
    return Question(
        "date_order",
        tuple(meanings),
        f"“{example}” can be read in more than one way, and no other date in the file decides it.",
    )


def _spelled(example: str, order: str) -> str:
    from equipment.shiftlogs.guessing.cells import read_date, read_moment

    both = read_moment(example)
    cell = both[0] if both else read_date(example)
    on = cell.day(order) if cell else None
    return f": {on.day} {on:%b %Y}" if on else ""


def ask_date(why: str, choices: Sequence[tuple[str, str]] = ()) -> Question:
    return Question("date", tuple(choices), f"{why} Write it as 2026-03-04.", free=True)


def ask_clock(between: str) -> Question:
    return Question(
        "clock",
        (
            ("am", "12 hours; the first row is before noon"),
            ("pm", "12 hours; the first row is after noon"),
            ("24", "24 hours as written; the clock was put back"),
        ),
        "No hour is above 12, and AM and PM do not stand beside the times"
        + (f"; between {between} the clock starts again." if between else "."),
    )


def ask_zone(written: str, choices: Sequence[tuple[str, str]]) -> Question:
    return Question(
        "zone",
        tuple(choices),
        f"The file's times are marked “{written}”, which does not name one time zone beyond doubt.",
        free=True,
    )


def ask_zone_by_epoch(offset: str, shop: str) -> Question:
    return Question(
        "zone",
        ((offset, f"{offset} from UTC, as the epoch says"), ("shop", f"the shop's clock ({shop})")),
        "A column of seconds since 1970 stands beside the written time, and by it that time is "
        f"{offset} from UTC, which is not the shop's clock.",
        free=True,
    )


def ask_pressure(column: str, top: float) -> Question:
    return Question(
        "pressure_unit",
        (("psi", "psi"), ("bar", "bar"), ("kPa", "kPa"), ("MPa", "MPa")),
        f"No unit stands by the pressures. The highest under “{column}” is {top:g}.",
    )


def ask_temp(column: str, top: float) -> Question:
    return Question(
        "temp_unit",
        (("F", "degrees Fahrenheit"), ("C", "degrees Celsius")),
        f"No unit stands by the temperatures. The highest under “{column}” is {top:g}.",
    )


def ask_counts(names: Sequence[str]) -> Question:
    return Question(
        "counts",
        (
            ("strokes", "single strokes: one travel of the pump rod"),
            ("cycles", "there-and-back cycles: two strokes each"),
        ),
        f"The heading {_list(names)} does not say what the counter counts.",
    )


def ask_sides(pair: tuple[str, str], why: str) -> Question:
    first, second = pair
    low = plain(first)
    return Question(
        "sides",
        (
            (f"{low}_is_iso", f"{first} is isocyanate, {second} is resin"),
            (f"{low}_is_resin", f"{first} is resin, {second} is isocyanate"),
        ),
        why,
    )


def ask_columns(why: Sequence[str], guess: str) -> Question:
    choices = ((guess, "as guessed"),) if guess else ()
    return Question(
        "columns",
        choices,
        " ".join(why) + SAY_COLUMNS,
        free=True,
    )


def _list(names: Sequence[str]) -> str:
    return " and ".join(f"“{each}”" for each in names)
