"""A database for one benchmark: made, filled, measured, thrown away."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final
from unittest import mock

SETTINGS: Final = "tests.benchmarks.settings"


@contextmanager
def environment() -> Iterator["Databases"]:
    """Set Django up for a run, its files in a temporary folder that is removed afterwards."""
    import django

    with tempfile.TemporaryDirectory(prefix="strokebook-benchmarks-") as folder:
        (Path(folder) / "static").mkdir()
        ours = {"DJANGO_SETTINGS_MODULE": SETTINGS, "STROKEBOOK_DATA": folder}
        with mock.patch.dict(os.environ, ours):
            django.setup()
            from django.db import connection

            kind = PostgresqlDatabases if connection.vendor == "postgresql" else SqliteDatabases
            databases = kind(Path(folder), connection.settings_dict)
            try:
                yield databases
            finally:
                databases.drop("template")


class Databases:
    """Empty, migrated databases, one at a time, each copied from the first."""

    def __init__(self, folder: Path, settings: dict[str, Any]) -> None:
        self.folder = folder
        self.settings = settings
        self.has_template = False

    @contextmanager
    def throwaway(self) -> Iterator[None]:
        """Give Django a database for as long as this lasts.

        DATABASE_URL names it meanwhile, for the servers that a benchmark starts.
        """
        from django.core.management import call_command

        if not self.has_template:
            self.create("template", like=None)
            with self._used("template"):
                call_command("migrate", verbosity=0)
            self.has_template = True
        self.create("benchmark", like="template")
        try:
            with self._used("benchmark"):
                yield
        finally:
            self.drop("benchmark")

    @contextmanager
    def _used(self, word: str) -> Iterator[None]:
        from django.db import connection

        connection.close()
        known = self.settings["NAME"]
        self.settings["NAME"] = self.name(word)
        try:
            with mock.patch.dict(os.environ, {"DATABASE_URL": self.url(word)}):
                yield
        finally:
            connection.close()
            self.settings["NAME"] = known

    def name(self, word: str) -> str:
        raise NotImplementedError

    def url(self, word: str) -> str:
        raise NotImplementedError

    def create(self, word: str, *, like: str | None) -> None:
        raise NotImplementedError

    def drop(self, word: str) -> None:
        raise NotImplementedError


class SqliteDatabases(Databases):
    """Files in the folder of the run."""

    def name(self, word: str) -> str:
        return str(self.folder / f"{word}.sqlite3")

    def url(self, word: str) -> str:
        return f"sqlite:///{self.name(word)}"

    def create(self, word: str, *, like: str | None) -> None:
        if like:
            shutil.copyfile(self.name(like), self.name(word))

    def drop(self, word: str) -> None:
        for path in self.folder.glob(f"{word}.sqlite3*"):
            path.unlink()


class PostgresqlDatabases(Databases):
    """Databases on the server that DATABASE_URL names, beside the one it names."""

    def name(self, word: str) -> str:
        # Two runs on one server do not get into each other's way.
        return f"strokebook_bench_{os.getpid()}_{word}"

    def url(self, word: str) -> str:
        return f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{self.name(word)}"

    def create(self, word: str, *, like: str | None) -> None:
        self.drop(word)
        self._do(
            f'CREATE DATABASE "{self.name(word)}" '
            f'TEMPLATE "{self.name(like) if like else "template0"}"'
        )

    def drop(self, word: str) -> None:
        # Without FORCE: the server sends its own vacuum away by itself, which we may not.
        self._do(f'DROP DATABASE IF EXISTS "{self.name(word)}"')

    def _do(self, statement: str) -> None:
        import psycopg

        with psycopg.connect(
            host=self.settings["HOST"],
            port=self.settings["PORT"] or 5432,
            user=self.settings["USER"],
            password=self.settings["PASSWORD"],
            dbname=self.settings["NAME"],
            autocommit=True,
        ) as server:
            server.execute(statement)


def analyze() -> None:
    """Let the planner know how many rows there are, as a database in use does by itself."""
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")
