"""What can be wrong with the ledger's guards, as a system check with a hint."""

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error
from django.db import connections

from inventory import guards


def guards_stand(*, databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Every append-only table has its triggers. Runs with `check --database default`."""
    return [
        Error(
            f"The table {table} can be changed: its guards against UPDATE and DELETE are missing.",
            hint="Run `manage.py migrate --skip-checks`, which puts them up again.",
            id="inventory.E001",
        )
        for alias in databases or ()
        for table in guards.missing(connections[alias])
    ]
