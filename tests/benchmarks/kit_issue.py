"""kit-issue: the parts of a kit issued by eight people at once, ledger, lots and balances written.

Each worker is a process of its own, as a web server's are, and all take from the same lots. The
floor locks, writes and commits the same rows through the database's own driver.
"""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from typing import Any, Final
from uuid import uuid4

from django.conf import settings
from django.db import connection
from django.db.models import Count, F, Sum

from inventory.costing import issue_value_cents
from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.services import IssueLine, TransferLine, issue, prove, receive, transfer
from shop.models import Person
from tests.benchmarks import worlds
from tests.benchmarks.database import Databases, analyze
from tests.benchmarks.measure import POSTGRESQL, SQLITE, Options, Result, must, say, take_turns

NAME: Final = "kit-issue"
GOALS: Final = {SQLITE: 3.5, POSTGRESQL: 2.0}
LINES: Final = 25
WORKERS: Final = 8
#: Issues of each worker in a turn.
EACH: Final = 5
#: In the larger ledger, or a few more.
PAST_LINES: Final = 50_000
STOCK_STEPS: Final = 1_000_000
AT: Final = datetime(2026, 6, 1, tzinfo=UTC)
AHEAD_OF_TURNS: Final = 2


def run(options: Options, databases: Databases) -> list[Result]:
    """A new ledger, then one with years in it: an issue should cost the same in both."""
    results = []
    for past in (0, 2 * LINES if options.quick else PAST_LINES):
        with databases.throwaway():
            results.append(measured(options, past=past))
    return results


def measured(options: Options, *, past: int) -> Result:
    """One size, in the database there is."""
    _, manager = worlds.shop(at=AT)
    parts, places = stocked(author=manager)
    pass_time(parts, places, lines=past, author=manager)
    analyze()
    before = Movement.objects.count()
    each = 1 if options.quick else EACH
    with staff(manager.pk) as workers:

        def turn(kind: str) -> Callable[[int], None]:
            def take(_: int) -> None:
                for worker in workers:
                    order(worker, kind, each)
                answers = [answer(worker) for worker in workers]
                must(answers == ["done"] * WORKERS, f"the workers say {answers}")

            return take

        floor_s, ours_s = take_turns(
            turn("ours"), turn("bare"), rounds=options.rounds, warm=AHEAD_OF_TURNS
        )
    turns = options.rounds + AHEAD_OF_TURNS
    check(issues=2 * turns * WORKERS * each, before=before)
    say(f"  {before:,} lines there, {WORKERS} workers; {each} issues of each in a turn")
    return Result(
        name=NAME,
        database=connection.vendor,
        size=f"{LINES} lines, ledger of {before:,}",
        floor_s=floor_s / (WORKERS * each),
        ours_s=ours_s / (WORKERS * each),
        goal=GOALS[connection.vendor],
    )


def check(*, issues: int, before: int) -> None:
    """Nothing is lost or doubled, and the books prove."""
    written = Movement.objects.count() - before
    must(written == issues * LINES, f"{issues} issues wrote {written} lines")
    requests = Movement.objects.filter(kind="issue").aggregate(n=Count("request_id", distinct=True))
    must(requests["n"] == issues, f"{issues} issues are {requests['n']} requests")
    wrong = prove()
    must(not wrong, f"the books do not prove: {wrong[:3]}")
    left = Lot.objects.aggregate(left=Sum(F("quantity_received_steps") - F("quantity_left_steps")))
    must(left["left"] == issues * LINES, f"{left['left']} steps are gone from the lots")


# --- a shop with stock -------------------------------------------------------------------------


def stocked(*, author: Any) -> tuple[list[Part], list[Location]]:
    """Parts with one lot each in a bin, and another bin."""
    told = {"changed_by": author, "changed_at": AT}
    places = Location.objects.bulk_create(Location(code=code, **told) for code in ("K-01", "K-02"))
    parts = Part.objects.bulk_create(
        Part(number=f"P-{n:03d}", name="seal", search_key=f"p-{n:03d} seal", **told)
        for n in range(LINES)
    )
    for number, part in enumerate(parts):
        receive(
            part=part,
            location=places[0],
            quantity_steps=STOCK_STEPS,
            value_cents=300_000_007 + number,  # which no step divides
            lot_code="L-1",
            author=author,
            at=AT,
            request_id=uuid4(),
        )
    return parts, places


def pass_time(
    parts: Sequence[Part], places: Sequence[Location], *, lines: int, author: Any
) -> None:
    """Write so many lines: everything carried to the other bin and back."""
    here, there = places
    for _ in range(-(-lines // (4 * len(parts)))):
        for one, other in ((here, there), (there, here)):
            transfer(
                lines=[TransferLine(part, one, other, 1) for part in parts],
                author=author, at=AT, request_id=uuid4(),
            )  # fmt: skip


# --- the workers -------------------------------------------------------------------------------


@contextmanager
def staff(author: int) -> Iterator[list["subprocess.Popen[str]"]]:
    """Eight processes, ready; gone at the end."""
    told = {"DATABASE_URL": _url(), "DJANGO_SETTINGS_MODULE": "tests.benchmarks.settings"}
    with ExitStack() as at_the_end:
        people = []
        for _ in range(WORKERS):
            person = subprocess.Popen(
                [
                    sys.executable,
                    "-c",
                    "import django; django.setup()\n"
                    f"from tests.benchmarks.kit_issue import work; work({author})",
                ],
                cwd=settings.BASE_DIR,
                env={**os.environ, **told},
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            )
            at_the_end.enter_context(person)
            at_the_end.callback(person.kill)
            people.append(person)
        must(all(answer(each) == "ready" for each in people), "a worker did not begin")
        yield people


def answer(worker: "subprocess.Popen[str]") -> str:
    """The next line that a worker says; nothing where it has ended."""
    assert worker.stdout is not None
    return worker.stdout.readline().strip()


def order(worker: "subprocess.Popen[str]", kind: str, times: int) -> None:
    assert worker.stdin is not None
    print(kind, times, file=worker.stdin, flush=True)


def _url() -> str:
    """The database in use now, whoever made it: a benchmark, or a test."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{name}"


def work(author: int) -> None:
    """A worker's whole life: so many issues of one kind, whenever it is told."""
    person = Person.objects.get(pk=author)
    place = Location.objects.get(code="K-01")
    parts = list(Part.objects.order_by("pk"))
    bare = BareSqlite if connection.vendor == "sqlite" else BarePostgresql
    floor = bare(author, place.pk, [part.pk for part in parts])

    def ours() -> None:
        lines = [IssueLine(part, place, 1) for part in parts]
        issue(lines=lines, author=person, at=AT, request_id=uuid4())

    print("ready", flush=True)
    for line in sys.stdin:
        kind, times = line.split()
        for _ in range(int(times)):
            ours() if kind == "ours" else floor.issue()
        print("done", flush=True)


# --- the floor ---------------------------------------------------------------------------------

LOTS: Final = Lot._meta.db_table
BALANCES: Final = Balance._meta.db_table
LEDGER: Final = Movement._meta.db_table
COLUMNS: Final = (
    "kind, part_id, lot_id, location_id, quantity_steps, value_cents, at, recorded_at, author_id, "
    "reason, source_kind, source_number, source_text, request_id, line_no"
)


class Bare:
    """The same rows locked, changed and written, and nothing else looked at."""

    def __init__(self, author: int, place: int, parts: Sequence[int]) -> None:
        self.author = author
        self.place = place
        self.parts = parts

    def changes(
        self, lots: Sequence[Any], balances: Sequence[Any], request: object, at: object
    ) -> tuple[list[Any], list[Any], list[Any]]:
        """Rows for the three tables: one step of each lot."""
        costs = {
            pk: issue_value_cents(
                value_left_cents=value, quantity_left_steps=steps, quantity_steps=1
            )
            for pk, _, steps, value in lots
        }
        ledger = [
            ("issue", part, pk, self.place, -1, -costs[pk], at, at, self.author,
             "", "hand", 0, "", request, line)
            for line, (pk, part, _, _) in enumerate(lots, start=1)
        ]  # fmt: skip
        return (
            [(steps - 1, value - costs[pk], pk) for pk, _, steps, value in lots],
            [(steps - 1, pk) for pk, steps in balances],
            ledger,
        )


class BareSqlite(Bare):
    def __init__(self, author: int, place: int, parts: Sequence[int]) -> None:
        super().__init__(author, place, parts)
        self.database = sqlite3.connect(
            connection.settings_dict["NAME"], isolation_level=None, timeout=20
        )
        self.database.executescript(connection.settings_dict["OPTIONS"]["init_command"])

    def issue(self) -> None:
        send = self.database.execute
        many = self.database.executemany
        marks = ",".join("?" * len(self.parts))
        request = uuid4().hex
        send("BEGIN IMMEDIATE")
        lots = send(
            f"SELECT id, part_id, quantity_left_steps, value_left_cents FROM {LOTS} "
            f"WHERE part_id IN ({marks}) AND quantity_left_steps > 0 ORDER BY id",
            self.parts,
        ).fetchall()
        balances = send(
            f"SELECT id, quantity_steps FROM {BALANCES} WHERE location_id = ? "
            f"AND lot_id IN ({marks})",
            [self.place, *(lot[0] for lot in lots)],
        ).fetchall()
        send(f"SELECT 1 FROM {LEDGER} WHERE request_id = ?", [request]).fetchall()
        at = AT.isoformat(" ")
        of_lots, of_balances, of_ledger = self.changes(lots, balances, request, at)
        many(
            f"UPDATE {LOTS} SET quantity_left_steps = ?, value_left_cents = ? WHERE id = ?", of_lots
        )
        many(f"UPDATE {BALANCES} SET quantity_steps = ? WHERE id = ?", of_balances)
        many(f"INSERT INTO {LEDGER} ({COLUMNS}) VALUES ({','.join('?' * 15)})", of_ledger)
        send("COMMIT")


class BarePostgresql(Bare):
    def __init__(self, author: int, place: int, parts: Sequence[int]) -> None:
        super().__init__(author, place, parts)
        import psycopg

        known = connection.settings_dict
        self.database = psycopg.connect(
            host=known["HOST"], port=known["PORT"] or 5432, user=known["USER"],
            password=known["PASSWORD"], dbname=known["NAME"],
        )  # fmt: skip

    def issue(self) -> None:
        request = uuid4()
        with self.database.transaction(), self.database.cursor() as cursor:
            lots = cursor.execute(
                f"SELECT id, part_id, quantity_left_steps, value_left_cents FROM {LOTS} "
                "WHERE part_id = ANY(%s) AND quantity_left_steps > 0 ORDER BY id FOR UPDATE",
                [list(self.parts)],
            ).fetchall()
            balances = cursor.execute(
                f"SELECT id, quantity_steps FROM {BALANCES} WHERE location_id = %s "
                "AND lot_id = ANY(%s) ORDER BY id FOR UPDATE",
                [self.place, [lot[0] for lot in lots]],
            ).fetchall()
            cursor.execute(f"SELECT 1 FROM {LEDGER} WHERE request_id = %s", [request]).fetchall()
            of_lots, of_balances, of_ledger = self.changes(lots, balances, request, AT)
            left, worth, keys = zip(*of_lots, strict=True)
            cursor.execute(
                f"UPDATE {LOTS} SET quantity_left_steps = new.rest, value_left_cents = new.worth "
                "FROM unnest(%s::bigint[], %s::bigint[], %s::bigint[]) AS new(pk, rest, worth) "
                f"WHERE {LOTS}.id = new.pk",
                [list(keys), list(left), list(worth)],
            )
            there, keys = zip(*of_balances, strict=True)
            cursor.execute(
                f"UPDATE {BALANCES} SET quantity_steps = new.there "
                "FROM unnest(%s::bigint[], %s::bigint[]) AS new(pk, there) "
                f"WHERE {BALANCES}.id = new.pk",
                [list(keys), list(there)],
            )
            row = f"({','.join(['%s'] * 15)})"
            cursor.execute(
                f"INSERT INTO {LEDGER} ({COLUMNS}) VALUES {','.join([row] * len(of_ledger))}",
                [value for line in of_ledger for value in line],
            )
