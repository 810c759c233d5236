"""What the columns and figures of a log are called on our pages."""

from typing import Final

from equipment.shiftlogs import layout as roles

#: What a column may be said to hold, in the words of the page.
COLUMN_CHOICES: Final = (
    ("other", "not used"),
    (
        "Time",
        (
            ("time", "date and time"),
            ("date", "date"),
            ("clock", "time of day"),
            ("epoch:s", "seconds since 1970"),
            ("epoch:ms", "milliseconds since 1970"),
            ("elapsed:s", "seconds since the start"),
            ("elapsed:min", "minutes since the start"),
            ("zone", "time zone of the row"),
        ),
    ),
    (
        "Counters",
        (
            ("strokes_a:strokes", "A strokes, single"),
            ("strokes_b:strokes", "B strokes, single"),
            ("strokes_a:cycles", "A cycles, there and back"),
            ("strokes_b:cycles", "B cycles, there and back"),
            ("gallons_a:gal", "A total, gallons"),
            ("gallons_b:gal", "B total, gallons"),
            ("gallons:gal", "total of both, gallons"),
            ("gallons_a:l", "A total, litres"),
            ("gallons_b:l", "B total, litres"),
            ("gallons:l", "total of both, litres"),
            ("hours:h", "hour meter, hours"),
            ("hours:min", "hour meter, minutes"),
            ("hours:s", "hour meter, seconds"),
            ("running", "running or stopped"),
        ),
    ),
    (
        "Temperature",
        (
            ("temp_a:F", "A temperature, °F"),
            ("temp_b:F", "B temperature, °F"),
            ("temp_hose:F", "hose temperature, °F"),
            ("temp_a:C", "A temperature, °C"),
            ("temp_b:C", "B temperature, °C"),
            ("temp_hose:C", "hose temperature, °C"),
        ),
    ),
    (
        "Pressure",
        tuple(
            (f"pressure_{key}:{unit}", f"{side} pressure, {unit}")
            for unit in ("psi", "bar", "kPa", "MPa")
            for key, side in (("a", "A"), ("b", "B"), ("hose", "hose"))
        ),
    ),
    (
        "Flow",
        tuple(
            (f"flow_{key}:{unit}", f"{side} flow, {unit}")
            for unit in ("gal/min", "l/min", "gal/h", "l/h")
            for key, side in (("a", "A"), ("b", "B"))
        ),
    ),
)
COLUMN_VALUES: Final = frozenset(
    value
    for entry in COLUMN_CHOICES
    for value in ([entry[0]] if isinstance(entry[1], str) else [each[0] for each in entry[1]])
)
COLUMN_WORDS: Final = {
    value: words
    for entry in COLUMN_CHOICES
    for value, words in ([entry] if isinstance(entry[1], str) else entry[1])
}
MEASURE_WORDS: Final = {
    roles.TEMP_A: "A temperature",
    roles.TEMP_B: "B temperature",
    roles.TEMP_HOSE: "Hose temperature",
    roles.PRESSURE_A: "A pressure",
    roles.PRESSURE_B: "B pressure",
    roles.PRESSURE_HOSE: "Hose pressure",
    roles.FLOW_A: "A flow",
    roles.FLOW_B: "B flow",
}
FACE_WORDS: Final = {
    roles.STROKES_A: "A strokes",
    roles.STROKES_B: "B strokes",
    roles.GALLONS_A: "A gallons",
    roles.GALLONS_B: "B gallons",
    roles.GALLONS: "Gallons of both",
    roles.HOURS: "Hour meter",
}
DELIMITERS: Final = {
    ",": "commas",
    ";": "semicolons",
    "\t": "tabs",
    "|": "upright strokes",
    " ": "blanks",
}
ORDERS: Final = {"ymd": "year first", "dmy": "day first", "mdy": "month first"}
