"""What controllers might write above their columns and in their cells, in four languages.

Common words of each language, put together for these tests. {s} stands for the side.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True, slots=True)
class Vocabulary:
    """The words of one family of controllers, by language.

    words: of what a column holds; of each several. chemicals: of the isocyanate and the resin side.
    units: how a heading spells them. on_off: for running and stopped. months: in dates.
    """

    words: Mapping[str, Mapping[str, tuple[str, ...]]]
    chemicals: Mapping[str, tuple[tuple[str, str], ...]]
    units: Mapping[str, tuple[str, ...]]
    on_off: Mapping[str, tuple[tuple[str, str], ...]]
    months: Mapping[str, str]


#: By language, what a column holds: the first of each is the plainest.
WORDS: Final[Mapping[str, Mapping[str, tuple[str, ...]]]] = {
    "en": {
        "time": ("Timestamp", "Date/Time", "Date Time", "Time stamp", "Logged at"),
        "date": ("Date",),
        "clock": ("Time", "Time of day"),
        "epoch": ("Epoch", "Unix time", "Timestamp"),
        "strokes": ("{s} strokes", "Strokes {s}", "{s} stroke count", "Stroke counter {s}"),
        "cycles": ("{s} cycles", "Cycles {s}", "{s} cycle count"),
        "count": ("{s} count", "Counter {s}", "{s} pump count"),
        "temp": ("{s} temp", "Temp {s}", "{s} temperature", "Temperature {s}"),
        "temp_hose": ("Hose temp", "Temp hose", "Hose temperature"),
        "pressure": ("{s} pressure", "Pressure {s}", "{s} press", "Press. {s}"),
        "flow": ("{s} flow", "Flow rate {s}"),
        "total": ("{s} total volume", "Flow total {s}", "{s} volume total"),
        "both": ("Total volume", "Volume A+B"),
        "hours": ("Hour meter", "Run hours", "Hours"),
        "running": ("Running", "Pump on", "Run"),
        "temp_set": ("{s} temp set", "Temp setpoint {s}", "{s} temp SP", "Set temp {s}"),
        "hose_set": ("Hose set", "Hose setpoint", "Hose temp SP"),
        "pressure_set": ("Pressure set", "Set pressure", "Pressure setpoint"),
        "alarm": ("Alarm", "Alarm code", "Fault"),
        "amps": ("Heater {s} amps", "{s} heater current"),
        "ambient": ("Ambient temp", "Outside temp", "Cabinet temperature"),
        "battery": ("Battery V", "Battery volts"),
        "spm": ("SPM", "Strokes/min", "Strokes per minute"),
        "serial": ("Serial no", "Unit serial", "S/N"),
        "number": ("No", "Row", "#", "Record"),
    },
    "de": {
        "time": ("Zeitstempel", "Datum/Uhrzeit", "Datum Zeit"),
        "date": ("Datum",),
        "clock": ("Uhrzeit", "Zeit"),
        "epoch": ("Unixzeit", "Epoche", "Zeitstempel"),
        "strokes": ("Hübe {s}", "Hubzähler {s}", "Anzahl Hübe {s}"),
        "cycles": ("Doppelhübe {s}", "Zyklen {s}"),
        "count": ("Zähler {s}", "Zählerstand {s}"),
        "temp": ("Temperatur {s}", "Temp. {s}", "{s} Temperatur"),
        "temp_hose": ("Schlauchtemperatur", "Temp. Schlauch", "Temperatur Schlauch"),
        "pressure": ("Druck {s}", "{s} Druck"),
        "flow": ("Durchfluss {s}",),
        "total": ("Volumen {s} gesamt", "Gesamtmenge {s}"),
        "both": ("Gesamtvolumen", "Menge gesamt"),
        "hours": ("Betriebsstunden", "Betriebsstundenzähler"),
        "running": ("Läuft", "Pumpe ein", "Betrieb"),
        "temp_set": ("Solltemperatur {s}", "Sollwert Temp. {s}", "Temp. {s} Soll"),
        "hose_set": ("Solltemperatur Schlauch", "Schlauch Sollwert"),
        "pressure_set": ("Solldruck", "Druck Sollwert"),
        "alarm": ("Alarm", "Störung"),
        "amps": ("Strom Heizung {s}", "Heizstrom {s}"),
        "ambient": ("Umgebungstemperatur", "Außentemperatur"),
        "battery": ("Batterie V", "Batteriespannung"),
        "spm": ("Hübe/min", "Hübe pro Minute"),
        "serial": ("Seriennummer", "Gerätenummer"),
        "number": ("Nr.", "Zeile", "Lfd. Nr."),
    },
    "fr": {
        "time": ("Horodatage", "Date et heure", "Date/heure"),
        "date": ("Date",),
        "clock": ("Heure",),
        "epoch": ("Temps Unix", "Horodatage"),
        "strokes": ("Courses {s}", "Coups {s}", "Nombre de courses {s}"),
        "cycles": ("Cycles {s}", "Nombre de cycles {s}"),
        "count": ("Compteur {s}",),
        "temp": ("Température {s}", "Temp. {s}"),
        "temp_hose": ("Température tuyau", "Temp. flexible"),
        "pressure": ("Pression {s}", "Press. {s}"),
        "flow": ("Débit {s}",),
        "total": ("Volume total {s}", "Volume cumulé {s}"),
        "both": ("Volume total", "Volume cumulé"),
        "hours": ("Heures de marche", "Compteur horaire"),
        "running": ("En marche", "Marche"),
        "temp_set": ("Consigne température {s}", "Consigne temp. {s}"),
        "hose_set": ("Consigne tuyau", "Consigne temp. flexible"),
        "pressure_set": ("Consigne pression",),
        "alarm": ("Alarme", "Défaut"),
        "amps": ("Courant chauffage {s}", "Intensité {s}"),
        "ambient": ("Température ambiante", "Temp. extérieure"),
        "battery": ("Batterie V", "Tension batterie"),
        "spm": ("Courses/min", "Coups par minute"),
        "serial": ("N° de série", "Numéro de série"),
        "number": ("N°", "Ligne"),
    },
    "es": {
        "time": ("Fecha y hora", "Marca de tiempo", "Fecha/hora"),
        "date": ("Fecha",),
        "clock": ("Hora",),
        "epoch": ("Tiempo Unix", "Marca de tiempo"),
        "strokes": ("Carreras {s}", "Emboladas {s}", "Número de carreras {s}"),
        "cycles": ("Ciclos {s}", "Número de ciclos {s}"),
        "count": ("Contador {s}",),
        "temp": ("Temperatura {s}", "Temp. {s}"),
        "temp_hose": ("Temperatura manguera", "Temp. manguera"),
        "pressure": ("Presión {s}",),
        "flow": ("Caudal {s}",),
        "total": ("Volumen total {s}", "Volumen acumulado {s}"),
        "both": ("Volumen total", "Volumen acumulado"),
        "hours": ("Horas de marcha", "Horómetro"),
        "running": ("En marcha", "Marcha"),
        "temp_set": ("Consigna temperatura {s}", "Consigna temp. {s}"),
        "hose_set": ("Consigna manguera",),
        "pressure_set": ("Consigna presión",),
        "alarm": ("Alarma", "Fallo"),
        "amps": ("Corriente calentador {s}", "Corriente {s}"),
        "ambient": ("Temperatura ambiente", "Temp. exterior"),
        "battery": ("Batería V", "Tensión batería"),
        "spm": ("Carreras/min", "Emboladas por minuto"),
        "serial": ("Número de serie", "N.º de serie"),
        "number": ("N.º", "Fila"),
    },
}

#: By language, how the isocyanate and the resin side are named by their chemical.
CHEMICALS: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "en": (("ISO", "RESIN"), ("Iso", "Poly"), ("Isocyanate", "Polyol"), ("Iso side", "Resin side")),
    "de": (("Iso", "Polyol"), ("Isocyanat", "Harz"), ("ISO", "POLY")),
    "fr": (("Iso", "Polyol"), ("Isocyanate", "Résine"), ("ISO", "POLYOL")),
    "es": (("Iso", "Poliol"), ("Isocianato", "Resina"), ("ISO", "RESINA")),
}

#: How a heading spells a unit.
UNITS: Final[Mapping[str, tuple[str, ...]]] = {
    "F": ("°F", "degF", "F"),
    "C": ("°C", "degC", "C"),
    "psi": ("psi", "PSI"),
    "bar": ("bar",),
    "kPa": ("kPa",),
    "MPa": ("MPa",),
    "gal": ("gal", "US gal"),
    "l": ("l", "L"),
    "gal/min": ("gal/min", "gpm"),
    "l/min": ("l/min", "L/min"),
    "h": ("h",),
    "s": ("s",),
    "ms": ("ms",),
}

#: By language, what stands for running and for stopped.
ON_OFF: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "en": (("1", "0"), ("ON", "OFF"), ("yes", "no"), ("Run", "Stop"), ("true", "false")),
    "de": (("1", "0"), ("EIN", "AUS"), ("ja", "nein")),
    "fr": (("1", "0"), ("oui", "non"), ("Marche", "Arrêt")),
    "es": (("1", "0"), ("sí", "no"), ("Marcha", "Paro")),
}

#: By language, months as logs abbreviate them.
MONTHS: Final[Mapping[str, str]] = {
    "en": "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec",
    "de": "Jan Feb Mär Apr Mai Jun Jul Aug Sep Okt Nov Dez",
    "fr": "janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc.",
    "es": "ene feb mar abr may jun jul ago sep oct nov dic",
}

PLAIN: Final = Vocabulary(WORDS, CHEMICALS, UNITS, ON_OFF, MONTHS)
