"""The rows of a posting, locked, read and written by plain statements.

One statement for each table, however many lines. What a queryset and Django's bulk writes cost here
is not the database's time but their own: building the statement, and looking at every value of
every row. An issue of 25 lines took twice as long with them. Everywhere else, use querysets.
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from django.db import connection, models

from inventory.models import Balance, Location, Lot, Movement, Part

#: SQLite takes 32,766 values in a statement, PostgreSQL twice as many; a movement has 17.
ROWS_AT_A_TIME: Final = 1000


@dataclass(slots=True)
class Lying:
    """So much of a lot in a place. [steps] pk: of its balance; None until that is written."""

    pk: int | None
    lot: Lot
    location_id: int
    quantity_steps: int


@dataclass(slots=True)
class Line:
    """What a movement says that the other lines of its posting need not."""

    kind: str
    part: Part
    lot: Lot
    location: Location
    quantity_steps: int
    value_cents: int
    source_kind: str
    source_number: int
    source_text: str
    reverses: Movement | None
    about: Movement | None


@dataclass(frozen=True, slots=True)
class Said:
    """What all lines of a posting say alike."""

    request_id: UUID
    author_id: int
    at: datetime
    reason: str


# --- reading --------------------------------------------------------------------------------------


def for_update() -> str:
    """What locks the rows of a SELECT; on SQLite the immediate transaction does."""
    return " FOR UPDATE" if connection.features.has_select_for_update else ""


def locked_lots(*, parts: Collection[int], named: Collection[int]) -> list[Lot]:
    """Lock what is left of some parts, and some lots by key whether or not anything is left."""
    of_parts, is_named = _among("part_id", parts), _among("id", named)
    columns = [field.attname for field in Lot._meta.concrete_fields]
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {', '.join(columns)} FROM {_table(Lot)} "
            f"WHERE ({of_parts} AND quantity_left_steps > 0) OR {is_named} "
            f"ORDER BY id{for_update()}",
            [*parts, *named],
        )
        lots = [Lot.from_db(connection.alias, columns, row) for row in cursor.fetchall()]
    for lot in lots:
        if lot.received_at.tzinfo is None:  # SQLite's own cursor leaves the zone out
            lot.received_at = lot.received_at.replace(tzinfo=connection.timezone)
    return lots


def locked_lying(*, lots: dict[int, Lot], places: Collection[int]) -> list[Lying]:
    """Lock the balances of some lots in some places."""
    if not lots or not places:
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT id, lot_id, location_id, quantity_steps FROM {_table(Balance)} "
            f"WHERE {_among('lot_id', lots)} AND {_among('location_id', places)} "
            f"ORDER BY id{for_update()}",
            [*lots, *places],
        )
        return [
            Lying(pk, lots[lot], location, steps) for pk, lot, location, steps in cursor.fetchall()
        ]


def was_sent(request_id: UUID) -> bool:
    """Whether a request wrote anything. Most come once, and none of their rows are to be read."""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT 1 FROM {_table(Movement)} WHERE request_id = %s LIMIT 1",
            [_ready("request_id", request_id)],
        )
        return cursor.fetchone() is not None


# --- writing --------------------------------------------------------------------------------------


def write(model: type[models.Model], rows: Iterable[Any], *columns: str) -> None:
    """Write whole numbers into rows that exist and are locked: model instances, or what has a pk
    and attributes of these names."""
    known = list(rows)
    table = _table(model)
    values = ", ".join(["%s"] * (1 + len(columns)))
    written = ", ".join(f"{name} = given.column{n}" for n, name in enumerate(columns, start=2))
    with connection.cursor() as cursor:
        for start in range(0, len(known), ROWS_AT_A_TIME):
            batch = known[start : start + ROWS_AT_A_TIME]
            cursor.execute(
                f"UPDATE {table} SET {written} "
                f"FROM (VALUES {', '.join([f'({values})'] * len(batch))}) AS given "
                f"WHERE {table}.id = given.column1",
                [value for row in batch for value in (row.pk, *(getattr(row, c) for c in columns))],
            )


def add(lines: Sequence[Line], said: Said) -> list[Movement]:
    """Write the lines of a posting, whose lots have their keys by now; return them as written."""
    if not lines:
        return []
    alike = {
        "request_id": said.request_id,
        "author_id": said.author_id,
        "at": said.at,
        "reason": said.reason,
        "recorded_at": _field("recorded_at").pre_save(Movement(), add=True),
    }
    rows = [
        {
            "line_no": number,
            "kind": line.kind,
            "part_id": line.part.pk,
            "lot_id": line.lot.pk,
            "location_id": line.location.pk,
            "quantity_steps": line.quantity_steps,
            "value_cents": line.value_cents,
            "source_kind": line.source_kind,
            "source_number": line.source_number,
            "source_text": line.source_text,
            "reverses_id": line.reverses.pk if line.reverses else None,
            "about_id": line.about.pk if line.about else None,
        }
        for number, line in enumerate(lines, start=1)
    ]
    keys = _insert(rows, {name: _ready(name, value) for name, value in alike.items()})
    columns = [field.attname for field in Movement._meta.concrete_fields]
    written = []
    for line, row, key in zip(lines, rows, keys, strict=True):
        said_here = {**alike, **row, "id": key}
        movement = Movement.from_db(connection.alias, columns, [said_here[n] for n in columns])
        movement.part, movement.lot, movement.location = line.part, line.lot, line.location
        if line.reverses:
            movement.reverses = line.reverses
        written.append(movement)
    return written


def _insert(rows: Sequence[dict[str, Any]], alike: dict[str, Any]) -> list[int]:
    """Write movements, values as the database takes them; return their keys."""
    columns = [*alike, *rows[0]]
    values = ", ".join(["%s"] * len(columns))
    keys: list[int] = []
    with connection.cursor() as cursor:
        for start in range(0, len(rows), ROWS_AT_A_TIME):
            batch = rows[start : start + ROWS_AT_A_TIME]
            cursor.execute(
                f"INSERT INTO {_table(Movement)} ({', '.join(columns)}) "
                f"VALUES {', '.join([f'({values})'] * len(batch))} RETURNING id",
                [value for row in batch for value in (*alike.values(), *row.values())],
            )
            keys += [key for (key,) in cursor.fetchall()]
    return keys


def _among(column: str, keys: Collection[int]) -> str:
    """A condition with a hole for every key; it holds for nothing where there are none."""
    return f"{column} IN ({', '.join(['%s'] * len(keys))})" if keys else "1 = 0"


def _table(model: type[models.Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


def _field(name: str) -> Any:
    return Movement._meta.get_field(name)


def _ready(name: str, value: Any) -> Any:
    """A value of a movement as its database takes it."""
    return _field(name).get_db_prep_save(value, connection)
