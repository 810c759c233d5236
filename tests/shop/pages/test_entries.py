"""The address that phones send to: JSON in, JSON out, open to everybody with a pen."""

import json
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import RoundItem
from shop import words
from shop.models import Person, ServiceSheet, Shop, Unsettled
from shop.services.arriving import KINDS, RIG_KINDS
from tests.inventory.pages.browsing import text_of
from tests.shop.phones import Phone
from tests.shop.services.conftest import rows_of_every_table
from tests.shop.test_hostile_input import HOSTILE
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def phone(world: SheetWorld, technician: Person) -> Phone:
    return Phone(technician, world.draft())


@pytest.fixture
def nobody() -> Client:
    return Client(raise_request_exception=False, enforce_csrf_checks=True)


def post(client: Client, phone: Phone, data: Any, *, now: datetime = NOW) -> Any:
    body = data if isinstance(data, bytes) else json.dumps(data).encode()
    with time_machine.travel(now, tick=False):
        return client.post(
            reverse("shop:entries", args=[phone.sheet.number]),
            body,
            content_type="application/json",
        )


def test_nobody_signed_in_sends_what_was_made_before(nobody: Client, phone: Phone) -> None:
    made = phone.before_the_checks()
    answer = post(nobody, phone, phone.batch(*made), now=NOW + timedelta(hours=1))
    assert answer.status_code == 200
    told = answer.json()
    assert {each["state"] for each in told["outcomes"].values()} == {"taken"}
    assert set(told["outcomes"]) == {each["event_id"] for each in made}
    assert {each["by"] for each in told["sheet"]["steps"].values()} == {phone.who.name}
    assert datetime.fromisoformat(told["now"]) == NOW + timedelta(hours=1)


def test_whoever_else_is_signed_in_it_stays_its_authors(
    client_as: Callable[..., Client], phone: Phone, manager: Person
) -> None:
    told = post(client_as(manager), phone, phone.batch(*phone.before_the_checks())).json()
    assert {each["by"] for each in told["sheet"]["steps"].values()} == {phone.who.name}


def test_without_a_pen_of_ours_nobody_is_told_anything(nobody: Client, phone: Phone) -> None:
    before = rows_of_every_table()
    forged = {**phone.before_the_checks()[0], "pen": "forged"}
    answer = post(nobody, phone, phone.batch(forged))
    assert answer.status_code == 403
    told = answer.json()
    assert told["sheet"] is None
    assert told["outcomes"][forged["event_id"]]["field"] == "pen"
    assert rows_of_every_table() == before
    assert post(nobody, phone, phone.batch()).json()["sheet"] is None


def test_a_pen_that_no_longer_holds_is_kept_and_told_nothing(nobody: Client, phone: Phone) -> None:
    made = phone.before_the_checks()[0]
    Person.objects.filter(pk=phone.who.pk).update(is_active=False)
    told = post(nobody, phone, phone.batch(made)).json()
    assert told["outcomes"][made["event_id"]]["state"] == "waiting"
    assert told["sheet"] is None
    assert Unsettled.objects.count() == 1


def test_who_is_signed_in_may_ask_how_the_sheet_stands(
    client_as: Callable[..., Client], phone: Phone, technician: Person
) -> None:
    told = post(client_as(technician), phone, phone.batch()).json()
    assert (told["outcomes"], told["sheet"]["number"]) == ({}, phone.sheet.number)


def test_a_sheet_that_is_not_there(nobody: Client, phone: Phone) -> None:
    phone.sheet = ServiceSheet(number=987, drafted_at=NOW)
    assert post(nobody, phone, phone.batch()).status_code == 404


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{",
        b"null",
        b"[]",
        b"1",
        b'"a"',
        b"\xff\xfe",
        b"[" * 100_000,
        b"9" * 10_000,
        b'{"entries": {}}',
        b'{"entries": [1]}',
        b'{"entries": [{}]}',
        b'{"entries": [{"event_id": 7}]}',
        b'{"entries": []}',
        b'{"entries": [], "phone": "x", "now": "2026-01-01T00:00:00Z"}',
        b'{"entries": [], "phone": "7a3f0d52-5f0a-4b58-9e33-0d7c1f0f8a11", "now": "2026-01-01"}',
        b'{"entries": [], "phone": "7a3f0d52-5f0a-4b58-9e33-0d7c1f0f8a11", "now": 7}',
        b'{"entries": [' + b",".join([b'{"event_id": "a"}'] * 501) + b"]}",
        b" " * 2_000_001,
        b" " * 3_000_000,
    ],
    ids=range(20),
)
def test_what_is_no_batch_is_refused_whole(nobody: Client, phone: Phone, body: bytes) -> None:
    before = rows_of_every_table()
    assert post(nobody, phone, body).status_code == 400
    assert rows_of_every_table() == before


WRONG = {
    "nothing": None,
    "a number": 7,
    "a fraction": 0.5,
    "less than nothing": -1,
    "a list": ["a"],
    "an object": {"a": 1},
    "half a character": "\ud800",
    "a huge text": "x" * 20_000,
    "a long text": "x" * 2_000,
    "a huge number": 10**30,
    "the largest key": 2**63 - 1,
    "not a number": float("nan"),
    **HOSTILE,
}
SOUND: dict[str, Any] = {
    "answer": {"answer": "done"},
    "used": {"used": "1"},
    "add": {"part": "F-09", "quantity": "1"},
    "take": {},
    "reading": {"value": "215"},
    "found": {"text": "rubs"},
    "sign": {"signature": "T. Reed", "labour_minutes": "5", "leave_undone": True},
}


@pytest.mark.parametrize("is_live", [True, False])
@pytest.mark.parametrize("kind", KINDS)
def test_no_field_of_any_kind_breaks_it(
    nobody: Client, phone: Phone, world: SheetWorld, kind: str, is_live: bool
) -> None:
    """Each field alone with each of the texts and types above, and all of them at once.

    Every answer is a word about that entry, and what is kept can be read back.
    """
    sound = {
        "answer": {"step": phone.sheet.steps.order_by("pk")[0].pk},
        "used": {"row": phone.sheet.parts.order_by("pk")[0].pk},
        "reading": {"counter": world.fleet.counters["hours"].pk},
    }.get(kind, {}) | SOUND.get(kind, {})
    names = [*KINDS[kind].fields, "at", "live", "kind", "pen"]
    for wrong in WRONG.values():
        tries = [{name: wrong} for name in names] + [dict.fromkeys(KINDS[kind].fields, wrong)]
        made = [{**phone.entry(kind, **sound), "live": is_live, **each} for each in tries]
        answer = post(nobody, phone, phone.batch(*made))
        assert answer.status_code == 200
        told = answer.json()["outcomes"]
        assert set(told) == {each["event_id"] for each in made}
        for each in made:
            assert told[each["event_id"]]["state"] in ("taken", "waiting", "refused")
            if told[each["event_id"]]["state"] != "taken":
                assert told[each["event_id"]]["words"]
    for row in Unsettled.objects.all():
        assert row.payload is not None


@pytest.mark.parametrize("wrong", ["a", "²", "9" * 100, "x\x00", "\ud800", "{}"])
def test_an_id_that_is_none_is_answered_by_its_own_words(
    nobody: Client, phone: Phone, wrong: str
) -> None:
    made = {**phone.entry("take"), "event_id": wrong}
    [outcome] = post(nobody, phone, phone.batch(made)).json()["outcomes"].values()
    assert (outcome["state"], outcome["field"]) == ("refused", "event_id")


def test_an_unknown_kind_stays_on_the_phone(nobody: Client, phone: Phone) -> None:
    made = phone.entry("sing", song="of foam")
    [outcome] = post(nobody, phone, phone.batch(made)).json()["outcomes"].values()
    assert (outcome["state"], outcome["field"]) == ("refused", "kind")
    assert not Unsettled.objects.exists()


def test_two_hundred_entries_in_one_batch(nobody: Client, phone: Phone) -> None:
    step = phone.sheet.steps.filter(section="caution").order_by("pk")[0]
    made = [phone.answer(step, "done" if n % 2 else "cleared") for n in range(200)]
    for each, before in zip(made[1:], made, strict=False):
        each["seen"] = before["event_id"]
    told = post(nobody, phone, phone.batch(*made)).json()
    assert {each["state"] for each in told["outcomes"].values()} == {"taken"}
    assert step.entries.count() == 200
    assert told["sheet"]["steps"][str(step.pk)]["event"] == made[-1]["event_id"]


def test_it_is_only_posted_to(client_as: Callable[..., Client], phone: Phone) -> None:
    address = reverse("shop:entries", args=[phone.sheet.number])
    assert client_as("technician").get(address).status_code == 405


def post_round(client: Client, phone: Phone, *made: dict[str, Any]) -> Any:
    assert phone.rig
    with time_machine.travel(NOW, tick=False):
        return client.post(
            reverse("shop:rig_entries", args=[phone.rig.number]),
            json.dumps(phone.batch(*made)).encode(),
            content_type="application/json",
        )


@pytest.mark.parametrize("is_live", [True, False])
@pytest.mark.parametrize("kind", RIG_KINDS)
def test_no_field_of_a_round_breaks_it(
    nobody: Client, phone: Phone, world: SheetWorld, kind: str, is_live: bool
) -> None:
    phone.rig = world.fleet.rig
    item = RoundItem.objects.create(
        code="R1", kind=world.fleet.components["gun"].type.kind, text="Trigger lock", every="day"
    )
    face = {"counter": world.fleet.counters["hours"].pk, "value": "215"}
    answer = {"item": item.pk, "answer": "right", "note": ""}
    sound = {
        "round": {"answers": [answer], "readings": [face]},
        "reading": face,
        "found": {"text": "rubs"},
    }[kind]
    rows = {"answers": answer, "readings": face} if kind == "round" else {}
    for wrong in WRONG.values():
        tries: list[dict[str, Any]] = [{name: wrong} for name in RIG_KINDS[kind].fields]
        tries += [
            {name: [{**row, each: wrong}]} for name, row in rows.items() for each in (*row, "step")
        ]
        made = [{**phone.entry(kind, **sound), "live": is_live, **each} for each in tries]
        answered = post_round(nobody, phone, *made)
        assert answered.status_code == 200
        told = answered.json()
        assert told["sheet"] is None
        assert set(told["outcomes"]) == {each["event_id"] for each in made}
        for outcome in told["outcomes"].values():
            assert outcome["state"] in ("taken", "waiting", "refused")
            assert outcome["words"] or outcome["state"] == "taken"
    assert not Unsettled.objects.filter(reason=words.BROKE).exists()


def test_a_round_sent_by_who_looks_is_said_on_the_page_that_comes_next(
    client_as: Callable[..., Client], phone: Phone, world: SheetWorld
) -> None:
    phone.rig = world.fleet.rig
    item = RoundItem.objects.create(
        code="R1", kind=world.fleet.components["gun"].type.kind, text="Trigger lock", every="day"
    )
    made = phone.entry("round", answers=[{"item": item.pk, "answer": "right"}], live=True)
    client = client_as(phone.who)
    assert post_round(client, phone, made).status_code == 200
    with time_machine.travel(NOW, tick=False):
        assert "The round is kept: 1 in order." in text_of(client.get("/"))
        # Sent again, it counts and is said once.
        assert post_round(client, phone, {**made, "live": False}).status_code == 200
        assert "The round is kept" not in text_of(client.get("/"))


def test_of_found_work_nothing_is_said_on_the_page_that_comes_next(
    client_as: Callable[..., Client], phone: Phone, world: SheetWorld
) -> None:
    phone.rig = world.fleet.rig
    client = client_as(phone.who)
    made = phone.entry("found", text="hose rubs", live=True)
    assert post_round(client, phone, made).json()["outcomes"][made["event_id"]]["state"] == "taken"
    with time_machine.travel(NOW, tick=False):
        page = client.get(f"/rigs/{phone.rig.number}/")
    assert page.context["messages"]._loaded_data == []
    assert "hose rubs" in text_of(page)


def test_no_round_of_a_rig_that_is_not_there(nobody: Client, phone: Phone) -> None:
    answer = nobody.post(
        reverse("shop:rig_entries", args=[99]),
        json.dumps(phone.batch()).encode(),
        content_type="application/json",
    )
    assert answer.status_code == 404
