"""What stands around the rows and between the cells changes no day."""

from collections.abc import Callable

import pytest

from .layouts import Written
from .named import BERLIN, GERMAN, US, plan, style_of, written
from .oracle import differences, truth_of
from .style import When
from .subject import talk

US_LOG = written(plan(), style_of(("time=Timestamp",), US))
GERMAN_LOG = written(
    plan("2026-04-23 06:40:00", rig=BERLIN),
    style_of(
        ("date=Datum", "clock=Uhrzeit"), GERMAN, when=When(order="dmy", separator="."),
        delimiter=";", decimal=",", language="de",
    ),
)  # fmt: skip

Wrap = Callable[[list[str], str], str]


def with_cells(change: Callable[[str, int], str]) -> Wrap:
    """Change each cell, given the number of its line, 0 first."""

    def wrap(lines: list[str], mark: str) -> str:
        out = (mark.join(change(c, n) for c in line.split(mark)) for n, line in enumerate(lines))
        return "\n".join(out) + "\n"

    return wrap


def whole(lines: list[str]) -> str:
    return "\n".join(lines) + "\n"


WRAPS: dict[str, Wrap] = {
    "as it is": lambda lines, d: whole(lines),
    "a delimiter at each end": lambda lines, d: whole([line + d for line in lines]),
    "a delimiter at the end of rows only": lambda lines, d: whole(
        [line + (d if n else "") for n, line in enumerate(lines)]
    ),
    "an empty first column": lambda lines, d: whole([d + line for line in lines]),
    "a line that names the delimiter": lambda lines, d: whole([f"sep={d}", *lines]),
    "comments": lambda lines, d: whole(["# Controller 4", "# firmware 2", *lines]),
    "headings behind a comment mark": lambda lines, d: whole(["# " + lines[0], *lines[1:]]),
    "blanks behind delimiters": lambda lines, d: whole([x.replace(d, d + " ") for x in lines]),
    "cells of one width": with_cells(lambda cell, n: cell.rjust(30)),
    "blanks alone between columns": lambda lines, d: with_cells(
        lambda cell, n: cell.replace(" ", " " if n else "_").rjust(30)
    )(lines, d).replace(d, "  "),
    "end of file as old systems mark it": lambda lines, d: whole(lines) + "\x1a",
    "a file that was reserved in full": lambda lines, d: whole(lines) + "\0" * 600,
    "carriage returns alone": lambda lines, d: whole(lines).replace("\n", "\r"),
    "two carriage returns": lambda lines, d: whole(lines).replace("\n", "\r\r\n"),
    "a blank line behind each": lambda lines, d: whole(lines).replace("\n", "\n\n"),
    "blank lines first": lambda lines, d: "\n\n\n" + whole(lines),
    "no newline at the end": lambda lines, d: whole(lines).rstrip("\n"),
    "control characters first": lambda lines, d: "\x02\x03" + whole(lines),
    "sixty lines of parameters": lambda lines, d: whole(
        [*(f"Parameter {n}{d} {n * 3}" for n in range(60)), *lines]
    ),
    "a small table of set points": lambda lines, d: whole(
        [d.join(("Set", "A", "B", "Hose")), d.join(("Temp", "120", "120", "118")), "", *lines]
    ),
    "a total as wide as a row": lambda lines, d: whole([*lines, "Total" + d * lines[0].count(d)]),
    "a summary behind": lambda lines, d: whole(
        [*lines, "", "Summary", f"Max temp{d}131.2", f"Min temp{d}110"]
    ),
}


@pytest.mark.parametrize("name", WRAPS)
@pytest.mark.parametrize("log", [US_LOG, GERMAN_LOG], ids=["us", "german"])
def test_what_stands_around_changes_nothing(name: str, log: Written) -> None:
    text = WRAPS[name](log.data.decode().splitlines(), log.style.delimiter)
    talked = talk(log, text.encode())
    assert not talked.asked
    assert differences(talked.days, truth_of(log.rows, log.rig)) == []


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le", "utf-32", "cp1252"])
@pytest.mark.parametrize("log", [US_LOG, GERMAN_LOG], ids=["us", "german"])
def test_the_encoding_changes_nothing(encoding: str, log: Written) -> None:
    talked = talk(log, log.data.decode().encode(encoding))
    assert not talked.asked
    assert differences(talked.days, truth_of(log.rows, log.rig)) == []
