"""A shift log and its layout to rows: every way of writing, everything that goes wrong."""

import io
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from equipment.shiftlogs.blocks import Block, RigFacts
from equipment.shiftlogs.layout import (
    CLOCK,
    DATE,
    ELAPSED,
    EPOCH,
    PRESSURE_A,
    RUNNING,
    STROKES_A,
    TEMP_A,
    TIME,
    ZONE,
    Column,
    Layout,
    LogRefused,
)
from equipment.shiftlogs.reading.stream import Reader, read

CHICAGO = RigFacts(zone=ZoneInfo("America/Chicago"))
EPOCH_AT = datetime(1970, 1, 1, tzinfo=UTC)


def layout(*columns: tuple[str, str] | str, **more: Any) -> Layout:
    """A layout with these roles (and units), comma and point, headings in the first line."""
    named = [(each, "") if isinstance(each, str) else each for each in columns]
    given = {
        "encoding": "utf-8", "delimiter": ",", "decimal": ".", "grouping": "", "header_line": 1,
        "width": len(named), "date_order": "ymd",
        "columns": tuple(Column(place, "", role, unit) for place, (role, unit) in enumerate(named)),
    }  # fmt: skip
    return Layout(**{**given, **more})


PLAIN = layout(TIME, (STROKES_A, "strokes"), (TEMP_A, "F"))


def blocks_of(
    text: str | bytes, of: Layout, *, on: date | None = None, facts: RigFacts = CHICAGO, **more: Any
) -> tuple[list[Block], Reader]:
    data = text if isinstance(text, bytes) else text.encode(of.encoding)
    reader = read(io.BytesIO(data), of, facts=facts, answers={}, date=on, **more)
    return list(reader), reader


def joined(blocks: Sequence[Block]) -> dict[str, np.ndarray]:
    """All blocks as one, by name of the column."""
    if not blocks:
        return {}
    made = {
        name: np.concatenate([getattr(each, name) for each in blocks])
        for name in ("line", "instant_us", "day")
    }
    for role in blocks[0].values:
        made[role] = np.concatenate([each.values[role] for each in blocks])
    if blocks[0].running is not None:
        made["running"] = np.concatenate([each.running for each in blocks])
    return made


def instants(text: str | bytes, of: Layout, **more: Any) -> list[str]:
    """The instants of all rows, in UTC."""
    rows = joined(blocks_of(text, of, **more)[0])
    return [
        f"{EPOCH_AT + timedelta(microseconds=int(each)):%Y-%m-%d %H:%M:%S.%f}".removesuffix(
            ".000000"
        )
        for each in rows.get("instant_us", [])
    ]


# --- how a cell is written ----------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "order", "clock", "wall"),
    [
        ("2026-03-04 12:00:01", "ymd", "24", "2026-03-04 12:00:01"),
        ("2026-03-04T12:00:01.25", "ymd", "24", "2026-03-04 12:00:01.250000"),
        ("20260304T120001", "ymd", "24", "2026-03-04 12:00:01"),
        ("20260304120001", "ymd", "24", "2026-03-04 12:00:01"),
        ("03/04/26 1:05:07 PM", "mdy", "12", "2026-03-04 13:05:07"),
        ("03/04/26 12:05:07 AM", "mdy", "12", "2026-03-04 00:05:07"),
        ("3/4/2026 12:05", "mdy", "24", "2026-03-04 12:05:00"),
        ("04.03.2026 13:05", "dmy", "24", "2026-03-04 13:05:00"),
        ("04.03.26 13.05.06", "dmy", "24", "2026-03-04 13:05:06"),
        ("4-Mar-26 1:05:07 p.m.", "dmy", "12", "2026-03-04 13:05:07"),
        ("4 mars 2026 13h05", "dmy", "24", "2026-03-04 13:05:00"),
        ("4. März 2026 13:05:06", "dmy", "24", "2026-03-04 13:05:06"),
        ("2026/3/4 1:02:03", "ymd", "24", "2026-03-04 01:02:03"),
        ("04/03/2026 12:00:00;125", "dmy", "24", "2026-03-04 12:00:00.125000"),
        ("2026-03-04 24:00:00", "ymd", "24", "2026-03-05 00:00:00"),
        ("04.03.2026", "dmy", "24", "2026-03-04 00:00:00"),
        ("2026-03-04 12:00:00.123456789", "ymd", "24", "2026-03-04 12:00:00.123456"),
    ],
)
def test_a_time_is_read_as_it_is_written(cell: str, order: str, clock: str, wall: str) -> None:
    of = replace(PLAIN, date_order=order, clock=clock, delimiter="\t", zone="UTC")
    assert instants(f"t\tn\tc\n{cell.replace(';', ',')}\t1\t1\n", of) == [wall]


@pytest.mark.parametrize(
    ("cell", "utc"),
    [
        ("2026-03-04T12:00:01Z", "12:00:01"),
        ("2026-03-04T12:00:01-05:00", "17:00:01"),
        ("2026-03-04 12:00:01 +0530", "06:30:01"),
        ("2026-03-04 12:00:01 UTC+2", "10:00:01"),
        ("2026-03-04 12:00:01 CST", "18:00:01"),
        ("2026-03-04 12:00:01 Europe/Berlin", "11:00:01"),
    ],
)
def test_a_time_may_name_its_zone(cell: str, utc: str) -> None:
    assert instants(f"t,n,c\n{cell},1,1\n", PLAIN) == [f"2026-03-04 {utc}"]


@pytest.mark.parametrize(
    "cell",
    ["", "xx", "3/4/2 12:00:00", "3/4/2026 12:00:0", "2026-03-04 12:00:0", "2026-03-04 12:0",
     "13/13/2026 12:00", "2026-02-29 12:00", "2026-03-04 25:00:00", "2026-03-04 12:60",
     "12:00:00", "2026-03-04 12:00:0x", "48211"],
)  # fmt: skip
def test_no_time_is_made_of_what_is_none(cell: str) -> None:
    good = "2026-03-04 12:00:00,1,1\n"
    for order in ("ymd", "dmy"):
        _, reader = blocks_of(f"t,n,c\n{good}{cell},1,1\n{good}", replace(PLAIN, date_order=order))
        assert reader.bad.count >= 1


def test_a_clock_of_twelve_hours_needs_its_half() -> None:
    of = replace(PLAIN, clock="12")
    text = "t,n,c\n2026-03-04 1:05:00 PM,1,1\n2026-03-04 1:06:00,1,1\n2026-03-04 1:07 pm,1,1\n"
    _, reader = blocks_of(text, of)
    assert (reader.rows, reader.bad.count) == (2, 1)


def test_a_dial_of_twelve_hours_without_halves_starts_again() -> None:
    text = "t,n,c\n" + "".join(
        f"2026-03-0{each},1,1\n"
        for each in ("4 11:59", "4 12:00", "4 5:00", "5 7:00", "5 12:30", "5 1:00", "6 12:10")
    )
    of = replace(PLAIN, clock="12am", zone="UTC")
    assert instants(text, of) == [
        "2026-03-04 11:59:00", "2026-03-04 12:00:00", "2026-03-04 17:00:00",
        "2026-03-05 07:00:00", "2026-03-05 12:30:00", "2026-03-05 13:00:00", "2026-03-06 00:10:00",
    ]  # fmt: skip
    alone = layout(CLOCK, (STROKES_A, "strokes"), clock="12pm", zone="UTC")
    text = "t,n\n11:00,1\n12:00,1\n1:00,1\n"
    assert instants(text, alone, on=date(2026, 3, 4)) == [
        "2026-03-04 23:00:00", "2026-03-05 00:00:00", "2026-03-05 01:00:00",
    ]  # fmt: skip


def test_decimal_comma_and_grouping() -> None:
    text = "t;n;x\n04.03.2026 12:00;1.048.211;-12,5\n04.03.2026 12:01;211;,5\n"
    of = layout(TIME, (STROKES_A, "strokes"), (TEMP_A, "F"), delimiter=";", decimal=",",
                grouping=".", date_order="dmy")  # fmt: skip
    rows = joined(blocks_of(text, of)[0])
    assert rows[STROKES_A].tolist() == [1048211, 211]
    assert rows[TEMP_A].tolist() == [-12.5, 0.5]


def test_units_become_canonical() -> None:
    # NIST SP 811 (2008), Appendix B: °F = 1.8 °C + 32; 1 bar = 14.503 77 psi.
    of = layout(TIME, (STROKES_A, "cycles"), (TEMP_A, "C"), (PRESSURE_A, "bar"))
    rows = joined(blocks_of("t,n,c,p\n2026-03-04 12:00,7,50,100\n", of)[0])
    assert rows[STROKES_A].tolist() == [14]
    assert rows[TEMP_A].tolist() == [122]
    assert rows[PRESSURE_A].tolist() == pytest.approx([1450.377], abs=1e-3)


# --- when ---------------------------------------------------------------------------------------


def test_wall_time_is_of_the_shop() -> None:
    assert instants("t,n,c\n2026-03-04 12:00:00,1,1\n", PLAIN) == ["2026-03-04 18:00:00"]


def test_a_zone_of_the_file_comes_first_and_the_day_stays_the_shops() -> None:
    of = replace(PLAIN, zone="Europe/Berlin")
    blocks, _ = blocks_of("t,n,c\n2026-03-04 03:00:00,1,1\n", of)
    assert instants("t,n,c\n2026-03-04 03:00:00,1,1\n", of) == ["2026-03-04 02:00:00"]
    assert blocks[0].day.tolist() == [(date(2026, 3, 3) - date(1970, 1, 1)).days]


def test_offsets_in_the_cells_come_before_all() -> None:
    text = "t,n,c\n2026-03-04T12:00:00Z,1,1\n2026-03-04T12:00:01+01:00,2,1\n"
    assert instants(text, PLAIN) == ["2026-03-04 12:00:00", "2026-03-04 11:00:01"]


def test_a_zone_column() -> None:
    of = layout(DATE, CLOCK, ZONE, (STROKES_A, "strokes"))
    text = "d,t,z,n\n2026-03-04,12:00:00,CST,1\n2026-03-04,12:00:01,-0400,1\n"
    assert instants(text, of) == ["2026-03-04 18:00:00", "2026-03-04 16:00:01"]


def test_autumn_shows_an_hour_twice() -> None:
    # 2026-11-01: Chicago goes from UTC−5 to UTC−6 at 02:00. IANA time zone database, "US" rules.
    text = "t,n,c\n" + "".join(
        f"2026-11-01 {each},1,1\n"
        for each in ("00:59:59", "01:30:00", "01:59:59", "01:00:00", "01:59:58", "02:00:00")
    )
    assert instants(text, PLAIN) == [
        "2026-11-01 05:59:59", "2026-11-01 06:30:00", "2026-11-01 06:59:59",
        "2026-11-01 07:00:00", "2026-11-01 07:59:58", "2026-11-01 08:00:00",
    ]  # fmt: skip


def test_spring_skips_an_hour_and_a_late_clock_loses_nothing() -> None:
    # 2026-03-08: Chicago goes from UTC−6 to UTC−5 at 02:00.
    text = "t,n,c\n2026-03-08 01:59:59,1,1\n2026-03-08 02:00:00,2,1\n2026-03-08 03:30:00,3,1\n"
    assert instants(text, PLAIN) == [
        "2026-03-08 07:59:59", "2026-03-08 08:00:00", "2026-03-08 08:30:00",
    ]  # fmt: skip
    assert blocks_of(text, PLAIN)[1].skipped_times == 1


def test_time_of_day_alone_rolls_over_midnight() -> None:
    of = layout(CLOCK, (STROKES_A, "strokes"))
    text = "t,n\n23:59:59,1\n00:00:00,2\n12:00:00,3\n23:00:00,4\n00:30:00,5\n"
    found = instants(text, of, on=date(2026, 3, 4))
    assert found == [
        "2026-03-05 05:59:59", "2026-03-05 06:00:00", "2026-03-05 18:00:00",
        "2026-03-06 05:00:00", "2026-03-06 06:30:00",
    ]  # fmt: skip
    with pytest.raises(LogRefused, match="names its date"):
        blocks_of(text, of)


@pytest.mark.parametrize(
    ("unit", "cells"),
    [("s", ["1772625600", "1772625600.5"]), ("ms", ["1772625600000", "1772625600500"]),
     ("us", ["1772625600000000", "1772625600500000"])],
)  # fmt: skip
def test_seconds_of_the_epoch(unit: str, cells: list[str]) -> None:
    of = layout((EPOCH, unit), (STROKES_A, "strokes"))
    text = "t,n\n" + "".join(f"{each},1\n" for each in cells)
    assert instants(text, of) == ["2026-03-04 12:00:00", "2026-03-04 12:00:00.500000"]


def test_elapsed_hours_and_minutes_from_a_moment() -> None:
    of = layout((ELAPSED, "hms"), (STROKES_A, "strokes"), zone="UTC")
    text = "t,n\n0:00:00,1\n0:00:01.5,2\n30:00:00,3\n"
    assert instants(text, of, on=datetime(2026, 3, 4, 7, 30)) == [  # noqa: DTZ001
        "2026-03-04 07:30:00", "2026-03-04 07:30:01.500000", "2026-03-05 13:30:00",
    ]  # fmt: skip


def test_elapsed_seconds_begin_with_the_given_day() -> None:
    of = layout((ELAPSED, "s"), (STROKES_A, "strokes"))
    text = "t,n\n0,1\n0.25,1\n86400,2\n"
    assert instants(text, of, on=date(2026, 3, 4)) == [
        "2026-03-04 06:00:00", "2026-03-04 06:00:00.250000", "2026-03-05 06:00:00",
    ]  # fmt: skip


# --- what is no row, and what is bad ------------------------------------------------------------


def test_what_is_missing_is_not_bad() -> None:
    of = replace(PLAIN, missing=("", "n/a", "---"), out_of_range=((TEMP_A, -999.0),))
    text = "t,n,c\n" + "".join(
        f"2026-03-04 12:00:0{place},{cells}\n"
        for place, cells in enumerate(["1,", "N/A,70", "2,---", "3,-999", "4,-999.0"])
    )
    blocks, reader = blocks_of(text, of)
    rows = joined(blocks)
    assert reader.bad.count == 0
    assert np.isnan(rows[STROKES_A]).tolist() == [False, True, False, False, False]
    assert np.isnan(rows[TEMP_A]).tolist() == [True, False, True, True, True]


def test_headings_units_blank_lines_preamble_and_footer_are_not_bad() -> None:
    text = (
        "Rig 7\nfrom 2026-03-04\ntime,strokes,temp\nhh:mm,strokes,°F\n\n"
        "2026-03-04 12:00:00,1,70\n2026-03-04 12:00:01,2,70\n"
        "Rig 7\nfrom 2026-03-05\ntime,strokes,temp\n,strokes,°F\n,,\n   \n"
        "2026-03-04 12:00:02,3,70\nRows: 3\nSum,6,210\nend of log\n"
    )
    blocks, reader = blocks_of(text, replace(PLAIN, header_line=3))
    assert joined(blocks)["line"].tolist() == [6, 7, 14]
    assert reader.bad.count == 0
    assert not reader.torn


@pytest.mark.parametrize("newest_first", [False, True])
def test_a_second_session_may_bring_its_own_preamble(newest_first: bool) -> None:
    text = (
        "Rig 7\ntime,strokes,temp\n2026-03-04 12:00:00,1,70\n2026-03-04 1x:00:01,2,70\n"
        "Operator: Ann\nShop 2, bay 3\ntime,strokes,temp\n2026-03-05 12:00:02,3,70\nSum\nx\n"
        "2026-03-06 12:00:02,3,70\n"
    )
    of = replace(PLAIN, header_line=2, newest_first=newest_first)
    _, reader = blocks_of(text, of)
    assert reader.rows == 3
    assert [each.line for each in reader.bad.shown] == [4, 9, 10]


def test_bad_rows_are_counted_and_shown() -> None:
    text = (
        "t,n,c\n2026-03-04 12:00:00,1,70\n2026-03-04 12:00:01,2\n2026-03-04 12:0x:02,3,70\n"
        "2026-03-04 12:00:03,4b,70\n2026-03-04 12:00:04,5,70,1\n2026-03-04 12:00:05,6,70\n"
    )
    blocks, reader = blocks_of(text, PLAIN)
    assert joined(blocks)[STROKES_A].tolist() == [1, 6]
    assert reader.bad.count == 4
    assert [(each.line, each.reason) for each in reader.bad.shown] == [
        (3, "it has 2 cells, not 3"),
        (4, "its time cannot be read: “2026-03-04 12:0x:02”"),
        (5, "“4b” is no number"),
        (6, "it has 4 cells, not 3"),
    ]


@pytest.mark.parametrize(
    ("end", "torn", "rows"),
    [
        ("2026-03-04 12:00:01,2,70.5\n", False, 2),
        ("2026-03-04 12:00:01,2,70.5", False, 2),
        ("2026-03-04 12:00:01,2,70.", True, 1),
        ("2026-03-04 12:00:01,2", True, 1),
        ("2026-03-0", True, 1),
        ("2", True, 1),
        ("End of log", False, 1),
        ("\0\0\0\0", False, 1),
    ],
)
def test_a_torn_last_line_is_not_bad(end: str, torn: bool, rows: int) -> None:
    reader = blocks_of("t,n,c\n2026-03-04 12:00:00,1,70.2\n" + end, PLAIN)[1]
    assert (reader.torn, reader.rows, reader.bad.count) == (torn, rows, 0)


@pytest.mark.parametrize(
    ("before", "last", "torn"),
    [("48210", "48", True), ("100", "99", False), ("9", "10", False), ("0", "0", False),
     ("48210", "48211", False), ("1200", "120", True)],
)  # fmt: skip
def test_a_number_cut_short_is_torn(before: str, last: str, torn: bool) -> None:
    of = layout(TIME, (STROKES_A, "strokes"))
    text = f"t,n\n2026-03-04 12:00:00,{before}\n2026-03-04 12:00:01,{last}"
    assert blocks_of(text, of)[1].torn is torn


def test_exact_duplicates_go_and_others_stay() -> None:
    row = "2026-03-04 12:00:00,1,70\n"
    blocks, reader = blocks_of(f"t,n,c\n{row}{row}2026-03-04 12:00:00,1,71\n", PLAIN)
    assert joined(blocks)[TEMP_A].tolist() == [70, 71]
    assert reader.duplicates == 1


def test_a_running_column() -> None:
    of = layout(TIME, RUNNING)
    words = ["On", "off", "1", "0", "läuft", "", "whatever"]
    text = "t,r\n" + "".join(f"2026-03-04 12:00:0{n},{word}\n" for n, word in enumerate(words))
    blocks, reader = blocks_of(text, of)
    assert joined(blocks)["running"].tolist() == [True, False, True, False, True, False, True]
    assert reader.unknown_states == {"whatever"}


def test_a_day_that_is_none_tells_that_the_order_is_another() -> None:
    text = "t,n,c\n" + "".join(f"03/{day}/2026 12:00,1,70\n" for day in range(10, 16))
    _, reader = blocks_of(text, replace(PLAIN, date_order="dmy"))
    assert "03/13/2026 12:00" in reader.misfit
    assert blocks_of(text, replace(PLAIN, date_order="mdy"))[1].misfit == ""
