"""What every test shares: a fast, private environment, people by role, and honest skipping.

The suite runs twice, on SQLite and, with DATABASE_URL, on PostgreSQL. A test marked ``sqlite`` or
``postgresql`` belongs to one of the two runs and is left out of the other, and what asks no
database is not asked twice; the closing lines say how many. Where CI is set, nothing may be
skipped: a missing browser is then a failure.
"""

import shutil
import tempfile
import unittest
from collections.abc import Callable, Generator, Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from django.test import Client, TransactionTestCase
from django.utils import timezone
from hypothesis import HealthCheck
from hypothesis import settings as searching

from shop.models import Person, Role, Shop
from tests.depth import IN_CI

#: A session signed in by hand needs to name its backend, since there are two.
BACKEND = "django.contrib.auth.backends.ModelBackend"
#: What everybody made by these fixtures signs in with.
PASSWORD = "four holes in a tag"

# How long an example takes says how busy the machine is; CI's own profile leaves it out as well.
if not IN_CI:
    searching.register_profile(
        "untimed", deadline=None, suppress_health_check=[HealthCheck.too_slow]
    )
    searching.load_profile("untimed")

Reporting = Generator[None, pytest.TestReport, pytest.TestReport]
OTHER_RUN = pytest.StashKey[int]()
DATA = pytest.StashKey[Path]()


# --- the environment -------------------------------------------------------------------------


def pytest_configure(config: pytest.Config) -> None:
    from django.conf import settings

    data = Path(tempfile.mkdtemp(prefix="strokebook-test-"))
    config.stash[DATA] = data
    config.stash[OTHER_RUN] = 0
    for name in ("static", "files"):
        (data / name).mkdir()
    settings.DATA_DIR = data
    settings.STATIC_ROOT = data / "static"
    settings.MEDIA_ROOT = data / "files"
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    database = settings.DATABASES["default"]
    if database["ENGINE"].endswith("sqlite3"):
        # A file, since threads that share one database in memory meet "table is locked", which
        # no shop ever would. Nothing has to survive a power cut, so it need not wait for the disk.
        database.setdefault("TEST", {})["NAME"] = str(data / "test.sqlite3")
        database["OPTIONS"]["init_command"] = "PRAGMA journal_mode=WAL; PRAGMA synchronous=OFF;"


def pytest_unconfigure(config: pytest.Config) -> None:
    if DATA in config.stash:
        shutil.rmtree(config.stash[DATA], ignore_errors=True)


@pytest.fixture(autouse=True, scope="session")
def _flush_past_the_guards() -> Iterator[None]:
    """Lift the append-only guards before the flush that ends a transactional test.

    On SQLite they would stop it; post_migrate, which the flush sends, puts them back.
    """
    from django.db import connection

    from inventory import guards

    flush = TransactionTestCase._fixture_teardown  # type: ignore[attr-defined]

    def lift_and_flush(self: TransactionTestCase) -> None:
        guards.lift_all(connection)
        flush(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(TransactionTestCase, "_fixture_teardown", lift_and_flush)
        yield


# --- two runs, nothing skipped ---------------------------------------------------------------


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    from django.db import connection

    other = {"sqlite": "postgresql", "postgresql": "sqlite"}[connection.vendor]
    is_second_run = connection.vendor == "postgresql"
    kept: list[pytest.Item] = []
    left_out: list[pytest.Item] = []
    for item in items:
        is_of_other = item.get_closest_marker(other) or (
            is_second_run and _is_the_same_on_both(item)
        )
        (left_out if is_of_other else kept).append(item)
    if left_out:
        items[:] = kept
        config.hook.pytest_deselected(items=left_out)
    config.stash[OTHER_RUN] = len(left_out)
    # The longest first: the last test that a core is given may then be a short one.
    items.sort(key=lambda item: item.get_closest_marker("long") is None)


#: What leads a test to the database, beside its mark and Django's own test cases.
TO_THE_DATABASE = {"db", "transactional_db", "live_server"}


def _is_the_same_on_both(item: pytest.Item) -> bool:
    """Whether a test asks no database: half of them, run with SQLite's."""
    if item.get_closest_marker("django_db") or item.get_closest_marker("postgresql_too"):
        return False
    case = getattr(item, "cls", None)
    if isinstance(case, type) and issubclass(case, unittest.TestCase):
        return False
    return not TO_THE_DATABASE & set(getattr(item, "fixturenames", ()))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item, call: pytest.CallInfo[None]
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    report = yield
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
        report.outcome = "failed"
        report.longrepr = f"{item.nodeid} was skipped, which CI does not allow. {reason}"
    return report


def pytest_sessionfinish(session: pytest.Session) -> None:
    worker = getattr(session.config, "workeroutput", None)
    if worker is not None:
        worker["other_run"] = session.config.stash[OTHER_RUN]


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Under xdist only the workers collect, and each tells what it left out."""
    told = getattr(node, "workeroutput", {}).get("other_run", 0)
    node.config.stash[OTHER_RUN] = max(node.config.stash[OTHER_RUN], told)


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    from django.db import connection

    here, where = {
        "sqlite": ("SQLite", "PostgreSQL tests belong to the run with DATABASE_URL"),
        "postgresql": ("PostgreSQL", "SQLite tests belong to the run without DATABASE_URL"),
    }[connection.vendor]
    terminalreporter.write_line(f"Run on {here}; {config.stash[OTHER_RUN]} {where}.")


# --- people and the shop ---------------------------------------------------------------------


@pytest.fixture
def at() -> datetime:
    """A fixed moment, so that no test depends on the day it runs."""
    return datetime(2026, 3, 2, 15, 0, tzinfo=UTC)


#: Of the shop in the tests: not UTC, so that a day mistaken for another shows.
TIME_ZONE = "America/Chicago"


@pytest.fixture(autouse=True)
def _by_the_clock_on_the_shops_wall() -> Iterator[None]:
    """What a test calls today is the shop's today, as on a page, at whatever hour it runs."""
    with timezone.override(TIME_ZONE):
        yield


@pytest.fixture
def shop(db: None, at: datetime) -> Shop:
    # No page turns the day, unless a test is about that.
    return Shop.objects.create(
        name="Foam Works", time_zone=TIME_ZONE, created_at=at, turned_on=date.max
    )


@pytest.fixture
def person_as(db: None, at: datetime) -> Callable[..., Person]:
    """Make somebody with a role, who signs in with PASSWORD; the same person when asked again."""

    def make(role: str, *, sign_in: str = "") -> Person:
        sign_in = sign_in or role
        person = Person.objects.filter(sign_in=sign_in).first()
        if person is None:
            person = Person(sign_in=sign_in, name=f"A. {sign_in.title()}", role=role, created_at=at)
            person.set_password(PASSWORD)
            person.save()
        return person

    return make


@pytest.fixture
def manager(person_as: Callable[..., Person]) -> Person:
    return person_as(Role.MANAGER)


@pytest.fixture
def technician(person_as: Callable[..., Person]) -> Person:
    return person_as(Role.TECHNICIAN)


@pytest.fixture
def owner(person_as: Callable[..., Person]) -> Person:
    return person_as(Role.OWNER)


@pytest.fixture
def client_as(shop: Shop, person_as: Callable[..., Person]) -> Callable[..., Client]:
    """Return a test client signed in by role, or as the person given."""

    def sign_in(who: str | Person, **client_options: Any) -> Client:
        person = who if isinstance(who, Person) else person_as(who)
        client = Client(**client_options)
        client.force_login(person, backend=BACKEND)
        return client

    return sign_in
