"""What was signed on paper: who and when beside every entry, and what was kept long ago."""

import json
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone
from PIL import Image

from equipment.models import Known
from equipment.pictures import shrink
from equipment.services.knowing import keep_known, print_on_sheets
from equipment.services.photos import store_picture
from shop import words
from shop.models import PartEntry, Person, ReadingEntry, ServiceSheet, StepEntry
from shop.paper.pictures import GONE
from shop.paper.sheet import SheetPaper
from shop.services.paper import paper_from_plain, paper_of, paper_to_plain, paper_to_print
from shop.services.working import answer_step
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
    paper = paper_of(done.fresh(), today=TODAY, url=URL, printed=PRINTED)
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
    paper = paper_to_print(signed, today=TODAY, url=URL, printed=PRINTED)
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
def test_a_note_and_why_a_sheet_is_void_are_printed(world: SheetWorld) -> None:
    sheet = world.draft(note="mind the whip hose")
    sheet.state, sheet.void_reason = ServiceSheet.State.VOID, "rig sold"
    sheet.voided_by, sheet.voided_at = world.manager, timezone.now()
    sheet.save()
    found = text(read(paper_of(sheet, today=TODAY)))
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
    reader = read(paper_to_print(signed, today=TODAY, url=URL, printed=PRINTED))
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
def test_a_picture_that_is_gone_leaves_its_caption(done: Hands) -> None:
    document = paper_to_plain(paper_of(done.fresh(), today=TODAY))
    document["pictures"] = [{"caption": "Gun: exploded view", "key": "0" * 64}]
    found = text(read(restored(document)))
    assert f"Gun: exploded view {GONE}" in found


@pytest.mark.django_db
def test_each_person_who_read_a_caution_is_named(done: Hands, manager: Person) -> None:
    (first, *_) = done.steps("caution")
    answer_step(
        step=first, answer="done", author=manager, event_id=uuid4(), at=NOW, recorded_at=NOW
    )
    paper = paper_of(done.fresh(), today=TODAY)
    assert done.who.name in paper.cautions[0].by_text
    assert manager.name in paper.cautions[0].by_text
