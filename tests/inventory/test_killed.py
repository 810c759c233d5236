"""A process killed while it posts: each request is there whole or not at all, and the books prove.

The processes are real ones, on the test's database, ended by SIGKILL, which no code can catch.
"""

import os
import random
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest import mock
from uuid import UUID, uuid4

import pytest
from django.conf import settings
from django.db import connection, models

from inventory.models import Balance, Count, Location, Lot, Movement, Part, RobbedKit
from inventory.services import (
    IssueLine,
    TransferLine,
    issue,
    ledger_rows,
    posting,
    prove,
    put_back,
    rob_kit,
    transfer,
)
from inventory.services.counting import approve_count, enter_counted, finish_count, start_count
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    kit_of,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db(transaction=True)

PARTS = 6
#: What one request of each sort writes.
LINES = {"issue": PARTS, "transfer": 2 * PARTS, "return": 1}
WORKERS = 4


def post_for_ever(author: int, *, held: bool = False, unguarded: bool = False) -> None:
    """What the killed process does: issues, transfers, puts back; tells each id once it is done.

    held: stop for good where the balances are written and the ledger is not.
    unguarded: without the transaction, for the twin.
    """
    from shop.models import Person

    told: dict[str, Any] = {"author": Person.objects.get(pk=author), "at": AT}
    here, there = Location.objects.order_by("pk")
    parts = list(Part.objects.order_by("pk"))
    if unguarded:
        mock.patch.object(posting, "transaction", SimpleNamespace(atomic=nullcontext)).start()
        mock.patch.object(models.QuerySet, "select_for_update", models.QuerySet.all).start()
        mock.patch.object(ledger_rows, "for_update", str).start()
    if held:
        mock.patch.object(ledger_rows, "add", _stop).start()
    print("ready", flush=True)
    while True:
        random.shuffle(parts)
        for act, given in (
            (transfer, {"lines": [TransferLine(each, here, there, 2) for each in parts]}),
            (issue, {"lines": [IssueLine(each, there, 1) for each in parts], "source_number": 7}),
            (put_back, {"part": parts[0], "location": here, "quantity_steps": 1}),
        ):
            if act is put_back:
                given |= {"source_kind": "hand", "source_number": 7}
            request_id = uuid4()
            act(request_id=request_id, **given, **told)  # type: ignore[operator]
            print(request_id, flush=True)


def post_held(author: int, what: str) -> None:
    """Approve the count, or find the kit robbed; stop for good before the ledger is written."""
    from shop.models import Person

    told: dict[str, Any] = {"author": Person.objects.get(pk=author), "at": AT}
    mock.patch.object(ledger_rows, "add", _stop).start()
    print("ready", flush=True)
    if what == "approve":
        approve_count(count=Count.objects.get(), **told)
    kit = Part.objects.get(is_kit=True)
    missing = {kit.lines.order_by("pk")[0].part: 1}
    place = Balance.objects.get(part=kit).location
    rob_kit(kit=kit, location=place, missing=missing, request_id=uuid4(), **told)


def _stop(*_: object) -> None:
    print("held", flush=True)
    time.sleep(600)


@contextmanager
def poster(
    folder: Path, act: str = "post_for_ever", **how: bool | str
) -> Iterator["subprocess.Popen[str]"]:
    """A process that posts on this test's database; gone at the end, whatever happens."""
    name = connection.settings_dict["NAME"]
    url = f"sqlite:///{name}"
    if connection.vendor == "postgresql":
        url = f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{name}"
    child = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import django; django.setup()\n"
            f"from tests.inventory.test_killed import {act}\n"
            f"{act}({PersonFactory().pk}, **{how!r})",
        ],
        cwd=settings.BASE_DIR,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "shop.settings",
            "DATABASE_URL": url,
            "STROKEBOOK_DATA": str(folder),
        },
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        yield child
    finally:
        child.kill()
        child.wait(timeout=20)


def killed(child: "subprocess.Popen[str]") -> set[UUID]:
    """End it at once. Returns the requests that it told were done."""
    child.kill()
    assert child.wait(timeout=20) == -9  # not ended by an error of its own before
    assert child.stdout is not None
    # The last line may have been cut.
    return {UUID(line) for line in child.stdout.read().split() if len(line) == 36}


def wait_for_the_server() -> None:
    """PostgreSQL may still be at the last word of a client that is gone; SQLite has no server."""
    if connection.vendor != "postgresql":
        return
    for _ in range(200):
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
                "AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
            )
            if cursor.fetchone() == (0,):
                return
        time.sleep(0.05)
    raise AssertionError("The server still has clients after ten seconds.")


@pytest.fixture
def stock() -> list[Part]:
    """Plenty of six parts, at costs that do not divide."""
    here = BinFactory()
    BinFactory(drawer=True)
    parts = [PartFactory() for _ in range(PARTS)]
    for number, part in enumerate(parts):
        received(part, here, 30_000, 1_000_003 + number)
    return parts


def test_killed_at_any_moment_each_request_is_whole_or_not_there(
    stock: list[Part], tmp_path: Path
) -> None:
    moments = random.Random(46)
    told: set[UUID] = set()
    with (
        poster(tmp_path) as one,
        poster(tmp_path) as two,
        poster(tmp_path) as three,
        poster(tmp_path) as four,
    ):
        every = (one, two, three, four)
        for each in every:
            assert each.stdout is not None
            assert each.stdout.readline() == "ready\n"
        for each in every:
            time.sleep(moments.uniform(0.1, 0.4))
            told |= killed(each)
            assert prove() == []  # while the others go on
    wait_for_the_server()
    assert prove() == []
    rows = Counter(Movement.objects.exclude(kind="receipt").values_list("request_id", "kind"))
    assert all(count == LINES[kind] for (_, kind), count in rows.items())
    there = {request_id for request_id, _ in rows}
    assert len(told) > WORKERS
    assert told <= there  # what was told is kept
    assert len(there - told) <= WORKERS  # done, and killed before it was told
    again = next(iter(told))
    before = Movement.objects.count()
    kept = list(Movement.objects.of_request(again))
    line = IssueLine(stock[0], kept[0].location, 1)
    assert issue(lines=[line], **{**who_and_when(), "request_id": again}) == kept
    assert Movement.objects.count() == before


def killed_between_balances_and_ledger(folder: Path, **how: bool) -> None:
    with poster(folder, held=True, **how) as child:
        assert child.stdout is not None
        assert [child.stdout.readline() for _ in range(2)] == ["ready\n", "held\n"]
        assert killed(child) == set()
    wait_for_the_server()


def test_killed_between_balances_and_ledger_nothing_is_there(
    stock: list[Part], tmp_path: Path
) -> None:
    killed_between_balances_and_ledger(tmp_path)
    assert prove() == []
    assert set(Movement.objects.values_list("kind", flat=True)) == {"receipt"}
    line = IssueLine(stock[0], Movement.objects.all()[0].location, 1)
    assert len(issue(lines=[line], **who_and_when())) == 1  # and no lock was left behind


@pytest.mark.parametrize("what", ["approve", "rob"])
def test_killed_in_a_count_or_a_robbery_neither_is_half_there(what: str, tmp_path: Path) -> None:
    """The count is still to be approved, no tray was made, and either is done when sent again."""
    kit, (seal, _) = kit_of(seal=2, spring=1)
    place = BinFactory()
    received(kit, place, 2, 1_001)
    told = {"author": PersonFactory(), "at": AT}
    count = start_count(location=place, kind="cycle", request_id=uuid4(), **told)
    enter_counted(count=count, part=kit, counted_steps=1, event_id=uuid4(), **told)
    finish_count(count=count, none_of=(), **told)
    with poster(tmp_path, act="post_held", what=what) as child:
        assert child.stdout is not None
        assert [child.stdout.readline() for _ in range(2)] == ["ready\n", "held\n"]
        assert killed(child) == set()
    wait_for_the_server()
    assert prove() == []
    count.refresh_from_db()
    assert count.state == Count.State.COUNTED
    assert not RobbedKit.objects.exists()
    assert not Location.objects.filter(kind="tray").exists()
    if what == "approve":
        assert len(approve_count(count=count, **told)) == 1
    else:
        rob_kit(kit=kit, location=place, missing={seal: 1}, request_id=uuid4(), **told)
    assert prove() == []


def test_twin_without_the_transaction_the_books_are_broken(
    stock: list[Part], tmp_path: Path
) -> None:
    killed_between_balances_and_ledger(tmp_path, unguarded=True)
    assert {each.part_number for each in prove()} == {part.number for part in stock}
    assert Lot.objects.count() == PARTS
