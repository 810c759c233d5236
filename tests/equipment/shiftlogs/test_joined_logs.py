"""One day in several files, as text: cut in two, overlapping, and the same file twice."""

from collections.abc import Sequence
from dataclasses import replace

import pytest

from .layouts import Written, write
from .named import BERLIN, GERMAN, MORNING, US, plan, style_of
from .oracle import differences, truth_of
from .style import Style, When
from .subject import talk
from .world import Plan, Row, Stretch, run

NIGHT = Stretch(14 * 3600, logged=False)
LOGS: dict[str, tuple[Plan, Style]] = {
    "us": (
        plan(
            "2026-03-14 07:10:00", *MORNING, Stretch(900, 30, logged=False), Stretch(600, 40),
            Stretch(600, 45, resets="ab"),
        ),
        style_of(("time=Date/Time",), US, when=When(order="mdy", separator="/", clock="12")),
    ),
    "german": (
        plan("2026-04-23 06:40:00", rig=BERLIN),
        style_of(
            ("date=Datum", "clock=Uhrzeit"), GERMAN, when=When(order="dmy", separator="."),
            delimiter=";", decimal=",", encoding="cp1252", newline="\r\n", language="de",
        ),
    ),
    "newest first": (plan(), style_of(("epoch:s=Unix time",), US, newest_first=True)),
    "two days": (
        plan("2026-09-16 13:00:00", *MORNING, NIGHT, *MORNING), style_of(("time=Timestamp",), US)
    ),
    "through the autumn change": (
        plan("2026-11-01 00:20:00", Stretch(3 * 3600, 40), step_s=30),
        style_of(("time=Timestamp",), US, when=When(joiner="T", zone="offset")),
    ),
}  # fmt: skip


def made(name: str) -> tuple[list[Row], Style, Written]:
    world, style = LOGS[name]
    rows = run(world)
    return rows, style, write(rows, style, world.rig)


def parts(rows: Sequence[Row], style: Style, log: Written, *cuts: slice) -> list[bytes]:
    return [write(rows[cut], style, log.rig).data for cut in cuts]


@pytest.mark.parametrize("name", LOGS)
@pytest.mark.parametrize("share", [0.1, 0.5, 0.77])
def test_a_log_in_two_files_is_the_log_in_one(name: str, share: float) -> None:
    rows, style, log = made(name)
    cut = int(len(rows) * share)
    truth = truth_of(log.rows, log.rig)
    first, second = parts(rows, style, log, slice(cut), slice(cut, None))
    assert differences(talk(log, first, second).days, truth) == []
    assert differences(talk(log, second, first).days, truth) == []


@pytest.mark.parametrize("name", LOGS)
def test_overlapping_halves_are_the_log_in_one(name: str) -> None:
    rows, style, log = made(name)
    truth = truth_of(log.rows, log.rig)
    third = len(rows) // 3
    files = parts(rows, style, log, slice(2 * third), slice(third, None), slice(third, 2 * third))
    talked = talk(log, *files)
    assert "overlap" not in talked.asked
    assert differences(talked.days, truth) == []


@pytest.mark.parametrize("name", LOGS)
def test_the_same_file_twice_is_the_file_once(name: str) -> None:
    _, _, log = made(name)
    assert talk(log, log.data, log.data).days == talk(log).days


def test_halves_in_two_layouts_join_too() -> None:
    """The controller's settings were changed at noon: other headings, order and units."""
    rows, style, log = made("us")
    other = replace(
        style_of(("time=Zeitstempel",), GERMAN), delimiter=";", decimal=",", language="de"
    )
    cut = len(rows) // 2
    first, second = write(rows[:cut], style, log.rig), write(rows[cut:], other, log.rig)
    truth = truth_of([*first.rows, *second.rows], log.rig)
    assert differences(talk(log, first.data, second.data).days, truth) == []


def test_a_contradicting_overlap_is_asked_about() -> None:
    rows, style, log = made("us")
    other = [
        replace(row, values={**row.values, "strokes_b": int(row.values["strokes_b"] or 0) + 7})
        for row in rows[200:400]
    ]
    talked = talk(replace(log, answers={**log.answers, "overlap": "earlier"}), log.data,
                  write(other, style, log.rig).data)  # fmt: skip
    assert "overlap" in talked.asked
