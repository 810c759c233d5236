"""The technician's copy on the phone: from the first caution to the signature."""

import re
from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
import time_machine

from equipment.models import Finding, Reading, Renewal
from inventory.models import Balance, Movement
from shop.models import ServiceSheet, SheetStep, StepEntry
from shop.services.paper import paper_of
from shop.services.people import change_own
from shop.statics import copy_script, copy_style
from tests.inventory.pages.browsing import text_of
from tests.shop.paper.reading import read, text
from tests.shop.worlds import NOW, TODAY, SheetWorld, sheet_world

VOLTS = "Volts at rated load"


@pytest.fixture
def world(shop, manager) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def phone(client_as):
    return client_as("technician")


class Work:
    """What a technician sends."""

    def __init__(self, client, sheet: ServiceSheet):
        self.client, self.sheet = client, sheet

    @property
    def url(self) -> str:
        return f"/sheets/{self.sheet.number}"

    def step(self, title: str) -> SheetStep:
        return self.sheet.steps.get(title=title)

    def enter(self, title: str, **fields):
        return self.client.post(
            f"{self.url}/steps/{self.step(title).pk}/", {"event_id": str(uuid4()), **fields}
        )

    def open_the_checks(self) -> None:
        self.answer_all("caution", "lockout", "zero")

    def answer_all(self, *sections: str) -> None:
        """The steps of these sections, in their order."""
        for section in sections:
            for step in self.sheet.steps.filter(section=section).order_by("order"):
                value = {"answer": "value", "value": "0"} if step.section == "zero" else {}
                answer = self.client.post(
                    f"{self.url}/steps/{step.pk}/",
                    {"event_id": str(uuid4()), "answer": "done", **value},
                )
                assert answer.status_code == 302

    def do_the_checks(self) -> None:
        self.open_the_checks()
        self.enter("Oil and filter changed", answer="done")
        self.enter("Volts at rated load", answer="value", value="239")
        self.enter("Side seal", answer="choice", choice="replaced")
        self.answer_all("return")

    def take_and_use(self) -> None:
        self.client.post(f"{self.url}/take/", {"request_id": str(uuid4())})
        fields = {}
        for row in self.sheet.parts.all():
            fields |= {f"used-{row.pk}": "1", f"event-{row.pk}": str(uuid4())}
        answer = self.client.post(f"{self.url}/used/", fields)
        assert answer.url == f"{self.url}/work/#sign"

    def sign(self, **fields):
        return self.client.post(
            f"{self.url}/sign/",
            {
                "signing_id": str(uuid4()),
                "signature": "A. Technician",
                "labour_minutes": "120",
                **fields,
            },
        )


@pytest.fixture
def work(world, phone) -> Work:
    return Work(phone, world.draft())


def test_the_whole_sheet_is_on_one_page(work, phone):
    page = text_of(phone.get(f"{work.url}/work/"))
    for said in ("I have read this", "must read zero", "Still missing: ", "Side seal", "Used"):
        assert said in page
    assert re.search(r"Cautions 0 of \d+ read", page)
    assert "Parts 0 of 2 noted" in page
    for section, counted in (("caution", "safe"), ("lockout", "at zero")):
        for step in work.sheet.steps.filter(section=section).order_by("order"):
            sent = {"event_id": str(uuid4()), "answer": "done"}
            assert phone.post(f"{work.url}/steps/{step.pk}/", sent).status_code == 302
        page = text_of(phone.get(f"{work.url}/work/"))
        assert re.search(rf"Cautions 0 of \d+ {counted}", page)
    work.open_the_checks()
    page = text_of(phone.get(f"{work.url}/work/"))
    assert "Cautions done" in page
    assert "Checks 0 of 3 done" in page
    work.take_and_use()
    assert "Parts done" in text_of(phone.get(f"{work.url}/work/"))


def test_the_page_asks_for_nothing_beside_itself_but_its_font(work, phone):
    """On slow 4G each turn costs half a second, and what is kept on a phone must be whole."""
    answer = phone.get(f"{work.url}/work/")
    page = answer.content.decode()
    assert re.findall(r'<(?:link|script|img)[^>]*(?:href|src)="([^"?]+)', page) == [
        "/static/shop/icon.svg",
        "/static/shop/fonts/archivo.woff2",
    ]
    assert copy_style() in page
    assert copy_script() in page
    # Allowed by a word of this one answer, and nothing that somebody wrote into the page is.
    nonces = set(re.findall(r'<(?:style|script type="module") nonce="([^"]+)">', page))
    (nonce,) = nonces
    policy = answer["Content-Security-Policy"]
    assert f"script-src 'self' 'nonce-{nonce}'" in policy
    assert f"style-src 'self' 'nonce-{nonce}'" in policy
    assert nonce not in phone.get(f"{work.url}/work/")["Content-Security-Policy"]
    assert "nonce" not in phone.get(f"{work.url}/")["Content-Security-Policy"]


def test_checks_stay_locked_until_cautions_lockout_and_gauges_are_done(work):
    answer = work.enter("Oil and filter changed", answer="done")
    assert answer.status_code == 422
    assert "The checks open when" in answer.content.decode()
    assert not StepEntry.objects.exists()


def test_a_gauge_that_does_not_read_zero_keeps_the_checks_locked(work):
    gauge = work.sheet.steps.filter(section="zero").first()
    answer = work.client.post(
        f"{work.url}/steps/{gauge.pk}/",
        {"event_id": str(uuid4()), "answer": "value", "value": "40"},
    )
    assert answer.status_code == 302
    page = text_of(work.client.get(f"{work.url}/work/"))
    assert "40 psi" in page  # kept as it was read
    assert "it must read zero" in page
    assert work.enter("Side seal", answer="choice", choice="good").status_code == 422


def test_a_value_out_of_limit_asks_what_was_done_and_keeps_the_value(work):
    work.open_the_checks()
    asked = work.enter("Volts at rated load", answer="value", value="260")
    page = asked.content.decode()
    assert asked.status_code == 422
    assert "What did you do about it?" in page
    assert 'value="260"' in page
    told = work.enter(
        "Volts at rated load",
        answer="value",
        value="260",
        remedy="found_work",
        finding_text="regulator drifts",
        is_grave="on",
    )
    assert told.url == f"{work.url}/work/#step-{work.step('Volts at rated load').pk}"
    finding = Finding.objects.get()
    assert (finding.text, finding.is_grave, finding.rig) == (
        "regulator drifts",
        True,
        work.sheet.rig,
    )
    # From now on every page of the sheet says that the rig is held.
    assert "must not leave" in work.client.get(f"{work.url}/work/").content.decode()


def test_put_right_it_is_read_again_and_what_was_typed_stays(work):
    work.open_the_checks()
    said = {"answer": "value", "value": "260", "remedy": "put_right"}
    asked = work.enter(VOLTS, **said)
    assert asked.status_code == 422
    page = asked.content.decode()
    assert "Read it again, and enter the value as left." in page
    assert 'value="put_right" checked' in " ".join(page.split())
    still = work.enter(VOLTS, **said, left_value="255")
    page = still.content.decode()
    assert still.status_code == 422
    assert "Still out of limit as left." in page
    assert ('value="260"' in page, 'value="255"' in page) == (True, True)
    assert work.enter(VOLTS, **said, left_value="240").status_code == 302
    page = work.client.get(f"{work.url}/work/").content.decode()
    assert "as found 260 V, as left 240 V, Put right, read again" in page
    # What stands as left stands in its box, and nothing is wrong with it any more.
    assert page.count(f'id="left-{work.step(VOLTS).pk}"') == 1
    assert ('value="240"' in page, "Correct it" in page.split("<template")[0]) == (True, False)


def test_without_the_script_the_page_gives_the_box_for_a_value_adjusted_all_the_same(work):
    work.open_the_checks()
    volts = work.step(VOLTS)
    box = f'id="left-{volts.pk}"'
    assert box not in work.client.get(f"{work.url}/work/").content.decode()
    before = StepEntry.objects.count()
    asked = work.enter(VOLTS, answer="read_again", value="230")
    page = asked.content.decode()
    assert (asked.status_code, box in page, 'value="230"' in page) == (200, True, True)
    assert StepEntry.objects.count() == before
    assert work.enter(VOLTS, answer="value", value="230", left_value="240").status_code == 302
    entry = work.step(VOLTS).entry
    assert (entry.value, entry.left_value, entry.remedy) == (230, 240, "")


def test_an_entry_sent_twice_counts_once_and_without_its_key_twice(work):
    work.open_the_checks()
    event = str(uuid4())
    before = StepEntry.objects.count()
    for _ in range(2):
        work.enter("Oil and filter changed", answer="done", event_id=event)
    assert StepEntry.objects.count() == before + 1
    for _ in range(2):  # the twin: a fresh key each time
        work.enter("Oil and filter changed", answer="done")
    assert StepEntry.objects.count() == before + 3


def test_a_tick_can_be_taken_back(work):
    work.open_the_checks()
    work.enter("Oil and filter changed", answer="done")
    work.enter("Oil and filter changed", answer="cleared")
    assert work.step("Oil and filter changed").entry is None
    assert StepEntry.objects.filter(step__title="Oil and filter changed").count() == 2


def test_not_applicable_asks_why(work):
    work.open_the_checks()
    asked = work.enter("Side seal", answer="na")
    assert "Say why it does not apply" in asked.content.decode()
    assert work.enter("Side seal", answer="na", note="new gun").status_code == 302


def test_nobody_is_offered_to_leave_out_his_lock(work, world):
    def offers(title: str) -> bool:
        page = work.client.get(f"{work.url}/work/").content.decode()
        own = page.split(f'<li id="step-{work.step(title).pk}"', 1)[1].split("</li>", 1)[0]
        return 'class="not-applicable"' in own

    for title in ("Your own lock", "Tried to start", "Know every source and tell everyone"):
        assert not offers(title), title
        refused = work.enter(title, answer="na", note="alone here")
        assert refused.status_code == 422
        assert "cannot be marked as not applicable" in text_of(refused)
        assert 'id="why-now"' not in refused.content.decode()  # no reason is asked for
        assert not StepEntry.objects.filter(step__title=title).exists()
    for title in ("Shore power", "Side seal", "Locks off"):
        assert offers(title), title


def test_signing_posts_issues_renews_and_puts_back(work, world):
    work.do_the_checks()
    work.take_and_use()
    hours = world.fleet.counters["hours"]
    answer = work.sign(**{f"c{hours.pk}-value": "210", f"event-{hours.pk}": str(uuid4())})
    assert answer.url == f"{work.url}/"
    work.sheet.refresh_from_db()
    assert work.sheet.state == "signed"
    hours.refresh_from_db()
    assert hours.last_value == Decimal(210)
    issued = Movement.objects.filter(kind="issue", source_number=work.sheet.number)
    assert {(each.part, each.value_cents) for each in issued} == {
        (world.filter_part, -1800),
        (world.kit, -21200),
    }
    assert Renewal.objects.filter(source_kind="sheet").count() == 2
    world.oil.refresh_from_db()
    assert world.oil.since == 0
    page = work.client.get(f"{work.url}/").content.decode()
    assert "$230.00" in page
    assert not Balance.objects.filter(location__kind="tray", quantity_steps__gt=0).exists()


def test_a_sheet_is_signed_once(work):
    work.do_the_checks()
    work.take_and_use()
    key = str(uuid4())
    assert work.sign(signing_id=key).status_code == 302
    again = work.sign(signing_id=key)
    assert again.status_code == 302
    assert Movement.objects.filter(kind="issue").count() == 2
    other = work.client.post(
        f"{work.url}/sign/", {"signing_id": str(uuid4()), "signature": "B"}, follow=True
    )
    assert "is signed" in other.content.decode()
    assert Renewal.objects.filter(source_kind="sheet").count() == 2


def test_a_lower_reading_is_asked_about_and_nothing_else_is_lost(work, world):
    work.do_the_checks()
    work.take_and_use()
    hours = world.fleet.counters["hours"]
    fields = {f"c{hours.pk}-value": "12", f"event-{hours.pk}": str(uuid4())}
    asked = work.sign(**fields, labour_minutes="77")
    page = asked.content.decode()
    assert asked.status_code == 422
    assert "Was the counter reset?" in page
    assert 'value="12"' in page
    assert 'value="77"' in page
    assert not Reading.objects.filter(source="sheet").exists()
    told = work.sign(**{**fields, f"c{hours.pk}-step": "reset", f"c{hours.pk}-before_reset": "205"})
    assert told.status_code == 302
    hours.refresh_from_db()
    # 205 hours before the reset and 12 after it.
    assert (hours.total, hours.last_value) == (Decimal(217), Decimal(12))


def test_open_checks_are_named_before_they_come_back(work, world):
    work.open_the_checks()
    work.enter("Side seal", answer="choice", choice="good")
    work.answer_all("return")
    work.take_and_use()
    refused = work.sign()
    assert refused.status_code == 422
    assert "2 checks are open" in refused.content.decode()
    assert work.sign(leave_undone="on").status_code == 302
    assert [line.outcome for line in work.sheet.lines.order_by("order")] == ["left", "done"]
    world.oil.refresh_from_db()
    assert world.oil.since == Decimal(200)


def test_a_part_that_nobody_planned_is_taken_off_once_and_a_planned_one_has_no_way_to(work, world):
    """Two rows are planned; the third was added."""
    work.client.post(
        f"{work.url}/add-part/",
        {"part": "seal", "place": "01-D1", "quantity": "1", "request_id": str(uuid4())},
    )
    row = work.sheet.parts.get(part=world.seal)
    page = work.client.get(f"{work.url}/work/").content.decode()
    (off,) = re.findall(r'name="take_off"\s+value="([^"]+)"', page)
    assert off.startswith(f"{row.pk} ")
    answer = work.client.post(f"{work.url}/used/", {"take_off": off}, follow=True)
    assert f"{world.seal.name} is taken off." in text_of(answer)
    assert not work.sheet.parts.filter(part=world.seal).exists()
    for wrong in (off, "987654 x", "x", f"{'9' * 40} x"):
        assert work.client.post(f"{work.url}/used/", {"take_off": wrong}).status_code == 404
    planned = work.sheet.parts.order_by("pk")[0]
    refused = work.client.post(
        f"{work.url}/used/", {"take_off": f"{planned.pk} {uuid4()}"}, follow=True
    )
    assert "is planned: say that none was used" in text_of(refused)


def test_using_more_than_was_taken_is_refused(work, world):
    work.do_the_checks()
    work.client.post(f"{work.url}/take/", {"request_id": str(uuid4())})
    row = work.sheet.parts.get(part=world.filter_part)
    kit = work.sheet.parts.get(part=world.kit)
    work.client.post(
        f"{work.url}/used/",
        {
            f"used-{row.pk}": "3",
            f"event-{row.pk}": str(uuid4()),
            f"used-{kit.pk}": "1",
            f"event-{kit.pk}": str(uuid4()),
        },
    )
    refused = work.sign()
    assert refused.status_code == 422
    assert "only 1 piece in the tray" in refused.content.decode()
    assert not Movement.objects.filter(kind="issue").exists()


def test_a_fraction_of_a_piece_is_refused_beside_its_field(work, world):
    row = work.sheet.parts.get(part=world.filter_part)
    answer = work.client.post(
        f"{work.url}/used/", {f"used-{row.pk}": "1.5", f"event-{row.pk}": str(uuid4())}
    )
    assert answer.status_code == 422
    assert 'value="1.5"' in answer.content.decode()
    assert "whole" in answer.content.decode()


def test_another_part_is_taken_from_the_rigs_own_drawer(work, world):
    fields = {"part": "seal", "place": "01-d1", "quantity": "1", "request_id": str(uuid4())}
    for _ in range(2):  # sent twice, it counts once
        assert work.client.post(f"{work.url}/add-part/", fields).status_code == 302
    tray = Balance.objects.get(part=world.seal, quantity_steps__gt=0)
    assert (tray.location.kind, tray.quantity_steps) == ("tray", 1)
    unknown = work.client.post(
        f"{work.url}/add-part/", {**fields, "part": "no-such", "request_id": str(uuid4())}
    )
    assert unknown.status_code == 422
    assert "no part of that number" in unknown.content.decode()
    assert 'value="no-such"' in unknown.content.decode()


def test_a_signed_sheet_offers_no_work(work):
    work.do_the_checks()
    work.take_and_use()
    work.sign()
    assert work.client.get(f"{work.url}/work/").url == f"{work.url}/"
    refused = work.enter("Side seal", answer="choice", choice="good")
    assert "nothing on it changes" in text_of(work.client.get(refused.url))


def test_grave_work_on_a_fitted_component_holds_the_rig_on_the_sheet_too(work, world, manager):
    Finding.objects.create(
        component=world.fleet.pump("A"),
        text="rod scored",
        is_grave=True,
        opened_by=manager,
        opened_at=NOW,
        request_id=uuid4(),
    )
    for page in ("/", "/work/"):
        assert "rod scored" in work.client.get(f"{work.url}{page}").content.decode()


@pytest.mark.parametrize(
    ("since", "offered"), [(timedelta(minutes=40), 40), (timedelta(days=1), None)]
)
def test_a_night_between_start_and_signature_is_no_work(work, since, offered):
    work.open_the_checks()
    ServiceSheet.objects.filter(pk=work.sheet.pk).update(started_at=NOW - since)
    planned = sum(line.version.labour_minutes for line in work.sheet.lines.all() if line.version)
    assert planned not in (0, 40)

    shown = work.client.get(f"{work.url}/work/").context["minutes"]

    assert shown == (offered or planned)


def test_the_desk_offers_to_take_parts_only_while_some_are_reserved(work):
    take = "Take reserved parts to the tray"
    assert take in work.client.get(f"{work.url}/").content.decode()
    work.client.post(f"{work.url}/take/", {"request_id": str(uuid4())})
    assert take not in work.client.get(f"{work.url}/").content.decode()


def test_buying_says_which_sheet_waits_for_a_part(work, world, client_as):
    row = work.sheet.parts.get(part=world.filter_part)
    owner = client_as("owner")
    assert "Who waits for a part" not in owner.get("/buying/").content.decode()

    work.sheet.parts.filter(pk=row.pk).update(short_steps=row.planned_steps)

    page = owner.get("/buying/").content.decode()
    assert "Who waits for a part" in page
    assert f'href="/sheets/{work.sheet.number}/"' in page
    assert f"/parts/{world.filter_part.number}/" in page


def test_more_used_than_taken_is_said_where_it_can_be_put_right(work, world):
    work.open_the_checks()
    work.client.post(f"{work.url}/take/", {"request_id": str(uuid4())})
    row = work.sheet.parts.get(part=world.filter_part)

    answer = work.client.post(
        f"{work.url}/used/",
        {f"used-{row.pk}": "99", f"event-{row.pk}": str(uuid4())},
        follow=True,
    )

    assert answer.redirect_chain[-1][0] == f"{work.url}/work/#parts"
    assert "99 pieces used, but only" in answer.content.decode()
    assert 'value="99"' in answer.content.decode()


NOT_ZERO = "Not zero: pressure is still in there. Release it, then read again."


def test_a_gauge_that_does_not_read_zero_is_drawn_as_a_hazard(work, phone, client_as):
    work.answer_all("caution", "lockout")
    gauge = work.sheet.steps.filter(section="zero").first()
    page = phone.get(f"{work.url}/work/").content.decode()
    assert page.count('class="not-zero"') == page.count('class="not-zero" role="alert" hidden')
    phone.post(
        f"{work.url}/steps/{gauge.pk}/",
        {"event_id": str(uuid4()), "answer": "value", "value": "40"},
    )
    page = phone.get(f"{work.url}/work/").content.decode()
    assert page.count('class="not-zero" role="alert">') == 1
    desk = client_as("manager").get(f"{work.url}/").content.decode()
    assert re.search(r'<details class="body rule" open>\s*<summary>\s*Lockout and zero', desk)
    assert desk.count(NOT_ZERO) == 1
    assert desk.count('<span class="word">not zero</span>') == 1
    paper = paper_of(work.sheet, today=TODAY, system="us")
    assert [each.found_text for each in paper.zero_gauges if each.found_text] == [
        "40 psi: not zero"
    ]
    phone.post(
        f"{work.url}/steps/{gauge.pk}/",
        {"event_id": str(uuid4()), "answer": "value", "value": "0"},
    )
    assert NOT_ZERO not in client_as("manager").get(f"{work.url}/").content.decode()
    assert 'class="not-zero" role="alert">' not in phone.get(f"{work.url}/work/").content.decode()


@pytest.mark.parametrize(
    ("system", "said"), [("us", "A is 12 °F above B"), ("metric", "A is 6.67 °C above B")]
)
def test_how_far_the_sides_are_apart_stands_with_side_b_once_both_stand(
    work, phone, technician, system, said
):
    volts = work.step("Volts at rated load")
    for letter in "BA":
        volts.pk, volts.order, volts.entry = None, 90 + ord(letter), None
        volts.title, volts.unit = f"Outlet temperature {letter}", "°F"
        volts.low = volts.high = volts.check_definition = None
        volts.save()
    change_own(person=technician, language="en", own_units=system)
    work.open_the_checks()

    def page() -> str:
        return phone.get(f"{work.url}/work/").content.decode()

    assert page().count('<p class="apart" hidden></p>') == 1
    work.enter("Outlet temperature A", answer="value", value="140", unit="°F")
    assert page().count('<p class="apart" hidden></p>') == 1
    work.enter("Outlet temperature B", answer="value", value="128", unit="°F")
    of_b = f'<li id="step-{work.step("Outlet temperature B").pk}"'
    assert f'<p class="apart">{said}</p>' in page().partition(of_b)[2].partition("</li>")[0]
    assert f"<small>{said}</small>" in phone.get(f"{work.url}/").content.decode()
    paper = paper_of(work.sheet, today=TODAY, system=system)
    checks = {each.text: each.apart_text for group in paper.every_group for each in group.checks}
    assert checks["Outlet temperature B"] == said
    assert not checks["Outlet temperature A"]
    assert said in text(read(paper))


def test_what_was_replaced_without_a_part_is_asked_about_once(work, world):
    work.do_the_checks()
    work.take_and_use()
    work.enter("Side seal", answer="choice", choice="replaced")
    work.sheet.parts.filter(part=world.kit).update(used_steps=0)
    asked = work.sign(labour_minutes="77")
    page = asked.content.decode()
    assert asked.status_code == 422
    assert "no part is noted as used for it: Side seal. Sign all the same?" in page
    assert 'value="77"' in page
    work.sheet.refresh_from_db()
    assert work.sheet.is_open
    assert work.sign(no_parts="yes").status_code == 302
    work.sheet.refresh_from_db()
    assert work.sheet.state == "signed"
