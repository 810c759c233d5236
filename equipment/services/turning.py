"""The turn of the day: rates learnt anew, stays that have begun moved on, dates and odds with them.

Between two turns nothing ages: kept rows hold only what readings, doings and bookings said, and
what the snapshot of rates says of the fleet (`usage.renew_usage`).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final
from zoneinfo import ZoneInfo

from django.db import connection, transaction

from equipment.models import Due, DueClock, Rig
from equipment.services import bookings, locks
from equipment.services.forecasting import settle
from equipment.services.keeping import picture, write_changed
from equipment.services.kept import KEPT_OF_CLOCK, MOVED_OF_DUE, Kept
from equipment.services.usage import renew_usage

#: Rigs in one transaction: writers of others wait no longer than these take.
RIGS_AT_A_TIME: Final = 100
#: Of each index, so that the largest fleet costs no more than a small one.
ROWS_LOOKED_AT: Final = 1000


@dataclass(frozen=True, slots=True)
class Turned:
    """How many rates were learnt, stays moved on, and kept rows changed."""

    rates: int
    stays: int
    rows: int


def turn_day(*, today: date, zone: ZoneInfo) -> Turned:
    """Turn the kept rows to a day. Twice a day does no harm, and changes nothing the second time.

    today: in the shop's zone. The rates are written first, in one transaction; then rigs follow.
    """
    rates = renew_usage(today=today, zone=zone)
    stays, rows = turn_rigs(today=today, zone=zone)
    tell_planner()
    return Turned(rates=rates, stays=stays, rows=rows)


def turn_rigs(*, today: date, zone: ZoneInfo) -> tuple[int, int]:
    """Move stays on and forecast every due row anew; return (stays moved on, kept rows changed).

    RIGS_AT_A_TIME in one transaction. On the bench nothing is used, so nothing turns.
    """
    stays = rows = 0
    pks = list(Rig.objects.order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(pks), RIGS_AT_A_TIME):
        chunk = pks[start : start + RIGS_AT_A_TIME]
        with transaction.atomic():
            rigs = locks.lock_rigs(chunk)
            stays += len(bookings.keep_stays(rigs.values(), today=today))
            of_rigs = Due.objects.filter(rig__in=rigs).values_list("component_id", flat=True)
            rows += refresh(set(of_rigs), zone=zone)
    return stays, rows


def tell_planner() -> None:
    """Let SQLite know how due rows are spread; PostgreSQL finds out by itself.

    Not knowing, it takes the index of the date for every order of the due list, and sorts the rest.
    """
    if connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute(f"PRAGMA analysis_limit = {ROWS_LOOKED_AT}")
            cursor.execute(f"ANALYZE {connection.ops.quote_name(Due._meta.db_table)}")


def refresh(components: Iterable[int], *, zone: ZoneInfo) -> int:
    """Forecast the due rows of these components anew from their clocks; return how many changed.

    The caller holds the locks of their rigs.
    """
    kept = Kept.of(Due.objects.filter(component__in=set(components)))
    clocks = [clock for _, of_row in kept.entries for clock in of_row]
    before = [picture(row, MOVED_OF_DUE) for row, _ in kept.entries]
    old = [picture(clock, KEPT_OF_CLOCK) for clock in clocks]
    settle(kept.entries, wear=kept.wear, sources=kept.sources, zone=zone)
    rows = [row for row, _ in kept.entries]
    return write_changed(Due, rows, before, MOVED_OF_DUE) + write_changed(
        DueClock, clocks, old, KEPT_OF_CLOCK
    )
