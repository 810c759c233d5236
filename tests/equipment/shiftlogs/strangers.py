"""Other words for the same things, unlike those of `headings`: what a stranger's log may hold.

Chosen to be plain to a person who reads them, without looking at what the importer knows.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from .drawn import Draw
from .headings import Vocabulary
from .style import Col, When

WORDS: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "en": {
        "time": (
            "Log time",
            "Sample time",
            "DateTime",
            "ts",
            "Recorded at",
            "date_time",
            "Time (local)",
            "When",
        ),
        "date": ("Log date", "Day", "Date (local)"),
        "clock": ("HH:MM:SS", "Clock", "Log time"),
        "epoch": ("epoch_s", "unix_ts", "UnixTime", "utc_epoch"),
        "strokes": (
            "Strokes {s}",
            "Strk {s}",
            "{s} side strokes",
            "Pump {s} stroke total",
            "stroke_cnt_{s}",
            "Strokes ({s})",
            "No. of strokes {s}",
        ),
        "cycles": ("CycleCount {s}", "Pump cycles {s}", "Cycles ({s})"),
        "count": ("Pump {s} counter", "{s} cnt", "Pump {s} total"),
        "temp": (
            "T {s}",
            "{s} fluid temp",
            "Heater {s} temp",
            "{s} outlet temperature",
            "{s} temp actual",
            "Actual temp {s}",
            "{s} heat",
        ),
        "temp_hose": ("Hose", "T hose", "Hose heat", "Hose actual temp", "Hose fluid temp"),
        "pressure": (
            "P {s}",
            "Outlet pressure {s}",
            "{s} fluid pressure",
            "{s} line pressure",
            "Pump {s} pressure",
        ),
        "flow": ("Flow {s}", "{s} flowrate"),
        "total": ("{s} volume pumped", "{s} totalizer", "Vol {s}"),
        "both": ("Volume",),
        "hours": ("Run time", "ON hours", "Engine hours", "Hrs"),
        "running": ("Status", "State", "Pump status", "Spraying", "Pump running"),
        "temp_set": ("{s} setpoint", "SP {s} temp", "{s} temp target", "Heater {s} set"),
        "hose_set": ("Hose SP", "Hose target"),
        "pressure_set": ("Pressure target", "P set"),
        "alarm": ("Error", "Event code", "Alarms active"),
        "amps": ("I heater {s}", "{s} heater A", "Amps {s}"),
        "ambient": ("Ambient", "Air temp", "Enclosure temp"),
        "battery": ("VBat", "Supply voltage"),
        "spm": ("Stroke rate", "Speed spm", "Strokes/minute"),
        "serial": ("Device", "Machine ID", "Ser"),
        "number": ("Index", "Seq", "Line", "ID"),
    },
    "de": {
        "time": ("Zeitpunkt", "Aufgezeichnet am", "DatumZeit", "Messzeit"),
        "date": ("Tag", "Messdatum"),
        "clock": ("Messzeit", "Zeit (lokal)"),
        "epoch": ("Unix-Zeit", "Epoch"),
        "strokes": ("Hubzahl {s}", "Kolbenhübe {s}", "Einzelhübe {s}", "Pumpenhübe {s}"),
        "cycles": ("Doppelhub {s}", "DH {s}"),
        "count": ("Pumpenzähler {s}", "Zählwerk {s}"),
        "temp": ("Isttemperatur {s}", "Temp {s}", "T {s}", "Materialtemperatur {s}"),
        "temp_hose": ("T Schlauch", "Heizschlauch", "Schlauch Isttemperatur"),
        "pressure": ("Istdruck {s}", "p {s}", "Materialdruck {s}"),
        "flow": ("Volumenstrom {s}",),
        "total": ("Fördermenge {s}", "Verbrauch {s}"),
        "both": ("Fördermenge",),
        "hours": ("Laufzeit", "Bh"),
        "running": ("Status", "Zustand", "Pumpe läuft"),
        "temp_set": ("Sollwert {s}", "T Soll {s}"),
        "hose_set": ("Soll Schlauch",),
        "pressure_set": ("p Soll",),
        "alarm": ("Fehler", "Meldung"),
        "amps": ("Strom {s}", "I {s}"),
        "ambient": ("Raumtemperatur", "Temp. außen"),
        "battery": ("Ubat", "Versorgungsspannung"),
        "spm": ("Hubfrequenz",),
        "serial": ("Serien-Nr.", "Gerät"),
        "number": ("lfd. Nr", "Index"),
    },
    "fr": {
        "time": ("Date & heure", "Instant", "DateHeure"),
        "date": ("Jour",),
        "clock": ("Heure locale", "Horaire"),
        "epoch": ("Epoch",),
        "strokes": ("Coups de pompe {s}", "Nb coups {s}", "Courses pompe {s}"),
        "cycles": ("Cycles pompe {s}", "Allers-retours {s}"),
        "count": ("Compteur pompe {s}", "Compt. {s}"),
        "temp": ("T° {s}", "Temp. produit {s}", "Température réelle {s}"),
        "temp_hose": ("T° tuyau", "Tuyau chauffé", "Température du tuyau"),
        "pressure": ("P {s}", "Pression produit {s}", "Pression sortie {s}"),
        "flow": ("Débit pompe {s}",),
        "total": ("Volume pompé {s}", "Quantité {s}"),
        "both": ("Volume pompé",),
        "hours": ("Horamètre", "Temps de marche"),
        "running": ("État", "Pompe en marche"),
        "temp_set": ("T° consigne {s}", "Réglage temp. {s}"),
        "hose_set": ("T° consigne tuyau",),
        "pressure_set": ("P consigne",),
        "alarm": ("Erreur", "Code défaut"),
        "amps": ("I chauffe {s}",),
        "ambient": ("T° ambiante",),
        "battery": ("Alim. V",),
        "spm": ("Cadence",),
        "serial": ("Série",),
        "number": ("Index", "Num."),
    },
    "es": {
        "time": ("FechaHora", "Instante", "Registrado"),
        "date": ("Día",),
        "clock": ("Hora local",),
        "epoch": ("Epoch",),
        "strokes": ("Golpes {s}", "Nº carreras {s}", "Carreras bomba {s}", "Emboladas bomba {s}"),
        "cycles": ("Ciclos bomba {s}",),
        "count": ("Contador bomba {s}", "Conteo {s}"),
        "temp": ("T {s}", "Temp. producto {s}", "Temperatura real {s}"),
        "temp_hose": ("T manguera", "Manguera calefactada"),
        "pressure": ("P {s}", "Presión producto {s}", "Presión salida {s}"),
        "flow": ("Caudal bomba {s}",),
        "total": ("Volumen bombeado {s}",),
        "both": ("Volumen",),
        "hours": ("Horas", "Tiempo de marcha"),
        "running": ("Estado", "Bomba en marcha"),
        "temp_set": ("T consigna {s}", "Ajuste temp. {s}"),
        "hose_set": ("T consigna manguera",),
        "pressure_set": ("P consigna",),
        "alarm": ("Error", "Código alarma"),
        "amps": ("I calentador {s}",),
        "ambient": ("T ambiente",),
        "battery": ("Alim. V",),
        "spm": ("Cadencia",),
        "serial": ("Serie",),
        "number": ("Índice", "Núm."),
    },
}

CHEMICALS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "en": (
        ("MDI", "Poly"),
        ("ISO", "RES"),
        ("Iso", "Resin"),
        ("ISO", "POLY"),
        ("isocyanate", "resin"),
    ),
    "de": (("ISO", "POL"), ("Iso", "Harz"), ("MDI", "Polyol"), ("Isocyanat", "Polyol")),
    "fr": (("ISO", "RES"), ("MDI", "Polyol"), ("isocyanate", "résine")),
    "es": (("ISO", "RES"), ("MDI", "Poliol"), ("isocianato", "resina")),
}

UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "F": ("Deg F", "deg. F", "Fahrenheit", "ºF", "F"),
    "C": ("Deg C", "Celsius", "ºC", "C"),
    "psi": ("PSIG", "psig", "lb/in²", "psi"),
    "bar": ("barg", "BAR", "bar"),
    "kPa": ("KPA", "kpa", "kPa"),
    "MPa": ("MPA", "Mpa", "MPa"),
    "gal": ("gallons", "gal.", "gal"),
    "l": ("liters", "litres", "ltr", "L"),
    "gal/min": ("GPM", "gal/min"),
    "l/min": ("lpm", "L/min"),
    "h": ("hrs", "h"),
    "s": ("sec", "s"),
    "ms": ("msec", "ms"),
}

ON_OFF: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "en": (
        ("RUNNING", "STOPPED"),
        ("Active", "Inactive"),
        ("Y", "N"),
        ("Running", "Idle"),
        ("T", "F"),
        ("On", "Off"),
        ("SPRAY", "STANDBY"),
    ),
    "de": (("läuft", "steht"), ("EIN", "AUS"), ("J", "N"), ("Betrieb", "Stopp"), ("an", "aus")),
    "fr": (("marche", "arrêt"), ("O", "N"), ("ON", "OFF"), ("VRAI", "FAUX")),
    "es": (("marcha", "parada"), ("S", "N"), ("ON", "OFF"), ("VERDADERO", "FALSO")),
}

MONTHS: Final[Mapping[str, str]] = {
    "en": ("January February March April May June July August September October November December"),
    "de": ("Januar Februar März April Mai Juni Juli August September Oktober November Dezember"),
    "fr": ("janvier février mars avril mai juin juillet août septembre octobre novembre décembre"),
    "es": (
        "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre"
    ),
}

STRANGE: Final = Vocabulary(WORDS, CHEMICALS, UNITS, ON_OFF, MONTHS)


class Stranger(Draw):
    """A log of a family of controllers that nobody here has seen: other words, other quirks."""

    def __init__(self, number: int) -> None:
        super().__init__(number, STRANGE)

    def draw_when(self) -> tuple[When, list[Col], str]:
        clock = (None, None, None, "fraction", "short", "small", "points", "dots")
        quirks = {
            self.one(clock),
            self.one((None, None, "compact", "weekday", "upper")),
            self.one((None, "utc", "bare")),
        }
        when, cols, zone = super().draw_when()
        return replace(when, quirks=frozenset(each for each in quirks if each)), cols, zone

    def draw_sides(self) -> tuple[str, tuple[str, str]]:
        kind, (iso, resin) = super().draw_sides()
        if kind.startswith("letters") and self.often(0.5):
            form = self.one(("Side {}", "{}-side", "Comp. {}", "Component {}"))
            return kind, (form.format(iso), form.format(resin))
        if kind == "chemical" and iso.startswith("A (") and self.often(0.5):
            return kind, (f"{iso[3:-1]} (A)", f"{resin[3:-1]} (B)")
        if kind.startswith("numbers") and self.language == "en" and self.often(0.5):
            place = {"1": "Left", "2": "Right"}
            return kind, (place[iso], place[resin])
        return kind, (iso, resin)
