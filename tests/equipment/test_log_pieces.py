"""A log is read alike in every encoding, from either end, and in pieces of any size."""

import contextlib
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.layout import (
    OTHER,
    RUNNING,
    STROKES_A,
    STROKES_B,
    TEMP_A,
    TIME,
    LogRefused,
)
from tests.equipment.test_log_reading import PLAIN, blocks_of, joined, layout


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252", "cp037"]
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("newest_first", [False, True])
def test_every_encoding_line_end_and_direction(encoding: str, end: str, newest_first: bool) -> None:
    lines = [f"2026-03-04 12:00:{second:02},{second},70.5" for second in range(50)]
    text = end.join(["t é,n,c", *(reversed(lines) if newest_first else lines), ""])
    of = replace(PLAIN, encoding=encoding, newest_first=newest_first)
    for piece_bytes in (7, 100, 1 << 20):
        blocks, reader = blocks_of(text, of, piece_bytes=piece_bytes)
        rows = joined(blocks)
        assert rows[STROKES_A].tolist() == list(range(50))
        numbers = list(range(2, 52))
        assert rows["line"].tolist() == (numbers[::-1] if newest_first else numbers)
        assert (reader.bad.count, reader.torn) == (0, False)


SEVERAL = layout(
    TIME, (STROKES_A, "cycles"), (STROKES_B, "strokes"), OTHER, (TEMP_A, "C"), RUNNING,
    missing=("", "n/a"), out_of_range=((TEMP_A, -999.0),),
)  # fmt: skip
CELLS = st.sampled_from(
    ["", "1", "48210", "-999", "12.5", "n/a", "N/A", "on", "0", "x", '"7"', " 8 "]
)
LINES = st.one_of(
    st.builds(
        lambda second, cells: ",".join(
            [f"2026-11-01 01:{second // 60:02}:{second % 60:02}", *cells]
        ),
        st.integers(0, 3599),
        st.lists(CELLS, min_size=5, max_size=5),
    ),
    st.sampled_from(["", "time,a,b,c,d,e", "Sum", ",,,,,", "2026-11-01 01:00:00,1", '"', "\0"]),
    st.text(max_size=20).map(lambda text: "".join(text.splitlines())),
)


@given(lines=st.lists(LINES, max_size=30), size=st.integers(1, 200), ended=st.booleans(),
       newest_first=st.booleans())  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_the_size_of_a_piece_changes_nothing(
    lines: list[str], size: int, ended: bool, newest_first: bool
) -> None:
    text = ("\n".join(["time,a,b,c,d,e", *lines]) + "\n" * ended).encode("utf-8", "replace")
    of = replace(SEVERAL, newest_first=newest_first)
    whole_blocks, whole = blocks_of(text, of)
    some_blocks, some = blocks_of(text, of, piece_bytes=size)
    expected, found = joined(whole_blocks), joined(some_blocks)
    assert expected.keys() == found.keys()
    for name, column in expected.items():
        np.testing.assert_array_equal(found[name], column, err_msg=name)
    for figure in ("rows", "duplicates", "clock_put_back", "torn", "misfit", "unknown_states"):
        assert getattr(some, figure) == getattr(whole, figure)
    assert some.bad == whole.bad


ENCODINGS = ["utf-8", "utf-16", "cp1252", "utf-32", "shift_jis", "utf-7", "idna", "hex", "no"]


@given(data=st.binary(max_size=400), encoding=st.sampled_from(ENCODINGS))
@settings(max_examples=300, deadline=None)
def test_no_bytes_do_more_than_refuse(data: bytes, encoding: str) -> None:
    with contextlib.suppress(LogRefused):
        blocks_of(data, replace(SEVERAL, encoding=encoding), piece_bytes=64)
