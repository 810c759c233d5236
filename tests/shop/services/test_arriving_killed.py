"""A process killed in the middle of a batch: each entry is there whole or not at all.

The process is a real one, on the test's database, ended by SIGKILL. The phone, which had no
answer, then sends all of it again.
"""

import json
import os
import subprocess
import sys
import time
from contextlib import nullcontext
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from unittest import mock

import pytest
from django.conf import settings
from django.db import connection

from inventory.services import prove
from shop.models import Arrival, ServiceSheet, Shop, StepEntry
from shop.services.arriving import arrive, batch, read_batch
from tests.inventory.test_killed import wait_for_the_server
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW

pytestmark = pytest.mark.django_db(transaction=True)

#: The process is held, and killed, where this entry has done its work and is not written down.
KILLED_AT = 5


def post_until_held(path: str, *, unguarded: bool) -> None:
    """What the killed process does: posts a batch, and stops for good inside its sixth entry."""
    if unguarded:
        mock.patch.object(batch, "transaction", SimpleNamespace(atomic=nullcontext)).start()
        mock.patch.object(batch, "lock", lambda of: of).start()
    inside, seen = Arrival.objects.create, []

    def hold(**row: Any) -> Arrival:
        seen.append(row)
        if len(seen) > KILLED_AT:
            print("held", flush=True)
            time.sleep(600)
        return inside(**row)

    mock.patch.object(Arrival.objects, "create", hold).start()
    arrive(
        of=ServiceSheet.objects.get(),
        batch=read_batch(json.loads(Path(path).read_text())),
        recorded_at=NOW,
        zone=Shop.objects.get().zone,
    )


def kill_it(folder: Path, sent: dict[str, Any], *, unguarded: bool) -> None:
    path = folder / "batch.json"
    path.write_text(json.dumps(sent))
    name = connection.settings_dict["NAME"]
    url = f"sqlite:///{name}"
    if connection.vendor == "postgresql":
        url = f"{os.environ['DATABASE_URL'].rpartition('/')[0]}/{name}"
    child = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import django; django.setup()\n"
            "from django.conf import settings\n"
            f"settings.PASSWORD_HASHERS = {settings.PASSWORD_HASHERS!r}\n"
            "from tests.shop.services.test_arriving_killed import post_until_held\n"
            f"post_until_held({str(path)!r}, unguarded={unguarded})",
        ],
        cwd=settings.BASE_DIR,
        env={
            **os.environ,
            "DJANGO_SETTINGS_MODULE": "shop.settings",
            "DATABASE_URL": url,
            "STROKEBOOK_DATA": str(folder),
            "SECRET_KEY": settings.SECRET_KEY,
        },
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
    finally:
        child.kill()
        child.wait(timeout=20)
    wait_for_the_server()


def test_killed_in_an_entry_those_before_it_stand_and_all_is_sent_again(
    hands: Hands, tmp_path: Path
) -> None:
    phone = Phone(hands.who, hands.sheet)
    made = phone.before_the_checks()
    assert len(made) > KILLED_AT + 1
    kill_it(tmp_path, phone.batch(*made), unguarded=False)
    assert Arrival.objects.count() == StepEntry.objects.count() == KILLED_AT
    assert {each.state for each in phone.send(*made)} == {"taken"}
    assert Arrival.objects.count() == StepEntry.objects.count() == len(made)
    assert prove() == []


def test_twin_without_the_transaction_an_entry_is_done_and_not_written_down(
    hands: Hands, tmp_path: Path
) -> None:
    phone = Phone(hands.who, hands.sheet)
    kill_it(tmp_path, phone.batch(*phone.before_the_checks()), unguarded=True)
    assert Arrival.objects.count() == KILLED_AT
    assert StepEntry.objects.count() == KILLED_AT + 1
