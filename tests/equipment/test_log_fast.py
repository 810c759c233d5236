"""What is read in columns is what is read cell by cell, to the bit."""

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any
from unittest import mock
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.layout import (
    CLOCK,
    DATE,
    ELAPSED,
    EPOCH,
    OTHER,
    PRESSURE_A,
    RUNNING,
    STROKES_A,
    TEMP_A,
    TIME,
    ZONE,
    Layout,
)
from equipment.shiftlogs.reading.careful import Careful
from equipment.shiftlogs.reading.fast import Fast
from equipment.shiftlogs.reading.lines import Cells
from equipment.shiftlogs.reading.rows import Rows, planned
from tests.equipment.test_log_reading import blocks_of, joined, layout

ZONE_OF_SHOP = ZoneInfo("America/Chicago")
NUMBERS = ((STROKES_A, "strokes"), (TEMP_A, "F"), OTHER, (PRESSURE_A, "psi"), RUNNING)
When = Callable[[datetime], list[str]]


@dataclass(frozen=True)
class Style:
    """A way to write a log. when: the cells of time of a moment; where: their roles."""

    name: str
    where: tuple[tuple[str, str] | str, ...]
    when: When
    of: Layout
    step: timedelta = timedelta(seconds=7)
    comes_last: bool = False


def style(
    name: str,
    when: When | str,
    where: tuple[tuple[str, str] | str, ...] = (TIME,),
    *,
    comes_last: bool = False,
    step: timedelta = timedelta(seconds=7),
    **more: Any,
) -> Style:
    if isinstance(when, str):
        form = when
        when = lambda at: [at.strftime(form)]  # noqa: E731
    roles = (*NUMBERS, *where) if comes_last else (*where, *NUMBERS)
    return Style(name, where, when, layout(*roles, **more), step, comes_last)


def zoned(at: datetime) -> list[str]:
    there = at.replace(tzinfo=ZONE_OF_SHOP)
    return [at.strftime("%Y-%m-%d"), at.strftime("%H:%M:%S"), there.tzname() or ""]


def seconds(at: datetime) -> float:
    return (at - datetime(1970, 1, 1)).total_seconds()  # noqa: DTZ001


STYLES = [
    style("iso", "%Y-%m-%d %H:%M:%S"),
    style("iso T and Z", "%Y-%m-%dT%H:%M:%SZ"),
    style("iso and offset", "%Y-%m-%dT%H:%M:%S-06:00"),
    style("milliseconds", lambda at: [at.isoformat(timespec="milliseconds")],
          step=timedelta(milliseconds=250)),
    style("microseconds", lambda at: [at.isoformat(timespec="microseconds")],
          step=timedelta(microseconds=250_003)),
    style("nine digits", lambda at: [at.isoformat(timespec="microseconds") + "789"]),
    style("no seconds", "%d.%m.%Y %H:%M", date_order="dmy", step=timedelta(minutes=1)),
    style("no padding", lambda at: [f"{at.month}/{at.day}/{at:%y} {at.hour}:{at:%M:%S}"],
          date_order="mdy"),
    style("twelve hours", "%m/%d/%Y %I:%M:%S %p", date_order="mdy", clock="12"),
    style("month's name", "%d-%b-%Y %H:%M:%S", date_order="dmy"),
    style("dots", "%d.%m.%Y %H.%M.%S", date_order="dmy", delimiter=";", decimal=","),
    style("run together", "%Y%m%d%H%M%S"),
    style("run together, parted", "%Y%m%dT%H%M%S"),
    style("two cells", lambda at: at.strftime("%Y-%m-%d %H:%M:%S").split(), (DATE, CLOCK)),
    style("two cells last", lambda at: at.strftime("%d/%m/%Y %H:%M:%S").split(), (DATE, CLOCK),
          comes_last=True, date_order="dmy"),
    style("the clock first", lambda at: at.strftime("%H:%M:%S %Y-%m-%d").split(), (CLOCK, DATE)),
    style("a zone", zoned, (DATE, CLOCK, ZONE)),
    style("clock alone", "%H:%M:%S", (CLOCK,)),
    style("time last", "%Y-%m-%d %H:%M:%S", comes_last=True),
    style("epoch", lambda at: [str(int(seconds(at)))], ((EPOCH, "s"),)),
    style("epoch in ms", lambda at: [str(int(seconds(at) * 1000))], ((EPOCH, "ms"),)),
    style("epoch with a fraction", lambda at: [f"{seconds(at):.3f}"], ((EPOCH, "s"),)),
    style("elapsed", lambda at: [f"{seconds(at) - 1.7e9:.2f}"], ((ELAPSED, "s"),)),
    style("elapsed hours", lambda at: [f"{at.day * 24 + at.hour}:{at:%M:%S}"],
          ((ELAPSED, "hms"),)),
    style("tab", "%Y-%m-%d %H:%M:%S", delimiter="\t"),
    style("bar", "%Y-%m-%d %H:%M:%S", delimiter="|"),
    style("blanks", lambda at: at.strftime("%Y-%m-%d %H:%M:%S").split(), (DATE, CLOCK),
          delimiter=" ", missing=("nothing",)),
    style("decimal comma", "%Y-%m-%d %H:%M:%S", delimiter=";", decimal=","),
    style("decimal comma and point", "%d.%m.%Y %H:%M:%S", delimiter=";", decimal=",",
          grouping=".", date_order="dmy"),
    style("grouping by blanks", "%Y-%m-%d %H:%M:%S", delimiter=";", grouping=" "),
    style("grouping by apostrophes", "%Y-%m-%d %H:%M:%S", delimiter=";", grouping="'"),
    style("comma for both", "%Y-%m-%d %H:%M:%S", decimal=","),
    style("grouping by commas", "%Y-%m-%d %H:%M:%S", grouping=","),
]  # fmt: skip

VALUES = st.one_of(
    st.integers(-5, 2_000_000).map(float),
    st.floats(-1e7, 1e7).map(lambda value: round(value, 3)),
    st.floats(allow_nan=False, allow_infinity=False, width=64),
    st.none(),
)


def number(value: float | None, of: Layout) -> str:
    if value is None:
        return next((each for each in of.missing if each), "")
    text = f"{value:,}" if of.grouping else repr(value)
    marks = {",": of.grouping or ",", ".": of.decimal}
    return "".join(marks.get(each, each) for each in text)


def written(of: Style, values: list[list[float | None]], start: datetime, *, quoted: bool) -> bytes:
    out = io.StringIO()
    writer = csv.writer(
        out, delimiter=of.of.delimiter, lineterminator="\n",
        quoting=csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL,
    )  # fmt: skip
    for place, (first, second, third) in enumerate(values):
        when = of.when(start + place * of.step)
        numbers = [number(first, of.of), number(second, of.of), "x", number(third, of.of), "on"]
        writer.writerow([*numbers, *when] if of.comes_last else [*when, *numbers])
    return out.getvalue().encode()


def both(text: bytes, of: Layout, *, line: int = 1) -> tuple[Rows | None, Rows, Careful]:
    cells = Cells(of, planned(of), zone=ZONE_OF_SHOP)
    careful = Careful(of, cells.plan, cells, headings=())
    return (
        Fast(cells).rows(text, line=line),
        careful.rows(text, line=line, backwards=False),
        careful,
    )


def same(fast: Rows, careful: Rows) -> None:
    for name in ("line", "when_us", "offset_us", "running"):
        ours, theirs = getattr(fast, name), getattr(careful, name)
        assert (ours is None) == (theirs is None), name
        if ours is not None:
            assert ours.dtype == theirs.dtype, name
            np.testing.assert_array_equal(ours, theirs, err_msg=name)
    assert fast.numbers.keys() == careful.numbers.keys()
    for role, values in fast.numbers.items():
        assert values.dtype == np.float64
        ours, theirs = (
            np.nan_to_num(each, nan=1.25e300) for each in (values, careful.numbers[role])
        )
        np.testing.assert_array_equal(ours.view(np.int64), theirs.view(np.int64), err_msg=role)


@pytest.mark.parametrize("of", STYLES, ids=lambda each: each.name)
@given(
    values=st.lists(st.lists(VALUES, min_size=3, max_size=3), min_size=1, max_size=40),
    start=st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1)).map(  # noqa: DTZ001
        lambda at: at.replace(microsecond=0)
    ),
    quoted=st.booleans(),
)
@settings(max_examples=25, deadline=None)
def test_columns_and_cells_say_the_same_of_clean_text(
    of: Style, values: list[list[float | None]], start: datetime, quoted: bool
) -> None:
    text = written(of, values, start, quoted=quoted and of.of.delimiter != " ")
    if of.of.delimiter == " ":
        # Columns of a table stand below each other.
        text = b"".join(b" " + b"   ".join(line.split()) + b" \r\n" for line in text.splitlines())
    fast, careful, account = both(text, of.of)
    assert len(careful) == len(values)
    assert account.bad.count == 0
    assert fast is not None, text
    same(fast, careful)


SPOILT = st.sampled_from([
    "", " ", "nan", "NaN", "inf", "-inf", "1e999", "0x10", "1_000", "1,5", "1.5.", "+5", "-", ".",
    "５", "1e5", "1E-5", "12 psi", "70°F", "7 8", "\t7", "7\x0b", "N/A", "−5", '"', '""', '"7',
    '7"', '"7"', '"7,8"', 'a"b', "\0", "\r", "\u00a07", "1e0000001", "true",
])  # fmt: skip
TIMES = st.sampled_from([
    "2026-03-04 12:00:00", "2026-03-04 12:00:01", "2026-03-04 12:59:59", "2026-03-04 12:00:60",
    "2026-03-04 12:61:00", "2026-03-04 12:00", "2026-03-04 1x:00:00", "2026-03-04 24:00:00", "",
    "2026-03-04", "2026-03-04 12:00:0a", " 2026-03-04 12:00:00", "2026-03-04T12:00:00", "N/A",
    "2026-03-04 12:00:00Z", "2026-03-04 12:00:01Z", "2026-02-30 12:00:00", "2026-03-04 12:00:/0",
])  # fmt: skip


@given(
    rows=st.lists(
        st.tuples(TIMES, SPOILT, SPOILT, st.sampled_from(["", ",x", ",", "\r", "\r\r"])),
        min_size=1, max_size=4,
    ),
    missing=st.sampled_from([("",), ("", "n/a", "nan", "-")]),
    decimal=st.sampled_from([".", ","]),
    delimiter=st.sampled_from([",", ";", " "]),
)  # fmt: skip
@settings(max_examples=1500, deadline=None)
def test_what_columns_take_at_all_they_take_as_cells_do(
    rows: list[tuple[str, str, str, str]], missing: tuple[str, ...], decimal: str, delimiter: str
) -> None:
    of = replace(
        layout(TIME, (STROKES_A, "strokes"), RUNNING),
        missing=missing, decimal=decimal, delimiter=delimiter,
    )  # fmt: skip
    text = "".join(
        delimiter.join([when, first, second]) + end.replace(",", delimiter) + "\n"
        for when, first, second, end in rows
    ).encode()
    fast, careful, account = both(text, of)
    if fast is not None:
        assert account.bad.count == 0
        same(fast, careful)


def outcome(data: bytes, of: Layout) -> tuple[list[tuple[str, bytes]], tuple[Any, ...]]:
    """All that reading says of a log: its columns, and what it keeps account of."""
    blocks, reader = blocks_of(data, of, on=date(2026, 3, 4), piece_bytes=700)
    columns = [(name, column.tobytes()) for name, column in joined(blocks).items()]
    figures = (
        reader.rows, reader.duplicates, reader.clock_put_back, reader.torn, reader.misfit,
        reader.unknown_states, reader.skipped_times, reader.bad,
    )  # fmt: skip
    return columns, figures


@given(
    of=st.sampled_from(STYLES),
    start=st.datetimes(datetime(2026, 10, 31), datetime(2026, 11, 2)).map(  # noqa: DTZ001
        lambda at: at.replace(microsecond=0)
    ),
    changes=st.lists(
        st.tuples(
            st.integers(0, 10_000),
            st.integers(0, 4),
            st.sampled_from([
                b"", b",", b";", b'"', b"\n", b"\r\n", b"\r", b" ", b"x", b"0", b":", b"\0", b".",
                b"\xff", "é".encode(), b"N/A", b"1e400", b"nan", b"\n\n", b"t,n\n", b"\x1f", b"-",
            ]),
        ),
        max_size=6,
    ),
    newest_first=st.booleans(),
)  # fmt: skip
@example(
    # Inside of a time: what the quick reader parts cells with itself.
    of=next(each for each in STYLES if each.name == "two cells last"),
    start=datetime(2026, 10, 31),  # noqa: DTZ001
    changes=[(2146, 0, b"\x1f")],
    newest_first=False,
)
@settings(max_examples=400, deadline=None)
def test_a_spoilt_log_is_read_alike_with_and_without_columns(
    of: Style, start: datetime, changes: list[tuple[int, int, bytes]], newest_first: bool
) -> None:
    values: list[list[float | None]] = [[float(n), 70 + n / 8, None] for n in range(60)]
    data = written(of, values, start, quoted=False)
    for place, length, said in changes:
        place %= len(data)
        data = data[:place] + said + data[place + length :]
    how = replace(of.of, header_line=0, newest_first=newest_first, missing=("", "n/a"))
    with mock.patch.object(Fast, "rows", return_value=None):
        expected = outcome(data, how)
    assert outcome(data, how) == expected
