"""Today, by role: the manager's fourteen days, a technician's sheets, the owner's money."""

import re
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from equipment.models import Round
from inventory.models import Core, PurchaseOrder
from inventory.models import Count as StockCount
from inventory.services import IssueLine, issue
from inventory.services.buying import Wish, draft_order, send_order
from inventory.services.counting import approve_count, finish_count, start_count
from shop.drawing.days import DayBar, DayMark
from shop.models import RigDrawer, SheetPart, SheetStep, Shop, StepEntry
from tests.inventory.factories import BinFactory, PartFactory, PersonFactory, received
from tests.inventory.orders import orders_in_every_state
from tests.shop.pages import world
from tests.shop.pages.test_due import queries_of, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(world.AT, tick=False)


@pytest.fixture
def client(client_as: Any) -> Client:
    return client_as("manager")


def cells_of(response: Any) -> dict[str, str]:
    return dict(response.context["cells"])


# --- the manager ---------------------------------------------------------------------------------


def test_the_day_begins_with_answers(client: Client) -> None:
    here, away = world.make_rig(4, name="Kestrel"), world.make_rig(7)
    world.make_booking(away, -1, 3)
    world.make_overdue(world.fit(here))

    response = client.get("/")

    assert "Monday 2 March" in text_of(response)
    assert cells_of(response) == {
        "In the shop": "1 of 2 rigs",
        "Overdue": "1 service, 04 Kestrel",
        "Kits short": "0 parts",
        "To sign off": "0 sheets",
    }


def test_the_rule_shows_jobs_stays_and_what_falls_due(client: Client) -> None:
    """From Monday 2 March: away on days 3 to 5, so in the shop before and after."""
    rig = world.make_rig(4)
    world.make_booking(rig, 3, 5, "roof job")
    world.make_due(world.fit(rig), world.make_service(name="seals"), due_date=world.days(4))
    world.make_due(
        world.fit(rig, "Gun"), world.make_service("Gun", "rebuild"), due_date=world.days(8)
    )
    world.make_overdue(world.fit(rig, "Dryer"))

    (lane,) = client.get("/").context["lanes"]

    assert lane.bars == (
        DayBar(0, 3, "shop", "in the shop"),
        DayBar(3, 6, "away", "roof job"),
        DayBar(6, 14, "shop", "in the shop"),
    )
    assert lane.marks == (DayMark(4.5, "seals", True), DayMark(8.5, "rebuild", False))


def test_a_rig_waiting_for_parts_is_dashed(client: Client) -> None:
    rig = world.make_rig(4)
    world.make_sheet(412, rig=rig, is_waiting_for_parts=True)

    (lane,) = client.get("/").context["lanes"]

    assert lane.bars == (DayBar(0, 14, "bench", "waiting for parts, sheet 0412"),)


def test_who_comes_in_this_week_and_who_is_away(client: Client) -> None:
    """Held first, then overdue, then by number; a rig back in eight days stands apart."""
    held, overdue, soon, back, gone, clear = (world.make_rig(n) for n in (6, 5, 1, 2, 3, 4))
    world.make_finding(held, "hose split", is_grave=True)
    world.make_overdue(world.fit(overdue))
    for rig in (soon, back, gone):
        world.make_due(world.fit(rig), due_date=world.days(10))
    world.make_due(world.fit(clear), due_date=world.days(15))
    world.make_booking(back, -1, 6)
    world.make_booking(gone, -1, 7)

    response = client.get("/")

    assert [each.rig for each in response.context["here"]] == [held, overdue, soon, back]
    assert [each.rig for each, _ in response.context["away"]] == [gone]
    assert "hose split" in text_of(response)


def test_kits_of_a_rig_are_counted_together(client: Client) -> None:
    rig = world.make_rig(4)
    version = world.make_service()
    part = world.make_part("P-1", name="packing kit")
    world.need(version, part)
    world.stock(part, 1)
    for side in "AB":
        world.make_due(world.fit(rig, side=side), version, due_date=world.days(1))
    world.make_due(world.fit(rig, "Dryer"), due_date=world.days(1))

    response = client.get("/")

    (coming,) = response.context["here"]
    assert (coming.kits_needed, coming.kits_here) == (2, 1)
    assert "1 of 2 kits here packing kit short" in text_of(response)


def test_a_draft_takes_the_services_that_are_on_no_sheet(client: Client) -> None:
    rig = world.make_rig(4)
    taken = world.make_due(world.fit(rig), due_date=world.days(1))
    free = world.make_due(world.fit(rig, "Gun"), due_date=world.days(2))
    world.make_sheet(411, taken, state="handed_out")

    page = client.get("/").content.decode()

    assert f'href="/sheets/new/?due={free.pk}"' in page
    assert "Sheet 0411" in page
    assert "handed out" in page


def test_one_button_is_filled(client: Client) -> None:
    for number in (1, 2, 3):
        world.make_due(world.fit(world.make_rig(number)), due_date=world.days(1))

    page = client.get("/").content.decode()

    assert len(re.findall(r'class="button filled"', page)) == 1
    assert len(re.findall(r'class="button"', page)) == 2


def test_parts_that_open_sheets_wait_for(client: Client) -> None:
    rig, other = world.make_rig(4, name="Kestrel"), world.make_rig(1, name="Heron")
    part = world.make_part("HS-1", name="hose seal set")
    world.stock(part, 1, world.make_drawer(other))
    sheet = world.make_sheet(412, rig=rig)
    SheetPart.objects.create(sheet=sheet, part=part, planned_steps=3, short_steps=2)
    signed = world.make_sheet(
        400, rig=rig, state="signed", signed_by=world.author(), signed_at=world.AT
    )
    SheetPart.objects.create(
        sheet=signed, part=world.make_part("X"), planned_steps=1, short_steps=1
    )

    response = client.get("/")

    text = text_of(response)
    assert "hose seal set 04 Kestrel, by 2 Mar" in text
    assert "01 Heron’s drawer has 1 piece" in text
    assert "3 pieces 1 piece" in text
    assert "part X" not in text
    assert cells_of(response)["Kits short"] == "1 part"


def test_sheets_to_sign_off_say_what_is_open_and_out_of_limit(
    client: Client, technician: Any
) -> None:
    sheet = world.make_sheet(
        409, rig=world.make_rig(11, name="Bittern"), state="under_way", technician=technician
    )
    for order in (1, 2):
        step = SheetStep.objects.create(sheet=sheet, section="check", order=order, title="t")
        if order == 1:
            entry = StepEntry.objects.create(
                step=step,
                event_id=uuid4(),
                author=technician,
                at=world.AT,
                recorded_at=world.AT,
                answer="value",
                value=3,
                is_out_of_limit=True,
                note="seat lapped, holds both strokes",
            )
            step.entry = entry
            step.save()
    world.make_sheet(410, rig=world.make_rig(1), state="handed_out", technician=technician)

    response = client.get("/")

    text = text_of(response)
    assert "Sheet 0409 · 11 Bittern" in text
    assert "“seat lapped, holds both strokes”" in text
    assert "1 step open, 1 value out of limit" in text
    assert [sheet.number for sheet in response.context["sign_off"]] == [409]


def test_a_quiet_day_names_what_comes_next(client: Client) -> None:
    rig = world.make_rig(5, name="Plover")
    world.make_due(
        world.fit(rig, "Dryer"), world.make_service("Dryer", "filter"), due_date=world.days(38)
    )

    text = text_of(client.get("/"))

    assert "Nothing is due and nothing falls due soon." in text
    assert "The next is 05 Plover, Dryer, filter, about 9 Apr." in text


def test_a_long_fleet_is_drawn_only_where_something_is_to_do(client: Client) -> None:
    world.make_fleet(6)
    for number in range(10, 50):
        world.make_rig(number)

    response = client.get("/")

    assert len(response.context["lanes"]) == 6
    assert "6 of 46 rigs drawn" in text_of(response)


@pytest.mark.parametrize("role", ["manager", "technician", "owner"])
def test_an_empty_shop_says_what_comes_first(client_as: Any, role: str) -> None:
    assert "No rig is entered yet." in text_of(client_as(role).get("/"))


@pytest.mark.parametrize("role", ["manager", "technician", "owner"])
def test_as_many_queries_at_thirty_rigs_as_at_three(client_as: Any, role: str) -> None:
    client = client_as(role)
    world.make_fleet(3)
    few = queries_of(client, "/")

    world.make_fleet(27, first=4)

    assert len(queries_of(client, "/")) == len(few)


# --- a technician --------------------------------------------------------------------------------


def test_a_technician_sees_their_own_open_sheets(
    client_as: Any, technician: Any, person_as: Any
) -> None:
    mine = world.make_sheet(
        411, rig=world.make_rig(2, name="Wren"), state="handed_out", technician=technician
    )
    world.make_sheet(
        412,
        rig=world.make_rig(3),
        state="handed_out",
        technician=person_as("technician", sign_in="other"),
    )
    world.make_sheet(
        400,
        rig=mine.rig,
        state="signed",
        technician=technician,
        signed_by=technician,
        signed_at=world.AT,
    )

    response = client_as(technician).get("/")

    assert [each.sheet.number for each in response.context["mine"].sheets] == [411]
    assert 'href="/sheets/411/work/"' in response.content.decode()


def test_a_technician_sees_which_rounds_are_not_done(client_as: Any, technician: Any) -> None:
    done, away, here = (world.make_rig(number) for number in (1, 2, 3))
    for rig in (done, away):
        world.make_booking(rig, -1, 3)
    Round.objects.create(
        rig=done, day=world.TODAY, author=technician, recorded_at=world.AT, request_id=uuid4()
    )
    world.make_finding(here, "hose split", is_grave=True)

    response = client_as(technician).get("/")

    assert [(line["rig"], line["round_by"]) for line in response.context["lines"]] == [
        (done, "A. Technician"),
        (away, ""),
        (here, ""),
    ]
    text = text_of(response)
    assert "round of today done by A. Technician" in text
    assert text.count("round of today not done") == 1
    assert "held hose split" in text


def test_a_technician_is_spoken_to_in_spanish_and_a_manager_is_not(
    client_as: Any, technician: Any, manager: Any
) -> None:
    for person in (technician, manager):
        person.language = "es"
        person.save()
    away = world.make_rig(1)
    world.make_booking(away, -2, 3)
    world.make_overdue(world.fit(world.make_rig(3)))
    sheet = world.make_sheet(411, rig=away, state="handed_out", technician=technician)
    SheetStep.objects.create(sheet=sheet, section="lockout", order=1, title="Shore power")

    said = text_of(client_as(technician).get("/"))
    for text in (
        "lunes 2 de marzo",
        "Mis hojas",
        "Hoja 0411, planeada para",
        "Sigue: Corriente externa",
        "1 paso abierto",
        "fuera, en",
        "la ronda de hoy no se ha hecho",
        "(vencido)",
        "Lecturas y rondas",
    ):
        assert text in said, text
    assert "My sheets" not in said

    managers = client_as(manager).get("/")
    assert '<html lang="en"' in managers.text
    assert "Monday 2 March" in text_of(managers)


def test_a_technician_without_sheets_is_told_who_hands_them_out(client_as: Any) -> None:
    assert "No sheet is handed out to you." in text_of(client_as("technician").get("/"))


def test_rigs_in_the_shop_say_whether_they_are_ready(client: Client) -> None:
    held, overdue, leaves, quiet, away = (world.make_rig(n) for n in (1, 2, 3, 4, 5))
    world.make_finding(held, "hose split", is_grave=True)
    world.make_overdue(world.fit(overdue))
    stay = world.days(40)
    leaves.stay_on = stay
    leaves.save()
    # Beyond the days of warning, and still before it is back.
    world.make_due(
        world.fit(leaves, "Gun"), due_date=world.days(30), stay_on=stay, odds_due_permille=717
    )
    world.make_booking(leaves, 3, 39)
    world.make_booking(away, -1, 3)

    response = client.get("/")

    ready = response.context["ready"]
    assert [rig for rig, _, _ in ready["asked"]] == [held, overdue, leaves]
    assert ready["quiet"] == [quiet]
    text = text_of(response)
    assert "held : hose split" in text
    assert "ready with : Gun, packing and seals (72 %) leaves Thu 5 Mar" in text
    assert "ready : 04 Osprey" in text


def test_a_service_that_comes_says_its_odds_before_the_next_stay(client: Client) -> None:
    rig = world.make_rig(4)
    world.make_due(
        world.fit(rig, "Gun"),
        due_date=world.days(9),
        stay_on=world.days(12),
        odds_due_permille=634,
    )

    assert "182 of 250 h; 63 % before its next stay, 14 Mar" in text_of(client.get("/"))


@pytest.mark.parametrize(
    ("is_missed", "role"), [(True, "manager"), (True, "technician"), (False, "manager")]
)
def test_a_missed_round_shows_on_its_rig(client_as: Any, is_missed: bool, role: str) -> None:
    rig = world.make_rig(4, created_at=world.AT - timedelta(days=60))
    if is_missed:
        world.make_booking(rig, -1, 3)

    text = text_of(client_as(role).get("/")).casefold()

    assert ("yesterday’s round was missed" in text) is is_missed
    assert ("rounds missed at a job" in text) is (is_missed and role == "manager")


# --- the owner -----------------------------------------------------------------------------------


def test_the_owner_reads_what_was_spent_and_what_comes(client_as: Any) -> None:
    """Two kits of $164.00 come; one was used this month, two in the month before."""
    rig = world.make_rig(4, name="Kestrel")
    version = world.make_service()
    part = world.make_part("P-1", usual_cost_cents=16_400)
    world.need(version, part)
    world.stock(part, 3)
    for side in "AB":
        world.make_due(world.fit(rig, side=side), version, due_date=world.days(3))
    world.make_overdue(world.fit(rig, "Dryer"))
    world.make_due(world.fit(rig, "Gun"), due_date=world.days(31))
    for days_ago, count in ((29, 1), (30, 2)):
        issue(
            lines=[IssueLine(part=part, location=world.make_place("K-01"), quantity_steps=count)],
            author=world.author(),
            at=world.AT - world.timedelta(days=days_ago),
            request_id=uuid4(),
            source_kind="sheet",
            source_number=1,
        )

    response = client_as("owner").get("/")

    text = text_of(response)
    assert "Parts used in the last thirty days cost $164.00 , after $328.00" in re.sub(
        r"(\.00),", r"\1 ,", text
    )
    assert (
        "3 services fall due within thirty days, 1 of them overdue; "
        "their parts usually cost $328.00." in text
    )
    assert "04 Kestrel 3 1 $328.00" in text


def test_the_owner_reads_which_rig_must_not_leave(client_as: Any) -> None:
    world.make_finding(world.make_rig(5, name="Plover"), "hose split", is_grave=True)

    text = text_of(client_as("owner").get("/"))

    assert "1 rig must not leave." in text
    assert "05 Plover held hose split" in text


def test_one_service_falls_due_and_two_fall_due(client_as: Any) -> None:
    client = client_as("owner")
    rig = world.make_rig(4)
    world.make_due(world.fit(rig), due_date=world.days(3))
    assert "1 service falls due" in text_of(client.get("/"))

    world.make_due(world.fit(rig), due_date=world.days(3))
    assert "2 services fall due" in text_of(client.get("/"))


def test_more_rigs_than_the_page_holds_are_on_the_due_list(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("shop.views.today.MOST_COMING", 2)
    for number in (1, 2, 3):
        world.make_due(world.fit(world.make_rig(number)), due_date=world.days(1))

    response = client.get("/")

    assert len(response.context["here"]) == 2
    assert "There is more than this page holds" in text_of(response)


# --- drawers and counts --------------------------------------------------------------------------


def drawer_of(rig: Any) -> Any:
    drawer = BinFactory(drawer=True, code=f"{rig.number:02}-D1")
    RigDrawer.objects.create(rig=rig, location=drawer)
    return drawer


def check_done(place: Any, day: int) -> None:
    told = {"author": world.author(), "at": world.AT + timedelta(days=day)}
    count = start_count(location=place, kind="drawer", request_id=uuid4(), **told)
    finish_count(count=count, none_of=(), **told)


@pytest.mark.parametrize("role", ["manager", "technician"])
def test_a_drawer_is_asked_for_and_checked_with_one_tap(client_as: Any, role: str) -> None:
    old, fresh, off = world.make_rig(4), world.make_rig(5), world.make_rig(7)
    drawer = drawer_of(old)
    check_done(drawer_of(fresh), -41)
    drawer_of(off)
    world.make_booking(off, 3, 20)
    world.make_rig(8)  # no drawer
    client = client_as(role)

    page = client.get("/")

    asked = [(each.rig.number, each.why) for each, _ in page.context["checks"]]
    assert asked == [(7, "a long job begins on 5 Mar"), (4, "it was never checked")]
    [sent] = [sent for each, sent in page.context["checks"] if each.rig == old]
    begun = client.post("/counts/", {"location": drawer.pk, "kind": "drawer", "request_id": sent})
    count = StockCount.objects.get(location=drawer)
    assert begun.headers["Location"] == f"/counts/{count.number}/"
    assert (count.kind, count.state) == ("drawer", "open")
    assert f'href="/counts/{count.number}/"' in client.get("/").content.decode()


def test_a_count_waits_on_the_managers_day_until_it_is_approved(client_as: Any) -> None:
    part, place = PartFactory(), BinFactory(code="K-03")
    received(part, place, 5, 500)
    world.make_rig(4)
    told = {"author": world.author(), "at": world.AT}
    count = start_count(location=place, kind="cycle", request_id=uuid4(), **told)
    assert "Counts to approve" not in text_of(client_as("manager").get("/"))
    finish_count(count=count, none_of=[part], **told)
    page = client_as("manager").get("/")
    assert "Count of K-03 1 part differs; counted by A. Uthor, 2 Mar" in text_of(page)
    assert f'href="/counts/{count.number}/"' in page.content.decode()
    assert "Counts to approve" not in text_of(client_as("technician").get("/"))
    approve_count(count=count, **told)
    assert "Counts to approve" not in text_of(client_as("manager").get("/"))


def test_late_orders_and_old_parts_to_send_back_stand_on_the_managers_day(client_as: Any) -> None:
    world.make_rig(4)
    assert "is late" not in text_of(client_as("manager").get("/"))
    part, place = PartFactory(number="SE-1"), BinFactory()
    orders_in_every_state(part, place, author=PersonFactory(), at=world.AT)
    said = text_of(client_as("manager").get("/"))
    assert "Order 2 to Harbor Seals is late" in said
    assert "goes back" not in said
    Core.objects.update(back_by=world.AT.date() + timedelta(days=7))
    assert "goes back to Harbor Seals by" in text_of(client_as("manager").get("/"))
    Core.objects.update(back_by=world.AT.date() + timedelta(days=8))
    assert "goes back" not in text_of(client_as("manager").get("/"))
    assert "more late" not in said
    supplier = PurchaseOrder.objects.get(number=2).supplier
    for _ in range(5):
        late = draft_order(
            supplier=supplier,
            wishes=[Wish(part, 1)],
            author=supplier.changed_by,
            at=world.AT - timedelta(days=9),
            request_id=uuid4(),
        )
        send_order(order=late, author=supplier.changed_by, at=world.AT - timedelta(days=8))
    assert "and 2 more late orders" in text_of(client_as("manager").get("/"))
    assert "is late" not in text_of(client_as("technician").get("/"))
