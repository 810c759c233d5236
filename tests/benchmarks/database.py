"""A database for one benchmark: made, filled, measured, thrown away."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

SETTINGS: Final = "tests.benchmarks.settings"


@contextmanager
def environment() -> Iterator[None]:
    """Set Django up for a run, its files in a temporary folder that is removed afterwards."""
    import django

    folder = tempfile.mkdtemp(prefix="strokebook-benchmarks-")
    os.environ |= {"DJANGO_SETTINGS_MODULE": SETTINGS, "STROKEBOOK_DATA": folder}
    (Path(folder) / "static").mkdir()
    try:
        django.setup()
        yield
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def throwaway() -> Iterator[None]:
    """Give Django an empty, migrated database for as long as this lasts.

    DATABASE_URL names it meanwhile, for the servers that a benchmark starts.
    """
    from django.core.management import call_command
    from django.db import connection

    before = os.environ.get("DATABASE_URL")
    known = connection.settings_dict["NAME"]
    connection.close()
    make = _postgresql if connection.vendor == "postgresql" else _sqlite
    with make(connection.settings_dict) as (name, url):
        connection.settings_dict["NAME"] = name
        os.environ["DATABASE_URL"] = url
        try:
            call_command("migrate", verbosity=0)
            yield
        finally:
            connection.close()
            connection.settings_dict["NAME"] = known
            if before is None:
                del os.environ["DATABASE_URL"]
            else:
                os.environ["DATABASE_URL"] = before


@contextmanager
def _sqlite(settings: dict[str, Any]) -> Iterator[tuple[str, str]]:
    with tempfile.TemporaryDirectory(prefix="strokebook-benchmark-") as folder:
        path = Path(folder) / "benchmark.sqlite3"
        yield str(path), f"sqlite:///{path}"


@contextmanager
def _postgresql(settings: dict[str, Any]) -> Iterator[tuple[str, str]]:
    import psycopg
    from psycopg import sql

    given = os.environ["DATABASE_URL"]
    # Two runs on one server do not get into each other's way.
    name = f"strokebook_bench_{os.getpid()}"
    drop = sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name))
    with psycopg.connect(
        host=settings["HOST"],
        port=settings["PORT"] or 5432,
        user=settings["USER"],
        password=settings["PASSWORD"],
        dbname=settings["NAME"],
        autocommit=True,
    ) as server:
        server.execute(drop)
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        try:
            yield name, f"{given.rpartition('/')[0]}/{name}"
        finally:
            server.execute(drop)


def analyze() -> None:
    """Let the planner know how many rows there are, as a database in use does by itself."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
