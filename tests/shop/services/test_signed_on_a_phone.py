"""A signature from a phone: what is sure is posted in one transaction, the rest waits."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.utils.translation import override

from equipment.models import Reading, Renewal
from inventory.models import Movement
from inventory.services import prove
from shop.models import Arrival, ServiceSheet, SignedCopy, Unsettled
from shop.paper.content import SheetPaper
from shop.services import clocking, signing
from shop.services.arriving import Outcome, post, set_aside
from shop.services.paper import paper_to_print
from shop.services.refusals import SheetRefused, UsedMoreThanTaken
from shop.spoken import own
from tests.races import at_once
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands, later, rows_of_every_table
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)
SIGNED_AT = NOW + timedelta(hours=2)
#: NOW in the zone of the shop.
ENTERED_AT = "4 Feb 2026 06:00"
DRAWN = "M 10 20 L 30 40 L 50 20"


@pytest.fixture
def phone(done: Hands) -> Phone:
    return Phone(done.who, done.sheet)


def sign(phone: Phone, **said: Any) -> dict[str, Any]:
    given = {
        "signature": "T. Reed",
        "drawn": DRAWN,
        "labour_minutes": "90",
        "leave_undone": False,
        "at": SIGNED_AT,
    }
    return phone.entry("sign", **{**given, **said})


def send(phone: Phone, *entries: dict[str, Any]) -> list[Outcome]:
    return phone.send(*entries, now=LATER)


def reading(phone: Phone, world: SheetWorld, value: str, name: str = "hours") -> dict[str, Any]:
    counter = world.fleet.counters[name].pk
    return phone.entry("reading", counter=counter, value=value, sure=value)


def printed(phone: Phone) -> SheetPaper:
    sheet = ServiceSheet.objects.select_related("signed_copy").get(pk=phone.sheet.pk)
    return paper_to_print(sheet, today=TODAY, system="us")


def issued(sheet: ServiceSheet) -> dict[str, int]:
    rows = Movement.objects.filter(
        kind="issue", source_kind="sheet", source_number=sheet.number
    ).values_list("part__number", "quantity_steps")
    return {number: -steps for number, steps in rows}


def test_what_was_signed_hours_ago_is_signed_then(phone: Phone, world: SheetWorld) -> None:
    outcomes = send(phone, reading(phone, world, "215"), sign(phone))
    assert [each.state for each in outcomes] == ["taken", "taken"]
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    assert (sheet.state, sheet.signed_at, sheet.signed_by) == ("signed", SIGNED_AT, phone.who)
    assert (sheet.signature, sheet.drawn, sheet.labour_minutes) == ("T. Reed", DRAWN, 90)
    kept = Reading.objects.get(source="sheet")
    assert (kept.value, kept.at, kept.recorded_at) == (215, NOW, LATER)
    assert {row.done_at for row in Renewal.objects.all()} == {SIGNED_AT}
    assert {row.recorded_at for row in Renewal.objects.all()} == {LATER}
    assert not Unsettled.objects.exists()
    assert prove() == []


def test_the_drawn_signature_prints_for_ever(phone: Phone) -> None:
    send(phone, sign(phone))
    assert SignedCopy.objects.get().document["drawn"] == DRAWN
    assert (printed(phone).drawn, printed(phone).waits) == (DRAWN, ())


def test_a_part_that_nobody_knows_is_named_on_the_paper_by_what_was_typed(phone: Phone) -> None:
    added = phone.entry("add", part="GSK-4711", place="", quantity="1", sure="")
    [waits, signed] = send(phone, added, sign(phone))
    assert (waits.state, signed.state) == ("waiting", "taken")
    said = "There is no part of the number “GSK-4711”."
    [text] = printed(phone).waits
    assert text == f"A part added: 1 of GSK-4711 (A. Technician, {ENTERED_AT}). {said}"
    with override("es"):
        assert own(said) == "No hay ninguna pieza con el número “GSK-4711”."


def test_a_copy_from_before_phones_still_prints(done: Hands) -> None:
    done.sign()
    copy = SignedCopy.objects.get()
    for name in ("drawn", "waits", "settled"):
        del copy.document[name]
    sheet = ServiceSheet.objects.select_related("signed_copy").get(pk=done.sheet.pk)
    sheet.signed_copy = copy
    assert paper_to_print(sheet, today=TODAY, system="us").waits == ()


def test_sent_twice_it_is_signed_once(phone: Phone) -> None:
    made = sign(phone)
    send(phone, made)
    before = rows_of_every_table()
    assert [each.state for each in send(phone, made)] == ["taken"]
    assert rows_of_every_table() == before


@pytest.mark.django_db(transaction=True)
def test_sent_by_eight_connections_at_once_it_is_signed_once(phone: Phone) -> None:
    made = sign(phone)
    results = at_once(*[lambda: send(phone, made)] * 8)
    assert [each[0].state for each in results] == ["taken"] * 8
    assert (SignedCopy.objects.count(), Arrival.objects.count()) == (1, 1)
    assert Unsettled.objects.count() == 0
    assert prove() == []


# --- what contradicts and what is not covered ------------------------------------------------


def test_a_reading_that_contradicts_another_waits_and_the_rest_is_posted(
    phone: Phone, world: SheetWorld
) -> None:
    """While the phone was away somebody read more on the same face."""
    send(phone, reading(phone, world, "215"), reading(phone, world, "9000", "a"))
    world.fleet.read(NOW - timedelta(hours=1), hours=218)
    [outcome] = send(phone, sign(phone))
    assert outcome.state == "taken"
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    assert sheet.state == "signed"
    assert Renewal.objects.count() == 2
    assert [row.value for row in Reading.objects.filter(source="sheet")] == [9000]
    waits = Unsettled.objects.get()
    assert (waits.kind, waits.author, waits.at) == ("reading", phone.who, NOW)
    assert waits.payload["value"] == "215"
    assert waits.reason == "Lower than 218, read on 4 Feb 2026."
    assert sheet.signed_copy.document["waits"] == [
        f"Reading of Generator hours: 215 h (A. Technician, {ENTERED_AT}). {waits.reason}"
    ]


def test_more_used_than_lies_in_the_tray_waits_and_the_rest_is_spent(
    phone: Phone, world: SheetWorld
) -> None:
    row = phone.sheet.parts.get(part=world.filter_part)
    [used, signed] = send(phone, phone.entry("used", row=row.pk, used="3"), sign(phone))
    assert (used.state, signed.state) == ("taken", "taken")
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    assert issued(sheet) == {"F-09": 1, world.kit.number: 1}
    waits = Unsettled.objects.get()
    assert (waits.kind, waits.payload["row"], waits.payload["used"]) == ("used", row.pk, "3")
    assert waits.reason == "The tray held 1 piece."
    assert sheet.signed_copy.document["waits"] == [
        f"Parts used: 3 pieces of F-09 oil filter (A. Technician, {ENTERED_AT}). {waits.reason}"
    ]
    assert prove() == []


def test_what_the_bin_does_not_hold_is_named_with_its_place_and_what_lies_there(
    phone: Phone, world: SheetWorld
) -> None:
    number = world.kit.number.lower()
    added = phone.entry("add", part=number, place="k-03", quantity="2", sure="yes")
    send(phone, added, sign(phone))
    [text] = printed(phone).waits
    name = f"{world.kit} from k-03"
    assert text.startswith(f"A part added: 2 pieces of {name} (A. Technician, {ENTERED_AT}). ")
    assert text.endswith("2 pieces asked, none there.")


def test_what_was_settled_before_the_signature_says_by_whom_and_how(
    phone: Phone, world: SheetWorld
) -> None:
    volts = phone.sheet.steps.get(title="Volts at rated load")
    send(phone, *[phone.answer(volts, "value", value=value) for value in ("300", "301")])
    first, second = Unsettled.objects.order_by("pk")
    by = {"author": world.manager, "at": NOW + timedelta(hours=1)}
    set_aside(unsettled=first, note="read twice", **by)
    post(unsettled=second, changes={"value": "239"}, zone=world.shop.zone, **by)
    send(phone, sign(phone))
    about = "Volts at rated load: {} V (A. Technician, " + ENTERED_AT + "). "
    at = "A. Manager, 4 Feb 2026 07:00"
    assert printed(phone).waits == ()
    assert printed(phone).settled == (
        f"{about.format(300)}Set aside by {at}: read twice",
        f"{about.format(301)}Posted by {at}: 239 V",
    )


def test_what_is_settled_after_it_does_not_change_what_was_signed(
    phone: Phone, world: SheetWorld
) -> None:
    row = phone.sheet.parts.get(part=world.filter_part)
    send(phone, phone.entry("used", row=row.pk, used="3"), sign(phone))
    before = printed(phone)
    set_aside(unsettled=Unsettled.objects.get(), note="one was", author=world.manager, at=LATER)
    assert printed(phone) == before


def test_a_part_of_which_nobody_said_anything_goes_back_and_waits(
    hands: Hands, world: SheetWorld
) -> None:
    hands.take()
    hands.open_the_checks()
    hands.do_the_checks()
    hands.put_back_into_service()
    phone = Phone(hands.who, hands.sheet)
    row = phone.sheet.parts.get(part=world.filter_part)
    send(phone, phone.entry("used", row=row.pk, used="1"), sign(phone))
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    assert sheet.state == "signed"
    assert issued(sheet) == {"F-09": 1}
    waits = Unsettled.objects.get()
    assert waits.payload["used"] == ""
    assert waits.reason == "Nobody said how much was used; 1 piece in the tray went back."
    assert f"Parts used: {world.kit}, nothing said (A. Technician" in printed(phone).waits[0]
    assert prove() == []


def test_twin_asked_on_the_page_the_same_sheet_is_not_signed(
    phone: Phone, world: SheetWorld
) -> None:
    """Without the fact, what does not add up stops the signature: nothing may be posted in part."""
    row = phone.sheet.parts.get(part=world.filter_part)
    send(phone, phone.entry("used", row=row.pk, used="3"))
    with pytest.raises(UsedMoreThanTaken):
        signing.sign_sheet(
            sheet=phone.sheet,
            author=phone.who,
            at=SIGNED_AT,
            signature="T. Reed",
            labour_minutes=90,
            leave_undone=False,
            signing_id=phone.id,
        )
    assert ServiceSheet.objects.get(pk=phone.sheet.pk).state == "under_way"


def test_live_it_is_asked_about_and_sure_it_is_signed(phone: Phone, world: SheetWorld) -> None:
    row = phone.sheet.parts.get(part=world.filter_part)
    send(phone, phone.entry("used", row=row.pk, used="3"))
    before = rows_of_every_table()
    made = {**sign(phone), "live": True}
    [asked] = send(phone, made)
    assert (asked.state, asked.field) == ("refused", "sure")
    assert "only 1 piece in the tray" in asked.words
    assert rows_of_every_table() == before
    assert [each.state for each in send(phone, {**made, "sure": "yes"})] == ["taken"]
    assert Unsettled.objects.count() == 1


def test_a_failure_at_the_very_end_leaves_nothing_half_written(
    phone: Phone, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    row = phone.sheet.parts.get(part=world.filter_part)
    send(phone, phone.entry("used", row=row.pk, used="3"))
    before = rows_of_every_table()

    def dies(*_: object) -> None:
        raise SheetRefused("there is no bin")

    monkeypatch.setattr(signing, "_keep_copy", dies)
    [outcome] = send(phone, sign(phone))
    assert outcome == Outcome("waiting", "there is no bin")
    after = rows_of_every_table()
    assert after.pop("shop.Unsettled") == before.pop("shop.Unsettled") + 1
    assert after == before
    assert Unsettled.objects.get().kind == "sign"


# --- what makes a signature impossible -------------------------------------------------------


def _caution_unread(done: Hands, world: SheetWorld) -> None:
    done.answer(done.steps("caution")[0], "cleared")


def _electricians(done: Hands, world: SheetWorld) -> None:
    done.sheet.steps.filter(title="Volts at rated load").update(needs_electrician=True)


def _void(done: Hands, world: SheetWorld) -> None:
    ServiceSheet.objects.filter(pk=done.sheet.pk).update(
        state="void", voided_by=world.manager, voided_at=NOW
    )


def _signed(done: Hands, world: SheetWorld) -> None:
    done.sign(author=world.manager, signature="A. Manager")


def _open_check(done: Hands, world: SheetWorld) -> None:
    done.answer(done.check("Side seal"), "cleared")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_caution_unread, "The checks open when"),
        (_electricians, "licensed electrician"),
        (_void, "is void"),
        (_signed, "was signed by A. Manager"),
        (_open_check, "1 check is open"),
    ],
)
def test_a_signature_that_cannot_stand_is_kept_whole(
    done: Hands, world: SheetWorld, change: Any, said: str
) -> None:
    phone = Phone(done.who, done.sheet)
    change(done, world)
    before = ServiceSheet.objects.values().get(pk=done.sheet.pk)
    [outcome] = send(phone, sign(phone))
    assert outcome.state == "waiting"
    assert said in outcome.words
    waits = Unsettled.objects.get()
    assert (waits.kind, waits.payload["drawn"], waits.at) == ("sign", DRAWN, SIGNED_AT)
    assert ServiceSheet.objects.values().get(pk=done.sheet.pk) == before


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"labour_minutes": "many"}, "labour_minutes"),
        ({"labour_minutes": "99999"}, "labour_minutes"),
        ({"drawn": "M 1 1 <script>"}, "drawn"),
        ({"drawn": "M" * 8001}, "drawn"),
        ({"signature": " "}, ""),
        ({"signature": "x" * 61}, ""),
    ],
)
def test_live_what_is_wrong_with_it_is_said(phone: Phone, said: dict[str, Any], field: str) -> None:
    [outcome] = send(phone, {**sign(phone, **said), "live": True})
    assert (outcome.state, outcome.field) == ("refused", field)
    assert ServiceSheet.objects.get(pk=phone.sheet.pk).state == "under_way"


def test_services_left_undone_come_back(done: Hands, world: SheetWorld) -> None:
    _open_check(done, world)
    [outcome] = send(
        Phone(done.who, done.sheet), sign(Phone(done.who, done.sheet), leave_undone=True)
    )
    assert outcome.state == "taken"
    assert [row.version for row in Renewal.objects.all()] == [world.oil.version]


@pytest.mark.parametrize(("said", "minutes"), [("75", 75), (75, 75), ("", 40)])
def test_it_says_how_long_it_took_or_the_clocks_do(
    phone: Phone, said: object, minutes: int
) -> None:
    stopped_at = NOW + timedelta(minutes=40)
    who = {"sheet": phone.sheet, "author": phone.who}
    clocking.start_time(event_id=uuid4(), **who, **later(NOW))
    clocking.stop_time(event_id=uuid4(), **who, **later(stopped_at))
    send(phone, sign(phone, labour_minutes=said))
    assert ServiceSheet.objects.get(pk=phone.sheet.pk).labour_minutes == minutes
