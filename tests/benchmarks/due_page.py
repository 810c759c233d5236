"""due-page: the first fifty rows of the due list, filtered and sorted, among very many."""

import statistics
import time
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from typing import Any, Final

from django.db import connection
from django.http import QueryDict
from django.utils import timezone

from equipment.models import ComponentKind, Due
from shop import duelist
from shop.filters import MONTH, DueFilter
from shop.models import Person, Shop
from tests.benchmarks import worlds
from tests.benchmarks.database import Databases, analyze
from tests.benchmarks.measure import POSTGRESQL, SQLITE, Options, Result, must, say, take_turns

NAME: Final = "due-page"
GOALS: Final = {SQLITE: 4.0, POSTGRESQL: 2.5}
#: Rigs worked out in full; the rest are copies of their rows.
RIGS: Final = 100
#: So many times the rigs: a thousand, then nearly ten thousand (a rig's number has four digits).
TIMES: Final = (10, 99)
KIND: Final = "pump"
PAGE: Final = duelist.ROWS_A_PAGE

#: The least that tells what a row of the list shows: one statement, each row found by its index.
FLOOR_SQL: Final = """
SELECT d.id, d.rig_id, d.rig_number, r.name, p.side, k.name, d.component_id, c.tag, d.version_id,
       s.id, s.name, d.measure, d.interval, d.since, d.is_at_least, d.rate_per_day, d.read_on,
       d.tolerance, d.due_date, d.late_date, d.is_past_due, d.is_past_tolerance
FROM equipment_due d
JOIN equipment_rig r ON r.id = d.rig_id
JOIN equipment_position p ON p.id = d.position_id
JOIN equipment_componentkind k ON k.id = d.kind_id
JOIN equipment_component c ON c.id = d.component_id
JOIN equipment_serviceversion v ON v.id = d.version_id
JOIN equipment_service s ON s.id = v.service_id
WHERE d.is_listed IN (TRUE) AND d.kind_id = %s AND d.due_date <= %s
ORDER BY d.due_date, d.id
LIMIT 51
"""


def run(options: Options, databases: Databases) -> list[Result]:
    """A thousand rigs, then nearly ten thousand: the page should not notice."""
    now = timezone.now()
    rigs, times = (2, (2, 4)) if options.quick else (RIGS, TIMES)
    results = []
    with databases.throwaway():
        shop, manager = worlds.shop(at=now)
        worlds.fleet(rigs=rigs, readings=6, author=manager, at=now, places=worlds.LARGE)
        copies = worlds.Copies()
        for each in times:
            copies.grow(each)
            analyze()
            results.append(measured(options, shop=shop, today=timezone.localdate(now, shop.zone)))
            say(f"  the whole page, which has no goal: {_whole_page(manager):.0f} ms")
    return results


def measured(options: Options, *, shop: Shop, today: date) -> Result:
    """One size, in the database there is."""
    kind = ComponentKind.objects.get(name=KIND)
    asked = QueryDict(f"kind={kind.pk}&before=month&sort=date")
    # The filters are read once a request; what costs is the rows.
    found = DueFilter(
        asked, queryset=Due.objects.listed(), today=today, warning_days=shop.warning_days
    )
    must(found.form.is_valid(), f"the filters are refused: {found.form.errors.as_text()}")
    rows = found.qs

    def ours(number: int = 0) -> Sequence[duelist.ListedDue]:
        return duelist.fetch(rows, most=PAGE + 1)

    def floor(number: int = 0) -> Sequence[Sequence[Any]]:
        with connection.cursor() as cursor:
            cursor.execute(FLOOR_SQL, [kind.pk, today + MONTH])
            return cursor.fetchall()

    check(ours, floor, kind, today)
    floor_s, ours_s = take_turns(ours, floor, rounds=options.rounds * 5)
    rigs, count = Due.objects.values("rig").distinct().count(), Due.objects.count()
    return Result(
        name=NAME,
        database=connection.vendor,
        size=f"{rigs:,} rigs, {count:,} due rows",
        floor_s=floor_s,
        ours_s=ours_s,
        goal=GOALS[connection.vendor],
    )


def _whole_page(manager: Person) -> float:
    """The page as a browser gets it: filters, counts, kits, sheets, drawn rows. [ms]"""
    client = worlds.client_of(manager)
    kind = ComponentKind.objects.get(name=KIND)
    times = []
    for _ in range(5):
        begins = time.perf_counter()
        answer = client.get("/due/", {"kind": kind.pk, "before": "month"})
        times.append(time.perf_counter() - begins)
        must(answer.status_code == 200, f"the due page answered {answer.status_code}")
    return statistics.median(times) * 1e3


def check(
    ours: Callable[[], Sequence[duelist.ListedDue]],
    floor: Callable[[], Sequence[Sequence[Any]]],
    kind: ComponentKind,
    today: date,
) -> None:
    """Both give the rows that going through all of them gives, in order."""
    every = Due.objects.values_list("due_date", "pk", "kind_id", "is_listed")
    until = today + timedelta(days=30)
    wanted = sorted(
        (due_date, pk)
        for due_date, pk, of_kind, is_listed in every.iterator()
        if is_listed and of_kind == kind.pk and due_date <= until
    )
    first = [pk for _, pk in wanted[: PAGE + 1]]
    must(len(first) > 1, "nothing falls due, so there is nothing to measure")
    must([row[0] for row in floor()] == first, "the floor gives other rows than there are")
    must([due.pk for due in ours()] == first, "the due list gives other rows than there are")
