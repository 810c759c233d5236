"""What no honest hand types into a field: every form of every page answers in words, not breaks.

The pages of a small working shop are walked as the manager. Each form that is found is sent with
one of the texts below in each of its fields alone, and in all of them at once. SQLite swallows
what PostgreSQL refuses (too long, NUL), so this says most on PostgreSQL.
"""

import re
from collections.abc import Callable, Iterator
from datetime import date
from html.parser import HTMLParser
from io import BytesIO
from urllib.parse import urlsplit
from uuid import UUID, uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import transaction
from django.test import Client
from django.urls import reverse

from equipment.models import (
    Component,
    ComponentKind,
    ComponentType,
    Due,
    Finding,
    Known,
    LogContradiction,
    Position,
    Reading,
    Renewal,
    Service,
    ShiftLog,
)
from equipment.services import open_finding
from equipment.services.knowing import keep_known
from equipment.services.shiftlogs import read_log, source_of
from inventory.models import Count, Location, Lot, Movement, RobbedKit, Supplier
from inventory.services import rob_kit
from inventory.services.counting import start_count
from shop.models import IsolationPoint, Person, ServiceSheet, StepEntry, Unsettled
from shop.services.coming_logs import take_in
from shop.services.isolating import keep_beginning
from tests.depth import IN_CI
from tests.equipment.factories import a_hose
from tests.inventory.factories import received
from tests.inventory.orders import orders_in_every_state
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.test_access import ADDRESSES, example
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db

HOSTILE = {
    "a NUL": "a\x00b",
    "a superscript": "²",
    "more than a column holds": "9" * 400,
    "more than a number holds": "99999999999999999999",
    "an infinite number": "-Infinity",
    "the last day": "9999-12-31",
}
FIELDS = {"input", "select", "textarea", "button"}
#: Not for typing.
OURS = {"csrfmiddlewaretoken", "typed_by"}
SENDING = UUID("7a3f0d52-5f0a-4b58-9e33-0d7c1f0f8a11")
#: Where a sent form would end the walk; and the longest form, by which services are begun and
#: changed: it has tests of its own (tests/equipment/pages/test_hostile_services.py).
LEFT_OUT = {"/sign-out/", "/services/1/change/", "/services/new/1/"}


#: What comes after a signature: about a sheet that is signed.
AFTER_SIGNING = {"shop:second_look", "shop:correct_sheet"}


class Forms(HTMLParser):
    """The forms of a page: where each goes, and its fields as they stand."""

    def __init__(self, here: str) -> None:
        super().__init__()
        self.here = here
        self.found: list[tuple[str, str, dict[str, str]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        if tag == "form":
            action = given.get("action") or given.get("hx-post") or self.here
            self.found.append((given.get("method", "get").lower(), action, {}))
        elif self.found and given.get("name") and tag in FIELDS:
            self.found[-1][2].setdefault(given["name"], given.get("value", ""))


@pytest.fixture
def world(manager: Person, technician: Person, shop: object) -> SheetWorld:
    """Something behind every address: sheets, a kit, found work, a reversible movement."""
    made = sheet_world(shop, manager)  # type: ignore[arg-type]
    who = {"author": manager, "at": NOW, "request_id": uuid4()}
    open_finding(rig=made.fleet.rig, text="rubs", **who)
    keep_known(about=made.fleet.components["gun"].type, kind="note", text="To 12", **who)
    keep_beginning(rig=made.fleet.rig, author=manager, at=NOW)
    hands = Hands(made.draft(made.oil), technician)
    hands.take()
    hands.open_the_checks()
    type(made.rebuild.version).objects.update(second_look=True)
    _sign(Hands(made.draft(made.rebuild), technician))
    made.draft(Due.objects.get(pk=made.rebuild.pk))
    phone = Phone(technician, hands.sheet)
    phone.send(phone.answer(hands.check("Volts at rated load"), "value", value="300"))
    received(made.kit, made.bin, 1, 900)
    rob_kit(
        kit=made.kit, location=made.bin, missing={made.seal: 1}, **{**who, "request_id": uuid4()}
    )
    for place, kind in ((made.bin, Count.Kind.CYCLE), (made.drawer, Count.Kind.DRAWER)):
        start_count(location=place, kind=kind, author=manager, at=NOW, request_id=uuid4())
    orders_in_every_state(made.filter_part, made.bin, author=manager, at=NOW)
    _send_logs(made, technician)
    return made


def _sign(hands: Hands) -> None:
    hands.open_the_checks()
    hands.answer(hands.check("Side seal"), "choice", choice="good")
    hands.use()
    hands.sign()


def _send_logs(made: SheetWorld, technician: Person) -> None:
    """A log that was read and contradicts the readings, and one that asks."""
    head, row = (
        "Time,Iso {0},Resin {0},Iso psi",
        "2026-01-20 08:00:0{0},70000000{0},70000000{0},1150",
    )
    rows = "\n".join(row.format(second) for second in range(9))
    given = {"author": technician, "at": NOW}
    shop = made.shop
    read = f"{head.format('strokes')}\n{rows}".encode()
    log = source_of(BytesIO(read), "read.csv")
    assert read_log(
        rig=made.fleet.rig, source=log, zone=shop.zone, rules=shop.log_rules, **given
    ).contradictions
    asks = SimpleUploadedFile("asks.csv", f"{head.format('count')}\n{rows}".encode())
    take_in(rig=made.fleet.rig, uploads=[asks], sending=SENDING, layout=None, **given)


def kwargs_of(name: str, world: SheetWorld) -> dict[str, object]:
    """Arguments of an address that name something that is there."""
    if name == "equipment:put_off":
        due = Due.objects.select_related("component", "version").order_by("pk")[0]
        return {"tag": due.component.tag, "pk": due.version.service_id}
    rig, part = world.fleet.rig, world.kit if "kit" in name else world.filter_part
    pks: dict[str, object] = {
        "shop:person": Person,
        "equipment:exchange": Position,
        "equipment:reverse_reading": Reading,
        "equipment:undo_renewal": Renewal,
        "inventory:reverse_movement": Movement,
        "inventory:invoice": Movement,
        "inventory:lot": Lot,
        "inventory:extend_lot": Lot,
        "inventory:location": Location,
        "inventory:robbed_kit": RobbedKit,
        "inventory:change_supplier": Supplier,
        "inventory:supplier": Supplier,
        "inventory:supplier_part": Supplier,
        "equipment:service": Service,
        "equipment:finding": Finding,
        "equipment:newer_note": Known,
        "equipment:take_off_known": Known,
        "equipment:type": ComponentType,
        "equipment:type_note": ComponentType,
        "equipment:type_file": ComponentType,
        "equipment:new_service_of": ComponentKind,
        "shop:contradiction": LogContradiction,
        "shop:isolation_point": IsolationPoint,
        "shop:pick_answer": StepEntry,
        "shop:settle": Unsettled,
        "shop:log_file": ShiftLog,
        "shop:withdraw_log": ShiftLog,
    }
    if name in AFTER_SIGNING:
        return {"number": ServiceSheet.objects.signed().order_by("pk")[0].number}
    given: dict[str, object] = {}
    for argument in ADDRESSES[name]:
        if argument == "number":
            is_part = name.startswith("inventory:") or example(name).startswith("/parts/")
            is_sheet = "sheets/" in example(name)
            is_count = example(name).startswith("/counts/")
            given[argument] = (
                Count.objects.order_by("pk")[0].number
                if is_count
                else part.number
                if is_part
                else 1
                if is_sheet
                else rig.number
            )
        elif argument == "code":
            given[argument] = "K-03" if name == "shop:go" else world.drawer.code
        elif argument == "sheet":
            given[argument] = "letter-3x10"
        elif argument == "tag":
            given[argument] = (
                a_hose().tag
                if name == "equipment:hose"
                else Component.objects.order_by("pk")[0].tag
            )
        elif argument in ("kind", "way"):
            kind = "place" if name == "shop:go" else "rigs"
            given[argument] = {"kind": kind, "way": "csv"}[argument]
        elif argument == "order":
            given[argument] = 2 if "receive" in name else 1
        elif argument == "place":
            given[argument] = 1
        elif argument == "sending":
            given[argument] = SENDING
        elif argument == "day":
            given[argument] = date(2026, 1, 20)
        else:
            model = pks.get(name, Service)
            row = model.objects.order_by("pk").first()  # type: ignore[attr-defined]
            given[argument] = row.pk if row else 1
    return given


def forms(client: Client, world: SheetWorld) -> Iterator[tuple[str, str, dict[str, str]]]:
    seen = set()
    for name in sorted(ADDRESSES):
        page = reverse(name, kwargs=kwargs_of(name, world))
        answer = client.get(page)
        assert answer.status_code < 500, f"GET {page}: {answer.status_code}"
        if answer.status_code != 200 or "html" not in answer.headers["Content-Type"]:
            continue
        parser = Forms(page)
        parser.feed(answer.content.decode())
        for method, action, fields in parser.found:
            # One step, one part, one person stands for all of them.
            key = (method, re.sub(r"\d+", "", f"{urlsplit(action).path} {sorted(fields)}"))
            if key in seen or re.sub(r"\d+", "1", urlsplit(action).path) in LEFT_OUT:
                continue
            seen.add(key)
            yield method, action, fields


@pytest.fixture
def client(client_as: Callable[..., Client], manager: Person) -> Client:
    return client_as(manager, raise_request_exception=False)


def tries(fields: dict[str, str], text: str, nth: int) -> Iterator[tuple[str, dict[str, str]]]:
    """The text in each field alone, beside a 1 in those that stand empty; and in all.

    Outside CI each field meets a third of the texts alone, the next field the next third.
    """
    typed = {field: value or "1" for field, value in fields.items()}
    # One counter, one day stands for all of them.
    alike = {re.sub(r"\d+", "", field): field for field in sorted(fields.keys() - OURS)}
    for number, field in enumerate(alike.values()):
        if IN_CI or number % 3 == nth % 3:
            yield field, {**typed, field: text}
    yield "all", dict.fromkeys(fields, text)


@pytest.mark.long
@pytest.mark.timeout(600)
def test_no_form_breaks_on_what_nobody_types(client: Client, world: SheetWorld) -> None:
    broken = []
    session = client.cookies["sessionid"].value
    for method, action, fields in list(forms(client, world)):
        send = getattr(client, method)
        for nth, (what, text) in enumerate(HOSTILE.items()):
            for field, data in tries(fields, text, nth):
                with transaction.atomic():
                    answer = send(action, data)
                    transaction.set_rollback(True)  # the next try meets the same shop
                client.cookies["sessionid"] = session
                if answer.status_code >= 500:
                    broken.append(f"{method} {action} {field}={what}")
    assert broken == []
