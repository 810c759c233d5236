"""Several people at the same moment, each on a connection of its own; and locks taken away.

On PostgreSQL a lock is `select_for_update`, in a posting `ledger_rows.for_update`; on SQLite it is
the immediate transaction.
"""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier, BrokenBarrierError, get_ident
from typing import Any

import pytest
from django.db import connection, models

from inventory.services import ledger_rows


def at_once(*acts: Callable[[], Any]) -> list[Any]:
    """Do all of it at the same moment. Returns what each gave, or the exception it raised."""
    start = Barrier(len(acts))

    def run(act: Callable[[], Any]) -> Any:
        connection.ensure_connection()
        start.wait(timeout=20)
        try:
            return act()
        except BrokenBarrierError:
            raise  # they did not meet: nothing was tried
        except Exception as raised:
            return raised
        finally:
            connection.close()

    with ThreadPoolExecutor(len(acts)) as people:
        return list(people.map(run, acts))


def refused(results: list[Any], kind: type[Exception]) -> int:
    """How many were refused so; anything else that went wrong fails the test."""
    unexpected = [
        each for each in results if isinstance(each, Exception) and not isinstance(each, kind)
    ]
    assert unexpected == []
    return sum(isinstance(each, kind) for each in results)


def without_row_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Take every row lock away, for a twin test on PostgreSQL."""
    monkeypatch.setattr(models.QuerySet, "select_for_update", lambda self, **_: self.all())
    monkeypatch.setattr(ledger_rows, "for_update", str)


def all_meet_in(
    monkeypatch: pytest.MonkeyPatch, where: object, name: str, *, people: int = 2
) -> None:
    """Hold everybody before a function until all have come there for the first time.

    Only for twins without locks: a lock before it would keep the second away.
    """
    barrier = Barrier(people)
    inside = getattr(where, name)
    met: set[int] = set()

    def meet(*args: Any, **given: Any) -> Any:
        if get_ident() not in met:
            met.add(get_ident())
            barrier.wait(timeout=20)
        return inside(*args, **given)

    monkeypatch.setattr(where, name, meet)
