"""Logs in fixed layouts, each with a name that says what is particular about it.

Fixed before the importer was written. What must be asked follows from `doubts.doubts_of`, and is
written down again in `MUST_ASK`, so that a slip in either shows.
"""

import csv
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any, Final

from .headings import MONTHS
from .layouts import Written, write
from .style import Col, Style, When
from .world import Plan, Rig, Row, Stretch, only, run, with_glitch, with_missing

MORNING: Final = (
    Stretch(600, running=False),
    Stretch(1200, 48),
    Stretch(600, 60, 0.7),
    Stretch(300, running=False),
    Stretch(900, 35),
)
BERLIN: Final = Rig(zone="Europe/Berlin", in3_a=Fraction("4.2"), in3_b=Fraction("4.2"))


def plan(start: str = "2026-03-14 07:10:00", *stretches: Stretch, **details: Any) -> Plan:
    """A morning of an hour with a quarter of it off ratio, unless told otherwise."""
    return Plan(start=start, stretches=stretches or MORNING, **details)


def cols(*written: str) -> tuple[Col, ...]:
    """Read columns written as "role:unit.places=Heading"; with "?" nothing says the unit."""
    out = []
    for each in written:
        what, _, heading = each.partition("=")
        role, _, unit = what.replace("decoy:", "decoy;").partition(":")
        unit, _, places = unit.partition(".")
        out.append(
            Col(
                role=role.replace(";", ":"),
                heading=heading,
                unit=unit.removesuffix("?"),
                places=int(places.removesuffix("?") or 0),
                says_unit=not what.endswith("?"),
            )
        )
    return tuple(out)


US: Final = (
    "strokes_a:strokes=ISO strokes", "strokes_b:strokes=RES strokes",
    "temp_a:F.1=ISO temp (°F)", "temp_b:F.1=RES temp (°F)", "temp_hose:F.1=Hose temp (°F)",
    "pressure_a:psi=ISO pressure (psi)", "pressure_b:psi=RES pressure (psi)",
)  # fmt: skip
GERMAN: Final = (
    "strokes_a:strokes=Hübe Iso", "strokes_b:strokes=Hübe Polyol",
    "temp_a:C.1=Temperatur Iso [°C]", "temp_b:C.1=Temperatur Polyol [°C]",
    "temp_hose:C.1=Schlauchtemperatur [°C]",
    "pressure_a:bar.1=Druck Iso [bar]", "pressure_b:bar.1=Druck Polyol [bar]",
)  # fmt: skip

LOGS: dict[str, Callable[[], Written]] = {}
#: By name, the keys that a truthful importer must ask of it.
MUST_ASK: dict[str, frozenset[str]] = {}


def log(*must_ask: str) -> Callable[[Callable[[], Written]], Callable[[], Written]]:
    """Register a log under the name of the function that writes it."""

    def keep(make: Callable[[], Written]) -> Callable[[], Written]:
        LOGS[make.__name__] = make
        MUST_ASK[make.__name__] = frozenset(must_ask)
        return make

    return keep


def style_of(times: tuple[str, ...], columns: tuple[str, ...], **details: Any) -> Style:
    return Style(name="named", cols=cols(*times, *columns), **details)


def written(world: Plan | list[Row], style: Style, rig: Rig | None = None) -> Written:
    if isinstance(world, Plan):
        return write(run(world), style, rig or world.rig)
    return write(world, style, rig or Rig())


# --- dates and times ---------------------------------------------------------------------------


@log()
def comma_and_us_date_that_can_only_be_the_fourteenth() -> Written:
    when = When(order="mdy", separator="/", clock="12")
    return written(plan(), style_of(("time=Date/Time",), US, when=when))


@log("date_order")
def third_of_april_or_fourth_of_march_meant_us() -> Written:
    when = When(order="mdy", separator="/")
    return written(plan("2026-03-04 07:10:00"), style_of(("time=Date/Time",), US, when=when))


@log("date_order")
def third_of_april_or_fourth_of_march_meant_day_first() -> Written:
    when = When(order="dmy", separator="-")
    style = style_of(("date=Date", "clock=Time"), US, when=when)
    return written(plan("2026-03-04 07:10:00"), style)


@log()
def a_date_that_is_the_same_either_way() -> Written:
    when = When(order="mdy", separator="/")
    return written(plan("2026-03-03 07:10:00"), style_of(("time=Date/Time",), US, when=when))


@log()
def german_semicolons_decimal_commas_and_dots() -> Written:
    style = style_of(
        ("date=Datum", "clock=Uhrzeit"), GERMAN, when=When(order="dmy", separator="."),
        delimiter=";", decimal=",", encoding="cp1252", newline="\r\n", language="de",
    )  # fmt: skip
    return written(plan("2026-04-23 06:40:00", rig=BERLIN), style)


@log()
def french_tabs_in_utf_16_with_a_mark() -> Written:
    columns = (
        "strokes_a:cycles=Cycles (double course) Isocyanate",
        "strokes_b:cycles=Cycles (double course) Résine",
        "pressure_a:bar.1=Pression Isocyanate (bar)", "temp_hose:C.1=Température tuyau (°C)",
        "pressure_b:bar.1=Pression Résine (bar)", "running=En marche",
    )  # fmt: skip
    style = style_of(
        ("time=Date et heure",), columns, when=When(order="dmy", separator="/"), delimiter="\t",
        decimal=",", encoding="utf-16-le-mark", language="fr", on_off=("Marche", "Arrêt"),
    )  # fmt: skip
    return written(plan("2026-05-19 08:00:00", rig=BERLIN), style)


@log()
def spanish_pipes_month_words_and_thousands_in_latin_1() -> Written:
    columns = (
        "strokes_a:strokes=Carreras Isocianato", "strokes_b:strokes=Carreras Resina",
        "temp_a:C.1=Temperatura Isocianato °C", "temp_b:C.1=Temperatura Resina °C",
        "pressure_a:kPa=Presión Isocianato kPa", "pressure_b:kPa=Presión Resina kPa",
    )  # fmt: skip
    style = style_of(
        ("time=Fecha y hora",), columns,
        when=When(order="month", separator=" ", months=MONTHS["es"]),
        delimiter="|", decimal=",", grouping=".", encoding="latin-1", language="es",
    )  # fmt: skip
    return written(plan("2026-01-09 09:30:00", rig=BERLIN), style)


@log()
def iso_dates_with_an_offset_through_the_autumn_change() -> Written:
    when = When(joiner="T", zone="offset")
    world = plan("2026-11-01 00:20:00", Stretch(3 * 3600, 40), step_s=30)
    return written(world, style_of(("time=Timestamp",), US, when=when, encoding="utf-8-mark"))


@log()
def wall_time_through_the_autumn_change() -> Written:
    world = plan("2026-11-01 00:20:00", Stretch(3 * 3600, 40), step_s=30)
    return written(world, style_of(("time=Timestamp",), US))


@log()
def wall_time_through_the_spring_change() -> Written:
    style = style_of(
        ("time=Zeitstempel",), GERMAN, when=When(order="dmy", separator="."), delimiter=";",
        decimal=",", language="de",
    )  # fmt: skip
    return written(plan("2026-03-29 00:30:00", Stretch(3 * 3600, 40), step_s=30, rig=BERLIN), style)


@log()
def utc_named_in_the_heading() -> Written:
    """23:30 to 00:30 UTC is one evening in Chicago."""
    style = style_of(("time=Timestamp (UTC)",), US, zone="UTC")
    return written(plan("2026-06-17 18:30:00"), style)


@log()
def zulu_time_that_is_another_day_in_the_shop() -> Written:
    style = style_of(("time=Timestamp",), US, when=When(joiner="T", zone="Z"), zone="UTC")
    return written(plan("2026-06-17 23:40:00"), style)


@log()
def time_of_day_alone_with_the_date_in_the_preamble_across_midnight() -> Written:
    style = style_of(
        ("clock=Time",), US, when=When(clock="12"), preamble_date="clear",
        preamble=("Shift report", "Rig,Trailer 7", "Date,2026-05-12", ""),
    )  # fmt: skip
    return written(plan("2026-05-12 23:35:00"), style)


@log("date")
def time_of_day_alone_and_no_date_anywhere() -> Written:
    return written(plan("2026-05-12 07:35:00"), style_of(("clock=Time",), US))


@log("clock")
def twelve_hours_without_am_and_pm_past_noon() -> Written:
    world = plan("2026-05-13 11:30:00", Stretch(7200, 40))
    style = style_of(("date=Date", "clock=Time"), US, when=When(clock="12?"))
    return written(world, style)


@log()
def milliseconds_of_the_epoch_among_decoys() -> Written:
    columns = (
        "decoy:serial=Serial no", "decoy:number=Row", "decoy:spm=SPM", *US,
        "decoy:temp_set:F.1=ISO temp set (°F)", "decoy:hose_set:F.1=Hose set (°F)",
        "decoy:pressure_set:psi=Pressure set (psi)", "decoy:alarm=Alarm",
        "decoy:amps=ISO heater current (A)", "decoy:ambient:F.1=Ambient temp (°F)",
        "decoy:battery=Battery (V)",
    )  # fmt: skip
    return written(plan(), style_of(("epoch:ms=Epoch (ms)",), columns))


@log()
def seconds_of_the_epoch_newest_first() -> Written:
    return written(plan(), style_of(("epoch:s=Unix time",), US, newest_first=True))


@log()
def newest_first_over_a_night() -> Written:
    world = plan("2026-09-16 13:00:00", *MORNING, Stretch(14 * 3600, logged=False), *MORNING)
    style = style_of(("time=Logged at",), US, newest_first=True, delimiter="\t")
    return written(world, style)


@log()
def two_digit_years_that_only_fit_one_order() -> Written:
    when = When(order="mdy", separator="/", year=2, is_padded=False)
    style = style_of(("time=Date/Time",), US, when=when)
    world = plan("2026-03-30 13:00:00", *MORNING, Stretch(15 * 3600, logged=False), *MORNING)
    return written(world, style)


# --- headings and what stands around the rows --------------------------------------------------


@log("columns")
def no_headings_at_all() -> Written:
    columns = (*US, "running=", "decoy:number=", "decoy:temp_set:F.1=")
    return written(plan(), style_of(("time=",), columns, has_headings=False))


@log()
def two_lines_of_headings_repeated_with_blanks_a_footer_and_rows_twice() -> Written:
    plain = style_of(("time=Timestamp",), US)
    two_lines = tuple(
        replace(col, heading=name.strip(), unit_word=unit.strip(" )"))
        for col in plain.cols
        for name, _, unit in (col.heading.partition("("),)
    )
    style = replace(
        plain, cols=two_lines, has_units_row=True, repeat_headings_every=100, blank_every=60,
        preamble=("Controller log", "Firmware 2.11", ""), footer=("", "Rows,720", "End of log"),
        duplicates=frozenset((5, 130, 131, 402)), quoting=csv.QUOTE_ALL,
    )  # fmt: skip
    return written(plan(), style)


@log()
def torn_last_line() -> Written:
    return written(plan(), style_of(("time=Timestamp",), US, is_torn=True))


@log()
def torn_in_the_middle_of_a_character() -> Written:
    style = style_of(("time=Timestamp",), US, is_torn=True, encoding="utf-16-be-mark")
    whole = written(plan(), style)
    return replace(whole, data=whole.data[:-1])


@log("bad_rows")
def bad_rows_in_the_middle() -> Written:
    bad = {101: "cells", 240: "time", 241: "time", 500: "letters"}
    return written(plan(), style_of(("time=Timestamp",), US, bad=bad))


@log()
def words_for_missing_values_and_a_sensor_out_of_range() -> Written:
    rows = run(plan())
    for n in range(100, 250):
        rows = with_missing(rows, n, "temp_hose")
    for n in (7, 90, 300, 301, 302):
        rows = with_missing(rows, n, "temp_a", "pressure_b")
    style = style_of(
        ("time=Timestamp",), US, missing="n/a", codes={"temp_hose": "-9999"}, delimiter=";"
    )
    return written(rows, style)


@log()
def a_hose_sensor_that_was_never_there() -> Written:
    rows = run(plan())
    for n in range(len(rows)):
        rows = with_missing(rows, n, "temp_hose")
    return written(rows, style_of(("time=Timestamp",), US, missing="---"))


@log()
def quoted_thousands_with_commas() -> Written:
    style = style_of(("time=Timestamp",), US, grouping=",")
    return written(plan(first_a=980, first_b=995), style)


# --- units, counts, sides ----------------------------------------------------------------------

NO_PRESSURE_UNIT: Final = (
    *US[:5], "pressure_a:bar.1?=ISO pressure", "pressure_b:bar.1?=RES pressure",
)  # fmt: skip


@log("pressure_unit")
def pressure_without_unit_meant_bar() -> Written:
    return written(plan(), style_of(("time=Timestamp",), NO_PRESSURE_UNIT))


@log("pressure_unit")
def pressure_without_unit_meant_psi_of_a_rig_at_rest() -> Written:
    columns = (*US[:5], "pressure_a:psi?=ISO pressure", "pressure_b:psi?=RES pressure")
    world = plan(psi={"a": 84.0, "b": 81.0})
    return written(world, style_of(("time=Timestamp",), columns))


NO_TEMP_UNIT: Final = (
    "temp_a:{}.1?=ISO temp",
    "temp_b:{}.1?=RES temp",
    "temp_hose:{}.1?=Hose temp",
)


@log("temp_unit")
def temperature_without_unit_meant_fahrenheit_of_a_cold_rig() -> Written:
    columns = (*US[:2], *(each.format("F") for each in NO_TEMP_UNIT), *US[5:])
    world = plan(temp_f={"a": 64.0, "b": 62.5, "hose": 60.0})
    return written(world, style_of(("time=Timestamp",), columns))


@log("temp_unit")
def temperature_without_unit_meant_celsius_of_a_hot_rig() -> Written:
    columns = (*US[:2], *(each.format("C") for each in NO_TEMP_UNIT), *US[5:])
    world = plan(temp_f={"a": 139.0, "b": 138.0, "hose": 137.5})
    return written(world, style_of(("time=Timestamp",), columns))


@log("counts")
def counts_that_are_strokes() -> Written:
    columns = ("strokes_a:strokes?=ISO count", "strokes_b:strokes?=RES count", *US[2:])
    return written(plan(), style_of(("time=Timestamp",), columns))


@log("counts")
def counts_that_are_cycles() -> Written:
    columns = ("strokes_a:cycles?=ISO count", "strokes_b:cycles?=RES count", *US[2:])
    return written(plan(), style_of(("time=Timestamp",), columns))


@log("sides")
def pumps_one_and_two_the_second_pumps_isocyanate() -> Written:
    columns = (
        "strokes_b:strokes=Pump 1 strokes", "strokes_a:strokes=Pump 2 strokes",
        "temp_b:F.1=Temp 1 (°F)", "temp_a:F.1=Temp 2 (°F)",
    )  # fmt: skip
    return written(plan(), style_of(("time=Timestamp",), columns, sides="numbers swapped"))


@log()
def letters_that_contradict_the_chemicals() -> Written:
    columns = (
        "strokes_b:strokes=Hübe A (Polyol)", "strokes_a:strokes=Hübe B (Isocyanat)",
        "temp_b:C.1=Temp. A (Polyol) °C", "temp_a:C.1=Temp. B (Isocyanat) °C",
        "pressure_b:bar.1=Druck A (Polyol) bar", "pressure_a:bar.1=Druck B (Isocyanat) bar",
    )  # fmt: skip
    style = style_of(
        ("time=Zeitstempel",), columns, delimiter=";", decimal=",", language="de", sides="crossed"
    )
    return written(plan(rig=BERLIN), style)


@log()
def megapascal_and_litres_from_flow_meters_alone() -> Written:
    columns = (
        "gallons_a:l.2=Isocyanate total volume (l)", "gallons_b:l.2=Polyol total volume (l)",
        "pressure_a:MPa.2=Isocyanate pressure (MPa)", "pressure_b:MPa.2=Polyol pressure (MPa)",
        "temp_a:C.1=Isocyanate temp (°C)",
    )  # fmt: skip
    return written(plan(), style_of(("time=Timestamp",), columns))


@log()
def one_side_only() -> Written:
    columns = ("strokes_a:strokes=ISO strokes", "temp_a:F.1=ISO temp (°F)")
    return written(plan(), style_of(("time=Timestamp",), columns))


# --- what counters do --------------------------------------------------------------------------


@log()
def both_counters_set_back_in_mid_shift() -> Written:
    world = plan(
        "2026-03-14 07:10:00",
        Stretch(900, 50), Stretch(900, 50, resets="a"), Stretch(600, 40, resets="ab"),
    )  # fmt: skip
    return written(world, style_of(("time=Timestamp",), US))


@log()
def a_reset_in_a_gap_is_at_least() -> Written:
    gap = Stretch(900, 30, logged=False, resets="ab")
    world = plan("2026-03-14 07:10:00", Stretch(900, 50), gap, Stretch(600, 40))
    return written(world, style_of(("time=Timestamp",), US))


@log()
def a_gap_in_which_it_pumped_on() -> Written:
    gap = Stretch(900, 30, logged=False)
    world = plan("2026-03-14 07:10:00", Stretch(900, 50), gap, Stretch(600, 40))
    return written(world, style_of(("time=Timestamp",), US))


@log()
def counters_that_start_anew_every_morning() -> Written:
    night = Stretch(14 * 3600, logged=False, resets="ab")
    world = plan("2026-09-16 13:00:00", *MORNING, night, *MORNING)
    return written(world, style_of(("time=Timestamp",), US))


@log()
def cycles_that_roll_over() -> Written:
    columns = (
        "strokes_a:cycles=ISO cycles (there and back)",
        "strokes_b:cycles=RES cycles (there and back)", *US[2:],
    )  # fmt: skip
    rig = Rig(top_a=200_000, top_b=200_000)  # a face of 100,000 cycles
    world = plan(rig=rig, first_a=199_200, first_b=198_800)
    return written(world, style_of(("time=Timestamp",), columns))


@log()
def a_value_that_leaves_and_returns() -> Written:
    rows = with_glitch(run(plan()), 200, "strokes_a", (0, 0))
    rows = with_glitch(rows, 460, "strokes_b", (9_999_999,))
    return written(rows, style_of(("time=Timestamp",), US))


@log()
def a_clock_that_was_put_back() -> Written:
    back = Stretch(600, 40, clock_back_s=1003)
    world = plan("2026-03-14 07:10:00", Stretch(1800, 40), back, Stretch(600, 40))
    return written(world, style_of(("time=Timestamp",), US))


@log()
def a_running_column_decides_the_hours() -> Written:
    columns = (*US, "hours:h.1=Hour meter (h)", "running=Pump on")
    return written(plan(), style_of(("time=Timestamp",), columns, on_off=("ON", "OFF")))


@log()
def a_value_every_minute() -> Written:
    world = plan("2026-03-14 07:10:00", Stretch(7200, 55), Stretch(3600), step_s=60)
    style = style_of(("time=Timestamp",), US, when=When(seconds=False))
    return written(world, style)


@log()
def nothing_but_counters_and_time() -> Written:
    rows = only(run(plan()), "strokes_a", "strokes_b")
    return written(rows, style_of(("time=Timestamp",), US[:2]))
