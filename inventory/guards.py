"""Tables that are only added to, guarded in the database itself.

Code can be gone round (`update()`, a shell, another program); a trigger cannot. Each guarded table
has one before UPDATE and one before DELETE, on SQLite and on PostgreSQL alike; where a row may be
ended once ("taken off by"), a third one refuses to do so again.

An app names its tables in `AppConfig.ready` with `guard("shop_signedcopy")`. The triggers are put
up after every `migrate`, not in one old migration, because SQLite silently drops a table's
triggers when it rebuilds the table for a change of its columns. PostgreSQL's TRUNCATE passes row
triggers by; we leave it so, since the tests' flush uses it and nobody truncates by accident.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper


@dataclass(frozen=True, slots=True)
class Left:
    """What an UPDATE may still set: `allowed` always, `once` while all of them are null."""

    allowed: tuple[str, ...] = ()
    once: tuple[str, ...] = ()


#: Guarded tables, each with the columns that may still change.
APPEND_ONLY: dict[str, Left] = {}

MESSAGE = "is only added to: reverse the entry, do not change it"
_EVENTS = ("update", "delete")
_AGAIN = "again"
_FUNCTION = "refuse_change_of_append_only_row"


def guard(table: str, *, allow_columns: Iterable[str] = (), once: Iterable[str] = ()) -> None:
    """Name a table as append-only. `allow_columns` are those an UPDATE may still set, `once` those
    that it may set while they are null."""
    APPEND_ONLY[table] = Left(allowed=tuple(allow_columns), once=tuple(once))


def install(
    connection: BaseDatabaseWrapper,
    table: str,
    *,
    allow_columns: Iterable[str] = (),
    once: Iterable[str] = (),
) -> None:
    """Put up the guards of one table; those that stand are replaced."""
    left = Left(allowed=tuple(allow_columns), once=tuple(once))
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        columns = [
            column.name
            for column in connection.introspection.get_table_description(cursor, table)
            if column.name not in {*left.allowed, *left.once}
        ]
        lift(connection, table)
        if connection.vendor == "postgresql":
            cursor.execute(
                f"CREATE OR REPLACE FUNCTION {_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$ "
                f"BEGIN RAISE EXCEPTION '% {MESSAGE}', TG_TABLE_NAME "
                f"USING ERRCODE = 'integrity_constraint_violation'; END $$"
            )
        for event in _events(left):
            setting = left.once if event == _AGAIN else columns
            what = "DELETE" if event == "delete" else f"UPDATE OF {', '.join(map(quote, setting))}"
            when = ""
            if event == _AGAIN:
                is_set = " OR ".join(f"OLD.{quote(name)} IS NOT NULL" for name in left.once)
                when = f"WHEN ({is_set}) "
            head = (
                f"CREATE TRIGGER {quote(_name(table, event))} BEFORE {what} ON {quote(table)} "
                f"FOR EACH ROW {when}"
            )
            if connection.vendor == "postgresql":
                cursor.execute(f"{head} EXECUTE FUNCTION {_FUNCTION}()")
            else:
                cursor.execute(f"{head} BEGIN SELECT RAISE(ABORT, '{table} {MESSAGE}'); END")


def lift(connection: BaseDatabaseWrapper, table: str) -> None:
    """Take the guards of one table down: for the tests' flush, and for nothing else."""
    quote = connection.ops.quote_name
    on_table = f" ON {quote(table)}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        for event in (*_EVENTS, _AGAIN):
            cursor.execute(f"DROP TRIGGER IF EXISTS {quote(_name(table, event))}{on_table}")


def install_all(connection: BaseDatabaseWrapper) -> None:
    """Put up the guards of every guarded table that exists."""
    for table in _existing(connection):
        left = APPEND_ONLY[table]
        install(connection, table, allow_columns=left.allowed, once=left.once)


def lift_all(connection: BaseDatabaseWrapper) -> None:
    """Take all guards down: for the tests' flush, whose post_migrate puts them back."""
    for table in _existing(connection):
        lift(connection, table)


def missing(connection: BaseDatabaseWrapper) -> list[str]:
    """Return the guarded tables that exist and lack a guard, or whose guard is switched off."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
                "WHERE NOT tgisinternal AND tgenabled <> 'D' AND pg_table_is_visible(tgrelid)"
            )
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        standing = {name for (name,) in cursor.fetchall()}
    return [
        table
        for table in _existing(connection)
        if any(_name(table, event) not in standing for event in _events(APPEND_ONLY[table]))
    ]


def install_after_migrate(*, using: str, **_: Any) -> None:
    """Receiver of post_migrate, which comes when the tables of all apps stand."""
    install_all(connections[using])


def _existing(connection: BaseDatabaseWrapper) -> list[str]:
    there = set(connection.introspection.table_names())
    return [table for table in APPEND_ONLY if table in there]


def _events(left: Left) -> tuple[str, ...]:
    return (*_EVENTS, _AGAIN) if left.once else _EVENTS


def _name(table: str, event: str) -> str:
    return f"{table}_refuses_{event}"
