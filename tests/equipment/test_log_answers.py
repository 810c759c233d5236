"""Answers to what a log left open, layouts known from before, and what is no log."""

from collections.abc import Callable, Iterable
from datetime import date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.guessing.guess import Understanding
from equipment.shiftlogs.layout import AnswerRefused, Layout, LogRefused
from tests.equipment.log_guessing import DOUBTS, US, US_CELLS, asked, guess, log, roles

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
