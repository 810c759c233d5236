"""What many tests begin from: made by its services once in a run, afterwards copied row by row.

A rig takes four hundred queries of the services, its copy some twenty. tests/test_copies.py holds
each copy to what the services make.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

from django.apps import apps
from django.core.management.color import no_style
from django.db import connection, transaction
from django.db.backends.utils import CursorWrapper
from django.db.models import Field, Model

from shop.models import Person, Shop

Made = TypeVar("Made")
OURS = ("shop", "equipment", "inventory")
#: What a test may have before it begins: who there is, and the shop.
BEFORE = (Person, Shop)
Row = tuple[Any, ...]


@dataclass(frozen=True)
class Kept:
    """What was made, whom it was made for, who there was, and the rows that came of it."""

    made: Any
    given: dict[str, Any]
    people: dict[str, int]
    rows: dict[type[Model], list[Row]]

    def put_in(self, given: dict[str, Any]) -> Any:
        """Write the rows, for the people given now, and return what was made."""
        keys = self._keys()
        with transaction.atomic(), connection.cursor() as cursor:
            for model, rows in self.rows.items():
                at = [at for at, field in enumerate(fields_of(model)) if _names_somebody(field)]
                cursor.executemany(_insert(model), [_renamed(row, at, keys) for row in rows])
            self._go_on_from_there(cursor)
        # Its people are those given now; all else is its own.
        return copy.deepcopy(self.made, {id(self.given[name]): given[name] for name in given})

    def _go_on_from_there(self, cursor: CursorWrapper) -> None:
        """Give later rows later keys, as SQLite does: the ledger reads its lines in that order.

        A `flush` between the making and the copy has PostgreSQL count from one again.
        """
        for statement in connection.ops.sequence_reset_sql(no_style(), list(self.rows)):
            cursor.execute(statement)

    def _keys(self) -> dict[int, int]:
        """The keys of people now, by those they had."""
        now = dict(Person.objects.values_list("sign_in", "pk"))
        keys = {pk: now[sign_in] for sign_in, pk in self.people.items()}
        taken = set(now.values())
        for row in self.rows.get(Person, ()):
            # A key may come twice: SQLite takes back those of rows that were rolled back.
            keys[row[0]] = row[0] if row[0] not in taken else max(taken) + 1
            taken.add(keys[row[0]])
        return keys


def _names_somebody(field: Field[Any, Any]) -> bool:
    return field.related_model is Person or field is Person._meta.pk


def _renamed(row: Row, places: list[int], keys: dict[int, int]) -> Row:
    changed = list(row)
    for at in places:
        changed[at] = keys.get(row[at], row[at])
    return tuple(changed)


_kept: dict[Hashable, Kept] = {}


def once(build: Callable[..., Made], *, key: Hashable, **given: Model) -> Made:
    """Return `build(**given)`; where nothing but people and the shop is there, maybe as a copy.

    given: people, and the shop. key: what is built, and whatever else decides how.
    """
    if not _is_empty():
        return build(**given)
    whole = (key, _there(given))
    if whole in _kept:
        return _kept[whole].put_in(given)
    people = dict(Person.objects.values_list("sign_in", "pk"))
    made = build(**given)
    rows = rows_of_all()
    rows[Person] = [row for row in rows[Person] if row[0] not in people.values()]
    del rows[Shop]
    # As it is now, before a test changes it; but the people stay who they are.
    pristine = copy.deepcopy(made, {id(each): each for each in given.values()})
    some = {model: of_it for model, of_it in rows.items() if of_it}
    _kept[whole] = Kept(pristine, given, people, some)
    return made


def rows_of_all() -> dict[type[Model], list[Row]]:
    """Every row of ours as the database gives it, its key first."""
    found = {}
    with connection.cursor() as cursor:
        for model in _models():
            cursor.execute(f"SELECT {_columns(model)} FROM {_table(model)} ORDER BY 1")
            found[model] = cursor.fetchall()
    return found


@cache
def _models() -> tuple[type[Model], ...]:
    return tuple(
        model
        for name in OURS
        for model in apps.get_app_config(name).get_models(include_auto_created=True)
    )


@cache
def fields_of(model: type[Model]) -> tuple[Field[Any, Any], ...]:
    key = model._meta.pk
    return (key, *(field for field in model._meta.concrete_fields if field is not key))


@cache
def _columns(model: type[Model]) -> str:
    return ", ".join(connection.ops.quote_name(field.column or "") for field in fields_of(model))


def _table(model: type[Model]) -> str:
    return connection.ops.quote_name(model._meta.db_table)


@cache
def _insert(model: type[Model]) -> str:
    marks = ", ".join(["%s"] * len(fields_of(model)))
    return f"INSERT INTO {_table(model)} ({_columns(model)}) VALUES ({marks})"


@cache
def _any_row() -> str:
    some = (f"EXISTS (SELECT 1 FROM {_table(each)})" for each in _models() if each not in BEFORE)
    return f"SELECT {' OR '.join(some)}"


def _is_empty() -> bool:
    with connection.cursor() as cursor:
        cursor.execute(_any_row())
        return not cursor.fetchone()[0]


def _there(given: dict[str, Model]) -> Hashable:
    """Who and what is given, who else is there, and how the shop is set: services may go by it."""
    people = Person.objects.order_by("sign_in").values_list("sign_in", "role", "is_electrician")
    names = [(name, getattr(each, "sign_in", "")) for name, each in given.items()]
    return tuple(sorted(names)), tuple(people), tuple(Shop.objects.values_list())
