"""due-page: the first fifty rows of the due list, filtered and sorted, among very many."""

import statistics
import time
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, Final

from django.db import connection
from django.http import QueryDict
from django.utils import timezone

from equipment.due import FAR_DATE
from equipment.models import ComponentKind, Due
from shop import duelist
from shop.filters import DueFilter
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
#: Each order of the list, with the span it is measured over.
SORTS: Final = (
    (duelist.DATE, "month"),
    (duelist.RIG, "month"),
    (duelist.ODDS, "month"),
    (duelist.KITS, "month"),
)
ORDERS: Final = {
    duelist.DATE: "d.due_date, d.id",
    duelist.RIG: "d.rig_number, d.due_date, d.id",
    duelist.ODDS: "d.odds_due_permille DESC, d.id",
    duelist.KITS: "d.kit_cents DESC, d.id",
}

#: The least that tells what a row of the list shows: one statement, each row found by its index.
FLOOR_SQL: Final = """
SELECT d.id, d.rig_id, d.rig_number, r.name, p.side, k.name, d.component_id, c.tag, d.version_id,
       s.id, s.name, d.measure, d.interval, d.since, d.is_at_least, d.rate_per_day, d.read_on,
       d.tolerance, d.due_date, d.late_date, d.is_past_due, d.is_past_tolerance, d.brought_on,
       d.brought_because, d.due_10, d.due_90, d.stay_on, d.odds_due_permille,
       d.odds_due_most_permille, d.odds_late_permille, d.postponed_to, d.kit_cents, v.labour_minutes
FROM equipment_due d
JOIN equipment_rig r ON r.id = d.rig_id
JOIN equipment_position p ON p.id = d.position_id
JOIN equipment_componentkind k ON k.id = d.kind_id
JOIN equipment_component c ON c.id = d.component_id
JOIN equipment_serviceversion v ON v.id = d.version_id
JOIN equipment_service s ON s.id = v.service_id
WHERE d.is_listed IN (TRUE) AND d.kind_id = %s AND d.due_date <= %s AND d.bigger_date > %s
ORDER BY {order}
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
            _price()
            analyze()
            today = timezone.localdate(now, shop.zone)
            results += [
                measured(options, shop=shop, today=today, sort=sort, before=before)
                for sort, before in SORTS
            ]
            say(f"  the whole page, which has no goal: {_whole_page(manager):.0f} ms")
    return results


def _price() -> None:
    """Odds and prices of rows, spread as in no order of the list: those kept are all 0 here."""
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE equipment_due SET odds_due_permille = (id * 7919) % 1001,"
            " kit_cents = (id * 104729) % 50000"
        )


def measured(options: Options, *, shop: Shop, today: date, sort: str, before: str) -> Result:
    """One size and order, in the database there is."""
    kind = ComponentKind.objects.get(name=KIND)
    asked = QueryDict(f"kind={kind.pk}&before={before}&sort={sort}")
    # The filters are read once a request; what costs is the rows.
    found = DueFilter(
        asked, queryset=Due.objects.listed(), today=today, warning_days=shop.warning_days
    )
    must(found.form.is_valid(), f"the filters are refused: {found.form.errors.as_text()}")
    rows = found.qs
    until, folded = found.until or FAR_DATE, found.folded_to or today

    def ours(number: int = 0) -> Sequence[duelist.ListedDue]:
        return duelist.fetch(rows, sort=sort, most=PAGE + 1)

    def floor(number: int = 0) -> Sequence[Sequence[Any]]:
        with connection.cursor() as cursor:
            cursor.execute(FLOOR_SQL.format(order=ORDERS[sort]), [kind.pk, until, folded])
            return cursor.fetchall()

    check(ours, floor, kind, sort=sort, until=until, folded=folded)
    floor_s, ours_s = take_turns(ours, floor, rounds=options.rounds * 5)
    rigs, count = Due.objects.values("rig").distinct().count(), Due.objects.count()
    return Result(
        name=NAME,
        database=connection.vendor,
        size=f"{rigs:,} rigs, {count:,} due rows, by {sort}",
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
        answer = client.get(f"/due/?kind={kind.pk}&before=month")
        times.append(time.perf_counter() - begins)
        must(answer.status_code == 200, f"the due page answered {answer.status_code}")
    return statistics.median(times) * 1e3


def check(
    ours: Callable[[], Sequence[duelist.ListedDue]],
    floor: Callable[[], Sequence[Sequence[Any]]],
    kind: ComponentKind,
    *,
    sort: str,
    until: date,
    folded: date,
) -> None:
    """Both give the rows that going through all of them gives, in order."""
    ranked: dict[str, Callable[[Due], tuple[Any, ...]]] = {
        duelist.DATE: lambda due: (due.due_date, due.pk),
        duelist.RIG: lambda due: (due.rig_number, due.due_date, due.pk),
        duelist.ODDS: lambda due: (-due.odds_due_permille, due.pk),
        duelist.KITS: lambda due: (-due.kit_cents, due.pk),
    }
    wanted = sorted(
        ranked[sort](due)
        for due in Due.objects.iterator()
        if due.is_listed
        and due.kind_id == kind.pk
        and due.due_date <= until
        and due.bigger_date > folded
    )
    first = [rank[-1] for rank in wanted[: PAGE + 1]]
    must(len(first) > 1, "nothing falls due, so there is nothing to measure")
    must([row[0] for row in floor()] == first, "the floor gives other rows than there are")
    must([due.pk for due in ours()] == first, "the due list gives other rows than there are")
