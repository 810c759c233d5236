"""Every address that a role may open, opened in a browser: whole, legible, and on its window.

The addresses come from the resolver, so that a new page is visited without being named here; one
with arguments needs an example in `examples`, and the test says so.
"""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page

from equipment.models import (
    DrumLevel,
    Exchange,
    FacePhoto,
    Finding,
    JobBooking,
    Known,
    LogContradiction,
    Reading,
    Renewal,
    Service,
    ShiftDay,
    ShiftLog,
)
from equipment.services import book_job, open_finding
from inventory.models import Count, Location, Lot, Movement, RobbedKit, Supplier
from inventory.pack_prices import PackPrice
from inventory.services import receive, rob_kit
from inventory.services.buying import Terms, create_supplier, set_supplier_part
from inventory.services.counting import start_count
from shop.access import ACCESS, may
from shop.models import ComingLog, IsolationPoint, Person, Role, ServiceSheet, Shop, Unsettled
from shop.services.arriving import set_aside
from shop.services.drafting import void_sheet
from shop.services.feeds import Choices, make_feed
from shop.services.isolating import keep_beginning
from shop.services.needs import set_need
from shop.services.sheet_parts import enter_used, take_parts
from shop.services.signing import sign_sheet
from tests.equipment.factories import a_hose
from tests.inventory.orders import orders_in_every_state
from tests.journeys.conftest import DESK, PHONE, Look
from tests.journeys.worlds import (
    JourneyWorld,
    add_drums,
    add_knowledge,
    add_logs,
    add_photo,
    add_round,
    answer_everything,
    draft,
    today,
)
from tests.shop.phones import Phone
from tests.shop.test_access import ADDRESSES, example

#: Pieces of a page, which htmx puts into one: seen where they stand.
PIECES = {"shop:due_picked"}
HTML = "text/html"
CALENDAR_KEY = "a-key-of-a-calendar"
#: What a choice says for which nobody wrote words.
NOTHING_SAID = "---------"
Kwargs = dict[str, Any]


@pytest.fixture
def full_world(world: JourneyWorld, technician: Person, manager: Person) -> JourneyWorld:
    """One of everything that a page can be about."""
    add_round(world)
    type(world.sheets.oil.version).objects.filter(pk=world.sheets.oil.version_id).update(
        second_look=True
    )
    rig, at = world.fleet.rig, world.now
    keep_beginning(rig=rig, author=manager, at=at)
    signed = draft(world, technician=technician)
    answer_everything(signed, by=technician, at=at)
    take_parts(sheet=signed, author=technician, at=at, request_id=uuid4())
    enter_used(
        sheet_part=signed.parts.get(part=world.sheets.filter_part),
        used_steps=1,
        event_id=uuid4(),
        author=technician,
        at=at,
        recorded_at=at,
    )
    sign_sheet(
        sheet=signed,
        author=technician,
        at=at,
        signature="A. Technician",
        labour_minutes=60,
        leave_undone=False,
        signing_id=uuid4(),
    )
    world.sheets.oil.refresh_from_db()
    void = draft(world)
    void_sheet(sheet=void, author=manager, at=at, reason="wrong rig", request_id=uuid4())
    opened = draft(world, technician=technician)
    add_unsettled(world, signed, opened, by=technician)
    for text, is_grave in (("hose rubs on the frame", False), ("regulator drifts", True)):
        open_finding(
            rig=rig, text=text, is_grave=is_grave, author=technician, at=at, request_id=uuid4()
        )
    day = today(world)
    book_job(
        rig=rig,
        job="Barn, north roof",
        first_day=day + timedelta(days=2),
        last_day=day + timedelta(days=5),
        author=manager,
        today=day,
        zone=Shop.objects.get().zone,
    )
    set_need(service=Service.objects.get(name="packing"), part=world.sheets.seal, quantity_steps=1)
    add_robbed_kit(world)
    orders_in_every_state(world.sheets.filter_part, world.sheets.bin, author=manager, at=world.now)
    add_supplier(world)
    add_photo(world)
    add_knowledge(world)
    add_drums(world)
    add_logs(world, technician)
    for code, kind in (("K-03", "cycle"), ("01-D1", "drawer")):
        start_count(
            location=Location.objects.get(code=code),
            kind=kind,
            author=technician,
            at=at,
            request_id=uuid4(),
        )
    make_feed(
        person=technician, key=CALENDAR_KEY, choices=Choices("all", True, "all"), at=world.now
    )
    return world


def add_unsettled(
    world: JourneyWorld, signed: ServiceSheet, opened: ServiceSheet, *, by: Person
) -> None:
    """What came late to a signed sheet, by a clock that is slow; one set aside; two answers."""
    late = Phone(by, signed, clock=timedelta(hours=-3))
    row = signed.parts.get(part=world.sheets.filter_part)
    check = signed.steps.filter(section="check").order_by("order")[0]
    made = [
        late.answer(check, "na", note="no oil in it", at=world.now),
        late.entry("reading", counter=world.fleet.counters["hours"].pk, value="99999"),
        late.entry("used", row=row.pk, used="2", at=world.now),
        late.entry("take", at=world.now),
    ]
    assert {each.state for each in late.send(*made, now=world.now)} == {"waiting"}
    set_aside(unsettled=Unsettled.objects.latest("pk"), note="twice", author=by, at=world.now)
    lockout = opened.steps.filter(section="lockout").order_by("order")[0]
    for phone, answer in ((Phone(by, opened), "done"), (Phone(by, opened), "na")):
        phone.send(phone.answer(lockout, answer, note="none here", at=world.now), now=world.now)


def add_supplier(world: JourneyWorld) -> None:
    """Somebody who sells a filter, cheaper by the five, and wants the old one back."""
    seller = create_supplier(
        name="Tern Filters",
        contact="555 0100",
        least_order_cents=15_000,
        author=world.sheets.manager,
        at=world.now,
    )
    terms = Terms(
        pack_steps=2,
        least_packs=2,
        core_cents=500,
        preferred=True,
        prices=(PackPrice(1, 1_000), PackPrice(5, 900)),
    )
    set_supplier_part(supplier=seller, part=world.sheets.filter_part, terms=terms)


def add_robbed_kit(world: JourneyWorld) -> None:
    """A kit more in the bin, of which a seal was taken."""
    who = {"author": world.sheets.manager, "at": world.now}
    kit, place = world.sheets.kit, world.sheets.bin
    receive(
        part=kit,
        location=place,
        quantity_steps=1,
        value_cents=900,
        lot_code="K78",
        request_id=uuid4(),
        **who,
    )
    missing = {world.sheets.seal: 1}
    rob_kit(kit=kit, location=place, missing=missing, request_id=uuid4(), reason="Bag open", **who)


def examples(world: JourneyWorld) -> dict[str, list[Kwargs]]:
    """What each address with arguments is about; several where it looks different for each."""
    open_sheet = ServiceSheet.objects.open().get()
    sheet = [{"number": open_sheet.number}]
    plain, kit = world.sheets.filter_part.number, world.sheets.kit.number
    service = [{"pk": Service.objects.get(name="packing").pk}]
    pump = [{"tag": world.fleet.pump("A").tag}]
    rig = [{"number": 1}]
    return {
        "equipment:cancel_booking": [{"pk": JobBooking.objects.get().pk}],
        "equipment:change_booking": [{"pk": JobBooking.objects.get().pk}],
        **{
            f"equipment:{name}": [{"pk": world.fleet.components["gun"].type_id}]
            for name in ("type", "type_note", "type_file")
        },
        "equipment:newer_note": [{"pk": Known.objects.filter(kind="note").latest("pk").pk}],
        "equipment:newer_file": [{"pk": Known.objects.filter(kind="picture").latest("pk").pk}],
        "equipment:take_off_known": [{"pk": Known.objects.in_force().latest("pk").pk}],
        "equipment:known_file": [{"digest": Known.objects.get(kind="file").digest}],
        "equipment:finding": [{"pk": each.pk} for each in Finding.objects.order_by("pk")[:2]],
        "equipment:close_finding": [{"pk": Finding.objects.latest("pk").pk}],
        "equipment:component": pump,
        "equipment:new_service_of": [{"pk": world.fleet.pump("A").type.kind_id}],
        "equipment:new_component_counter": pump,
        "equipment:hose": [{"tag": a_hose().tag}],
        **{
            f"equipment:{name}": [{"number": 1, "pk": world.fleet.positions["pump A"].pk}]
            for name in OF_A_POSITION
        },
        "equipment:change_counter": [
            {"pk": world.fleet.counters[name].pk} for name in ("hours", "a")
        ],
        "equipment:retire_counter": [{"pk": world.fleet.counters["a"].pk}],
        "equipment:remove_position": [{"pk": world.fleet.positions["gun"].pk}],
        "equipment:undo_exchange": [{"pk": Exchange.objects.latest("pk").pk}],
        "equipment:correct_reading": [{"pk": Reading.objects.latest("pk").pk}],
        "equipment:photo": [{"digest": FacePhoto.objects.get().digest}],
        "equipment:put_off": [
            {"tag": world.fleet.pump("A").tag, "pk": Service.objects.get(name="packing").pk}
        ],
        "equipment:renew": pump,
        "equipment:retire_component": pump,
        "equipment:reverse_drum": [{"pk": DrumLevel.objects.latest("pk").pk}],
        "equipment:reverse_reading": [{"pk": Reading.objects.latest("pk").pk}],
        "equipment:undo_renewal": [{"pk": Renewal.objects.latest("pk").pk}],
        "inventory:kit_alternates": [{"number": kit}],
        "inventory:count": [{"number": each.number} for each in Count.objects.all()],
        "inventory:kit_lines": [{"number": kit}],
        "inventory:rob_kit": [{"number": kit}],
        "inventory:robbed_kit": [{"pk": RobbedKit.objects.get().pk}],
        "inventory:kits": [{"number": kit}],
        "inventory:order": [{"order": number} for number in (1, 2, 3)],
        "inventory:receive_order": [{"order": 2}],
        "shop:order_pdf": [{"order": 2}],
        "inventory:location": [{"code": place} for place in ("K-03", "01-D1")],
        "inventory:part": [{"number": plain}, {"number": kit}],
        **{
            f"inventory:{name}": [{"pk": Lot.objects.earliest("pk").pk}]
            for name in ("lot", "extend_lot")
        },
        "inventory:invoice": [{"pk": Movement.objects.filter(kind="receipt")[0].pk}],
        "inventory:reverse_movement": [{"pk": Movement.objects.filter(kind="receipt")[0].pk}],
        **{
            f"inventory:{name}": [{"pk": Supplier.objects.get(name="Tern Filters").pk}]
            for name in ("supplier", "change_supplier")
        },
        "inventory:supplier_part": [
            {"pk": Supplier.objects.get(name="Tern Filters").pk, "number": plain}
        ],
        "shop:take_part": [{"number": plain}, {"number": kit}],
        "shop:advice": [{"number": plain}, {"number": kit}],
        "shop:drawer": [{"code": "01-D1"}],
        "shop:go": [{"kind": "place", "code": "K-03"}, {"kind": "part", "code": "gone"}],
        "shop:labels_trial": [{"sheet": "letter-3x10"}],
        "shop:calendar_feed": [{"key": CALENDAR_KEY}],
        "shop:coming_log": [
            {"sending": each.sending, "place": each.place} for each in ComingLog.objects.all()
        ],
        "shop:contradiction": [{"pk": LogContradiction.objects.earliest("pk").pk}],
        "shop:log_day": [{"number": 1, "day": ShiftDay.objects.get().date}],
        "shop:log_file": [{"pk": ShiftLog.objects.get().pk}],
        "shop:sending": [{"sending": ComingLog.objects.earliest("pk").sending}],
        "shop:withdraw_log": [{"pk": ShiftLog.objects.get().pk}],
        "shop:import_template": [{"kind": "rigs", "way": way} for way in ("csv", "xlsx")],
        "shop:person": [{"pk": world.sheets.manager.pk}],
        "shop:rig_spend": rig,
        "shop:correct_sheet": [{"number": ServiceSheet.objects.signed().earliest("pk").number}],
        "shop:second_look": [{"number": ServiceSheet.objects.signed().earliest("pk").number}],
        "shop:service_minutes": [
            {"pk": world.sheets.oil.version.service_id},
            *service,
        ],
        "shop:service_parts": service,
        "shop:rig_drawing": rig,
        "shop:round_sheet": rig,
        "shop:readings_file": [{"number": 1, "way": "csv"}],
        "shop:spend_file": [{"way": "csv"}],
        "shop:settle": [{"pk": each.pk} for each in Unsettled.objects.order_by("pk")],
        "shop:sheet": [{"number": each.number} for each in ServiceSheet.objects.all()],
        **{f"equipment:{name}": service for name in OF_A_SERVICE},
        **{f"inventory:{name}": [{"number": plain}] for name in STOCK_ACTS},
        **{f"shop:{name}": sheet for name in OF_A_SHEET},
        **{f"equipment:{name}": rig for name in OF_A_RIG},
        "shop:isolation": rig,
        "shop:new_isolation_point": rig,
        "shop:isolation_point": [
            {"number": 1, "pk": IsolationPoint.objects.filter(rig__number=1).earliest("pk").pk}
        ],
        "shop:rig": rig,
        "shop:sides": rig,
        "shop:dismiss_side": rig,
        "shop:side_forward": rig,
        "shop:logs": rig,
    }


OF_A_POSITION = ("exchange", "quick_change", "stays")
STOCK_ACTS = ("adjust", "change_part", "policy", "receive", "transfer")
OF_A_SHEET = ("keyed", "sheet_pdf", "hand_over", "set_waiting", "until", "work")
OF_A_SERVICE = (
    "service",
    "bring_back_service",
    "change_service",
    "compare_service",
    "copy_service",
    "retire_service",
    "service_file",
    "service_note",
)
OF_A_RIG = (
    "bookings",
    "change_rig",
    "new_counter",
    "new_finding",
    "new_position",
    "paper_week",
    "readings",
    "rig_setup",
    "round",
)
#: What an address is asked besides its own words.
QUERIES = {
    "shop:find": ["", "?q=kit"],
    "shop:labels_file": ["?kind=bins&sheet=letter-3x10&start=1&copies=1"],
    "shop:draft_sheet": ["?rig=1"],
    "shop:due": ["", "?before=all&sort=rig", "?rig=1&sort=odds&by=2030-01-01"],
}


def pages_of(person: Person, world: JourneyWorld) -> Iterator[str]:
    """Every address that answers this person's GET with a page of its own."""
    client = Client()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    known = examples(world)
    for name in sorted(ADDRESSES):
        if name not in ACCESS or not may(person, name) or name in PIECES:
            continue
        arguments = set(ADDRESSES[name])
        for kwargs in known.get(name, [{}]):
            if set(kwargs) != arguments:
                assert is_sent_only(name, client), f"{name} needs an example in test_every_page.py"
                continue
            for query in QUERIES.get(name, [""]):
                address = reverse(name, kwargs=kwargs) + query
                answer = client.get(address)
                if answer.status_code in (302, 405):  # leads to another page; is only sent to
                    continue
                assert answer.status_code == 200, f"{address}: {answer.status_code}"
                if answer["Content-Type"].startswith(HTML):
                    yield address


def is_sent_only(name: str, client: Client) -> bool:
    """Whether an address takes no GET, whatever it is about."""
    return client.get(example(name)).status_code == 405


#: Who looks, at which width, and the share of the pages: a manager has more than one test can walk.
WALKS = [
    *((Role.MANAGER, DESK, part, 2) for part in range(2)),
    *((Role.MANAGER, PHONE, part, 4) for part in range(4)),
    *((Role.TECHNICIAN, PHONE, part, 2) for part in range(2)),
    (Role.OWNER, DESK, 0, 1),
]


@pytest.mark.parametrize(("role", "width", "part", "parts"), WALKS)
def test_every_page_is_whole(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    look: Look,
    full_world: JourneyWorld,
    role: str,
    width: int,
    part: int,
    parts: int,
) -> None:
    page = page_at(width)
    person = sign_in_as(page, role)
    seen = 0
    for address in list(pages_of(person, full_world))[part::parts]:
        answer = page.goto(address)
        assert answer is not None
        assert answer.status == 200, f"{address}: {answer.status}"
        assert page.locator("option", has_text=NOTHING_SAID).count() == 0, address
        # A manager on a phone sees every page there is; there each is looked at in the dark too.
        dark = (role, width) == (Role.MANAGER, PHONE)
        look(page, schemes=("light", "dark") if dark else ("light",))
        seen += 1
    assert seen > 8
