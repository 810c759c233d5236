"""The layout of a log nobody has seen, and the questions that its text leaves open."""

from collections.abc import Callable, Iterable
from datetime import date, datetime, timedelta
from io import BytesIO
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.blocks import RigFacts
from equipment.shiftlogs.guessing.cells import number, read_clock, read_date, read_moment
from equipment.shiftlogs.guessing.guess import Evidence, Understanding, sample_of, understand
from equipment.shiftlogs.guessing.headings import read_heading
from equipment.shiftlogs.guessing.words import LOUD, UNITS
from equipment.shiftlogs.layout import AnswerRefused, Layout, LogRefused

CHICAGO = RigFacts(zone=ZoneInfo("America/Chicago"))
BERLIN = RigFacts(zone=ZoneInfo("Europe/Berlin"))
START = datetime(2026, 5, 24, 7, 10)  # noqa: DTZ001 wall time, as a log has it


def guess(text: str | bytes, *, facts: RigFacts = CHICAGO, **details: Any) -> Understanding:
    data = text.encode() if isinstance(text, str) else text
    answers = details.pop("answers", {})
    return understand(sample_of(BytesIO(data)), facts=facts, answers=answers, **details)


def asked(understood: Understanding) -> set[str]:
    return {each.key for each in understood.questions}


def roles(understood: Understanding) -> dict[str, str]:
    return {
        each.heading: f"{each.role}:{each.unit}".rstrip(":") for each in understood.layout.columns
    }


def log(
    headings: str, cells: str, *, rows: int = 60, start: datetime = START, step_s: int = 5
) -> str:
    """Write a log. In `cells`, {t:…} is the time, {n} a number that rises with each row."""
    lines = [headings] if headings else []
    for n in range(rows):
        lines.append(cells.format(t=start + timedelta(seconds=step_s * n), n=1000 + 2 * n, i=n))
    return "\n".join(lines) + "\n"


# --- cells ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("2026-03-04", "ymd", date(2026, 3, 4)),
        ("20260304", "ymd", date(2026, 3, 4)),
        ("2026年3月4日", "ymd", date(2026, 3, 4)),
        ("2026. 3. 4.", "ymd", date(2026, 3, 4)),
        ("04.03.2026", "dmy", date(2026, 3, 4)),
        ("3/4/26", "mdy", date(2026, 3, 4)),
        ("4. März 2026", "dmy", date(2026, 3, 4)),
        ("Mar 04, 2026", "mdy", date(2026, 3, 4)),
        ("04-mrt-26", "dmy", date(2026, 3, 4)),
        ("4 de marzo de 2026", "dmy", date(2026, 3, 4)),
        ("Wed 04/03/2026", "dmy", date(2026, 3, 4)),
        ("mié. 04/03/2026", "dmy", date(2026, 3, 4)),
    ],
)
def test_dates(text: str, order: str, day: date) -> None:
    cell = read_date(text)
    assert cell is not None
    assert order in cell.orders
    assert cell.day(order) == day


@pytest.mark.parametrize(
    "text", ["31/02/2026", "2026-13-40", "1234", "1,234.5", "Mon", "04/03", ""]
)
def test_no_dates(text: str) -> None:
    assert read_date(text) is None


def test_a_weekday_leaves_one_order() -> None:
    """4 March 2026 is a Wednesday, 3 April a Friday."""
    wednesday, friday = read_date("Wed 04/03/2026"), read_date("Fri 04/03/2026")
    assert wednesday is not None
    assert friday is not None
    assert (wednesday.orders, friday.orders) == (("dmy",), ("mdy",))


@pytest.mark.parametrize(
    ("text", "us"),
    [
        ("07:00", 25_200_000_000),
        ("7:00:00.250", 25_200_250_000),
        ("07.00.00", 25_200_000_000),
        ("07h00", 25_200_000_000),
        ("070000", 25_200_000_000),
        ("12:00:00 AM", 0),
        ("12:30 p.m.", 45_000_000_000),
        ("24:00:00", 86_400_000_000),
    ],
)
def test_times_of_day(text: str, us: int) -> None:
    clock = read_clock(text)
    assert clock is not None
    assert clock.us == us


@pytest.mark.parametrize("text", ["25:00", "07:61", "13:00 AM", "12", "abc", "7.5"])
def test_no_times_of_day(text: str) -> None:
    assert read_clock(text) is None


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("2026-03-04 07:00:00", ""),
        ("2026-03-04T07:00:00Z", "Z"),
        ("2026-03-04T07:00:00.5+01:00", "+01:00"),
        ("04.03.2026, 07:00 MEZ", "MEZ"),
        ("Mar 04, 2026 07:00:00 AM", ""),
        ("20260304070000", ""),
        ("07:00:00 04/03/2026", ""),
    ],
)
def test_moments(text: str, zone: str) -> None:
    moment = read_moment(text)
    assert moment is not None
    assert moment[1].us // 3_600_000_000 == 7
    assert moment[1].zone == zone


@pytest.mark.parametrize(
    ("text", "decimal", "grouping", "value"),
    [
        ("1,234.5", ".", ",", 1234.5),
        ("1.234,5", ",", ".", 1234.5),
        ("1 234,5", ",", " ", 1234.5),
        ("1'234.5", ".", "'", 1234.5),
        ("\u22123.5", ".", "", -3.5),
        ("1200 psi", ".", "", 1200.0),
        ("48,5 °C", ",", "", 48.5),
        ("12,34", ".", ",", None),
        ("1.5", ",", "", None),
        ("1x7", ".", "", None),
        ("", ".", "", None),
    ],
)
def test_numbers(text: str, decimal: str, grouping: str, value: float | None) -> None:
    assert number(text, decimal=decimal, grouping=grouping) == value


# --- headings ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "quantity", "side", "unit"),
    [
        ("ISO temp (°F)", "temp", "iso", "F"),
        ("IsoPressPSI", "pressure", "iso", "psi"),
        ("Schlauchtemperatur [°C]", "temp", "hose", "C"),
        ("Isohübe", "strokes", "iso", ""),
        ("Doppelhübe Harz", "cycles", "resin", ""),
        ("Nombre de coups A", "strokes", "A", ""),
        ("Presión Resina kPa", "pressure", "resin", "kPa"),
        ("flow_total_resin_l", "volume", "resin", "l"),
        ("Débit B l/min", "flow", "B", "l/min"),
        ("tempa", "temp", "A", ""),
        ("A-Pres", "pressure", "A", ""),
        ("Strokes (A)", "strokes", "A", ""),
        ("Temp_1_C", "temp", "1", "C"),
    ],
)
def test_headings(text: str, quantity: str, side: str, unit: str) -> None:
    heading = read_heading(text)
    assert (heading.quantity, heading.side, heading.unit) == (quantity, side, unit)
    assert not heading.is_decoy


@pytest.mark.parametrize(
    "text",
    [
        "ISO temp set", "A Temp SP", "Solltemperatur Iso", "Consigne pression", "Alarm", "Ratio",
        "Heater A (A)", "Heizstrom", "Ambient temp F", "Außentemperatur", "Battery V", "Temp A max",
        "Strokes/min", "Hübe pro Minute", "A strokes per minute", "ISO drum temp F", "Hyd oil temp",
        "RES transfer pump strokes", "ISO inlet temp F", "A used (kg)", "Compressor hours",
    ],
)  # fmt: skip
def test_headings_of_something_else(text: str) -> None:
    assert read_heading(text).is_decoy


@given(
    words=st.lists(
        st.sampled_from(sorted({*LOUD, *UNITS, *"ABCFPTblis12°", "iso", "temp", "psi", "Hose"})),
        max_size=5,
    ),
    between=st.sampled_from(["", " ", "_", "/", "-", " (", "]", ". ", "° "]),
    below=st.sampled_from(["", *sorted(UNITS)]),
)
@settings(max_examples=400, deadline=None)
def test_any_heading_is_read(words: list[str], between: str, below: str) -> None:
    for text in (between.join(words), between.join(words).upper(), between.join(words).title()):
        heading = read_heading(text, below)
        assert heading.unit in {"", "?", *UNITS.values()}


# --- layouts ----------------------------------------------------------------------------------

US = "Time,ISO strokes,RES strokes,ISO temp (F),ISO psi"
US_CELLS = "{t:%Y-%m-%d %H:%M:%S},{n},{n},121.5,1190"


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

DOUBTS: list[tuple[str, str, str, set[str]]] = [
    ("date", "Date,Time,ISO strokes", "03/04/2026,{t:%H:%M:%S},{n}", {"date_order"}),
    ("two-digit year", "When,ISO strokes", "26/03/04 {t:%H:%M:%S},{n}", {"date_order"}),
    ("no date", "Time,ISO strokes", "{t:%H:%M:%S},{n}", {"date"}),
    ("count", "When,ISO count,RES count", "{t},{n},{n}", {"counts"}),
    ("bar or psi", "When,ISO strokes,ISO pressure", "{t},{n},86", {"pressure_unit"}),
    ("F or C", "When,ISO strokes,ISO temp", "{t},{n},61", {"temp_unit"}),
    ("letters", "Zeit;Hübe A;Druck A bar", "{t};{n};86,5", {"sides"}),
    ("left", "When,Left strokes,Right strokes", "{t},{n},{n}", {"sides"}),
    ("no headings", "", "{t},{n},{n}", {"columns"}),
    ("two alike", "When,ISO strokes,Hose 1 F,Hose 2 F", "{t},{n},118.{i},119.{i}", {"columns"}),
    ("no side", "When,Strokes,Temp A F", "{t},{n},120", {"columns"}),
    ("no counter", "When,ISO strokes", "{t},{i:b}", {"columns"}),
    ("zone", "Time (BST),ISO strokes", "{t},{n}", {"zone"}),
    ("tenths", "When,ISO strokes,ISO temp F", "{t},{n},1215", {"columns"}),
    ("hotter than foam", "When,ISO strokes,ISO temp °C", "{t},{n},122.5", {"columns"}),
    ("flow alone", "When,ISO flow", "{t},{n}", {"columns"}),
]  # fmt: skip


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


# --- answers ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("key", "given", "read"),
    [
        ("date_order", "day first", lambda seen: seen.layout.date_order == "dmy"),
        ("date_order", "MDY", lambda seen: seen.layout.date_order == "mdy"),
        ("temp_unit", "Celsius", lambda seen: seen.layout.column("temp_a").unit == "C"),
        ("pressure_unit", "BAR", lambda seen: seen.layout.column("pressure_a").unit == "bar"),
        ("counts", "there-and-back", lambda seen: seen.layout.column("strokes_a").unit == "cycles"),
        ("sides", "B = iso", lambda seen: seen.layout.column("strokes_a").index == 2),
        ("sides", "a_is_resin", lambda seen: seen.layout.column("strokes_a").index == 2),
        ("zone", "europe/berlin", lambda seen: seen.layout.zone == "Europe/Berlin"),
        ("zone", "UTC+2", lambda seen: seen.layout.zone == "+02:00"),
        ("zone", "shop", lambda seen: seen.layout.zone == ""),
        ("columns", "Zähler A=B cycles; strokes_a=3", lambda seen: seen.layout.column("strokes_b").unit == "cycles"),  # noqa: E501
        ("columns", "Zähler A=strokes_b:cycles; 3=other", lambda seen: seen.layout.column("strokes_a") is None),  # noqa: E501
    ],
)  # fmt: skip
def test_answers_are_read_generously(
    key: str, given: str, read: Callable[[Understanding], bool]
) -> None:
    text = log("When;Zähler A;Zähler B;Temp A;Druck A", "03/04/2026 {t:%H:%M:%S};{n};{n};48,5;86,5")
    assert {"date_order", "counts", "sides", "temp_unit", "pressure_unit"} == asked(guess(text))
    seen = guess(text, answers={key: given})
    assert key not in asked(seen)
    assert read(seen)


@pytest.mark.parametrize(
    ("key", "given"),
    [
        ("date_order", "perhaps"), ("temp_unit", "K"), ("pressure_unit", "atm"), ("counts", "many"),
        ("sides", "both"), ("zone", "CST"), ("zone", "Nowhere/Town"), ("columns", "9=strokes_a"),
        ("columns", "2=engine"),
        ("columns", "2=time"), ("columns", "2=temp_a:bar"), ("columns", "rubbish"),
        ("columns", "1=strokes_a, 2=strokes_a"), ("clock", "noon-ish"),
    ],
)  # fmt: skip
def test_other_answers_are_refused_by_their_key(key: str, given: str) -> None:
    text = log("When;Zähler A;Temp A;Druck A", "03/04/2026 {t:%I:%M:%S};{n};48,5;86,5", rows=9000)
    with pytest.raises(AnswerRefused) as refusal:
        guess(text, answers={key: given})
    assert refusal.value.key == key


def test_an_answer_against_the_evidence_is_refused() -> None:
    text = log("When,ISO strokes", "25/03/2026 {t:%H:%M:%S},{n}")
    with pytest.raises(AnswerRefused, match="25/03/2026"):
        guess(text, answers={"date_order": "mdy"})


def test_columns_for_a_log_without_headings() -> None:
    text = log("", "{t},{n},{n},121")
    said = "1=time, 2=strokes_b:cycles, 3=strokes_a:cycles, 4=temp_a"
    seen = guess(text, answers={"columns": said})
    assert seen.questions == ()
    assert [each.role for each in seen.layout.columns] == [
        "time",
        "strokes_b",
        "strokes_a",
        "temp_a",
    ]


def test_the_day_of_a_log_without_dates() -> None:
    text = log("Time,ISO strokes", "{t:%H:%M:%S},{n}")
    assert guess(text, answers={"date": "24 May 2026"}).date == date(2026, 5, 24)
    assert "2026-05-24" in guess(text, name="rig3_20260524.csv").questions[0].why
    with pytest.raises(AnswerRefused):
        guess(text, answers={"date": "03/04/2026"})


def test_elapsed_seconds_begin_where_the_preamble_says() -> None:
    text = log("Start: 2026-05-24T12:00:00Z\nElapsed (s),ISO strokes", "{i},{n}")
    assert guess(text).date == datetime(2026, 5, 24, 7, 0)  # noqa: DTZ001 UTC−5 in May


# --- a known layout ---------------------------------------------------------------------------


def test_a_known_layout_finds_its_columns_by_their_headings() -> None:
    first = guess(log("When,ISO count,RES count", "{t},{n},{n}"), answers={"counts": "cycles"})
    seen = guess(log("RES count,When,ISO count", "{n},{t},{n}"), layout=first.layout)
    assert seen.questions == ()
    assert list(roles(seen).values()) == ["strokes_b:cycles", "time", "strokes_a:cycles"]


def test_a_layout_that_does_not_fit_says_so() -> None:
    first = guess(log("When,ISO count,RES count", "{t},{n},{n}")).layout
    for other in ("When,ISO count,RES count,Note", "When,ISO count,RES level", ""):
        cells = "{t},{n},{n},x" if other.endswith("Note") else "{t},{n},{n}"
        with pytest.raises(LogRefused, match="does not fit"):
            guess(log(other, cells), layout=first)


def test_a_layout_brings_the_order_of_dates_if_it_knew_it() -> None:
    head, cells = "When,ISO strokes", "{}/{}/2026 {{t:%H:%M:%S}},{{n}}"
    sure = guess(log(head, cells.format("25", "03"))).layout
    alike = guess(log(head, cells.format("03", "03"))).layout
    doubtful = log(head, cells.format("03", "04"))
    assert guess(doubtful, layout=sure).layout.date_order == "dmy"
    assert asked(guess(doubtful, layout=alike)) == {"date_order"}
    with pytest.raises(LogRefused, match="does not fit"):
        guess(log(head, cells.format("03", "25")), layout=sure)


# --- what is no log ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\n \n", "empty"),
        (b"PK\x03\x04\x14\x00", "Save the sheet as CSV"),
        (b"%PDF-1.7", "PDF"),
        (b"\x89PNG\r\n", "picture"),
        (b"<!DOCTYPE html><html>", "web page"),
        (bytes(range(256)) * 20, "binary"),
        (b"Hello Joe,\n\nthe rig is back.\nBest, Ann\n", "No table|No row"),
        (b"Part,Name,Qty\nA-1,O-ring,12\nA-2,Packing,3\n", "No row|No column tells the time"),
        (b"Date,Part,Qty\n2026-05-01,1201,12\n2026-05-02,1202,3\n", "no time of day"),
        (b"Time,ISO strokes\n", "No row|No table"),
        (
            b"Time,Iso strokes\n46166.25,1\n46166.26,2\n46166.27,3\n",
            "spreadsheet's numbers of days",
        ),
        (
            b"When,Iso strokes,Iso temp\n" + b"2026-05-01 07:00:00,12,48,5\n" * 9,
            "commas stand both",
        ),
        (b"When,Volts\n" + b"2026-05-01 07:00:00,13.2\n" * 9, "No column tells what a rig did"),
    ],
)
def test_what_is_no_log_is_refused_in_words(data: bytes, words: str) -> None:
    with pytest.raises(LogRefused, match=words):
        guess(data)


def test_columns_that_change_on_the_way_are_refused() -> None:
    text = log(US, US_CELLS) + log("Time,RES strokes,ISO strokes,ISO temp (F),ISO psi", US_CELLS)
    with pytest.raises(LogRefused, match="change on line 62"):
        guess(text)


def _torn(draw: Callable[..., Any], text: bytes) -> bytes:
    data = bytearray(text)
    for at, byte in draw(
        st.lists(st.tuples(st.integers(0, len(data) - 1), st.integers(0, 255)), max_size=30)
    ):
        data[at] = byte
    start, end = draw(st.integers(0, 300)), draw(st.integers(0, len(data)))
    return bytes(data[start : max(start, end)])


@st.composite
def spoilt_logs(draw: Callable[..., Any]) -> bytes:
    text = draw(st.sampled_from([log(US, US_CELLS), *(log(*each[1:3]) for each in DOUBTS[:9])]))
    return _torn(draw, text.encode(draw(st.sampled_from(["utf-8", "utf-16", "latin-1"]))))


def _only_refusals(data: bytes, answers: Iterable[tuple[str, str]] = ()) -> None:
    try:
        seen = guess(data, answers=dict(answers))
    except (LogRefused, AnswerRefused):
        return
    assert len(seen.layout.columns) == seen.layout.width
    assert Layout.from_json(seen.layout.to_json()) == seen.layout


@given(data=st.binary(max_size=3000))
@settings(max_examples=200, deadline=None)
def test_any_bytes_are_guessed_or_refused(data: bytes) -> None:
    _only_refusals(data)


@given(data=spoilt_logs())
@settings(max_examples=200, deadline=None)
def test_spoilt_logs_are_guessed_or_refused(data: bytes) -> None:
    _only_refusals(data)


@given(
    text=st.text(alphabet="0123456789,;:.-/ \n\t\"'ABTtempisoFC°|apmPMZ+", max_size=800),
    answers=st.lists(
        st.tuples(
            st.sampled_from(["columns", "date", "zone", "sides", "date_order", "clock"]),
            st.text(alphabet="0123456789=:,_ abstrokesmpiZ/+", max_size=30),
        ),
        max_size=2,
    ),
)
@settings(max_examples=300, deadline=None)
def test_any_text_and_answers_are_guessed_or_refused(
    text: str, answers: list[tuple[str, str]]
) -> None:
    _only_refusals(text.encode(), answers)
