"""log-ingest: a shift log read for good, beside the quickest read of the same file by polars.

Ours guesses the layout, reads and checks every row, sums up the days, writes days and readings, and
keeps the file, compressed, under its hash. There are two floors, and each has its line. One reads
the file into memory, times as instants, and is told as little of it as ours is: of the ways that
polars has for that, the one that is quickest here. The other is told every name and type and the
form of the times beforehand: nothing reads the file faster, and nobody who has a stranger's log
could read it so.
"""

import hashlib
import os
import resource
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any, Final

import numpy as np
import polars as pl

from tests.benchmarks.database import Databases
from tests.benchmarks.measure import Options, Result, must, say, take_turns

NAME: Final = "log-ingest"
GOAL: Final = 1.4
#: Rows, one for each second.
SIZES: Final = (100_000, 1_000_000)
QUICK_SIZES: Final = (5_000, 50_000)
ROUNDS: Final = 15
WARM: Final = 2
#: When the first row is written, UTC; 07:00 in the shop.
BEGINS: Final = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
READ_AT: Final = datetime(2026, 6, 20, 12, 0, tzinfo=UTC)
#: What the counters show at first: more than they showed at the reading before, long enough ago for
#: nobody to wonder.
SHOWN: Final = 1_000_000
READ_BEFORE: Final = BEGINS - timedelta(days=300)
HEADINGS: Final = (
    "Time,A strokes,B strokes,A temp (°F),B temp (°F),Hose temp (°F),"
    "A pressure (psi),B pressure (psi),Hose pressure (psi),Hour meter (h),Running,Alarm"
)
FORM: Final = "%Y-%m-%d %H:%M:%S"


@dataclass(frozen=True, slots=True)
class Log:
    """A log on the disk, and what is true of it.

    strokes_a, strokes_b: of all days together. days: by date the rows.
    """

    path: Path
    rows: int
    strokes_a: int
    strokes_b: int
    days: dict[date, int]


def run(options: Options, databases: Databases) -> list[Result]:
    """A tenth, then the whole: time and memory must not grow by more than the rows."""
    results, peaks = [], []
    rounds = min(options.rounds, ROUNDS)
    for rows in QUICK_SIZES if options.quick else SIZES:
        log = written(databases.folder / f"log-{rows}.csv", rows)
        with databases.throwaway():
            results += measured(log, rounds)
            peaks.append(peak_mb(log, rig=2 * (rounds + WARM) + 1))
        log.path.unlink()
    say(f"  peak memory of an import: {', then '.join(f'{peak:.0f} MB' for peak in peaks)}")
    return results


def measured(log: Log, rounds: int) -> list[Result]:
    """One size, in the database there is, against each floor in turn."""
    from django.db import connection

    from tests.benchmarks import worlds

    _, manager = worlds.shop(at=READ_BEFORE)
    # One rig for each import, and one whose import is watched for its memory.
    worlds.fleet(rigs=2 * (rounds + WARM) + 1, readings=1, author=manager, at=READ_BEFORE)
    outcomes: list[Any] = []

    def ours(_: int) -> None:
        mark(log, len(outcomes))
        outcomes.append(ingest(log.path, rig=len(outcomes) + 1))

    name, told_nothing = quickest(log)
    say(f"  {log.path.stat().st_size / 1e6:.0f} MB; told nothing, polars is quickest by {name}")
    results = []
    for told, floor in (("nothing", told_nothing), ("all", _told_all)):
        floor_s, ours_s = take_turns(
            ours, lambda _, floor=floor: floor(log.path), rounds=rounds, warm=WARM
        )
        results.append(
            Result(
                name=NAME,
                database=connection.vendor,
                size=f"{log.rows:,} rows",
                of=f"polars told {told}",
                floor_s=floor_s,
                ours_s=ours_s,
                goal=GOAL,
            )
        )
    for place in (0, -1):
        check(log, outcomes[place], is_last=place == -1)
    return results


def ingest(path: Path, *, rig: int) -> Any:
    """Read a log for good, as a person's click does."""
    from equipment.models import Rig
    from equipment.services.shiftlogs import read_log
    from shop.models import Person, Shop

    shop = Shop.objects.get()
    with path.open("rb") as content:
        return read_log(
            rig=Rig.objects.get(number=rig),
            source=content,
            name=path.name,
            author=Person.objects.get(),
            at=READ_AT,
            zone=shop.zone,
            rules=shop.log_rules,
        )


def check(log: Log, outcome: Any, *, is_last: bool) -> None:
    """Days, readings and the kept file say what was written."""
    from equipment.models import Reading
    from equipment.services.shiftlogs.storing import raw

    must(outcome.status == "read", f"the log was not read: {outcome.reason or outcome.questions}")
    must(outcome.rows == log.rows, f"{outcome.rows:,} of {log.rows:,} rows were read")
    must(not outcome.contradictions, "what the log says contradicts the readings")
    found = {day.date: day.rows for day in outcome.days}
    must(found == log.days, f"the days are {found}, not {log.days}")
    for side, wanted in (("a", log.strokes_a), ("b", log.strokes_b)):
        strokes = sum(getattr(day, f"strokes_{side}") for day in outcome.days)
        must(strokes == wanted, f"{wanted:,} strokes {side.upper()} were logged, not {strokes:,}")
    for name, wanted in (("Strokes A", log.strokes_a), ("Strokes B", log.strokes_b)):
        kept = Reading.objects.in_force().filter(
            counter__rig=outcome.log.rig, counter__name=name, source_number=outcome.log.pk
        )
        last = max(kept, key=lambda row: row.at, default=None)
        must(
            last is not None and last.value == SHOWN + wanted,
            f"the last reading of {name} is {last and last.value}, not {SHOWN + wanted}",
        )
    with raw(outcome.log) as content:
        digest = hashlib.file_digest(content, "sha256").hexdigest()
    must(digest == outcome.log.digest, "the kept file has another hash")
    if is_last:
        now = hashlib.sha256(log.path.read_bytes()).hexdigest()
        must(digest == now, "the kept file is another")


# --- the floor ----------------------------------------------------------------------------------


def _read(path: Path) -> pl.DataFrame:
    return pl.read_csv(path, skip_rows=1, try_parse_dates=True)


def _scan(path: Path) -> pl.DataFrame:
    return pl.scan_csv(path, skip_rows=1, try_parse_dates=True).collect()


def _stream(path: Path) -> pl.DataFrame:
    return pl.scan_csv(path, skip_rows=1, try_parse_dates=True).collect(engine="streaming")


def _told_all(path: Path) -> pl.DataFrame:
    """With every name and type known beforehand, and the form of the times too."""
    schema: dict[str, Any] = dict.fromkeys(HEADINGS.split(","), pl.Float64) | {"Time": pl.String}
    times = pl.col("Time").str.to_datetime(FORM, time_unit="us")
    frame = pl.scan_csv(path, skip_rows=1, schema=schema).with_columns(times)
    return frame.collect(engine="streaming")


FLOORS: Final[dict[str, Callable[[Path], pl.DataFrame]]] = {
    "read_csv": _read,
    "scan_csv": _scan,
    "scan_csv, streaming": _stream,
}
TOLD_ALL: Final = "told all"


def quickest(log: Log) -> tuple[str, Callable[[Path], pl.DataFrame]]:
    """Return the way of polars that reads a log quickest here, each of which reads it whole."""
    times: dict[str, float] = {}
    for name, way in (*FLOORS.items(), (TOLD_ALL, _told_all)):
        frame = way(log.path)
        must(frame.height == log.rows, f"{name} gives {frame.height:,} of {log.rows:,} rows")
        must(frame["Time"].dtype == pl.Datetime("us"), f"{name} gives no instants")
        rose = int(frame["A strokes"].max() - frame["A strokes"].min())  # type: ignore[operator]
        must(rose == log.strokes_a, f"{name} gives other strokes")
        taken = []
        for _ in range(5):
            begins = perf_counter()
            way(log.path)
            taken.append(perf_counter() - begins)
        times[name] = median(taken)
    say("  " + ", ".join(f"{name}: {each * 1e3:.0f} ms" for name, each in times.items()))
    name = min(FLOORS, key=lambda each: times[each])
    return name, FLOORS[name]


# --- the log ------------------------------------------------------------------------------------


def written(path: Path, rows: int) -> Log:
    """Write a log: spells of spraying and of rest, temperatures and pressures that wander."""
    chance = np.random.default_rng(11)
    at = np.arange(rows)
    running = (at // 1500) % 4 != 3
    strokes = []
    for share in (0.62, 0.60):
        counted = np.cumsum((chance.random(rows) < share) & running)
        strokes.append(counted - counted[0])
    temps = [
        mean + 4 * np.sin(at / period) + chance.normal(0, 0.4, rows)
        for mean, period in ((121, 900), (124, 1100), (118, 1500))
    ]
    pressures = [
        np.where(running, mean + 60 * np.sin(at / 7), mean - 150) + chance.normal(0, 12, rows)
        for mean in (1180, 1205, 1140)
    ]
    hours = 3100 + np.cumsum(running) / 3600
    alarm = np.where(chance.random(rows) < 0.001, 4, 0)
    # The shop is five hours behind UTC in June.
    wall = BEGINS.replace(tzinfo=None) - timedelta(hours=5)
    days: dict[date, int] = {}
    for second in range(0, rows + 1, 100):
        day = (wall + timedelta(seconds=second)).date()
        days[day] = days.get(day, 0) + min(100, rows - second)
    columns = [
        *(each + SHOWN for each in strokes),
        *(np.round(each, 1) for each in temps),
        *(np.round(each).astype(int) for each in pressures),
        np.round(hours, 2), running.astype(int), alarm,
    ]  # fmt: skip
    times = np.datetime_as_string(np.datetime64(wall, "s") + at)
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(f"Log 000000 of rig 7\n{HEADINGS}\n")
        for when, row in zip(
            times, zip(*(each.tolist() for each in columns), strict=True), strict=True
        ):
            file.write(f"{when.replace('T', ' ')},{','.join(map(str, row))}\n")
    gained_a, gained_b = (int(each[-1]) for each in strokes)
    return Log(path, rows, gained_a, gained_b, {day: each for day, each in days.items() if each})


def mark(log: Log, number: int) -> None:
    """Make it another file, of the same rows: the same one is known and read once only."""
    with log.path.open("r+b") as file:
        file.seek(len("Log "))
        file.write(f"{number:06}".encode())


# --- memory -------------------------------------------------------------------------------------


def peak_mb(log: Log, *, rig: int) -> float:
    """The most memory that an import takes, in a process of its own. [MB]"""
    mark(log, 999_999)
    ran = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.log_ingest", str(log.path), str(rig)],
        capture_output=True, text=True, check=False, env=dict(os.environ),
    )  # fmt: skip
    must(ran.returncode == 0, f"an import in a process of its own failed: {ran.stderr[-500:]}")
    return float(ran.stdout)


def main() -> None:
    import django

    django.setup()
    path, rig = sys.argv[1:]
    must(ingest(Path(path), rig=int(rig)).status == "read", "the log was not read")
    print(_high_water_mb())


def _high_water_mb() -> float:
    """The most memory that this process ever had. [MB]"""
    status = Path("/proc/self/status")
    if status.exists():
        # Not getrusage: after a fork that counts what the parent had.
        line = next(each for each in status.read_text().splitlines() if each.startswith("VmHWM"))
        return int(line.split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
