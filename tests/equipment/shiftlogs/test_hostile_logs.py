"""Whatever bytes it is given, the importer refuses in words, asks, or reads; it never breaks."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from equipment.shiftlogs.layout import KEYS, AnswerRefused, LogRefused

from .drawn import Draw
from .layouts import write
from .named import LOGS, US, plan, style_of
from .style import When
from .subject import Look, look
from .world import Rig, Stretch, run

HOSTILE = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.data_too_large]
)
SHORT = plan("2026-03-04 07:10:00", Stretch(60), Stretch(120, 50), Stretch(60))


def small(**details: object) -> bytes:
    style = style_of(("time=Date/Time",), (*US, "running=Pump on"), **details)
    return write(run(SHORT), style, Rig()).data


#: A few short logs whose bytes are then spoilt.
SEEDS = (
    small(),
    small(delimiter=";", decimal=",", encoding="utf-16-le-mark"),
    small(when=When(order="mdy", separator="/", clock="12"), encoding="utf-8-mark"),
    small(has_headings=False, delimiter="\t", newline="\r\n"),
    small(newest_first=True, encoding="cp1252", repeat_headings_every=10, blank_every=7),
    small(when=When(joiner="T", zone="offset"), quoting=1, footer=("", "end")),
)
#: What a person who knows nothing of the file might say to everything.
ANSWERS = {
    "date_order": "mdy", "date": "2026-03-04", "zone": "shop", "clock": "24", "counts": "strokes",
    "pressure_unit": "psi", "temp_unit": "F", "sides": "a_is_iso", "bad_rows": "skip",
    "overlap": "earlier", "duplicates": "first", "reset": "reset",
    "columns": "1=time, 2=strokes_a:strokes, 3=strokes_b:strokes",
}  # fmt: skip


def survives(*files: bytes, answers: dict[str, str] | None = None) -> None:
    """Refused in words for the person, asked in words, or read to days that add up."""
    try:
        seen = look(*files, rig=Rig(), answers=answers)
    except (LogRefused, AnswerRefused) as refused:
        said = str(refused)
    else:
        adds_up(seen)
        return
    assert len(said) > 10


def adds_up(seen: Look) -> None:
    for question in seen.questions:
        assert question.key in KEYS
        assert question.why
        assert question.choices or question.free
    for day in seen.days:
        for key in ("run_hours", "strokes_a", "strokes_b", "gallons", "gap_minutes"):
            value = day[key]
            assert value is None or (isinstance(value, int | float) and 0 <= value < 1e15), day


@HOSTILE
@given(st.binary(max_size=3_000))
def test_any_bytes(data: bytes) -> None:
    survives(data)
    survives(data, answers=ANSWERS)


@HOSTILE
@given(st.text(st.characters(codec="utf-8"), max_size=1_500), st.sampled_from(["utf-8", "utf-16"]))
def test_any_text(text: str, encoding: str) -> None:
    survives(text.encode(encoding))


@HOSTILE
@given(st.lists(st.lists(st.sampled_from([
    "", "0", "1", "-1", "1e400", "nan", "inf", "-inf", "1,5", "1.5", "99999999999999999999", "A",
    "2026-03-04", "2026-03-04 07:10:05", "03/04/2026", "31.02.2026", "0000-00-00", "25:61:61",
    "07:10:05", "12:00 AM", "2026-03-04T07:10:05+25:00", "9999-12-31 23:59:59", "0001-01-01",
    "1772608205", "1772608205000", "-9999", "ON", "OFF", "Strokes A", "Date", "Time", "°F", '"',
]), min_size=1, max_size=6), max_size=40), st.sampled_from(",;\t|"))  # fmt: skip
def test_any_table_of_telling_cells(rows: list[list[str]], delimiter: str) -> None:
    data = "\n".join(delimiter.join(row) for row in rows).encode()
    survives(data)
    survives(data, answers=ANSWERS)


HOW = ("head", "tail", "cut out", "twice", "backwards", "zeros", "insert", "another", "exchange")


@st.composite
def spoilt(draw: st.DrawFn) -> bytes:
    """A log that was cut, garbled, repeated, mixed or stretched, up to four times."""
    data = draw(st.sampled_from(SEEDS))
    for _ in range(draw(st.integers(1, 4))):
        start, end = sorted(draw(st.tuples(*[st.integers(0, len(data))] * 2)))
        before, piece, after = data[:start], data[start:end], data[end:]
        how = draw(st.sampled_from(HOW))
        if how == "exchange":
            old = draw(st.sampled_from([b",", b"\n", b".", b":", b"2026", b"0", b'"']))
            new = draw(st.sampled_from([b"", b";", b"\r", b"9", b'"', b"\0", b"\xff"]))
            data = data.replace(old, new)
        elif how == "insert":
            data = before + draw(st.binary(max_size=40)) + piece + after
        elif how == "another":
            data += draw(st.sampled_from(SEEDS))
        else:
            data = {
                "head": before,
                "tail": after,
                "cut out": before + after,
                "twice": before + piece + piece + after,
                "backwards": before + piece[::-1] + after,
                "zeros": before + bytes(len(piece)) + after,
            }[how]
        data = data[:60_000]
    return data


@HOSTILE
@given(spoilt())
def test_a_spoilt_log(data: bytes) -> None:
    survives(data)
    survives(data, answers=ANSWERS)


@settings(HOSTILE, max_examples=40)
@given(st.lists(spoilt(), min_size=2, max_size=3))
def test_spoilt_logs_joined(files: list[bytes]) -> None:
    survives(*files, answers=ANSWERS)


@HOSTILE
@given(
    st.sampled_from(SEEDS),
    st.dictionaries(
        st.sampled_from(KEYS),
        st.one_of(
            st.sampled_from([
                "", "mdy", "F", "2026-03-04", "2026-02-31", "Mars/Olympus", "+99:00", "1=time",
                "1=time, 1=date", "99=strokes_a", "0=time", "time=1", "2=strokes_a:furlongs",
                "strokes_a", "=", ",", "1=time, 2=strokes_a:cycles, 3=strokes_a", "America/Chicago",
            ]),
            st.text(max_size=30),
        ),
        max_size=4,
    ),
)  # fmt: skip
def test_any_answers(data: bytes, answers: dict[str, str]) -> None:
    survives(data, answers=answers)


@pytest.mark.parametrize("data", [
    b"", b"\n", b"\r\n" * 500, b"\xff\xfe", b"\xfe\xff\0", b"\xef\xbb\xbf", b"\0" * 4_096,
    b"PK\x03\x04" + bytes(200), b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(200), b"%PDF-1.7\n" * 9,
    b"a", b"," * 10_000, b'"' * 999, b"<html><body>no log</body></html>", b"1,2,3\n" * 300,
    b"Timestamp,ISO strokes\n",
], ids=lambda data: repr(data[:12]))  # fmt: skip
def test_what_is_no_log_is_refused_in_words(data: bytes) -> None:
    with pytest.raises(LogRefused) as refused:
        look(data, rig=Rig())
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize("data", [
    b"1,1\n,,0,0", b",,07:10:05,1e400,,\n,,,0,,", SEEDS[0].replace(b"ISO strokes", b"", 1),
])  # fmt: skip
def test_what_broke_it_once(data: bytes) -> None:
    """Found by the tests above, and kept."""
    survives(data)
    survives(data, answers=ANSWERS)


def test_a_line_without_end_is_no_trouble() -> None:
    survives(SEEDS[0] + b"9" * 2_000_000)
    survives(b"9," * 1_000_000)


@pytest.mark.parametrize("name", list(LOGS)[::4])
def test_a_named_log_cut_anywhere(name: str) -> None:
    """Cut off while it was written: refused, asked or read, as far as it goes."""
    log = LOGS[name]()
    for share in (0.001, 0.004, 0.03, 0.2, 0.501, 0.9):
        survives(log.data[: int(len(log.data) * share)], answers={"bad_rows": "skip"})


@pytest.mark.parametrize("number", range(600, 612))
def test_drawn_logs_of_two_encodings_in_one(number: int) -> None:
    one, other = Draw(number).written.data, Draw(number + 100).written.data
    survives(one[:20_000] + other[:20_000])
    survives(one[:20_000] + other[:20_000], answers=ANSWERS)
