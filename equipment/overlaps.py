"""A component is in one place at a time, and a place holds one: held by the database itself.

The services look under their locks and refuse in words; what goes round them is stopped here, on
SQLite and on PostgreSQL alike. A unique constraint can only compare open stays, and an exclusion
constraint needs an extension of PostgreSQL that a shop may not be allowed to install, so it is a
trigger. It is put up after every `migrate`, since SQLite drops a table's triggers when it rebuilds
the table.

On PostgreSQL two transactions do not see each other's rows: there the trigger first takes a lock of
its own for the component and one for the position, which lasts until the transaction ends.
"""

from collections.abc import Sequence
from typing import Any, Final

from django.core.checks import CheckMessage, Error
from django.db import DEFAULT_DB_ALIAS, connections
from django.db.backends.base.base import BaseDatabaseWrapper

TABLE: Final = "equipment_installation"
MESSAGE: Final = "a component is in one place at a time, and a place holds one component"
EVENTS: Final = ("insert", "update")
_COLUMNS: Final = "component_id, position_id, installed_at, removed_at"
_FUNCTION: Final = "refuse_stays_that_overlap"
#: Half-open spans, so that one may begin at the moment at which another ends.
_OVERLAPS: Final = f"""
    SELECT 1 FROM {TABLE} AS other
    WHERE other.id <> NEW.id
      AND (other.component_id = NEW.component_id OR other.position_id = NEW.position_id)
      AND (NEW.removed_at IS NULL OR other.installed_at < NEW.removed_at)
      AND (other.removed_at IS NULL OR other.removed_at > NEW.installed_at)
      AND (other.removed_at IS NULL OR other.removed_at > other.installed_at)
      AND (NEW.removed_at IS NULL OR NEW.removed_at > NEW.installed_at)
"""


def install(connection: BaseDatabaseWrapper) -> None:
    """Put the guards up, where the table stands; those that are up are replaced."""
    if TABLE not in connection.introspection.table_names():
        return
    lift(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                f"CREATE OR REPLACE FUNCTION {_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $$ "
                f"BEGIN "
                f"{_hold('component_id')} {_hold('position_id')} "
                f"IF EXISTS ({_OVERLAPS}) THEN RAISE EXCEPTION '{MESSAGE}' "
                f"USING ERRCODE = 'exclusion_violation'; END IF; RETURN NULL; END $$"
            )
        for event in EVENTS:
            of = f" OF {_COLUMNS}" if event == "update" else ""
            head = (
                f"CREATE TRIGGER {_name(event)} AFTER {event.upper()}{of} ON {TABLE} FOR EACH ROW "
            )
            if connection.vendor == "postgresql":
                cursor.execute(f"{head} EXECUTE FUNCTION {_FUNCTION}()")
            else:
                cursor.execute(
                    f"{head} WHEN EXISTS ({_OVERLAPS}) BEGIN SELECT RAISE(ABORT, '{MESSAGE}'); END"
                )


def lift(connection: BaseDatabaseWrapper) -> None:
    """Take the guards down: for the test that shows what they stop, and for nothing else."""
    on_table = f" ON {TABLE}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        for event in EVENTS:
            cursor.execute(f"DROP TRIGGER IF EXISTS {_name(event)}{on_table}")


def install_after_migrate(*, using: str, **_: Any) -> None:
    """Receiver of post_migrate."""
    install(connections[using])


def guards_stand(
    app_configs: Any, databases: Sequence[str] | None = None, **_: Any
) -> list[CheckMessage]:
    """Refuse to start where a component could be in two places at a time."""
    if DEFAULT_DB_ALIAS not in (databases or ()):
        return []
    connection = connections[DEFAULT_DB_ALIAS]
    if TABLE not in connection.introspection.table_names():
        return []  # not migrated yet
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT tgname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
                "WHERE NOT tgisinternal AND tgenabled <> 'D' AND pg_table_is_visible(tgrelid)"
            )
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        standing = {name for (name,) in cursor.fetchall()}
    if all(_name(event) in standing for event in EVENTS):
        return []
    return [
        Error(
            "The database does not stop two stays of a component from overlapping.",
            hint="Run: manage.py migrate --skip-checks",
            id="equipment.E001",
        )
    ]


def _hold(column: str) -> str:
    """The lock of PostgreSQL's own that keeps other transactions off a component or position."""
    return f"PERFORM pg_advisory_xact_lock(hashtext('{TABLE}.{column}'), NEW.{column}::int);"


def _name(event: str) -> str:
    return f"{TABLE}_refuses_overlaps_on_{event}"
