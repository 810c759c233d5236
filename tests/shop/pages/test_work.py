"""The technician's copy on the phone: from the first caution to the signature."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
import time_machine

from equipment.models import Finding, Reading, Renewal
from inventory.models import Balance, Movement
from shop.models import ServiceSheet, SheetStep, StepEntry
from tests.inventory.pages.browsing import text_of
from tests.shop.worlds import NOW, SheetWorld, sheet_world


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
        for step in self.sheet.steps.exclude(section="check"):
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
    assert "Cautions 0 of" in page
    work.open_the_checks()
    page = text_of(phone.get(f"{work.url}/work/"))
    assert "Cautions done" in page
    assert "Checks 0 of 3" in page


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
    work.take_and_use()
    refused = work.sign()
    assert refused.status_code == 422
    assert "2 checks are open" in refused.content.decode()
    assert work.sign(leave_undone="on").status_code == 302
    assert [line.outcome for line in work.sheet.lines.order_by("order")] == ["left", "done"]
    world.oil.refresh_from_db()
    assert world.oil.since == Decimal(200)


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
