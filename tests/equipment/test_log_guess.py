"""The layout of a log nobody has seen, and the questions that its text leaves open."""

from datetime import datetime, timedelta
from io import BytesIO
from zoneinfo import ZoneInfo

import pytest

from equipment.shiftlogs.guessing.guess import Evidence, sample_of, understand
from equipment.shiftlogs.layout import Layout
from tests.equipment.log_guessing import (
    BERLIN,
    CHICAGO,
    DOUBTS,
    US,
    US_CELLS,
    asked,
    guess,
    log,
    roles,
)

# --- layouts ----------------------------------------------------------------------------------


def test_a_plain_log_leaves_no_question() -> None:
    seen = guess(log(US, US_CELLS))
    assert seen.questions == ()
    assert roles(seen) == {
        "Time": "time",
        "ISO strokes": "strokes_a:strokes",
        "RES strokes": "strokes_b:strokes",
        "ISO temp (F)": "temp_a:F",
        "ISO psi": "pressure_a:psi",
    }
    assert (seen.layout.header_line, seen.first_line, seen.layout.width) == (1, 2, 5)
    assert len(seen.preview) == 20
    assert Layout.from_json(seen.layout.to_json()) == seen.layout


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "cp1252", "cp850"])
def test_encodings(encoding: str) -> None:
    text = log(
        "Zeit;Hübe Iso;Hübe Harz;Temp Iso °C;Druck Iso bar",
        "{t:%d.%m.%Y %H:%M:%S};{n};{n};48,5;82,1",
    )
    seen = guess(text.encode(encoding), facts=BERLIN)
    assert (seen.questions, seen.layout.encoding) == ((), encoding)
    assert (seen.layout.delimiter, seen.layout.decimal, seen.layout.date_order) == (";", ",", "dmy")
    assert roles(seen)["Hübe Iso"] == "strokes_a:strokes"


def test_two_lines_of_headings_with_groups_and_a_preamble() -> None:
    head = "Unit 12 log;;;;;\n;;Side A;;Side B;\nDate;Time;Strokes;Temp F;Strokes;Temp F"
    seen = guess(log(head, "{t:%Y-%m-%d};{t:%H:%M:%S};{n};121;{n};119"))
    assert list(roles(seen).values()) == [
        "date", "clock", "strokes_a:strokes", "temp_a:F", "strokes_b:strokes", "temp_b:F",
    ]  # fmt: skip
    assert (seen.layout.header_line, seen.questions) == (3, ())


def test_blanks_between_columns() -> None:
    head = "Date       Time     A-Strk B-Strk A-Temp\n---------- -------- ------ ------ ------"
    seen = guess(log(head, "{t:%Y-%m-%d} {t:%H:%M:%S} {n:6d} {n:6d}  121.0"))
    assert seen.layout.delimiter == " "
    assert list(roles(seen).values())[2:] == ["strokes_a:strokes", "strokes_b:strokes", "temp_a:F"]


def test_am_and_pm_in_a_column_of_their_own() -> None:
    seen = guess(log("Date,Time,AM/PM,Iso cycles", "{t:%m/%d/%Y},{t:%I:%M:%S},{t:%p},{n}"))
    assert list(roles(seen).values()) == ["date", "clock", "clock", "strokes_a:cycles"]
    assert seen.layout.clock == "12"


def test_year_month_and_day_in_columns_of_their_own() -> None:
    head = "Year,Month,Day,Hour,Min,Sec,Iso strokes"
    seen = guess(log(head, "{t:%Y,%m,%d,%H,%M,%S},{n}"))
    assert list(roles(seen).values()) == [*["date"] * 3, *["clock"] * 3, "strokes_a:strokes"]
    assert (seen.layout.date_order, seen.questions) == ("ymd", ())


def test_one_heading_over_date_time_and_half() -> None:
    seen = guess(log("Stamp Iso_strokes", "{t:%m/%d/%Y %I:%M:%S %p} {n}"))
    assert [each.role for each in seen.layout.columns] == ["date", "clock", "clock", "strokes_a"]


def test_the_unit_may_have_a_column_of_its_own() -> None:
    seen = guess(log("When,Iso strokes,Iso temp,Unit", "{t},{n},48.5,C"))
    assert (roles(seen)["Iso temp"], seen.questions) == ("temp_a:C", ())


def test_headings_over_several_lines() -> None:
    seen = guess(log('"When","Iso\nstrokes","Iso temp\n(°F)"', "{t},{n},121"))
    assert roles(seen)["Iso temp (°F)"] == "temp_a:F"
    assert (seen.layout.header_line, seen.first_line) == (3, 4)


def test_the_measured_value_goes_before_what_it_should_be() -> None:
    head = "Time,A Temp Act (F),A Temp Set (F),A job strokes,A life strokes,ISO inlet F"
    seen = guess(log(head, "{t:%Y-%m-%d %H:%M:%S},121,125,{i},{n},80"))
    assert list(roles(seen).values())[1:] == [
        "temp_a:F", "other", "other", "strokes_a:strokes", "other",
    ]  # fmt: skip


def test_an_epoch_decides_the_order_of_dates_and_the_zone() -> None:
    zone = ZoneInfo("America/Chicago")
    lines = ["epoch,local,iso strokes"]
    for n in range(50):
        moment = datetime(2026, 3, 4, 7, 0, tzinfo=zone) + timedelta(seconds=n)
        lines.append(f"{moment.timestamp():.0f},{moment:%d/%m/%Y %H:%M:%S},{n}")
    text = "\n".join(lines)
    assert (guess(text).layout.date_order, guess(text).questions) == ("dmy", ())
    assert asked(guess(text, facts=BERLIN)) == {"zone"}


# --- doubts -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heading", "cells", "keys"), [each[1:] for each in DOUBTS], ids=[each[0] for each in DOUBTS]
)
def test_a_real_doubt_is_asked(heading: str, cells: str, keys: set[str]) -> None:
    if "{i:b}" in cells:  # strokes of each row, not since the beginning
        text = log(heading, "{t},§")
        for n in range(60):
            text = text.replace("§", str((0, 2, 3, 1)[n % 4]), 1)
    else:
        text = log(heading, cells)
    seen = guess(text)
    assert asked(seen) == keys
    assert all(each.why.endswith(".") for each in seen.questions)


SURE: list[tuple[str, str, str]] = [
    ("psi of a rig that sprays", "When,ISO strokes,ISO pressure", "{t},{n},1190"),
    ("kPa", "When,ISO strokes,ISO pressure", "{t},{n},8250"),
    ("only °F is so warm", "When,ISO strokes,ISO temp", "{t},{n},121"),
    ("a like column says it", "When,ISO strokes,ISO temp,Set temp °C", "{t},{n},48,50"),
    ("preamble says it", "Pressure unit: bar\nWhen,ISO strokes,ISO pressure", "{t},{n},86"),
    ("preamble names sides", "A = Resin\nWhen;Hübe A;Hübe B", "{t};{n};{n}"),
    ("preamble has the day", "Date: 24-May-2026\nTime,ISO strokes", "{t:%H:%M:%S},{n}"),
    ("dots in German", "Zeit;Hübe Iso;Hübe Harz", "04.03.2026 {t:%H:%M:%S};{n};{n}"),
    ("letters in English", "Time,A strokes,B strokes", "{t},{n},{n}"),
    ("both read alike", "Date,Time,ISO strokes", "03/03/2026,{t:%H:%M:%S},{n}"),
    ("a zone", "Time (UTC),ISO strokes", "{t},{n}"),
]


@pytest.mark.parametrize(
    ("heading", "cells"), [each[1:] for each in SURE], ids=[each[0] for each in SURE]
)
def test_what_the_file_settles_is_not_asked(heading: str, cells: str) -> None:
    assert guess(log(heading, cells)).questions == ()


def test_sides_by_chemical_name_in_one_column_hold_for_letters_in_the_others() -> None:
    head = "Horodatage;Coups A (résine);Coups B (iso);Temp. A °C;Temp. B °C"
    seen = guess(log(head, "{t:%d/%m/%Y %H:%M:%S};{n};{n};48,1;49,2"), facts=BERLIN)
    assert list(roles(seen).values())[1:] == [
        "strokes_b:strokes", "strokes_a:strokes", "temp_b:C", "temp_a:C",
    ]  # fmt: skip


@pytest.mark.parametrize("order", ["%m/%d/%Y", "%d/%m/%Y"])
@pytest.mark.parametrize("is_backward", [False, True])
def test_midnight_decides_the_order(order: str, is_backward: bool) -> None:
    start = datetime(2026, 3, 4, 23, 58)  # noqa: DTZ001
    text = log("", f"{{t:{order}}},{{t:%H:%M:%S}},{{n}}", start=start)
    lines = text.splitlines()
    seen = guess("\n".join(["Date,Time,ISO strokes", *(lines[::-1] if is_backward else lines)]))
    assert seen.questions == ()
    assert seen.layout.date_order == ("mdy" if order.startswith("%m") else "dmy")
    assert seen.layout.newest_first == is_backward


def test_twelve_hours_without_am_and_pm() -> None:
    start = datetime(2026, 5, 24, 11, 30)  # noqa: DTZ001
    text = log(
        "Date,Time,ISO strokes", "{t:%Y-%m-%d},{t:%I:%M:%S},{n}", rows=200, start=start, step_s=30
    )
    assert asked(guess(text)) == {"clock"}
    assert guess(text, answers={"clock": "PM"}).layout.clock == "12pm"
    assert guess(text, answers={"clock": "24"}).layout.clock == "24"


def test_the_whole_file_may_decide_what_its_sample_did_not() -> None:
    text = log("Date,Time,ISO strokes", "03/04/2026,{t:%H:%M:%S},{n}")
    found = Evidence(cells=("03/04/2026 23:59:59", "04/04/2026 00:00:00"))
    seen = guess(text, evidence=found)
    assert (seen.layout.date_order, seen.questions) == ("dmy", ())


def test_a_large_file_is_looked_at_in_its_middle_and_its_end() -> None:
    start = datetime(2026, 3, 4, 9, 0)  # noqa: DTZ001
    cells = "{t:%d/%m/%Y},{t:%H:%M:%S},{n},{n},121.5,1190,118.2,0,0,0,0"
    text = log(
        "Date,Time,ISO strokes,RES strokes,ISO F,ISO psi,Hose F,,,,",
        cells,
        rows=30_000,
        start=start,
    )
    sample = sample_of(BytesIO(text.encode()))
    assert len(sample.head) + len(sample.tail) + sum(map(len, sample.pieces)) < 400_000
    seen = understand(sample, facts=CHICAGO, answers={})
    assert (seen.layout.date_order, seen.questions) == ("dmy", ())


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_midnight_deep_inside_a_large_file(encoding: str) -> None:
    start = datetime(2026, 3, 4, 20, 0)  # noqa: DTZ001
    text = log(
        "Date,Time,ISO strokes", "{t:%m/%d/%Y},{t:%H:%M:%S},{n}", rows=30_000, start=start, step_s=1
    )
    seen = guess(text.encode(encoding))
    assert (seen.layout.date_order, seen.questions) == ("mdy", ())


def test_a_sensor_without_a_value() -> None:
    lines = log("When,ISO strokes,ISO temp C", "{t},{n},48.5").splitlines()
    lines[20:30] = [each.replace("48.5", "850") for each in lines[20:30]]
    lines[40] = lines[40].replace("48.5", "---")
    seen = guess("\n".join(lines))
    assert seen.questions == ()
    assert ("temp_a", 850.0) in seen.layout.out_of_range
    assert "---" in seen.layout.missing
