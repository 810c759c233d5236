"""Every form into which a quantity or a part is typed, and every bad one that a hand slips into it.

Each is answered 422 with plain words beside the field, what was typed stays, and nothing is posted
by half: the rows of stock are those of before. What is only doubtful is asked about, and sent once
more with the tick it is done. Common practice, no source.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.models import Balance, KitAlternate, KitLine, Movement, Part, PartCode, StockPolicy
from inventory.services import KitLineSpec, Need, prove, reserve, set_kit_lines
from inventory.services.counting import start_count
from inventory.services.packs import set_packs
from shop.models import PartsNeed, Person, Role, Shop
from shop.services.drafting import hand_out
from tests.inventory.factories import PartFactory, received
from tests.inventory.pages.browsing import text_of
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@dataclass
class Typed:
    """One form as it is filled in well, and which of its fields take a part and a quantity."""

    name: str
    url: str
    fields: dict[str, str]
    quantity: str = "quantity"
    part: str = ""
    keeps: str = "fields"
    asks: bool = False
    more: dict[str, str] = field(default_factory=dict)


@dataclass
class Stock:
    world: SheetWorld
    manager: Person
    seal: Part
    oil: Part
    forms: dict[str, Typed]


@pytest.fixture
def stock(shop: Shop, manager: Person, technician: Person) -> Stock:
    """Ten seals in a bin, in boxes of four; oil in hundredths of a gallon; an open sheet."""
    world = sheet_world(shop, manager)
    seal = PartFactory(number="SEAL-1", name="side seal")
    oil = PartFactory(number="OIL-1", name="pump oil", unit_name="gal", steps_per_unit=100)
    set_packs(part=seal, packs={"box": 4})
    set_packs(part=oil, packs={"pail": 500})
    PartCode.objects.create(part=seal, code="4006381333931")
    received(seal, world.bin, 10, 10_000)
    received(oil, world.bin, 2_000, 20_000)
    kit = PartFactory(number="KIT-1", name="seal kit", is_kit=True)
    line = KitLineSpec(part=seal, quantity_steps=2)
    set_kit_lines(kit=kit, lines=[line], author=manager, at=NOW)
    received(kit, world.bin, 1, 2_000)
    sheet = world.draft(world.oil)
    hand_out(sheet=sheet, technician=technician, author=manager, at=NOW)
    count = start_count(
        location=world.bin, kind="cycle", author=manager, at=NOW, request_id=uuid4()
    )
    day = (timezone.localdate() + timedelta(days=90)).isoformat()
    place = str(world.bin.pk)
    drawer = str(world.drawer.pk)
    service = world.oil.version.service_id
    lines = {"lines-TOTAL_FORMS": "1", "lines-INITIAL_FORMS": "0"}
    others = {"others-TOTAL_FORMS": "1", "others-INITIAL_FORMS": "0", "others-0-line": "SEAL-1"}

    def url(name: str, *args: object) -> str:
        return reverse(name, args=args)

    forms = [
        Typed(
            "receive",
            url("inventory:receive", "SEAL-1"),
            {"quantity": "2", "amount": "20", "cost": "all", "location": place, "reason": "by van"},
            asks=True,
        ),
        Typed(
            "move",
            url("inventory:transfer", "SEAL-1"),
            {"quantity": "2", "from_location": place, "to_location": drawer, "reason": "by van"},
        ),
        *(
            Typed(
                what,
                url("inventory:adjust", "SEAL-1"),
                {"what": what, "quantity": "2", "location": place, "reason": "by van"},
                asks=what in ("count", "more"),
            )
            for what in ("count", "more", "fewer", "scrap")
        ),
        *(
            Typed(
                f"{what} a kit",
                url("inventory:kits", "KIT-1"),
                {"what": what, "quantity": "1", "location": place, "reason": "by van"},
            )
            for what in ("make", "break")
        ),
        Typed(
            "what is missing of a kit",
            url("inventory:rob_kit", "KIT-1"),
            {f"missing-{seal.pk}": "1", "location": place, "reason": "by van"},
            quantity=f"missing-{seal.pk}",
        ),
        Typed(
            "lines of a kit",
            url("inventory:kit_lines", "KIT-1"),
            {**lines, "lines-0-number": "SEAL-1", "lines-0-quantity": "3"},
            quantity="lines-0-quantity",
            part="lines-0-number",
            asks=True,
        ),
        Typed(
            "alternates",
            url("inventory:kit_alternates", "KIT-1"),
            {**others, "others-0-number": "OIL-1", "others-0-quantity": "3"},
            quantity="others-0-quantity",
            part="others-0-number",
            asks=True,
        ),
        Typed(
            "reorder point",
            url("inventory:policy", "SEAL-1"),
            {"reorder_point_steps": "1", "order_up_to_steps": "2", "reason": "by van"},
            quantity="order_up_to_steps",
            asks=True,
        ),
        Typed(
            "needs of a service",
            url("shop:service_parts", service),
            {"part": "SEAL-1", "quantity": "2"},
            part="part",
            asks=True,
        ),
        Typed(
            "a drawer’s target",
            url("shop:drawer", world.drawer.code),
            {"part": "SEAL-1", "quantity": "2", "reason": "by van", "review_on": day},
            part="part",
            asks=True,
        ),
        Typed(
            "a count",
            url("inventory:count", count.number),
            {"do": "enter", "number": "SEAL-1", "quantity": "2"},
            part="number",
            asks=True,
        ),
        Typed(
            "another part on a sheet",
            url("shop:add_part", sheet.number),
            {"part": "SEAL-1", "place": "K-03", "quantity": "2"},
            part="part",
        ),
        Typed(
            "a part taken for a sheet",
            url("shop:take_part", "SEAL-1"),
            {"sheet": str(sheet.pk), "place": place, "quantity": "2"},
        ),
    ]
    return Stock(world, manager, seal, oil, {each.name: each for each in forms})


ALL = (
    *("receive", "move", "count", "more", "fewer", "scrap", "make a kit", "break a kit"),
    *("what is missing of a kit", "lines of a kit", "alternates", "reorder point"),
    *("needs of a service", "a drawer’s target", "a count", "another part on a sheet"),
    "a part taken for a sheet",
)
BY_PART = (
    *("lines of a kit", "alternates", "needs of a service", "a drawer’s target", "a count"),
    "another part on a sheet",
)
ASKING = (
    *("receive", "count", "more", "lines of a kit", "alternates", "reorder point"),
    *("needs of a service", "a drawer’s target", "a count"),
)


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.MANAGER)


def send(client: Client, form: Typed, **typed: str) -> HttpResponse:
    as_drawn = {"request_id": str(uuid4()), "drawn_at": timezone.now().isoformat()}
    return client.post(form.url, {**form.fields, **as_drawn, **typed})


def rows() -> dict[str, list[Any]]:
    """All that is kept of stock, and of what is asked of it."""
    kept = [*apps.get_app_config("inventory").get_models(), PartsNeed]
    return {model.__name__: list(model.objects.order_by("pk").values()) for model in kept}  # type: ignore[attr-defined]


def refused(client: Client, form: Typed, field_name: str, text: str) -> str:
    """What the page says, after seeing that nothing was kept and that what was typed stays."""
    before = rows()
    answer = send(client, form, **{field_name: text})
    assert answer.status_code == 422, (form.name, answer.status_code)
    assert rows() == before
    page = answer.content.decode()
    for name, value in {**form.fields, field_name: text}.items():
        assert value in page, f"{form.name}: {name}={value} is lost"
    said = text_of(answer)
    # Beside the field: it is marked, and what describes it is there.
    at = page.index(f'name="{field_name}"')
    tag = page[page.rindex("<", 0, at) : page.index(">", at)]
    assert 'aria-invalid="true"' in tag, (form.name, tag)
    return said


@pytest.mark.parametrize("name", ALL)
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("-1", "This cannot be below zero."),
        ("0.333", "is not possible.|decimal"),
        ("2 qt", "“qt” is not known here. Write "),
        ("some", "“some” is not a number."),
        ("9999999999", "That is more than 1,000,000. Check the number."),
    ],
)
def test_a_bad_quantity_is_refused_beside_its_field(
    stock: Stock, client: Client, name: str, text: str, words: str
) -> None:
    form = stock.forms[name]
    said = refused(client, form, form.quantity, text)
    assert any(each in said for each in words.split("|")), said


@pytest.mark.parametrize("name", BY_PART)
@pytest.mark.parametrize("text", ["NO-SUCH", "http://shop.example/go/part/NO-SUCH/"])
def test_an_unknown_part_is_refused_beside_its_field(
    stock: Stock, client: Client, name: str, text: str
) -> None:
    form = stock.forms[name]
    assert "There is no part" in refused(client, form, form.part, text)


@pytest.mark.parametrize("name", ASKING)
def test_an_absurd_amount_is_asked_about_and_done_once_it_is_meant(
    stock: Stock, client: Client, name: str
) -> None:
    form = stock.forms[name]
    before = rows()
    typed = {form.quantity: "5000", "amount": "50000"}
    asked = send(client, form, **typed)
    assert asked.status_code == 422, name
    assert rows() == before
    assert "is far more than usual" in text_of(asked) or "is that right?" in text_of(asked)
    assert 'name="sure"' in asked.content.decode()
    done = send(client, form, **typed, sure="on")
    assert done.status_code == 302, text_of(done)
    assert rows() != before
    assert prove() == []


@pytest.mark.parametrize("name", sorted(set(ALL) - set(ASKING)))
def test_more_than_there_is_is_refused(stock: Stock, client: Client, name: str) -> None:
    """Where the stock itself says how much there can be, nobody needs to be asked."""
    before = rows()
    form = stock.forms[name]
    answer = send(client, form, **{form.quantity: "5000"})
    assert answer.status_code == 422
    assert rows() == before
    assert "Not enough of" in text_of(answer) or "holds" in text_of(answer), text_of(answer)


@pytest.mark.parametrize("name", sorted(set(ALL) - {"make a kit", "break a kit"}))
def test_a_quantity_is_taken_in_packs(stock: Stock, client: Client, name: str) -> None:
    form = stock.forms[name]
    pack = "1 pail" if name == "alternates" else "0.5 boxes"
    if name == "what is missing of a kit":
        pack = "0.5 box"
    answer = send(client, form, **{form.quantity: pack})
    assert answer.status_code == 302, text_of(answer)


def test_what_packs_hold_is_what_is_kept(stock: Stock, client: Client) -> None:
    forms = stock.forms
    send(client, forms["lines of a kit"], **{"lines-0-quantity": "1 box 1"})
    assert KitLine.objects.get(kit__number="KIT-1").quantity_steps == 5
    send(client, forms["alternates"], **{"others-0-quantity": "1 pail 1.5 gal"})
    assert KitAlternate.objects.get().quantity_steps == 650
    send(client, forms["reorder point"], reorder_point_steps="1 box", order_up_to_steps="2 boxes")
    shop_wide = StockPolicy.objects.get(part=stock.seal, location=None)
    assert (shop_wide.reorder_point_steps, shop_wide.order_up_to_steps) == (4, 8)
    send(client, forms["needs of a service"], quantity="1 box 1 piece")
    assert PartsNeed.objects.get(part=stock.seal).quantity_steps == 5
    send(client, forms["another part on a sheet"], quantity="1 box")
    assert Balance.objects.get(part=stock.seal, location__kind="tray").quantity_steps == 4


@pytest.mark.parametrize("name", BY_PART)
@pytest.mark.parametrize(
    "text",
    ["seal-1", "4006381333931", "http://elsewhere.example/go/part/SEAL-1/", "/go/part/SEAL-1"],
)
def test_a_part_may_be_scanned_wherever_one_is_typed(
    stock: Stock, client: Client, name: str, text: str
) -> None:
    if name == "alternates":  # the line is of the seal itself: another kit's line takes it
        KitLine.objects.filter(kit__number="KIT-1").update(part=stock.oil)
        stock.forms[name].fields["others-0-line"] = "OIL-1"
    answer = send(client, stock.forms[name], **{stock.forms[name].part: text})
    assert answer.status_code == 302, text_of(answer)


@pytest.mark.parametrize(
    "name",
    ["move", "fewer", "scrap", "make a kit", "another part on a sheet", "a part taken for a sheet"],
)
def test_what_another_sheet_was_promised_is_asked_about(
    stock: Stock, client: Client, name: str
) -> None:
    reserve(
        needs=[Need(part=stock.seal, quantity_steps=9)],
        places=[stock.world.bin],
        source_kind="sheet",
        source_number=412,
        author=stock.manager,
        at=NOW,
    )
    form = stock.forms[name]
    before = rows()
    asked = send(client, form)
    assert asked.status_code == 422
    assert "9 pieces for sheet 0412" in text_of(asked)
    assert rows() == before
    done = send(client, form, sure="on")
    assert done.status_code == 302, text_of(done)
    assert Movement.objects.count() > len(before["Movement"])


@pytest.mark.parametrize("name", ["move", "another part on a sheet", "a part taken for a sheet"])
def test_expired_stock_wants_a_managers_reason(
    stock: Stock, client: Client, client_as: Callable[..., Client], name: str
) -> None:
    stock.seal.lots.update(expires_on=timezone.localdate() - timedelta(days=1))
    form, before = stock.forms[name], rows()
    hands = client_as(Role.TECHNICIAN)
    for answer in (
        send(client, form),
        send(hands, form),
        send(hands, form, expired_reason="it is sound"),
    ):
        assert answer.status_code == 422
        assert "expired" in text_of(answer)
    assert rows() == before
    assert send(client, form, expired_reason="it is sound").status_code == 302
    assert "it is sound" in Movement.objects.latest("pk").reason


def test_a_retired_place_takes_nothing_in(stock: Stock, client: Client) -> None:
    stock.world.drawer.retired = True
    stock.world.drawer.save()
    form = stock.forms["move"]
    before = rows()
    answer = send(client, form)
    assert answer.status_code == 422
    assert "That place is not in use." in text_of(answer)
    assert rows() == before
