"""Rows of a piece of a log in which nothing is out of the ordinary, read in columns.

Where a column reader might take anything otherwise than `careful` does, it leaves the piece: rows
that are too short, quotation marks inside of cells, line ends inside of quotation marks, numbers
that Python would not take, what a lost supply leaves, the character with which it parts cells
itself.
"""

import re
from typing import TYPE_CHECKING, Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import Floats, Integers
from equipment.shiftlogs.guessing.cells import GROUPS, UNIT_FORM, plain
from equipment.shiftlogs.reading.lines import Cells, counted_us
from equipment.shiftlogs.reading.rows import Rows
from equipment.shiftlogs.reading.stamps import Stamps, stamps

if TYPE_CHECKING:
    import polars as pl

Octets = npt.NDArray[np.uint8]

_LF: Final = 0x0A
_CR: Final = 0x0D
_DOT: Final = 0x2E
_BLANK: Final = 0x20
_AS_BLANKS: Final = bytes.maketrans(b"\t\r", b"  ")
_OTHER_BLANKS: Final = re.compile(rb'[\x0b\x0c\x1c-\x1f"]')
_QUOTE: Final = 0x22
#: Parts cells that are taken out of their rows.
_SEPARATOR: Final = "\x1f"

# The ways to read numbers, quickest first: nothing but numbers; words for missing values among
# them, those that were met; whatever `careful` takes, blanks, grouping and units too.
_BARE: Final = 0
_WITH_WORDS: Final = 1
_AS_TEXT: Final = 2

#: Different words for missing values that one log may have.
MOST_WORDS: Final = 50
#: Words of a running column that are compared one by one.
MOST_STATES: Final = 5


class Fast:
    """Reads pieces of one log. Several threads may read pieces at a time."""

    def __init__(self, cells: Cells) -> None:
        self.cells = cells
        self.plan = plan = cells.plan
        self.layout = cells.layout
        timed = {plan.date, *plan.clock, plan.zone}
        if plan.counted is not None and not plan.unit_us:
            timed.add(plan.counted)
        #: Places of the cells that say when, but for one with a number.
        self._timed = tuple(sorted(place for place in timed if place is not None))
        self._can_read = len(self.layout.delimiter.encode()) == 1
        self._can_read &= not plan.more_dates
        numbers = {place for _, place in plan.numbers}
        if plan.unit_us and plan.counted is not None:
            numbers.add(plan.counted)
            self._can_read &= not self._timed
        #: Names of the columns that hold numbers.
        self._numbers = tuple(f"c{place}" for place in sorted(numbers))
        self._way = _BARE
        if self.layout.decimal == self.layout.delimiter or self.layout.grouping:
            self._way = _AS_TEXT
        #: Words for missing values that were met, as they were written.
        self._words: set[str] = set()
        #: What the running column said in the piece before, and whether that means that it runs.
        self._states: dict[str, bool] = {}
        self._form = _number_form(self.layout.decimal, self.layout.grouping)

    def rows(self, text: bytes, *, line: int) -> Rows | None:
        """Return the rows of whole lines in UTF-8, or None where they must be read carefully.

        line: number of the first.
        """
        if not self._can_read or not text.endswith(b"\n") or b"\0" in text:
            return None
        if _SEPARATOR.encode() in text:
            return None
        if b"\r" in text and text.count(b"\r") != text.count(b"\r\n"):
            return None
        if self.layout.delimiter == " ":
            blanks = _with_single_blanks(text)
            if blanks is None:
                return None
            text = blanks
        octets = np.frombuffer(text, dtype=np.uint8)
        ends = np.flatnonzero(octets == _LF)
        quotes = np.flatnonzero(octets == _QUOTE) if b'"' in text else None
        if not _are_whole(octets, ends, quotes, self.layout.delimiter, self.layout.width):
            return None
        stamped: Stamps | None = None
        for way in range(self._way, _AS_TEXT + 1):
            if way == _WITH_WORDS and not self._words:
                continue
            frame = self._frame(text, way=way, is_quoted=quotes is not None)
            if frame is None or frame.height != len(ends):
                continue
            numbers = self._floats(frame, way=way)
            if numbers is None:
                continue
            stamped = stamped or self._stamps(frame, text, ends, numbers, quotes is not None)
            if stamped is None:
                return None
            # Where the comma is the mark, polars takes a point for one too.
            if (
                way != _AS_TEXT
                and self.layout.decimal == ","
                and np.count_nonzero(octets == _DOT) != stamped.dots
            ):
                continue
            self._way = way
            return Rows(
                line=np.arange(line, line + len(ends), dtype=np.int64),
                when_us=stamped.when_us,
                offset_us=stamped.offset_us,
                numbers={role: numbers[f"c{place}"] for role, place in self.plan.numbers},
                running=self._running(frame),
            )
        return None

    def _frame(self, text: bytes, *, way: int, is_quoted: bool) -> "pl.DataFrame | None":
        """Return the cells, None where they do not hold what they should."""
        import polars as pl

        schema = {f"c{place}": pl.String() for place in range(self.layout.width)}
        if way != _AS_TEXT:
            schema |= dict.fromkeys(self._numbers, pl.Float64())  # type: ignore[arg-type]
        try:
            return pl.read_csv(
                text,
                has_header=False,
                schema=schema,
                separator=self.layout.delimiter,
                quote_char='"' if is_quoted else None,
                null_values=sorted(self._words) if way == _WITH_WORDS else None,
                decimal_comma=way != _AS_TEXT and self.layout.decimal == ",",
            )
        except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
            return None

    def _floats(self, frame: "pl.DataFrame", *, way: int) -> dict[str, Floats] | None:
        """Return the numbers by name of the column, NaN for none; None where one is no number."""
        found = {}
        for name in self._numbers:
            series = frame[name]
            if way == _AS_TEXT:
                cast = self._from_text(series)
                if cast is None:
                    return None
                series = cast
            values: Floats = series.to_numpy()
            # What polars takes for a number and Python for letters: nan, inf, infinity.
            if np.count_nonzero(np.isfinite(values)) != len(values) - series.null_count():
                return None
            found[name] = values
        return found

    def _from_text(self, series: "pl.Series") -> "pl.Series | None":
        """Return the numbers of cells of text, null for none; None where one is no number."""
        import polars as pl

        cells = series.fill_null("").str.strip_chars()
        numbers = cells.str.extract(self._form)
        words = cells.filter(numbers.is_null()).unique()
        if len(words) > MOST_WORDS or not all(plain(each) in self.cells.missing for each in words):
            return None
        if len(self._words) < MOST_WORDS:
            self._words |= set(words) - {""}
        for group in GROUPS.get(self.layout.grouping, ""):
            numbers = numbers.str.replace_all(group, "", literal=True)
        if self.layout.decimal != ".":
            numbers = numbers.str.replace(self.layout.decimal, ".", literal=True)
        return numbers.cast(pl.Float64)

    def _stamps(
        self,
        frame: "pl.DataFrame",
        text: bytes,
        ends: Integers,
        numbers: dict[str, Floats],
        is_quoted: bool,
    ) -> Stamps | None:
        """Return when the rows were written, None where that is not plain to see."""
        if self.plan.counted is not None and self.plan.unit_us:
            counted = counted_us(numbers[f"c{self.plan.counted}"], self.plan.unit_us)
            return None if counted is None else Stamps(counted, None, 0)
        separator = self.layout.delimiter
        if is_quoted or self._timed != tuple(range(len(self._timed))):
            # Written anew, so that they begin their lines.
            text = (
                frame.select(f"c{place}" for place in self._timed)
                .write_csv(include_header=False, separator=_SEPARATOR, quote_style="never")
                .encode()
            )
            ends = np.flatnonzero(np.frombuffer(text, dtype=np.uint8) == _LF)
            separator = _SEPARATOR
            if len(ends) != frame.height:
                return None
        starts = np.empty_like(ends)
        starts[0] = 0
        starts[1:] = ends[:-1] + 1
        return stamps(
            text, starts, cells=self.cells, places=self._timed, separator=separator.encode()
        )

    def _running(self, frame: "pl.DataFrame") -> npt.NDArray[np.bool_] | None:
        if self.plan.running is None:
            return None
        series = frame[f"c{self.plan.running}"]
        # Few words, and mostly those that were met before: comparing with each is quickest.
        runs = np.zeros(frame.height, dtype=np.bool_)
        known = series.null_count()
        for word, is_running in (*self._states.items(),):
            says = (series == word).fill_null(False).to_numpy()
            known += int(np.count_nonzero(says))
            if is_running:
                runs |= says
        if known == frame.height:
            return runs
        words = [each for each in series.unique() if each is not None]
        running = [each for each in words if self.cells.running(each)]
        if len(words) <= MOST_STATES:
            self._states = {each: each in running for each in words}
        found: npt.NDArray[np.bool_] = series.is_in(running).fill_null(False).to_numpy()
        return found


def _with_single_blanks(text: bytes) -> bytes | None:
    """Return lines with one blank between their cells and none around them.

    None where other characters might part cells, or quotation marks keep blanks together.
    """
    if not text.isascii() or _OTHER_BLANKS.search(text):
        return None
    octets = np.frombuffer(text.translate(_AS_BLANKS), dtype=np.uint8)
    is_blank = octets == _BLANK
    is_end = octets == _LF
    before = np.empty_like(is_blank)
    before[0] = True
    before[1:] = is_blank[:-1] | is_end[:-1]
    # Of several the first stays, but for those that a line begins or ends with.
    return octets[~(is_blank & before)].tobytes().replace(b" \n", b"\n")


def _are_whole(
    octets: Octets, ends: Integers, quotes: Integers | None, delimiter: str, width: int
) -> bool:
    """Return whether rows have as many cells as they should, all in all.

    Rows with more make polars refuse; so none has fewer. Quotation marks stand around whole cells,
    and no line ends between them: polars and Python disagree on others.
    """
    parting = octets == ord(delimiter)
    if quotes is None:
        return int(np.count_nonzero(parting)) == len(ends) * (width - 1)
    if len(quotes) % 2 or int(quotes[-1]) + 1 == len(octets):
        return False
    opening, closing = quotes[::2], quotes[1::2]
    before = octets[opening - 1] if opening[0] else octets[np.maximum(opening - 1, 0)]
    opens = (before == ord(delimiter)) | (before == _LF) | (opening == 0)
    after = octets[closing + 1]
    closes = (after == ord(delimiter)) | (after == _LF) | (after == _CR)
    if not (opens.all() and closes.all()):
        return False
    if (np.searchsorted(ends, opening) != np.searchsorted(ends, closing)).any():
        return False
    partings = np.flatnonzero(parting)
    outside = np.searchsorted(quotes, partings) % 2 == 0
    return int(np.count_nonzero(outside)) == len(ends) * (width - 1)


def _number_form(decimal: str, grouping: str) -> str:
    """Return what `cells.number` takes for a number, as a pattern whose first group is it."""
    point = re.escape(decimal)
    whole = "[0-9]+"
    if groups := GROUPS.get(grouping, ""):
        whole = f"(?:[0-9]{{1,3}}(?:[{groups}][0-9]{{3}})+|[0-9]+)"
    number = f"[+-]?(?:{whole}(?:{point}[0-9]*)?|{point}[0-9]+)(?:[eE][+-]?[0-9]+)?"
    return rf"^({number})(?:\s*{UNIT_FORM})?$"
