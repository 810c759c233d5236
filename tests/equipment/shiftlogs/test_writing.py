"""The writer of logs: what it writes is what it says, and what it calls a doubt is one."""

from datetime import UTC, datetime
from typing import Any

import pytest

from . import named
from .doubts import MUST
from .drawn import Draw
from .headings import MONTHS
from .layouts import clock_text, day_text, grouped, write
from .named import LOGS, MUST_ASK
from .oracle import truth_of
from .style import Style, When
from .world import Rig, Row


def test_a_small_log_letter_by_letter() -> None:
    """122.04 °F are (122.04 − 32)/1.8 = 50.02 °C; 1,200 psi 82.74 bar; 1,235 strokes 617 cycles."""
    rows = [
        Row(datetime(2026, 3, 4, 13, 5, 5, tzinfo=UTC), values, True)
        for values in (
            {"strokes_a": 1235, "temp_a": 122.04, "pressure_a": 1200.0},
            {"strokes_a": 2010, "temp_a": None, "pressure_a": 1200.0},
        )
    ]
    style = Style(
        name="small",
        cols=named.cols(
            "time=Zeit", "strokes_a:cycles=Zyklen", "temp_a:C.1=°C", "pressure_a:bar.2=bar"
        ),
        when=When(order="dmy", separator=".", year=2),
        delimiter=";",
        decimal=",",
        grouping=".",
        missing="---",
        encoding="latin-1",
        newline="\r\n",
    )
    made = write(rows, style, Rig(zone="Europe/Berlin"))
    assert made.data == (
        "Zeit;Zyklen;°C;bar\r\n"
        "04.03.26 14:05:05;617;50,0;82,74\r\n"
        "04.03.26 14:05:05;1.005;---;82,74\r\n"
    ).encode("latin-1")
    assert [row.values["strokes_a"] for row in made.rows] == [1234, 2010]
    assert made.rows[0].values["temp_a"] == pytest.approx(122)
    assert made.rows[1].values["temp_a"] is None
    assert made.answers["columns"] == "1=time, 2=strokes_a:cycles, 3=temp_a:C, 4=pressure_a:bar"


@pytest.mark.parametrize(
    ("when", "day", "clock"),
    [
        (When(), "2026-03-04", "14:05:09"),
        (When(order="mdy", separator="/", clock="12"), "03/04/2026", "02:05:09 PM"),
        (When(order="dmy", separator=".", year=2, is_padded=False), "4.3.26", "14:05:09"),
        (When(order="month", separator="-", clock="12?"), "04-Mar-2026", "02:05:09"),
        (When(order="first", seconds=False), "Mar 04, 2026", "14:05"),
        (When(order="month", separator=" ", months=MONTHS["de"]), "04 Mär 2026", "14:05:09"),
    ],
)
def test_moments(when: When, day: str, clock: str) -> None:
    moment = datetime(2026, 3, 4, 14, 5, 9, tzinfo=UTC)
    assert day_text(moment.date(), when) == day
    assert clock_text(moment, when) == clock


def test_numbers_with_thousands() -> None:
    style = Style(name="", cols=(), decimal=",", grouping=".")
    assert grouped("1234567.5", style) == "1.234.567,5"
    assert grouped("-40", style) == "-40"


@pytest.mark.parametrize("name", LOGS)
def test_the_doubts_of_a_named_log_are_those_written_down(name: str) -> None:
    doubts = LOGS[name]().doubts
    assert {key for key, how in doubts.items() if how == MUST} == MUST_ASK[name]


@pytest.mark.parametrize("name", LOGS)
def test_a_named_log_is_written_alike_each_time(name: str) -> None:
    assert LOGS[name]().data == LOGS[name]().data


def test_draws_are_reproducible_and_varied() -> None:
    """Each feature that the draws promise comes up among them."""
    draws = [Draw(number) for number in range(120)]
    assert Draw(7).written.data == draws[7].written.data
    styles = [draw.written.style for draw in draws]
    promised: dict[str, set[Any]] = {
        "delimiter": {",", ";", "\t", "|"},
        "language": {"en", "de", "fr", "es"},
        "decimal": {".", ","},
        "newest_first": {True, False},
        "has_headings": {True, False},
        "is_torn": {True, False},
        "sides": {"chemical", "letters", "letters swapped", "crossed", "numbers"},
    }
    for what, values in promised.items():
        assert values <= {getattr(style, what) for style in styles}, what
    assert {style.encoding for style in styles} >= {"utf-8", "utf-8-mark", "cp1252", "latin-1"}
    assert any(style.encoding.startswith("utf-16") for style in styles)
    days = [day for draw in draws for day in truth_of(draw.written.rows, draw.rig).days]
    assert any(day["at_least"] for day in days)
    assert any(day["resets"]["a"] for day in days)
    assert any(day["gap_minutes"] for day in days)
    assert sum(bool(day["minutes_off_ratio"]) for day in days) > 20
