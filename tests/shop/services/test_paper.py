"""What was signed on paper: who and when beside every entry, and what was kept long ago."""

import json
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone
from PIL import Image

from equipment.models import Due, Known
from equipment.pictures import shrink
from equipment.services import CheckPlan
from equipment.services.knowing import keep_known, print_on_sheets
from equipment.services.photos import store_picture
from shop import words
from shop.models import PartEntry, Person, ReadingEntry, ServiceSheet, StepEntry
from shop.paper.pictures import GONE
from shop.paper.sheet import SheetPaper, sheet_pdf
from shop.services.knowledge import leave_note
from shop.services.paper import paper_of, paper_to_print
from shop.services.paper.keeping import paper_from_plain, paper_to_plain
from shop.services.working import answer_step
from tests.equipment.factories import service_for
from tests.inventory.pages.browsing import text_of
from tests.shop.paper.reading import read, text
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, TODAY, SheetWorld

#: A signed sheet as the program kept it before it kept authors apart, and found work with its
#: author: taken from a loaded invented shop, then cut short.
KEPT_BEFORE = Path(__file__).parents[1] / "paper" / "kept_before.json"
URL, PRINTED = "https://shop.example/s/62", "Printed 27 Nov 2026 03:00"


def restored(document: dict[str, Any]) -> SheetPaper:
    return paper_from_plain(document, url=URL, printed=PRINTED)


def texts(kept: object, *, but: set[str]) -> list[str]:
    """Every text in a kept document, but that under some keys."""
    if isinstance(kept, str):
        return [kept] if kept else []
    if isinstance(kept, dict):
        return [each for key in kept if key not in but for each in texts(kept[key], but=but)]
    return [each for item in kept for each in texts(item, but=but)] if type(kept) is list else []


def test_a_sheet_kept_before_there_were_authors_beside_entries_prints_all_that_it_says() -> None:
    document = json.loads(KEPT_BEFORE.read_text())
    assert isinstance(document["found_work"][0], str)
    assert "by_text" not in document["cautions"][0]
    found = text(read(restored(document)))
    drawn = {"icon", "side", "kind", "language", "choices", "url", "printed_text"}
    wanted = texts(document, but=drawn)
    assert len(wanted) > 80
    letters = "".join(found.split())
    assert [each for each in wanted if not _said(letters, each)] == []


def _said(letters: str, wanted: str) -> bool:
    """Whether the words of a text follow one another; other columns may stand between them."""
    at = 0
    for word in wanted.split():
        at = letters.find(word, at)
        if at < 0:
            return False
    return True


@pytest.mark.django_db
def test_what_is_kept_comes_back_as_it_was(world: SheetWorld, done: Hands) -> None:
    paper = paper_of(done.fresh(), today=TODAY, system="us", url=URL, printed=PRINTED)
    through_json = json.loads(json.dumps(paper_to_plain(paper)))
    assert restored(through_json) == paper


@pytest.mark.django_db
def test_the_signed_copy_says_who_and_when_beside_every_entry(
    world: SheetWorld, done: Hands
) -> None:
    counter = world.fleet.rig.counters.order_by("order").first()
    assert counter is not None
    at = NOW
    ReadingEntry.objects.create(
        sheet=done.sheet,
        counter=counter,
        value=counter.last_value + 5,
        event_id="7f1c0f43-61cb-4f0c-8df5-20a1f4b4c0aa",
        author=done.who,
        at=at,
        recorded_at=at,
    )
    signed = done.sign()
    paper = paper_to_print(signed, today=TODAY, system="us", url=URL, printed_at=NOW)
    found = text(read(paper))
    zone = world.shop.zone
    entries = [
        *StepEntry.objects.filter(in_force_for__sheet=signed),
        *PartEntry.objects.filter(sheet_part__sheet=signed),
        *ReadingEntry.objects.filter(sheet=signed),
    ]
    wanted = [f"{e.author.name}, {words.dated(e.at, zone=zone)}" for e in entries]
    assert len(wanted) > 8
    for each in set(wanted):
        assert found.count(each) >= wanted.count(each), each


@pytest.mark.django_db
def test_the_note_for_the_next_one_is_printed_and_kept_with_the_sheet(
    world: SheetWorld, done: Hands, client_as: Any
) -> None:
    oil, rebuild = sorted(done.sheet.lines.all(), key=lambda line: line.title == "full rebuild")
    for line, said in ((rebuild, "long screw left"), (oil, "use the new can"), (oil, "")):
        leave_note(
            line=line,
            text=said,
            event_id=uuid4(),
            author=done.who,
            at=NOW,
            recorded_at=NOW,
        )
    at = words.dated(NOW, zone=world.shop.zone)
    wanted = f"Note for the next one: long screw left ({done.who.name}, {at})"

    def printed() -> SheetPaper:
        sheet = ServiceSheet.objects.get(pk=done.sheet.pk)
        return paper_to_print(sheet, today=TODAY, system="us", url=URL, printed_at=NOW)

    assert wanted in text(read(printed()))
    done.sign()
    kept = printed()
    assert wanted in text(read(kept))
    assert text(read(kept)).count("Note for the next one") == 1  # the other was taken back
    page = text_of(client_as("manager").get(f"/sheets/{done.sheet.number}/"))
    assert wanted in page
    assert "use the new can" not in page
    Person.objects.filter(pk=done.who.pk).update(name="Somebody Else")
    assert printed() == kept


@pytest.mark.django_db
def test_a_sheet_kept_before_notes_and_differences_prints_byte_for_byte(done: Hands) -> None:
    sheet = done.sign()
    document = sheet.signed_copy.document
    now = sheet_pdf(restored(document))
    for group in document["groups"]:
        del group["left_text"], group["instructions"]
        for check in group["checks"]:
            del check["apart_text"]
    assert sheet_pdf(restored(document)) == now


@pytest.mark.django_db
def test_what_corrects_a_sheet_is_said_over_what_was_signed_and_is_not_kept(done: Hands) -> None:
    document = done.sign().signed_copy.document
    assert "corrected_by" not in document
    for language, numbers, said in (
        ("en", ("0078",), "Corrected by sheet 0078"),
        ("en", ("0078", "0081"), "Corrected by sheets 0078, 0081"),
        ("es", ("0078",), "Corregida por la hoja 0078"),
        ("es", ("0078", "0081"), "Corregida por las hojas 0078, 0081"),
    ):
        kept = {**document, "language": language}
        paper = paper_from_plain(kept, url=URL, printed=PRINTED, corrected_by=numbers)
        assert text(read(paper)).count(said) == 1
        assert said[:11] not in text(read(restored(kept)))
        assert replace(paper, corrected_by=()) == restored(kept)


@pytest.mark.django_db
def test_what_a_service_says_to_do_stands_over_its_checks_and_is_kept_with_the_signature(
    world: SheetWorld, technician: Person
) -> None:
    wipe = service_for(
        world.fleet.components["gun"],
        ("gallons", 10),
        name="wipe",
        author=world.manager,
        instructions="Bleed the block first, then wipe it. " + "Wipe it well. " * 60,
        checks=[CheckPlan(text="Wiped")],
    )
    hands = Hands(world.draft(Due.objects.get(version=wipe)), technician)

    def look() -> None:
        found = text(
            read(paper_to_print(hands.fresh(), today=TODAY, system="us", url=URL, printed_at=NOW))
        )
        assert found.count("Bleed the block first") == 1
        assert found.index("wipe") < found.index("Bleed the block first") < found.index("Wiped")
        assert 1 < found.count("Wipe it well.") < 40  # three lines of them

    look()
    hands.open_the_checks()
    hands.answer(hands.check("Wiped"))
    hands.use()
    hands.sign()
    look()
    document = hands.sheet.signed_copy.document
    (group,) = document["groups"]
    assert group["instructions"] == wipe.instructions
    del group["instructions"]  # as it was kept before
    assert "Bleed the block first" not in text(read(restored(document)))


@pytest.mark.django_db
def test_a_note_and_why_a_sheet_is_void_are_printed(world: SheetWorld) -> None:
    sheet = world.draft(note="mind the whip hose")
    sheet.state, sheet.void_reason = ServiceSheet.State.VOID, "rig sold"
    sheet.voided_by, sheet.voided_at = world.manager, timezone.now()
    sheet.save()
    found = text(read(paper_of(sheet, today=TODAY, system="us")))
    assert "mind the whip hose" in found
    assert "rig sold" in found


@pytest.mark.django_db
def test_what_is_known_of_the_work_is_printed_and_kept(
    world: SheetWorld, done: Hands, manager: Person
) -> None:
    gun = world.fleet.components["gun"]
    picture = Image.new("RGB", (400, 200), "red")
    file = BytesIO()
    picture.save(file, "JPEG")
    digest = store_picture(shrink(file))

    def keep(**what: Any) -> Known:
        given = {"author": manager, "at": NOW, "request_id": uuid4()}
        return keep_known(**{"about": gun.type, "kind": "note", **given, **what})

    keep(text="Torque the front to 18 ft-lb", document="maker’s sheet", page="page 12")
    keep(text="Grease by the old way", about=world.rebuild.version.service)
    shown = keep(kind="picture", text="exploded view", digest=digest)
    print_on_sheets(known=shown, is_printed=True, author=manager, at=NOW)
    signed = done.sign()
    signed = ServiceSheet.objects.get(pk=signed.pk)
    assert "image" not in signed.signed_copy.document["pictures"][0]
    reader = read(paper_to_print(signed, today=TODAY, system="us", url=URL, printed_at=NOW))
    found = text(reader)
    for wanted in (
        "Torque the front to 18 ft-lb, maker’s sheet, page 12",
        "Grease by the old way",
        manager.name,
        "exploded view",
    ):
        assert wanted in found, wanted
    (image,) = [image for page in reader.pages for image in page.images]
    assert image.image is not None
    assert image.image.mode == "L"
    assert image.image.size == (400, 200)


@pytest.mark.django_db
def test_where_a_note_stands_follows_its_full_stop_without_a_comma(
    world: SheetWorld, done: Hands, manager: Person
) -> None:
    gun = world.fleet.components["gun"].type
    for said in ("Grease it where the sheet asks for it.", "Torque it to 12"):
        keep_known(
            about=gun,
            kind="note",
            text=said,
            document="Maker’s sheet",
            page="page 6",
            author=manager,
            at=NOW,
            request_id=uuid4(),
        )
    found = text(read(paper_of(done.fresh(), today=TODAY, system="us")))
    assert "asks for it. Maker’s sheet, page 6 (" in found
    assert "Torque it to 12, Maker’s sheet, page 6 (" in found


@pytest.mark.django_db
def test_a_remark_of_other_work_says_of_what_it_is_and_names_the_hand(
    world: SheetWorld, done: Hands
) -> None:
    rebuild = done.sheet.lines.get(version=world.rebuild.version)
    step = done.check("Side seal")
    done.answer(step, "na", note="none here", author=world.manager, written_by=done.who)
    done.sign()
    again = world.draft()
    at = words.dated(NOW, zone=world.shop.zone)
    said = f"Side seal: not applicable: none here ({done.who.name}, {at})"
    found = text(read(paper_of(again, today=TODAY, system="us")))
    assert f"On sheet {done.sheet}, {said}" in found
    other = world.fleet.components["generator"]
    again.lines.filter(version=world.rebuild.version).update(component=other)
    found = text(read(paper_of(again, today=TODAY, system="us")))
    assert f"On sheet {done.sheet}, on {rebuild.component}, {said}" in found
    again.lines.exclude(version=world.rebuild.version).update(component=rebuild.component)
    found = text(read(paper_of(again, today=TODAY, system="us")))
    assert found.count(said) == 1  # where it was written of the same gun
    assert f"On sheet {done.sheet}, {said}" in found


@pytest.mark.django_db
def test_a_picture_that_is_gone_leaves_its_caption(done: Hands) -> None:
    document = paper_to_plain(paper_of(done.fresh(), today=TODAY, system="us"))
    document["pictures"] = [{"caption": "Gun: exploded view", "key": "0" * 64}]
    found = text(read(restored(document)))
    assert f"Gun: exploded view {GONE}" in found


@pytest.mark.django_db
def test_each_person_who_read_a_caution_is_named(done: Hands, manager: Person) -> None:
    (first, *_) = done.steps("caution")
    answer_step(
        step=first, answer="done", author=manager, event_id=uuid4(), at=NOW, recorded_at=NOW
    )
    paper = paper_of(done.fresh(), today=TODAY, system="us")
    assert done.who.name in paper.cautions[0].by_text
    assert manager.name in paper.cautions[0].by_text


@pytest.mark.django_db
def test_a_signed_sheet_says_what_was_done_and_that_a_value_stayed_out_of_limit(
    done: Hands,
) -> None:
    def paper() -> SheetPaper:
        return paper_to_print(
            ServiceSheet.objects.get(pk=done.sheet.pk), today=TODAY, system="us", printed_at=NOW
        )

    before = dict(paper().cells)
    assert "Planned work" in before
    assert not any(group.outcome_text for group in paper().every_group)
    stopped = {"remedy": "stop", "finding_text": "regulator drifts"}
    done.answer(done.check("Volts at rated load"), "value", value=Decimal(282), **stopped)
    done.sign()
    after = dict(paper().cells)
    assert "Planned work" not in after
    assert after["Time worked"] == "1 h 30 min"
    assert after["Signed on"] == words.whole_day(NOW.date())
    outcomes = [group.outcome_text for group in paper().every_group]
    assert sorted(outcomes) == ["done", "done, 1 value out of limit"]
    (out,) = [check for group in paper().every_group for check in group.checks if check.is_out]
    assert out.text == "Volts at rated load"


def test_what_a_gauge_showed_before_it_read_zero_stays_on_paper(
    hands: Hands, world: SheetWorld
) -> None:
    """29 CFR 1910.147(d)(5): pressure that may come back is watched until the work is done."""
    hands.take()
    gauge = hands.steps("zero")[0]
    for section in ("caution", "lockout"):
        for step in hands.steps(section):
            hands.answer(step)
    for minutes, value, who in ((2, 40, hands.who), (5, 12, world.manager), (20, 0, hands.who)):
        at = NOW + timedelta(minutes=minutes)
        more = {"value": Decimal(value), "author": who, "at": at, "recorded_at": at}
        hands.answer(gauge, "value", **more)
    for step in hands.steps("zero")[1:]:
        hands.answer(step, "value", value=Decimal(0))
        hands.answer(step, "value", value=Decimal(0))
    hands.do_the_checks()
    hands.use()
    signed = hands.sign()
    printed = paper_to_print(signed, today=TODAY, system="us")
    first, second = printed.zero_gauges[:2]
    said = "Before that: 40 psi at 06:02, 12 psi at 06:05 (A. Manager)"
    assert first.before_text == said
    assert second.before_text == ""  # zero again is no news
    assert said in text(read(printed))
    kept = json.loads(json.dumps(signed.signed_copy.document))
    for each in [*kept["zero_gauges"], *kept["lockout"]]:
        del each["before_text"]
    assert {each.before_text for each in restored(kept).zero_gauges} == {""}
    assert {each.before_text for each in restored(kept).lockout} == {""}


def test_that_a_step_of_lockout_was_taken_back_stays_on_paper(
    hands: Hands, world: SheetWorld, client: Client
) -> None:
    """29 CFR 1910.147(d)(3), (d)(6): the proof is of what is isolated when it is made."""
    hands.take()
    for section in ("caution", "lockout"):
        for step in hands.steps(section):
            hands.answer(step)
    point, gauge = hands.sheet.steps.get(title="Generator"), hands.steps("zero")[0]
    zero = {"value": Decimal(0)}
    hands.answer(gauge, "value", **zero)

    def after(minutes: int) -> dict[str, datetime]:
        at = NOW + timedelta(minutes=minutes)
        return {"at": at, "recorded_at": at}

    hands.answer(point, "cleared", author=world.manager, **after(5))
    hands.answer(point, **after(6))
    hands.answer(gauge, "cleared", **after(7))
    hands.answer(gauge, "value", **zero, **after(8))
    for step in hands.steps("zero")[1:]:
        hands.answer(step, "value", **zero, **after(8))
    hands.answer(hands.sheet.steps.get(title="Tried to start"), **after(9))
    hands.do_the_checks()
    hands.use()
    signed = hands.sign()
    printed = paper_to_print(signed, today=TODAY, system="us")
    said = {
        "Generator": "Before that: done at 06:00, taken back at 06:05 (A. Manager)",
        "Gauge": "Before that: 0 psi at 06:00, taken back at 06:07",
    }
    told = {each.source: each.before_text for each in printed.lockout}
    assert told.pop("Generator") == said["Generator"]
    assert set(told.values()) == {""}
    assert printed.zero_gauges[0].before_text == said["Gauge"]
    client.force_login(world.manager)
    page = client.get(f"/sheets/{signed.number}/").content.decode()
    drawn = text(read(printed))
    for each in said.values():
        assert each in page
        assert each in " ".join(drawn.split())
