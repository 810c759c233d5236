"""Logs drawn at random, each from the number of its draw alone.

What is drawn keeps to what people write: month first only in English and never with dots, AM and PM
only in English. Within that, the truth is drawn evenly, also where the text does not tell it: a
program that guesses is wrong in a good part of the draws.
"""

import csv
import random
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from . import headings
from .layouts import Written, write
from .style import Col, Style, When
from .world import Plan, Rig, Row, Stretch, run, with_glitch, with_missing

T = TypeVar("T")

#: Days of a clock change in 2026, by zone.
CHANGES = {
    "America/Chicago": ("2026-11-01", "2026-03-08"),
    "Europe/Berlin": ("2026-10-25", "2026-03-29"),
}
#: By language, the order of a date's parts and what stands between them.
ORDERS = {
    "en": "ymd- ymd/ mdy/ mdy/ dmy/ mdy- dmy- month- month_ first_ dmy.",
    "de": "dmy. dmy. ymd- month_ ymd.",
    "fr": "dmy/ dmy/ dmy- dmy. ymd- month_",
    "es": "dmy/ dmy/ dmy- dmy. ymd- month_",
}
CODES = ("-9999", "9999", "32767", "-999")


class Draw:
    """One log: `Draw(17).written`; with `STRANGE` for its vocabulary in other words and quirks."""

    def __init__(self, number: int, vocabulary: headings.Vocabulary = headings.PLAIN) -> None:
        self.chance = random.Random(f"shift log {number}")
        self.vocabulary = vocabulary
        self.language = self.pick({"en": 46, "de": 18, "fr": 18, "es": 18})
        self.has_headings = not self.often(0.12)
        self.kind = self.pick(
            {
                "day": 66,
                "midnight": 8,
                "overnight": 12,
                "autumn": 4,
                "spring": 3,
                "put back": 4,
                "rollover": 6,
            }
        )
        self.count_unit = "cycles" if self.often(0.35) else "strokes"
        self.rig = self.draw_rig()
        self.plan = self.draw_plan()
        style = self.draw_style()
        rows, style = self.spoil(run(self.plan), style)
        self.written: Written = write(rows, style, self.rig)

    def often(self, share: float) -> bool:
        return self.chance.random() < share

    def pick(self, weights: dict[T, int]) -> T:
        return self.chance.choices(list(weights), list(weights.values()))[0]

    def one(self, choices: Sequence[T]) -> T:
        return self.chance.choice(choices)

    # --- the world -----------------------------------------------------------------------------

    def draw_rig(self) -> Rig:
        changes = self.kind in ("autumn", "spring")
        zones = tuple(CHANGES) if changes else (*CHANGES, "America/Phoenix", "Europe/London")
        in3_a, in3_b = self.one((("5", "5"), ("4.2", "4.2"), ("4.5", "5.25"), ("6.1", "5.9")))
        top = None
        if self.kind == "rollover" or self.often(0.2):
            top = self.one((100_000, 1_000_000)) * (2 if self.count_unit == "cycles" else 1)
        return Rig(self.one(zones), Fraction(in3_a), Fraction(in3_b), top, top)

    def draw_plan(self) -> Plan:
        continuous = self.kind in ("autumn", "spring")
        step = self.one((10, 30)) if continuous else self.one((1, 2, 5, 5, 10, 30, 60))
        if self.kind == "put back":
            step = self.one((5, 10, 30))
        rows = self.one((240, 300, 420, 600, 900, 1600) if step <= 10 else (240, 300, 400))
        if continuous:
            rows = 3 * 3600 // step
        first = self.chance.randrange(2_000, 40_000)
        firsts = [first, first + self.chance.randrange(-900, 900)]
        if self.kind == "rollover" and self.rig.top_a:
            firsts = [self.rig.top_a - self.chance.randrange(60, 200) for _ in firsts]
        elif self.often(0.08):
            firsts = [0, 0]
        cold, idle = self.often(0.1), self.often(0.1)
        warm = self.chance.uniform(54, 71) if cold else self.chance.uniform(108, 138)
        press = self.chance.uniform(62, 150) if idle else self.chance.uniform(800, 1500)
        start = self.draw_start(step, rows)
        return Plan(
            start=start,
            stretches=self.draw_stretches(step, rows, firsts[0], int(start[11:13])),
            rig=self.rig,
            step_s=step,
            first_a=firsts[0],
            first_b=firsts[1],
            temp_f={"a": warm, "b": warm - 1.5, "hose": warm - 0.7},
            psi={"a": press, "b": press * 0.98},
            jitter=not continuous and self.kind != "put back" and self.often(0.15),
            seed=self.chance.randrange(10**6),
        )

    def draw_start(self, step: int, rows: int) -> str:
        if self.kind in ("autumn", "spring"):
            autumn, spring = CHANGES[self.rig.zone]
            # Chicago changes at 2 o'clock, Berlin at 3 (autumn) and 2 (spring).
            return f"{autumn if self.kind == 'autumn' else spring} 00:{self.one((10, 40))}"
        day = date(2026, 1, 2) + timedelta(days=self.chance.randrange(280))
        if self.often(0.4):
            day = day.replace(day=self.chance.randrange(1, 13))
        if day.isoformat() in str(CHANGES):
            day += timedelta(days=2)
        hour, minute = self.one((6, 7, 8, 9)), self.chance.randrange(60)
        if self.kind == "midnight":
            before = int(step * rows * self.chance.uniform(0.3, 0.7)) // 60
            minutes = max(24 * 60 - before, 13 * 60)
            hour, minute = divmod(minutes, 60)
            if hour == 24:
                hour, minute = 23, 58
        elif self.kind == "overnight":
            hour = self.one((13, 14, 15))
        return f"{day} {hour:02d}:{minute:02d}:{self.one((0, 0, 20, 40)):02d}"

    def draw_stretches(
        self, step: int, rows: int, starts_at: int, hour: int
    ) -> tuple[Stretch, ...]:
        out: list[Stretch] = []
        parts = 8
        each = rows // parts * step
        is_off = self.often(0.5)
        can_gap = self.kind in ("day", "overnight", "put back", "rollover")
        can_reset = self.kind in ("day", "overnight") and starts_at >= 2_000
        resets = self.one(("a", "b", "ab", "ab")) if can_reset and self.often(0.35) else ""
        reset_at = self.chance.randrange(2, parts) if resets else -1
        gap_at = self.chance.randrange(2, parts) if can_gap and self.often(0.4) else -1
        overnight_resets = ""
        if self.kind == "overnight" and resets and self.often(0.5):
            overnight_resets, resets = resets, ""
        for n in range(parts):
            if self.kind == "overnight" and n == parts // 2:
                # It goes on the next morning between half past five and eight.
                stopped = hour * 3600 + sum(stretch.seconds for stretch in out)
                morning = self.chance.randrange(29 * 3600 + 1800, 32 * 3600)
                night = (morning - stopped) // step * step
                out.append(Stretch(night, logged=False, resets=overnight_resets))
            if n == gap_at:
                length = self.chance.randrange(7 * max(step, 12), 20 * max(step, 60))
                rate = self.one((0.0, 30.0))
                hidden = resets if reset_at == n and self.often(0.3) else ""
                out.append(Stretch(length // step * step, rate, logged=False, resets=hidden))
                if hidden:
                    resets = ""
            is_spray = self.often(0.65) or (self.kind == "rollover" and n == 0)
            share = 1.0
            if is_spray and is_off and self.often(0.4):
                share = self.one((0.62, 0.8, 1.25, 1.4))
            out.append(
                Stretch(
                    each,
                    self.chance.uniform(30, 85) if is_spray else 0.0,
                    share,
                    running=is_spray or self.often(0.6),
                    resets=resets if n == reset_at else "",
                    clock_back_s=(
                        self.one((403, 1003, 4002)) if self.kind == "put back" and n == 4 else 0
                    ),
                )
            )
        return tuple(out)

    # --- the style -----------------------------------------------------------------------------

    def draw_style(self) -> Style:
        when, times, zone = self.draw_when()
        sides, names = self.draw_sides()
        decimal, grouping = self.draw_numbers()
        others = self.draw_columns(names, decimal, grouping)
        is_front = self.often(0.8)
        if not is_front:
            self.chance.shuffle(others)
        cut = 0 if is_front else self.chance.randrange(len(others) + 1)
        cols = self.dressed([*others[:cut], *times, *others[cut:]])
        has_units_row = self.has_headings and any(col.unit_word for col in cols)
        delimiter = self.pick({",": 40, ";": 25, "\t": 20, "|": 8})
        if self.language != "en":
            delimiter = self.pick({",": 12, ";": 55, "\t": 25, "|": 8})
        clock_only = {col.role for col in times} == {"clock"}
        preamble, preamble_date = self.draw_preamble(delimiter, clock_only)
        length = sum(
            each.seconds // self.plan.step_s for each in self.plan.stretches if each.logged
        )
        footer: tuple[str, ...] = ()
        if self.often(0.15):
            footer = self.one((("End of log",), ("", f"Rows{delimiter}{length}"), ("*** end ***",)))
        is_plain_order = self.kind not in ("autumn", "put back")
        return Style(
            name="drawn",
            cols=tuple(cols),
            when=when,
            delimiter=delimiter,
            encoding=self.pick(
                {
                    "utf-8": 40,
                    "utf-8-mark": 20,
                    "utf-16-le-mark": 8,
                    "utf-16-be-mark": 5,
                    "cp1252": 14,
                    "latin-1": 13,
                }
            ),
            newline=self.one(("\n", "\r\n")),
            quoting=self.one((csv.QUOTE_MINIMAL, csv.QUOTE_MINIMAL, csv.QUOTE_ALL)),
            decimal=decimal,
            grouping=grouping,
            has_headings=self.has_headings,
            has_units_row=has_units_row,
            preamble=preamble,
            footer=footer,
            repeat_headings_every=self.one((50, 100)) if self.often(0.1) else 0,
            blank_every=self.one((20, 60)) if self.often(0.1) else 0,
            is_torn=not footer and self.often(0.12),
            missing=self.one(("", "n/a", "---", "NaN", "-", "null")),
            newest_first=is_plain_order and self.often(0.1),
            on_off=self.one(self.vocabulary.on_off[self.language]),
            zone=zone,
            sides=sides,
            language=self.language,
            preamble_date=preamble_date,
        )

    def draw_when(self) -> tuple[When, list[Col], str]:
        words = self.vocabulary.words[self.language]
        english = self.language == "en"
        if self.often(0.08):
            unit = self.one(("s", "ms"))
            heading = self.one(words["epoch"])
            return When(), [Col("epoch", heading, unit, says_unit=True)], ""
        drawn = self.one(ORDERS[self.language].split())
        order, separator = drawn[:-1], drawn[-1].replace("_", " ")
        year = 2 if order != "first" and self.often(0.05 if order == "ymd" else 0.15) else 4
        has_seconds = self.plan.step_s < 60 or self.plan.start[-2:] != "00" or self.plan.jitter
        when = When(
            order=order,
            separator=separator,
            year=year,
            months=self.vocabulary.months[self.language],
            clock="12" if english and self.often(0.25) else "24",
            joiner="T" if order == "ymd" and year == 4 and self.often(0.3) else " ",
            seconds=has_seconds or self.often(0.7),
            is_padded=order == "ymd" or not self.often(0.2),
        )
        may_lack_date = self.kind in ("day", "midnight", "overnight", "rollover")
        if may_lack_date and self.often(0.05):
            return when, [Col("clock", self.one(words["clock"]))], ""
        if self.often(0.25):
            times = [Col("date", self.one(words["date"])), Col("clock", self.one(words["clock"]))]
            return when, times, ""
        heading = self.one(words["time"])
        if order == "ymd" and separator == "-" and year == 4:
            if self.often(0.15):
                return (
                    replace(when, joiner="T", clock="24", zone="Z"),
                    [Col("time", heading)],
                    "UTC",
                )
            if self.often(0.15):
                shown = replace(when, joiner="T", clock="24", zone="offset")
                return shown, [Col("time", heading)], ""
        if self.has_headings and self.often(0.03):
            return when, [Col("time", f"{heading} (UTC)")], "UTC"
        return when, [Col("time", heading)], ""

    def draw_sides(self) -> tuple[str, tuple[str, str]]:
        """Return how sides are named, and the words for the isocyanate and the resin side."""
        iso, resin = self.one(self.vocabulary.chemicals[self.language])
        kind = self.pick({"chemical": 45, "both": 20, "letters": 20, "crossed": 8, "numbers": 7})
        if kind == "letters" and self.language != "en" and self.often(0.4):
            return "letters swapped", ("B", "A")
        if kind == "numbers":
            swapped = self.often(0.4)
            return ("numbers swapped", ("2", "1")) if swapped else ("numbers", ("1", "2"))
        return {
            "chemical": ("chemical", (iso, resin)),
            "both": ("chemical", (f"A ({iso})", f"B ({resin})")),
            "letters": ("letters", ("A", "B")),
            "crossed": ("crossed", (f"B ({iso})", f"A ({resin})")),
        }[kind]

    def draw_numbers(self) -> tuple[str, str]:
        decimal = "." if self.language == "en" else self.pick({",": 75, ".": 25})
        if not self.often(0.12):
            return decimal, ""
        if decimal == ".":
            return decimal, ","
        return decimal, self.one((".", "\u00a0", "\u00a0"))

    def draw_columns(self, names: tuple[str, str], decimal: str, grouping: str) -> list[Col]:
        words = self.vocabulary.words[self.language]
        side = dict(zip("ab", names, strict=True))
        european = self.language != "en"
        temp = self.pick({"C": 75, "F": 25} if european else {"C": 15, "F": 85})
        press = self.pick(
            {"bar": 70, "psi": 10, "kPa": 10, "MPa": 10}
            if european
            else {"psi": 80, "bar": 10, "kPa": 5, "MPa": 5}
        )
        volume = self.pick({"l": 80, "gal": 20} if european else {"gal": 85, "l": 15})
        temp_places = 1 if temp == "C" or grouping else self.one((0, 1))
        press_places = {"psi": 0, "bar": 1, "kPa": 0, "MPa": 2}[press]
        cols: list[Col] = []
        counts = self.pick({"both": 82, "one": 6, "none": 12})
        if counts != "none":
            kind = "count" if self.often(0.15) else self.count_unit
            word = self.one(words[kind])
            for letter in "ab" if counts == "both" else self.one("ab"):
                heading = word.format(s=side[letter])
                cols.append(Col(f"strokes_{letter}", heading, self.count_unit, 0, kind != "count"))
        if counts == "none" or self.often(0.15):
            word = self.one(words["total"])
            cols += [
                Col(f"gallons_{letter}", word.format(s=side[letter]), volume, 2) for letter in "ab"
            ]
        word = self.one(words["temp"])
        cols += [
            Col(f"temp_{letter}", word.format(s=side[letter]), temp, temp_places) for letter in "ab"
        ]
        if self.often(0.7):
            cols.append(Col("temp_hose", self.one(words["temp_hose"]), temp, temp_places))
        if self.often(0.85):
            word = self.one(words["pressure"])
            cols += [
                Col(f"pressure_{letter}", word.format(s=side[letter]), press, press_places)
                for letter in "ab"
            ]
        if self.often(0.2):
            word, rate = self.one(words["flow"]), f"{volume}/min"
            cols += [Col(f"flow_{each}", word.format(s=side[each]), rate, 2) for each in "ab"]
        if self.often(0.3):
            cols.append(Col("hours", self.one(words["hours"]), "h", self.one((1, 2))))
        if self.often(0.35):
            cols.append(Col("running", self.one(words["running"])))
        decoys = [
            Col("decoy:temp_set", "temp_set", temp, temp_places),
            Col("decoy:hose_set", "hose_set", temp, temp_places),
            Col("decoy:pressure_set", "pressure_set", press, press_places),
            Col("decoy:ambient", "ambient", temp, temp_places),
            *(Col(f"decoy:{what}", what) for what in ("alarm", "amps", "battery", "spm")),
            *(Col(f"decoy:{what}", what) for what in ("serial", "number")),
        ]
        for decoy in self.chance.sample(decoys, self.one((0, 0, 1, 2, 3, 5))):
            heading = self.one(words[decoy.heading]).format(s=side["a"])
            where = self.chance.randrange(len(cols) + 1)
            cols.insert(where, replace(decoy, heading=heading))
        return cols

    def dressed(self, cols: list[Col]) -> list[Col]:
        """Return the columns with their units said in one of the ways, or not at all."""
        way = self.pick({"brackets": 60, "row": 15, "nowhere": 25})
        form = self.one((" ({u})", " [{u}]", " {u}", ", {u}"))
        spelling = {unit: self.one(words) for unit, words in self.vocabulary.units.items()}
        case = self.pick({"as it is": 70, "upper": 15, "snake": 15})
        out = []
        for col in cols:
            is_measure = col.role.split("_")[0] in ("temp", "pressure") or col.role in (
                "decoy:temp_set", "decoy:hose_set", "decoy:pressure_set", "decoy:ambient",
            )  # fmt: skip
            is_stated = way != "nowhere" or not is_measure
            heading, word = col.heading, ""
            if col.unit in spelling and is_stated:
                if way == "row":
                    word = spelling[col.unit]
                else:
                    heading += form.format(u=spelling[col.unit])
            if case == "upper":
                heading = heading.upper()
            elif case == "snake":
                parts = "".join(c if c.isalnum() or c in "°#+" else " " for c in heading)
                heading = "_".join(parts.lower().split())
            says = col.says_unit if col.role.startswith("strokes") else is_stated
            out.append(replace(col, heading=heading, says_unit=says, unit_word=word))
        return out

    def draw_preamble(self, delimiter: str, clock_only: bool) -> tuple[tuple[str, ...], str]:
        lines: list[str] = []
        if self.often(0.3):
            lines = ["Controller log", f"Rig{delimiter}Trailer 7", "Firmware: 2.11"]
            lines = lines[: self.one((1, 2, 3))]
            if self.often(0.5):
                lines.append("")
        if clock_only and self.often(0.6):
            day = date.fromisoformat(self.plan.start[:10])
            return (f"Date: {day.isoformat()}", *lines), "clear"
        return tuple(lines), ""

    # --- what goes wrong ------------------------------------------------------------------------

    def spoil(self, rows: list[Row], style: Style) -> tuple[list[Row], Style]:
        roles = {col.role for col in style.cols}
        counters = sorted(role for role in roles if role.startswith("strokes_"))
        if counters and self.often(0.15):
            rows = self.add_glitch(rows, self.one(counters))
        measures = sorted(role for role in roles if role.startswith(("temp_", "pressure_")))
        if measures and self.often(0.3):
            for _ in range(len(rows) // 40):
                rows = with_missing(rows, self.chance.randrange(len(rows)), self.one(measures))
        codes = {}
        temps = [role for role in measures if role.startswith("temp_")]
        if temps and self.often(0.15):
            role = self.one(temps)
            codes = {role: self.one(CODES)}
            start = self.chance.randrange(len(rows) // 2)
            for n in range(start, start + len(rows) // 5):
                rows = with_missing(rows, n, role)
        elif "temp_hose" in temps and self.often(0.06):
            for n in range(len(rows)):
                rows = with_missing(rows, n, "temp_hose")
        spots = range(20, len(rows) - 20)
        bad = {}
        if self.kind != "autumn" and self.often(0.08):
            kinds = (
                ["time", "letters"] if roles & {"strokes_a", "temp_a", "gallons_a"} else ["time"]
            )
            kinds += ["cells"] if len(style.cols) >= 4 else []
            bad = {n: self.one(kinds) for n in self.chance.sample(spots, self.one((1, 2, 5)))}
        duplicates: frozenset[int] = frozenset()
        if self.often(0.1):
            duplicates = frozenset(self.chance.sample(spots, 5)) - set(bad)
        return rows, replace(style, codes=codes, bad=bad, duplicates=duplicates)

    def add_glitch(self, rows: list[Row], role: str) -> list[Row]:
        """A value that leaves for one to three rows, in the middle of an even stretch of rows."""
        length = self.one((1, 1, 2, 3))
        for at in self.chance.sample(range(10, len(rows) - 14), min(40, len(rows) - 24)):
            near = [int(row.values[role] or 0) for row in rows[at - 6 : at + length + 7]]
            moments = [row.at for row in rows[at - 6 : at + length + 7]]
            steps = {b - a for a, b in pairwise(moments)}
            rises = [b - a for a, b in pairwise(near)]
            in_minute = rows[at - 1].at.minute == rows[at + length].at.minute or not any(rises)
            if len(steps) == 1 and min(rises) >= 0 and near[0] > 1_500 and in_minute:
                value = self.one((0, near[0] * 7 + 1 & ~1))
                return with_glitch(rows, at, role, [value] * length)
        return rows
