"""A sheet like the ones a shop prints; all names are invented."""

from dataclasses import replace

from shop.paper.sheet import (
    Caution,
    CheckGroup,
    LockoutStep,
    PaperCheck,
    PaperFound,
    PaperPart,
    PaperReading,
    SheetPaper,
    StripCell,
    ZeroGauge,
)

STRIP = (
    StripCell("1 Generator", "generator", "", 0.66, 0.91, "due soon", True),
    StripCell("2 Compressor", "compressor", "", 0.6, 0.91, "clear"),
    StripCell("3 Dryer", "dryer", "", 0.58, 0.91, "clear"),
    StripCell("4 Hydraulic unit", "hydraulic-unit", "", 1.0, 0.9, "overdue", True),
    StripCell("5 Pump", "pump", "A", 0.75, 0.91, "clear"),
    StripCell("6 Pump", "pump", "B", 0.75, 0.91, "clear"),
    StripCell("7 Preheater", "preheater", "A", 0.6, 0.83, "clear"),
    StripCell("8 Preheater", "preheater", "B", None, 0.83, "not read 23 d"),
    StripCell("9 Heated hose", "hose", "", 0.93, 0.91, "due", True),
    StripCell("10 Gun", "gun", "", 0.78, 0.91, "due soon", True),
)
CAUTIONS = (
    Caution(
        "Stored fluid pressure",
        "Shut off feed pumps and air, park the pumps, open recirculation, relieve A and B each "
        "into its own drum. Both gauges read zero. Heat can bring pressure back: look again "
        "before each step.",
        "29 CFR 1910.147(d)(5)",
    ),
    Caution(
        "Stored hydraulic energy",
        "Stop the hydraulic unit, lock its disconnect, bleed the circuit. Gauge reads zero before "
        "a fitting is loosened. Never feel for a leak with a hand or glove.",
        "29 CFR 1910.147(d)(5)",
    ),
    Caution(
        "Isocyanate: breath, skin, eyes",
        "Respirator by the written programme, ventilate, others out. Gloves, coveralls, eye "
        "protection. Tightness or wheeze: stop and report it.",
        "29 CFR 1910.1000, Z-1",
    ),
    Caution(
        "Stored heat",
        "Heater power locked off, hose and fluid cool before opening. Metal stays hot enough "
        "to burn.",
        "ASTM C1055",
    ),
)
LOCKOUT = (
    LockoutStep("Shore power", "plug out, locked"),
    LockoutStep("Generator", "battery lead off, locked"),
    LockoutStep("Transfer switches", "both open, locked"),
    LockoutStep("Air", "receiver drained, drain left open"),
    LockoutStep("Heaters", "breaker locked"),
    LockoutStep("Tried to start", "nothing moved"),
)
ZERO = (ZeroGauge("Gauge", "A"), ZeroGauge("Gauge", "B"), ZeroGauge("Hydraulic"))
GROUPS = (
    CheckGroup(
        "1 Generator GN-118",
        "oil and filter",
        "due soon, 182 of 250 h",
        (
            PaperCheck(1, "Oil and filter changed, no leaks after start"),
            PaperCheck(2, "Volts at rated load", "value", "V", "228 – 252 V", "239"),
            PaperCheck(3, "Frequency at rated load", "value", "Hz", "59 – 61 Hz", "60.2"),
        ),
        instructions="Run it warm, drain the oil, change the filter, fill to the mark.",
    ),
    CheckGroup(
        "4 Hydraulic unit HU-033",
        "return filter",
        "overdue, 61 h past 500 h",
        (
            PaperCheck(4, "Change return filter element"),
            PaperCheck(5, "Filter drop before change", "value", "psi", "at most 15 psi", "12"),
            PaperCheck(6, "Oil temperature, running", "value", "°F", "at most 140 °F", "128"),
            PaperCheck(7, "Level, leaks, whine after start"),
        ),
        instructions="Change the return filter element with the tank below its rim.",
    ),
    CheckGroup(
        "9 Heated hose HH-015",
        "open joints",
        "due, 92 of 90 days",
        (
            PaperCheck(8, "Wrap opened at each of 4 joints, fittings dry"),
            PaperCheck(
                9, "Electrical joints bright and tight, power proved dead", electrician=True
            ),
            PaperCheck(
                10, "Sensor against test probe, difference", "value", "°F", "at most 5 °F", "2"
            ),
            PaperCheck(
                11,
                "Scuff cover",
                "choice",
                choices=("whole", "worn"),
                hint="Joint 3 was split on 17 Nov, put right.",
            ),
        ),
    ),
    CheckGroup(
        "10 Gun GU-094",
        "full rebuild",
        "due soon, 4,310 of 5,000 gal",
        (
            PaperCheck(12, "Strip and clean; lay out all wear parts"),
            PaperCheck(13, "Mix chamber bore, largest", "value", "in", "at most 0.045 in", "0.043"),
            PaperCheck(14, "Side seals and O-rings renewed, greased"),
            PaperCheck(
                15,
                "Fan pattern on test card",
                "choice",
                choices=("even, both edges sharp", "heavy on one side", "spits or tails", "none"),
            ),
            PaperCheck(16, "Pressure A minus B while spraying", "value", "psi", "within 200", "90"),
        ),
        instructions="Take it apart on a clean mat, renew what wears, grease it until it is full.",
    ),
)
PARTS = (
    PaperPart("gun rebuild kit", "GK-100", "K-03", "8702", "1", "10"),
    PaperPart("return filter element", "", "F-11", "", "1", "4"),
    PaperPart("hose seal set", "", "H-02", "", "1", "9", "short 1"),
    PaperPart("engine oil, quart", "", "C-02", "", "6", "1"),
    PaperPart("oil filter, engine", "", "F-09", "", "1", "1"),
)
READINGS = (
    PaperReading("Generator, h", "1,182"),
    PaperReading("Compressor, h", "1,310"),
    PaperReading("Strokes A", "412,660"),
    PaperReading("Strokes B", "414,020"),
)


def sheet(**changes: object) -> SheetPaper:
    """An open sheet for rig 04, with whatever the test changes."""
    values: dict[str, object] = {
        "number": 412,
        "rig_number": 4,
        "title": "Kestrel",
        "subtitle": "20 ft trailer",
        "shop_name": "Tern Hollow Insulating",
        "step": 2,
        "step_word": "handed out",
        "cells": (
            ("In the shop", "Thu 26 Nov 2026"),
            ("Leaves", "Mon 30 Nov, 3 weeks"),
            ("Planned", "4 h 18 min"),
        ),
        "strip": STRIP,
        "cautions": CAUTIONS,
        "lockout": LOCKOUT,
        "zero_gauges": ZERO,
        "groups": GROUPS,
        "parts": PARTS,
        "readings": READINGS,
        "counters_note": "Strokes are read at the panel, after the pumps are parked.",
        "url": "https://shop.example/sheets/412",
        "printed_text": "Printed 25 Nov 2026 14:10",
    }
    return SheetPaper(**{**values, **changes})  # type: ignore[arg-type]


def signed_sheet() -> SheetPaper:
    """The same, signed, with something found at each of its steps."""

    def filled(group: CheckGroup) -> CheckGroup:
        checks = tuple(
            replace(check, found_text=f"found{check.number}", choices=()) for check in group.checks
        )
        return replace(group, checks=checks)

    return sheet(
        step=4,
        step_word="signed",
        started="24 Nov 08:10",
        finished="25 Nov 13:50",
        signed="Signed J. Doe 25 Nov 2026 14:10",
        groups=tuple(filled(group) for group in GROUPS),
        parts=tuple(replace(part, used_text=f"used{n}") for n, part in enumerate(PARTS)),
        readings=tuple(replace(r, now_text=f"now{n}") for n, r in enumerate(READINGS)),
        cautions=tuple(replace(c, read_text=f"read{n}") for n, c in enumerate(CAUTIONS)),
        lockout=tuple(replace(s, done_text=f"locked{n}") for n, s in enumerate(LOCKOUT)),
        zero_gauges=tuple(replace(g, found_text=f"zero{n}") for n, g in enumerate(ZERO)),
        found_work=(PaperFound("Scuff cover at joint 3 split again.", by_text="J. Doe, 25 Nov"),),
    )
