"""Which cells of a row are wanted, and the rows that a parser hands on: what both parsers share."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from equipment.shiftlogs.blocks import Floats, Integers
from equipment.shiftlogs.guessing.cells import GROUPS
from equipment.shiftlogs.layout import (
    CLOCK,
    DATE,
    ELAPSED,
    EPOCH,
    MEASURES,
    OTHER,
    RUNNING,
    TIME,
    TOTALS,
    ZONE,
    Layout,
    LogRefused,
)

#: Microseconds in one of a unit in which a cell counts time.
MICROSECONDS: Final[Mapping[str, int]] = {
    "us": 1, "ms": 1_000, "s": 1_000_000, "min": 60_000_000, "h": 3_600_000_000, "hms": 0,
}  # fmt: skip

#: How rows say when they were written.
WALL: Final = "wall"  # a date and a time of day
DAYTIME: Final = "daytime"  # a time of day alone
SINCE_EPOCH: Final = "since_epoch"
SINCE_BEGINNING: Final = "since_beginning"

#: Offset of a row that names none.
NO_OFFSET: Final = np.iinfo(np.int64).min


#: What a running column says, case-folded. Numbers: anything but 0 runs.
RUNNING_WORDS: Final = frozenset({
    "run", "running", "on", "yes", "y", "j", "true", "t", "active", "spray", "spraying", "pumping",
    "started", "start", "open", "ein", "an", "ja", "läuft", "laeuft", "betrieb", "in betrieb",
    "aktiv", "wahr", "marche", "en marche", "oui", "o", "vrai", "actif", "si", "sí", "s",
    "encendido", "marcha", "en marcha", "activo", "verdadero", "sì", "acceso", "attivo", "vero",
    "aan", "actief", "waar", "sim", "ligado", "ativo", "verdadeiro", "på", "sand", "sant",
    "w ruchu", "tak", "zał", "marcia", "in marcia", "in marcha", "em marcha", "funcionando",
    "lauf", "laufend", "sprüht", "sprühen", "spritzt", "démarré", "demarre", "en service",
    "pompage", "in funzione", "spruzzo", "bezig", "in werking", "spuiten", "bombeando", "activa",
    "pulverizando", "rociando", "attiva", "ativa", "em operação", "trabajando", "working", "go",
    "not stopped", "em", "marcha normal", "praca", "pracuje", "włączony",
    "operando", "spritzen", "pulvérisation", "draait", "in bedrijf", "loopt",
})  # fmt: skip
STOPPED_WORDS: Final = frozenset({
    "stop", "stopped", "off", "no", "n", "false", "f", "inactive", "idle", "standby", "parked",
    "paused", "pause", "ready", "closed", "aus", "nein", "steht", "gestoppt", "inaktiv", "falsch",
    "halt", "bereit", "arrêt", "arret", "arrêté", "non", "faux", "inactif", "apagado", "parado",
    "detenido", "inactivo", "falso", "spento", "fermo", "inattivo", "uit", "nee", "inactief",
    "onwaar", "não", "nao", "desligado", "inativo", "av", "nej", "falsk", "nie", "postój", "wył",
    "paro", "parada", "stopp", "gestopt", "stilstand", "stillstand", "arresto", "ferma", "stoppé",
    "halten", "angehalten", "detenida", "not running", "idling", "steht still", "en arrêt", "wait",
    "à l'arrêt", "en paro", "stand-by", "stand by", "park", "attente", "espera", "ruhe", "down",
    "stil", "waiting", "warten", "wartet", "stoppe", "a l'arret", "arrêtée", "apagada", "spenta",
    "hold", "pausa", "attesa", "inactiva", "inattiva", "inativa", "shutdown", "läuft nicht",
    "veille", "parken", "wyłączony", "stoi",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class Plan:
    """What is read of each row.

    kind: how rows say when (WALL …). date, clock: places of the cells with the date and the time
    of day; both name the same place where one cell holds both. A time of day may take several
    cells (AM and PM beside the hour), and so may a date (year, month and day): more_dates.
    counted: place of a cell that counts time since the epoch or the beginning, in units of so many
    microseconds; 0 for hours, minutes and seconds.
    zone: place of the row's own zone.
    numbers: place by role. running: its place.
    """

    kind: str
    date: int | None
    clock: tuple[int, ...]
    counted: int | None
    unit_us: int
    zone: int | None
    numbers: tuple[tuple[str, int], ...]
    running: int | None
    more_dates: tuple[int, ...] = ()

    @property
    def is_one_cell(self) -> bool:
        """Date and time of day stand in one cell."""
        return self.clock == (self.date,)

    @property
    def places(self) -> tuple[int, ...]:
        """All places that are read, in order."""
        named = {
            *(place for place in (self.date, self.counted, self.zone, self.running)),
            *self.clock,
            *self.more_dates,
            *(place for _, place in self.numbers),
        }
        return tuple(sorted(place for place in named if place is not None))


def planned(layout: Layout) -> Plan:
    """Return what to read of each row. Raises LogRefused where no column tells the time."""
    if layout.decimal not in (".", ",") or layout.grouping not in ("", *GROUPS):
        raise LogRefused("Numbers are not written as this layout says.")
    places: dict[str, list[int]] = {}
    taken: set[int] = set()
    for column in layout.columns:
        if not 0 <= column.index < layout.width:
            raise LogRefused("The layout names a column that the rows of this log do not have.")
        if column.role != OTHER and column.index in taken:
            raise LogRefused("The layout gives one column two meanings.")
        taken.add(column.index)
        places.setdefault(column.role, []).append(column.index)

    def first(role: str) -> int | None:
        return places[role][0] if role in places else None

    counted: int | None = None
    unit = ""
    kind = WALL
    date, clock = first(DATE), tuple(places.get(CLOCK, ()))
    if TIME in places:
        date, clock = places[TIME][0], (places[TIME][0],)
    elif EPOCH in places:
        kind, counted = SINCE_EPOCH, first(EPOCH)
        unit = getattr(layout.column(EPOCH), "unit", "") or "s"
    elif clock:
        kind = WALL if date is not None else DAYTIME
    elif ELAPSED in places:
        kind, counted = (WALL if date is not None else SINCE_BEGINNING), first(ELAPSED)
        unit = getattr(layout.column(ELAPSED), "unit", "") or "s"
    else:
        raise LogRefused("No column of this log says when its rows were written.")
    if unit and unit not in MICROSECONDS:
        raise LogRefused(f"Time cannot be counted in “{unit}”.")
    return Plan(
        kind=kind,
        date=date,
        clock=clock,
        counted=counted,
        unit_us=MICROSECONDS.get(unit, 0),
        zone=first(ZONE),
        numbers=tuple((role, places[role][0]) for role in (*TOTALS, *MEASURES) if role in places),
        running=first(RUNNING),
        more_dates=() if TIME in places else tuple(places.get(DATE, ())[1:]),
    )


@dataclass(slots=True)
class Rows:
    """Good rows as they stand in the file, before zone, units and duplicates. n of them.

    line: numbers of their lines. when_us: by Plan.kind the wall time since 1970-01-01, the time of
    day, or what was counted. [µs] offset_us: what each row says that its zone is ahead of UTC,
    NO_OFFSET where it says nothing; None where no row does. [µs]
    numbers: by role, as written, NaN for nothing.
    """

    line: Integers
    when_us: Integers
    offset_us: Integers | None
    numbers: dict[str, Floats]
    running: npt.NDArray[np.bool_] | None

    def __len__(self) -> int:
        return len(self.line)

    def taken(self, which: slice | npt.NDArray[np.bool_]) -> "Rows":
        """Return some of the rows."""
        return Rows(
            line=self.line[which],
            when_us=self.when_us[which],
            offset_us=None if self.offset_us is None else self.offset_us[which],
            numbers={role: values[which] for role, values in self.numbers.items()},
            running=None if self.running is None else self.running[which],
        )
