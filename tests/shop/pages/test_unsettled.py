"""The manager's page of what waits: read, put right, posted or set aside; and where it is told."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Finding, Round, RoundItem
from shop import arrivedwords
from shop.enteredwords import KIND_WORDS
from shop.models import Person, ServiceSheet, Settlement, Shop, StepEntry, Unsettled
from shop.services.arriving import set_aside
from shop.services.drafting import void_sheet
from tests.inventory.factories import received
from tests.inventory.pages.browsing import text_of
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def hands(world: SheetWorld, technician: Person) -> Hands:
    made = Hands(world.draft(), technician)
    made.take()
    made.open_the_checks()
    return made


@pytest.fixture
def phone(hands: Hands) -> Phone:
    return Phone(hands.who, hands.sheet, clock=timedelta(hours=-26))


@pytest.fixture
def client(client_as: Callable[..., Client], manager: Person) -> Client:
    return client_as(manager)


def volts(phone: Phone, value: str = "300") -> dict[str, Any]:
    return phone.answer(phone.sheet.steps.get(title="Volts at rated load"), "value", value=value)


def waits(phone: Phone, *entries: dict[str, Any]) -> Unsettled:
    assert {each.state for each in phone.send(*entries)} == {"waiting"}
    return Unsettled.objects.latest("pk")


def page(client: Client, name: str = "unsettled", *args: Any) -> str:
    answer = client.get(reverse(f"shop:{name}", args=args))
    assert answer.status_code == 200
    return text_of(answer)


def send(client: Client, row: Unsettled, **typed: Any) -> Any:
    return client.post(reverse("shop:settle", args=[row.pk]), typed)


def test_nothing_waits(client: Client) -> None:
    assert "Nothing waits." in page(client)


def test_it_says_which_sheet_who_when_by_which_clock_what_and_why(
    client: Client, phone: Phone
) -> None:
    waits(phone, volts(phone))
    text = page(client)
    assert "Sheet 0001, 01 Trailer 1" in text
    assert "Volts at rated load" in text
    assert "300 V" in text
    assert "The value is out of limit. Say what you did about it." in text
    assert "A. Technician" in text
    assert "its clock was 26 h slow" in text
    assert f"{NOW.astimezone(Shop.objects.get().zone):%H:%M}" in text


def test_it_is_posted_with_another_value(client: Client, phone: Phone, manager: Person) -> None:
    row = waits(phone, volts(phone))
    answer = send(client, row, act="post", value="241", remedy="", finding_text="", note="")
    assert answer.status_code == 302
    assert StepEntry.objects.get(event_id=row.event_id).author == manager
    assert "Nothing waits." in page(client)
    assert "posted by A. Manager" in page(client)
    for name, args in (("unsettled", ()), ("sheet", (phone.sheet.number,)), ("settle", (row.pk,))):
        found = page(client, name, *args)
        assert "300 V" in found, name
        assert ": 241 V" in found, name  # what was posted in its place


def test_a_part_or_a_reading_that_waits_is_named_with_its_figure_and_place(
    client: Client, phone: Phone, world: SheetWorld
) -> None:
    part = world.kit
    waits(phone, phone.entry("add", part=part.number.lower(), place="K-03", quantity="7"))
    waits(phone, phone.entry("add", part="X-0", place="", quantity="1"))
    counter = world.fleet.counters["a"]
    ServiceSheet.objects.filter(pk=phone.sheet.pk).update(
        state="void", voided_by=world.manager, voided_at=NOW
    )
    waits(phone, phone.entry("reading", counter=counter.pk, value="7990", step="reset"))
    for name, args in (("unsettled", ()), ("sheet", (phone.sheet.number,))):
        found = page(client, name, *args).replace(" : ", ": ")
        assert f"A part added: 7 pieces of {part} from K-03" in found, name
        assert "7 pieces asked, none there." in found, name
        assert "A part added: 1 of X-0" in found, name
        assert f"Reading of {counter.name}: 7990 strokes, was reset" in found, name


def test_it_is_posted_with_the_value_as_left(client: Client, phone: Phone) -> None:
    row = waits(phone, volts(phone))
    said = {"act": "post", "value": "300", "remedy": "put_right", "finding_text": "", "note": ""}
    refused = send(client, row, **said, left_value="")
    assert refused.context["post_form"].errors == {
        "left_value": ["Read it again, and enter the value as left."]
    }
    assert send(client, row, **said, left_value="240").status_code == 302
    entry = StepEntry.objects.get(event_id=row.event_id)
    assert (entry.value, entry.left_value) == (300, 240)


def test_what_is_refused_again_is_said_beside_its_field_and_what_was_typed_stays(
    client: Client, phone: Phone
) -> None:
    row = waits(phone, volts(phone))
    answer = send(client, row, act="post", value="301", remedy="stop", finding_text="", note="x1")
    assert answer.status_code == 422
    form = answer.context["post_form"]
    assert form.errors == {"finding_text": ["Say what you found."]}
    assert (form["value"].value(), form["note"].value()) == ("301", "x1")
    assert not Settlement.objects.exists()


def test_it_is_set_aside_with_a_reason(client: Client, phone: Phone) -> None:
    row = waits(phone, volts(phone))
    refused = send(client, row, act="set_aside", note=" ")
    assert refused.status_code == 422
    assert refused.context["aside_form"].errors == {"note": ["Say why it is set aside."]}
    assert send(client, row, act="set_aside", note="read twice").status_code == 302
    assert "set aside by A. Manager" in page(client)
    assert "read twice" in page(client, "sheet", phone.sheet.number)
    again = client.post(reverse("shop:settle", args=[row.pk]), {"act": "post"}, follow=True)
    assert "settled it already" in text_of(again)


def test_what_a_closed_sheet_cannot_take_says_so(
    client: Client, phone: Phone, manager: Person
) -> None:
    entry = volts(phone)
    ServiceSheet.objects.filter(pk=phone.sheet.pk).update(
        state="void", voided_by=manager, voided_at=NOW
    )
    row = waits(phone, entry)
    assert "nothing on it changes" in page(client, "settle", row.pk)
    assert send(client, row, act="post").status_code == 422


def test_a_part_of_a_closed_sheet_is_issued_from_a_place(
    client: Client, phone: Phone, world: SheetWorld, manager: Person
) -> None:
    used = phone.entry("used", row=phone.sheet.parts.get(part=world.filter_part).pk, used="1")
    ServiceSheet.objects.filter(pk=phone.sheet.pk).update(
        state="void", voided_by=manager, voided_at=NOW
    )
    row = waits(phone, used)
    short = send(client, row, act="post", issue="1")
    assert short.context["post_form"].errors == {
        "place": ["None of it is in stock. Count or receive it first."]
    }
    received(world.filter_part, world.bin, 3, 2_000)
    form = client.get(reverse("shop:settle", args=[row.pk])).context["post_form"]
    assert form["issue"].value() == "1"
    assert list(form.fields["place"].choices) == [("K-03", "K-03, 3 pieces")]
    many = send(client, row, act="post", issue="9", place="K-03")
    assert many.status_code == 422
    assert send(client, row, act="post", issue="1", place="K-03").status_code == 302


@pytest.mark.parametrize(
    ("kind", "said", "fields"),
    [
        ("used", {"used": "9 x"}, ["used"]),
        (
            "add",
            {"part": "nothing", "quantity": "1"},
            ["part", "quantity", "place", "expired_reason"],
        ),
        ("reading", {"value": "x"}, ["value", "step", "before_reset", "face_start"]),
        ("found", {"text": ""}, ["text"]),
        (
            "sign",
            {"signature": "T. Reed", "labour_minutes": "9"},
            ["labour_minutes", "leave_undone"],
        ),
        ("pick", {"event": "x"}, []),
        ("answer", {"answer": "done"}, []),
    ],
)
def test_each_kind_shows_what_may_be_put_right(
    client: Client, phone: Phone, kind: str, said: dict[str, Any], fields: list[str]
) -> None:
    row = waits(phone, phone.entry(kind, **said))
    answer = client.get(reverse("shop:settle", args=[row.pk]))
    assert list(answer.context["post_form"].fields) == fields
    assert KIND_WORDS[kind] in page(client)


def test_all_of_a_sheet_by_one_button(client: Client, phone: Phone, technician: Person) -> None:
    made = [volts(phone, "240"), volts(phone, "300"), volts(phone, "241")]
    Person.objects.filter(pk=technician.pk).update(is_active=False)
    waits(phone, *made)
    answer = client.post(reverse("shop:settle_sheet", args=[phone.sheet.number]), follow=True)
    text = text_of(answer)
    assert "2 entries of sheet 0001 posted." in text
    assert "1 entry waits still: The value is out of limit." in text


def test_one_of_two_answers_is_picked(
    client: Client, phone: Phone, world: SheetWorld, manager: Person
) -> None:
    other = Phone(manager, phone.sheet)
    other.join()
    phone.send(volts(phone, "240"))
    other.send(volts(other, "241"))
    text = page(client)
    assert "Answered by two who did not see each other" in text
    first = StepEntry.objects.get(value=240)
    address = reverse("shop:pick_answer", args=[first.pk])
    event_id = str(uuid4())
    for _ in range(2):
        assert client.post(address, {"event_id": event_id}).status_code == 302
    assert first.step.entries.count() == 3
    first.step.refresh_from_db()
    assert (first.step.entry.value, first.step.entry.author) == (240, manager)
    assert "Nothing waits." in page(client)
    assert "came incomplete" in text_of(client.post(address, {"event_id": "x"}, follow=True))


def test_today_the_sheet_and_spend_say_what_waits(
    client: Client, client_as: Callable[..., Client], phone: Phone, world: SheetWorld
) -> None:
    row = phone.sheet.parts.get(part=world.filter_part)
    used = phone.entry("used", row=row.pk, used="1")
    waits(phone, volts(phone))
    assert "1 entry from a phone waits for you" in page(client, "today")
    assert "To settle" in page(client, "sheet", phone.sheet.number)
    assert "Not in these figures" not in page(client, "spend")
    ServiceSheet.objects.filter(pk=phone.sheet.pk).update(
        state="void", voided_by=world.manager, voided_at=NOW
    )
    waits(phone, used)
    assert "2 entries from phones wait for you" in page(client, "today")
    for who in (client, client_as("owner")):
        assert "Not in these figures: parts that wait to be settled on sheet 0001." in page(
            who, "spend"
        )
        assert "Not in these figures" in page(who, "rig_spend", world.fleet.rig.number)
        assert "Not in these figures" not in page(who, "stock_spend")


def test_a_technician_reads_on_the_sheet_what_waits_and_settles_nothing(
    client_as: Callable[..., Client], phone: Phone
) -> None:
    row = waits(phone, volts(phone))
    technician = client_as("technician")
    text = page(technician, "sheet", phone.sheet.number)
    assert "The value is out of limit." in text
    assert technician.get(reverse("shop:settle", args=[row.pk])).status_code == 403
    assert send(technician, row, act="post").status_code == 403


def test_the_page_asks_as_much_of_the_database_for_many_as_for_few(
    client: Client, phone: Phone, django_assert_max_num_queries: Any
) -> None:
    counts = []
    for more in (2, 30):
        phone.send(*[volts(phone) for _ in range(more)])
        with django_assert_max_num_queries(40) as asked:
            page(client)
        counts.append(len(asked.captured_queries))
    assert counts[0] == counts[1]


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (0, ""),
        (90, ""),
        (-90, ""),
        (180, "its clock was 3 min slow"),
        (-3600, "its clock was 1 h fast"),
        (86_400 * 400, "its clock was 400 days slow"),
    ],
)
def test_how_wrong_a_clock_was(seconds: int, said: str) -> None:
    assert arrivedwords.clock_text(seconds) == said


def test_what_waits_of_a_round_is_read_and_settled_by_its_rig(
    client: Client, phone: Phone, world: SheetWorld, manager: Person
) -> None:
    phone.rig = world.fleet.rig
    item = RoundItem.objects.create(
        code="R1", kind=world.fleet.components["gun"].type.kind, text="Trigger lock", every="day"
    )
    Person.objects.filter(pk=phone.who.pk).update(is_active=False)
    answers = [{"item": item.pk, "answer": "wrong", "note": "slips"}]
    row = waits(phone, phone.entry("round", answers=answers))
    for name, args in (("unsettled", ()), ("settle", (row.pk,)), ("today", ())):
        assert "Round of rig 01 Trailer 1" in page(client, name, *args), name
    assert "not right, Trigger lock: slips" in page(client)
    assert send(client, row, act="post").status_code == 302
    made = Round.objects.get()
    assert (made.author, made.rig) == (phone.who, phone.rig)
    assert Finding.objects.get().text == "Trigger lock: slips"
    assert "Rig 01 Trailer 1, A daily round" in page(client)
    assert "Nothing waits." in page(client)


def test_who_entered_it_is_told_on_their_day_that_it_waits(
    client_as: Callable[..., Client], phone: Phone, world: SheetWorld
) -> None:
    crew = client_as(phone.who)
    assert "waits for the manager" not in page(crew, "today")
    void_sheet(sheet=phone.sheet, author=world.manager, at=NOW, reason="sold", request_id=uuid4())
    waiting = waits(phone, volts(phone))
    said = f"Sheet {phone.sheet} is void; 1 entry of yours waits for the manager."
    assert said in page(crew, "today")
    assert said not in page(client_as(world.manager), "today")
    set_aside(unsettled=waiting, note="rig sold", author=world.manager, at=NOW)
    assert "waits for the manager" not in page(crew, "today")


def test_the_sheet_says_what_else_was_answered(
    client: Client, phone: Phone, world: SheetWorld
) -> None:
    other = Phone(world.manager, phone.sheet)
    other.join()
    seal = phone.sheet.steps.get(title="Side seal")
    phone.send(phone.answer(seal, "choice", choice="good", seen="", at=NOW))
    other.send(
        other.answer(seal, "choice", choice="replaced", seen="", at=NOW + timedelta(minutes=1))
    )
    told = page(client, "sheet", phone.sheet.number)
    assert "also answered: good (A. Technician" in told
