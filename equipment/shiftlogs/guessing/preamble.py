"""What the lines above a table say: a date, a zone, units, which side is which chemical."""

import re
from dataclasses import dataclass
from datetime import date, datetime, time

from equipment.shiftlogs.guessing.cells import plain, read_clock, read_date, read_moment
from equipment.shiftlogs.guessing.headings import is_zone_word
from equipment.shiftlogs.guessing.moments import moment_of
from equipment.shiftlogs.guessing.table import Table
from equipment.shiftlogs.guessing.text import cells_of

_NOT_THE_DAY = re.compile(
    r"export|print|creat|download|generat|calibr|firmware|version|service|due|built|install|wartung|druck|"
    r"erstellt|kalibr|genera|cree|impr|gedruckt|upload|saved|licen|update"
)
#: A line that speaks of the zone of the rows; that of an export does not.
_ZONE_LINE = re.compile(
    r"\b(?:time ?zone|zone|tz|zeitzone|fuseau|huso|fuso|tijdzone)\b"
    r"|\b(?:times?|timestamps?|clock|zeit|zeiten|uhrzeit|heures?|horas?|ora|tijd)\b.*\b(?:utc|gmt)\b"
)
_METRIC = re.compile(r"\b(?:metric|metrisch|metrique|metrico|metrica|si units|si-einheiten)\b")
_IMPERIAL = re.compile(r"\b(?:imperial|us units|us customary|english units)\b")
_PRESSURES = {"psi": "psi", "psig": "psi", "bar": "bar", "kpa": "kPa", "mpa": "MPa"}


@dataclass(frozen=True, slots=True)
class Said:
    """What the lines above the table say.

    days: dates beyond doubt. start: the day, or the moment, that the log is of; None for none
    beyond doubt. start_clock: its time of day. either: dates that a date in doubt may be.
    zone: as written. pressure, temp: units. counts: strokes or cycles. a_is_iso: None unsaid.
    suggestion: a date in the name of the file, or of the export.
    """

    days: tuple[date, ...] = ()
    start: date | datetime | None = None
    start_clock: time | None = None
    either: tuple[date, ...] = ()
    zone: str = ""
    pressure: str = ""
    temp: str = ""
    counts: str = ""
    is_metric: bool = False
    is_us: bool = False
    a_is_iso: bool | None = None
    suggestion: date | None = None

    def why_no_date(self, name: str, *, is_elapsed: bool) -> str:
        """Return why the day is asked for.

        is_elapsed: rows count from the beginning of the log.
        """
        if self.either:
            return (
                "The rows have no date, and the date above them can be read in more than one way."
            )
        why = "The rows have a time and no date."
        if is_elapsed:
            why = (
                "The rows count from the beginning of the log, and nothing says when that was. "
                "With its time, as 2026-03-04 07:15, a shift past midnight is parted rightly."
            )
        if self.suggestion and name:
            why += f" The file's name speaks of {self.suggestion.isoformat()}."
        elif self.suggestion:
            why += f" The file speaks of {self.suggestion.isoformat()}."
        return why

    def date_choices(self) -> tuple[tuple[str, str], ...]:
        choices = self.either or ((self.suggestion,) if self.suggestion else ())
        return tuple((e.isoformat(), f"{e.day} {e:%b %Y}") for e in choices)


def hear(table: Table, name: str) -> Said:
    """Return what the lines above a table say. name: of the file."""
    labelled: dict[date | datetime, None] = {}
    loose: dict[date | datetime, None] = {}
    either: dict[date, None] = {}
    export: date | None = None
    clock: time | None = None
    zone = ""
    for line in table.preamble[:60]:
        low = plain(line)
        if not low:
            continue
        if not zone and _ZONE_LINE.search(low) and not _NOT_THE_DAY.search(low):
            zone = _zone_in(line)
        label = re.search(
            r"\b(?:start\w*|begin\w*|debut|inicio|inizio|von|from|date|datum|fecha|data|tag|day|jour|dia|giorno|shift|schicht|log\w*)\b",
            low,
        )
        for text in _texts(line, table.delimiter):
            found = moment_of(text)
            if found is not None:
                on = found.date() if isinstance(found, datetime) else found
                if _NOT_THE_DAY.search(low):
                    export = export or on
                else:
                    (labelled if label else loose)[found] = None
            elif cell := _date_in(text):
                either |= dict.fromkeys(d for o in cell.orders if (d := cell.day(o)))
            elif label and clock is None and (at := read_clock(text)):
                minutes = at.us // 60_000_000
                if minutes < 24 * 60:
                    clock = time(minutes // 60, minutes % 60, at.us // 1_000_000 % 60)
    start = _start(list(labelled)) or _start(list(loose))
    if start is not None and not isinstance(start, datetime) and clock is not None:
        start = datetime.combine(start, clock)
    text = "\n".join(map(plain, table.preamble[:60]))
    days = [d.date() if isinstance(d, datetime) else d for d in (*labelled, *loose)]
    return Said(
        days=tuple(dict.fromkeys(days)),
        start=start,
        start_clock=clock,
        either=tuple(either) if start is None else (),
        zone=zone,
        pressure=_one({_PRESSURES[e] for e in re.findall(r"\b(psig?|bar|kpa|mpa)\b", text)}),
        temp=_one(
            set(re.findall(r"(?:°\s?|deg\.? ?)([fc])\b", text.replace("º", "°"))) | _temps(text)
        ).upper(),
        counts=_counts(text),
        is_metric=bool(_METRIC.search(text)),
        is_us=bool(_IMPERIAL.search(text)),
        a_is_iso=_sides(text),
        suggestion=export or _in_name(name),
    )


def _texts(line: str, delimiter: str) -> list[str]:
    cells = (
        cells_of([line.lstrip("#/;% ")], delimiter)[0]
        if delimiter != " "
        else [line.lstrip("#/;% ")]
    )
    texts = [each for each in cells if each]
    for cell in list(texts):
        _, mark, rest = cell.partition("=")
        if not mark:
            match = re.match(r"([^\d:]+):\s*(.+)$", cell)
            rest = match[2] if match else ""
        if not rest and (match := re.match(r"\D*?[A-Za-z]\s+(\d.*)$", cell)):
            rest = match[1]
        texts += [
            each for each in (rest.strip(), *re.split(r"\s(?:-|to|bis|–|a|au)\s", rest)) if each
        ]
    whole = " ".join(texts[1:3])
    return list(dict.fromkeys([*texts, whole]))


def _date_in(text: str):  # type: ignore[no-untyped-def]
    both = read_moment(text)
    return both[0] if both else read_date(text)


def _start(found: list[date | datetime]) -> date | datetime | None:
    if not found:
        return None
    days = {each.date() if isinstance(each, datetime) else each for each in found}
    if len(days) > 1 and len(found) > 2:
        return None
    return next((e for e in found if isinstance(e, datetime)), found[0])


def _zone_in(line: str) -> str:
    for cell in re.split(r"[,;\t|=]|:\s", line):
        text = cell.strip().strip('"')
        if is_zone_word(text):
            return text
    match = re.search(
        r"\b((?:UTC|GMT)(?:\s?[+-]\d{1,2}(?::?\d\d)?)?|[A-Z][a-z]+/[A-Z][A-Za-z_]+)", line
    )
    return match[1] if match else ""


def _one(found: set[str]) -> str:
    return found.pop() if len(found) == 1 else ""


def _temps(text: str) -> set[str]:
    found = set()
    if re.search(r"\b(?:fahrenheit|degf)\b", text):
        found.add("f")
    if re.search(r"\b(?:celsius|degc|centigrade)\b", text):
        found.add("c")
    for match in re.finditer(r"\btemp\w*\s*(?:units?|einheit)?\s*[:=,;]?\s*([fc])\b", text):
        found.add(match[1])
    return found


_COUNTER_LINE = re.compile(
    r"\b(?:count\w*|zahl\w*|zaehl\w*|compteur\w*|contador\w*|contatore|teller\w*)\b"
)


def _counts(text: str) -> str:
    """Return what a line about the counters says that they count."""
    found = set()
    for line in text.split("\n"):
        if _COUNTER_LINE.search(line):
            found |= {
                each
                for each, words in (
                    ("cycles", r"\b(?:cycles?|zyklen|doppelhub\w*|double strokes|ciclos|cicli)\b"),
                    ("strokes", r"\b(?:strokes?|einzelhub\w*|hube|coups|carreras|colpi)\b"),
                )
                if re.search(words, line)
            }
    return found.pop() if len(found) == 1 else ""


_ISO = r"(?:iso\w*|mdi)"
_RESIN = r"(?:resin\w*|poly\w*|harz|resina|hars)"


def _sides(text: str) -> bool | None:
    """Return whether the lines say that A is the isocyanate: "A = Iso", "Comp. A: Resin"."""
    side = r"side|seite|komponente|component|comp\.?|cote|lado|lato|zijde|kant"
    between = rf"(?:[ \-]?(?:{side}))?\s*[=:(\-]\s*"
    iso = bool(re.search(rf"\ba{between}{_ISO}|\bb{between}{_RESIN}", text))
    resin = bool(re.search(rf"\ba{between}{_RESIN}|\bb{between}{_ISO}", text))
    return iso if iso != resin else None


_NAME_DATE = re.compile(r"(?<!\d)(20\d\d)[-_.]?(\d\d)[-_.]?(\d\d)(?!\d\d\d)")


def _in_name(name: str) -> date | None:
    match = _NAME_DATE.search(name)
    if not match:
        return None
    cell = read_date("-".join(match.groups()))
    return cell.day("ymd") if cell else None
