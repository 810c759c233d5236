"""Each named log: asks what it must, nothing that the text decides, and comes out true."""

from fractions import Fraction
from typing import Any

import pytest

from .doubts import MUST
from .named import LOGS
from .oracle import differences, truth_of
from .subject import look, talk, words
from .world import Rig


@pytest.mark.parametrize("name", LOGS)
def test_a_named_log_becomes_the_true_days(name: str) -> None:
    log = LOGS[name]()
    talked = talk(log)
    must = {key for key, how in log.doubts.items() if how == MUST}
    assert must <= talked.asked.keys(), f"decides in silence: {must - talked.asked.keys()}"
    # A counter that began anew over unlogged time was reset, or read wrongly: to ask is right.
    decided = talked.asked.keys() - log.doubts.keys() - {"reset"}
    assert not decided, f"asks what the file says: {words(talked)}"
    assert talked.bad == log.bad
    assert differences(talked.days, truth_of(log.rows, log.rig)) == []


# --- literal files, reckoned by hand -----------------------------------------------------------


def near(value: Any) -> Any:
    """As near as rounding to hundredths leaves it."""
    return pytest.approx(value, rel=0, abs=0.01)


def the_day(text: str, rig: Rig, encoding: str = "utf-8", **answers: str) -> dict[str, Any]:
    seen = look(text.encode(encoding), rig=rig, answers=answers)
    assert seen.questions == ()
    (day,) = seen.days
    return day


def test_a_us_log_by_hand() -> None:
    """ISO: 22 + 0 + reset 3 + 20 = 45; RES: 20 + 0 + 20 + 20 = 60; (45 + 60)·5/231 = 2.2727 gal.

    Six rows in 50 s, of which the pump ran in the first 20 s and from 30 to 40 s: 30 s.
    """
    day = the_day(
        "Timestamp,ISO strokes,RES strokes,ISO temp (°F),ISO pressure (psi),Pump on\n"
        "03/25/2026 07:00:00 AM,1000,2000,120.0,1150,ON\n"
        "03/25/2026 07:00:10 AM,1022,2020,121.0,1160,ON\n"
        "03/25/2026 07:00:20 AM,1022,2020,,1140,OFF\n"
        "03/25/2026 07:00:30 AM,3,2040,124.0,n/a,ON\n"
        "03/25/2026 07:00:40 AM,23,2060,123.0,1155,OFF\n"
        "03/25/2026 07:00:50 AM,23,2060,122.0,1150,OFF\n",
        Rig(),
    )
    assert day["date"] == "2026-03-25"
    assert (day["strokes_a"], day["strokes_b"]) == (45, 60)
    assert day["resets"] == {"a": 1, "b": 0}
    assert day["at_least"] is False
    assert day["gallons"] == near(2.2727)
    assert day["run_hours"] == pytest.approx(30 / 3600, abs=0.0005)
    assert day["gap_minutes"] == 0
    assert day["temp_f"]["a"] == near({"min": 120, "mean": 122, "max": 124})
    assert day["temp_f"]["b"] is None
    assert day["pressure_psi_max"]["a"] == near(1160)
    assert day["pressure_psi_max"]["b"] is None


def test_a_german_log_by_hand() -> None:
    """Double strokes: 12 and 11 of them are 24 and 22 strokes, of 4.2 in³: 46·4.2/231 = 0.8364 gal.

    From 8:00:20 to 8:02:20 nothing was logged: 2 min, in which each side made 2 strokes.
    48.5 °C are 119.3 °F, 50 °C are 122 °F; 80.5 bar are 1,167.55 psi.
    """
    day = the_day(
        "Datum;Uhrzeit;Doppelhübe Iso;Doppelhübe Polyol;Temp. Iso [°C];Druck Polyol [bar]\r\n"
        "25.03.2026;08:00:00;5.000;5.500;48,5;79,0\r\n"
        "25.03.2026;08:00:10;5.005;5.505;50,0;80,5\r\n"
        "25.03.2026;08:00:20;5.008;5.507;50,0;80,0\r\n"
        "25.03.2026;08:02:20;5.009;5.508;50,0;80,0\r\n"
        "25.03.2026;08:02:30;5.012;5.511;---;80,0\r\n",
        Rig(zone="Europe/Berlin", in3_a=Fraction("4.2"), in3_b=Fraction("4.2")),
        "cp1252",
    )
    assert (day["strokes_a"], day["strokes_b"]) == (24, 22)
    assert day["gallons"] == near(0.8364)
    assert day["gap_minutes"] == near(2)
    assert day["run_hours"] == pytest.approx(30 / 3600, abs=0.0005)
    heat = {"min": 119.3, "mean": (119.3 + 3 * 122) / 4, "max": 122}
    assert day["temp_f"]["a"] == near(heat)
    assert day["pressure_psi_max"]["b"] == pytest.approx(1167.55, abs=0.02)


def test_a_row_repeated_some_lines_later_counts_once() -> None:
    """A controller that sends a stretch of rows again: five rows, the last three twice."""
    rows = [
        f"2026-03-25 07:00:{second:02d},{count},{count + 9}"
        for second, count in ((0, 100), (5, 104), (10, 108), (15, 112), (20, 116))
    ]
    text = "\n".join(["Timestamp,ISO strokes,RES strokes", *rows, *rows[2:], ""])
    seen = look(text.encode(), rig=Rig())
    assert seen.questions == ()
    assert (seen.days[0]["strokes_a"], seen.days[0]["resets"]) == (16, {"a": 0, "b": 0})


def test_the_same_bytes_in_every_encoding_are_the_same_day() -> None:
    text = "Zeitstempel;Hübe Iso;Hübe Polyol;Temp. Iso °C\n" + "".join(
        f"2026-03-25 07:{n // 60:02d}:{n % 60:02d};{100 + n};{90 + n};48,{n % 10}\n"
        for n in range(0, 600, 5)
    )
    plain = look(text.encode("utf-8"), rig=Rig()).days
    assert plain[0]["strokes_a"] == 595
    for encoding in ("utf-8-sig", "utf-16", "cp1252", "latin-1"):
        assert look(text.encode(encoding), rig=Rig()).days == plain, encoding
    assert look(("\ufeff" + text).encode("utf-16-be"), rig=Rig()).days == plain
