"""Rows kept beside the history: compared before they are written, written many at a time."""

from collections.abc import Iterable, Sequence
from decimal import Decimal
from operator import attrgetter
from typing import Any, Final

from django.db import connection, models

THOUSANDTH: Final = Decimal("0.001")
MILLIONTH: Final = Decimal("0.000001")
#: Of one statement. SQLite takes 32,766 since its release 3.32.
MOST_PARAMETERS: Final = 30_000


def thousandths(value: Decimal) -> Decimal:
    """A total or a life as the database keeps it."""
    return value.quantize(THOUSANDTH)


def millionths(value: Decimal) -> Decimal:
    """A rate as the database keeps it."""
    return value.quantize(MILLIONTH)


def picture(row: Any, fields: Sequence[str]) -> tuple[Any, ...]:
    """What a row holds in these fields, two at least, to see afterwards whether it changed."""
    found: tuple[Any, ...] = attrgetter(*fields)(row)
    return found


def write(model: type[models.Model], rows: Iterable[Any], fields: Sequence[str]) -> int:
    """Write these fields of rows that exist, many in one statement; return how many rows.

    rows: instances of the model, or what has the same attributes.

    Django's bulk_update builds a CASE for each field and row, which costs many times what the
    database then does, and a reading waits for it.
    """
    known = list(rows)
    if not known:
        return 0
    quote = connection.ops.quote_name
    columns: list[Any] = [model._meta.pk, *(model._meta.get_field(name) for name in fields)]
    holes = [_hole(column) for column in columns]
    untyped = f"({', '.join(['%s'] * len(columns))})"
    table = quote(model._meta.db_table)
    set_to = ", ".join(
        f"{quote(column.column)} = given.column{place}"
        for place, column in enumerate(columns[1:], start=2)
    )
    at_a_time = MOST_PARAMETERS // len(columns)
    with connection.cursor() as cursor:
        for start in range(0, len(known), at_a_time):
            batch = known[start : start + at_a_time]
            # The first row tells the types of all.
            values = ", ".join([f"({', '.join(holes)})", *[untyped] * (len(batch) - 1)])
            cursor.execute(
                f"UPDATE {table} SET {set_to} FROM (VALUES {values}) AS given "
                f"WHERE {table}.{quote(columns[0].column)} = given.column1",
                [
                    column.get_db_prep_save(getattr(row, column.attname), connection)
                    for row in batch
                    for column in columns
                ],
            )
    return len(known)


def write_changed(
    model: type[models.Model],
    rows: Sequence[Any],
    before: Sequence[tuple[Any, ...]],
    fields: Sequence[str],
) -> int:
    """Write those of these rows that are no longer as in their pictures; return how many."""
    pairs = zip(rows, before, strict=True)
    return write(model, [row for row, was in pairs if picture(row, fields) != was], fields)


def _hole(column: Any) -> str:
    """Where a value goes. PostgreSQL takes a bare one for text; SQLite goes by the column."""
    if connection.vendor == "postgresql":
        return f"CAST(%s AS {column.cast_db_type(connection)})"
    return "%s"
