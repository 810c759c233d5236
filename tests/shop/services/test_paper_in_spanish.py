"""The sheet on paper in Spanish: whole on an open sheet, and as it was signed for ever."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal
from io import BytesIO
from uuid import uuid4

import pytest
import time_machine
from django.test import Client
from django.utils import translation
from pypdf import PdfReader

from equipment.models import ComponentKind, Due, Service
from equipment.services import (
    NewReading,
    add_position,
    create_rig,
    install_component,
    record_readings,
)
from equipment.services.library import load_library
from inventory.models import Part
from shop.models import Language, Person, ServiceSheet, Shop, SignedCopy
from shop.paper.sheet import SheetPaper, sheet_pdf
from shop.services.drafting import draft_sheet, hand_out
from shop.services.paper import about, entries, paper_of, paper_to_print, parts, steps
from shop.services.safety_texts import all_texts
from shop.services.safety_texts import record_readings as record_texts_read
from shop.services.working import answer_step
from tests import wording
from tests.equipment.factories import START, ZONE, shelf_component
from tests.shop.paper.reading import pages_text, read, text
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db

URL = "https://shop.example/s/1"
UNREAD = "Nadie del oficio ha leído todavía"
#: No Spanish sentence has one of these, and hardly an English one none.
ENGLISH_WORDS = {
    *("the", "and", "with", "of", "is", "are", "not", "for", "to", "by", "at", "on", "from", "all"),
    *("each", "it", "this", "that", "was", "were", "be", "before", "after", "when", "where"),
    *("which", "your", "who", "must", "any", "open", "closed", "done", "due", "read", "sheet"),
}


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


def speaks(person: Person, language: str) -> Person:
    person.language = language
    person.save(update_fields=["language"])
    return person


def printed(sheet: ServiceSheet, *, reader: str) -> bytes:
    """The file that somebody who speaks a language gets."""
    with translation.override(reader):
        fresh = ServiceSheet.objects.get(pk=sheet.pk)
        return sheet_pdf(paper_to_print(fresh, today=TODAY, system="us", url=URL, printed_at=NOW))


def said(file: bytes) -> str:
    return " ".join(pages_text(PdfReader(BytesIO(file))))


# --- an open sheet of the starting library ------------------------------------------------------


@pytest.fixture
def library_sheet(shop: Shop, manager: Person) -> ServiceSheet:
    """A sheet of every service that the starting library asks of a rig with one of each kind."""
    load_library(author=manager, at=START, zone=ZONE)
    rig = create_rig(number=4, name="Kestrel", at=START)
    order = 0
    for kind in ComponentKind.objects.order_by("flow_order", "pk"):
        sides = Service.objects.filter(kind=kind).exclude(side="").values_list("side", flat=True)
        for side in sorted(set(sides)) or [""]:
            order += 1
            position = add_position(rig=rig, order=order, kind=kind, side=side)
            made = shelf_component(kind, tag=f"K-{order}")
            install_component(
                component=made, position=position, at=START, author=manager, zone=ZONE
            )
    return draft_sheet(
        rig=rig,
        dues=list(Due.objects.filter(component__installations__position__rig=rig)),
        planned_on=TODAY,
        author=manager,
        at=NOW,
        today=TODAY,
        request_id=uuid4(),
    )


def in_spanish(sheet: ServiceSheet) -> SheetPaper:
    with translation.override("es"):
        return paper_to_print(sheet, today=TODAY, system="us", url=URL, printed_at=NOW)


@pytest.mark.parametrize("page_size", ["letter", "a4"])
def test_no_english_of_ours_stands_on_a_spanish_sheet_of_the_library(
    library_sheet: ServiceSheet, manager: Person, page_size: str
) -> None:
    unread = [each.key for each in all_texts().all]
    record_texts_read(
        keys=unread, reader="R. Ibarra", trade="sprayer", read_on=TODAY, author=manager, at=NOW
    )
    paper = in_spanish(library_sheet)
    assert len([check for group in paper.every_group for check in group.checks]) > 100
    assert len(paper.cautions) > 20
    found = text(read(paper, page_size=page_size))  # type: ignore[arg-type]
    assert UNREAD not in found
    words = set(re.findall(r"[^\W\d_]+", found.casefold()))
    assert words & ENGLISH_WORDS == set()
    pieces = [
        piece for piece in _english() if re.search(rf"(?<!\w){re.escape(piece)}(?!\w)", found)
    ]
    assert pieces == []


def _english() -> set[str]:
    """Every text of ours that Spanish says otherwise, of two words at least."""
    found = set()
    for folder in wording.CATALOGUES:
        for message in wording.read(wording.path_of(folder, "es")):
            ids = message.id if isinstance(message.id, list | tuple) else (message.id,)
            strings = message.string if isinstance(message.string, tuple) else (message.string,)
            for one in ids:
                pieces = [each.strip() for each in re.split(r"\{\w+\}|%\(\w+\)s", one)]
                found.update(p for p in pieces if " " in p and not any(p in s for s in strings))
    return found


def test_a_translation_that_nobody_has_read_is_marked_with_its_english(
    library_sheet: ServiceSheet,
) -> None:
    paper = in_spanish(library_sheet)
    assert all(caution.original for caution in paper.cautions)
    assert all(step.original for step in (*paper.lockout, *paper.way_back, *paper.zero_gauges))
    found = text(read(paper))
    # Once over the cautions, over the steps of each of the two sections, and over the checks for
    # which the rig runs, before those and after.
    assert found.count(UNREAD) == 5
    for each in (*paper.cautions, *paper.lockout, *paper.way_back, *paper.zero_gauges):
        assert _follows(found, each.original), each.original
    with translation.override("en"):
        english = paper_of(library_sheet, today=TODAY, system="us")
    assert UNREAD not in text(read(english))
    assert not any(each.original for each in (*english.cautions, *english.lockout))


def _follows(found: str, wanted: str) -> bool:
    """Whether the words follow one another; other columns may stand between them."""
    at = 0
    for word in wanted.split():
        at = found.find(word, at)
        if at < 0:
            return False
    return True


def test_the_file_names_itself_in_the_language_of_who_prints(
    world: SheetWorld, client_as: Callable[..., Client], technician: Person
) -> None:
    sheet = world.draft()
    speaks(technician, Language.SPANISH)
    for who, lang, title, subject, name in (
        (technician, "es", "Hoja de servicio", "Hoja de servicio", "hoja"),
        (world.manager, "en", "Service sheet", "Service sheet", "sheet"),
    ):
        answer = client_as(who).get(f"/sheets/{sheet.number}/sheet.pdf")
        reader = PdfReader(BytesIO(answer.content))
        assert reader.metadata is not None
        assert reader.metadata.title == f"{title} {sheet}, {world.fleet.rig.name}"
        assert reader.metadata.subject == subject
        assert reader.trailer["/Root"]["/Lang"] == lang
        assert f'filename="{name}-{sheet}.pdf"' in answer["Content-Disposition"]


# --- a signed one -------------------------------------------------------------------------------


@dataclass
class Afterwards:
    """What may happen to a shop once a sheet is signed."""

    world: SheetWorld
    monkeypatch: pytest.MonkeyPatch

    def everything(self, signer: Person) -> None:
        """Another language, other names, a late reading, other translations, and a text read."""
        other = Language.ENGLISH if signer.language == Language.SPANISH else Language.SPANISH
        speaks(signer, other)
        self.world.fleet.rig.name = "Renamed"
        self.world.fleet.rig.save()
        self.world.shop.name = "Another shop"
        self.world.shop.save()
        for due in (self.world.oil, self.world.rebuild):
            service = due.version.service
            service.name = f"other {service.name}"
            service.save()
        for kind in ComponentKind.objects.all():
            kind.name = f"other {kind.name}"
            kind.save()
        for part in Part.objects.all():
            part.name = f"other {part.name}"
            part.save()
        record_readings(
            rig=self.world.fleet.rig,
            readings=[NewReading(counter=self.world.fleet.counters["a"], value=Decimal(8001))],
            at=NOW - timedelta(days=3),
            recorded_at=NOW + timedelta(days=1),
            author=self.world.manager,
            request_id=uuid4(),
            zone=self.world.shop.zone,
        )
        keys = [each.key for each in all_texts().all]
        more = {"reader": "R. Ibarra", "trade": "sprayer", "read_on": TODAY}
        record_texts_read(keys=keys, author=self.world.manager, at=NOW, **more)  # type: ignore[arg-type]
        for speaking in (about, entries, parts, steps):
            self.monkeypatch.setattr(speaking, "own", lambda text: f"otherwise {text}")


@pytest.fixture
def afterwards(world: SheetWorld, monkeypatch: pytest.MonkeyPatch) -> Afterwards:
    return Afterwards(world, monkeypatch)


@pytest.mark.parametrize(
    ("language", "says", "never"),
    [
        ("es", ["Hoja de servicio", "hecho", "Firma", UNREAD, "Impresa el"], "Service sheet"),
        ("en", ["Service sheet", "done", "Signature", "Printed"], "Hoja de servicio"),
    ],
)
def test_what_was_signed_prints_as_it_was_signed_for_ever(
    done: Hands, afterwards: Afterwards, language: str, says: list[str], never: str
) -> None:
    speaks(done.who, language)
    signed = done.sign()
    assert signed.signed_copy.document["language"] == language
    before = {reader: printed(signed, reader=reader) for reader in ("en", "es")}
    found = said(before["en"])
    assert before["en"] == before["es"], "it is the same whoever prints it"
    assert [each for each in says if each not in found] == []
    assert never not in found
    assert PdfReader(BytesIO(before["en"])).trailer["/Root"]["/Lang"] == language
    afterwards.everything(done.who)
    for reader in ("en", "es"):
        assert printed(signed, reader=reader) == before[reader]


def test_the_language_is_that_of_who_signs_whatever_is_spoken_then(done: Hands) -> None:
    speaks(done.who, Language.SPANISH)
    with translation.override("en"):
        done.sign()
    assert SignedCopy.objects.get().document["step_word"] == "firmada"


def test_a_sheet_keyed_in_is_in_the_language_of_who_signed_it_on_paper(
    world: SheetWorld, done: Hands
) -> None:
    speaks(done.who, Language.SPANISH)
    done.sign(author=world.manager, written_by=done.who)
    document = SignedCopy.objects.get().document
    assert document["language"] == "es"
    assert document["signed"] == f"T. Reed (en papel; capturada por {world.manager.name})"


def test_a_sheet_signed_without_signal_by_a_spanish_speaker_is_in_spanish(done: Hands) -> None:
    phone = Phone(speaks(done.who, Language.SPANISH), done.sheet)
    entry = phone.entry(
        "sign", signature="T. Reed", drawn="", labour_minutes="90", leave_undone=False, at=NOW
    )
    (outcome,) = phone.send(entry, now=NOW + timedelta(hours=5))
    assert outcome.state == "taken"
    found = said(printed(done.sheet, reader="en"))
    assert "Tiempo trabajado" in found
    assert "Time worked" not in found


def test_a_stack_lists_in_the_language_of_its_reader_and_keeps_that_of_each_sheet(
    world: SheetWorld, client_as: Callable[..., Client], technician: Person
) -> None:
    signed, still_open = world.draft(world.oil), world.draft(world.rebuild)
    speaks(technician, Language.SPANISH)
    hand_out(sheet=signed, technician=technician, author=world.manager, at=NOW)
    hands = Hands(signed, technician)
    hands.sign(in_service=False, leave_undone=True)
    speaks(world.manager, Language.ENGLISH)
    answer = client_as(world.manager).get(f"/sheets/week.pdf?from={TODAY}")
    reader = PdfReader(BytesIO(answer.content))
    pages = pages_text(reader)
    assert "Sheets in this file" in pages[0]
    assert "List, page 1 of 1" in pages[0]
    assert any(f"Hoja {signed}, página 1 de" in page for page in pages[1:])
    assert any(f"Sheet {still_open}, page 1 of" in page for page in pages[1:])
    titles = [entry.title for entry in reader.outline if not isinstance(entry, list)]
    rig = world.fleet.rig.name
    assert titles == ["Sheets in this file", f"Hoja {signed}, {rig}", f"Sheet {still_open}, {rig}"]
    assert reader.trailer["/Root"]["/Lang"] == "en"
    assert reader.metadata is not None
    assert (reader.metadata.title or "").startswith("Service sheets")
    spoken = client_as(technician).get(f"/sheets/week.pdf?from={TODAY}")
    assert "Hojas en este archivo" in pages_text(PdfReader(BytesIO(spoken.content)))[0]


def test_an_empty_week_is_said_in_english_on_its_english_page(
    world: SheetWorld, client_as: Callable[..., Client]
) -> None:
    client = client_as(speaks(world.manager, Language.SPANISH))
    answer = client.get("/sheets/week.pdf?from=2020-01-06", follow=True)
    assert "No sheet is planned for 6 – 12 Jan 2020." in answer.text


# --- two answers ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("language", "mark"), [("en", "also answered: 250 V"), ("es", "también se contestó: 250 V")]
)
def test_two_answers_that_stand_when_it_is_signed_are_both_printed(
    done: Hands, manager: Person, language: str, mark: str
) -> None:
    speaks(done.who, language)
    Hands(done.sheet, manager).open_the_checks()
    volts = done.check("Volts at rated load")
    answer_step(
        step=volts,
        answer="value",
        value=Decimal(250),
        seen="",
        author=manager,
        event_id=uuid4(),
        at=NOW,
        recorded_at=NOW,
    )
    answer_step(
        step=volts,
        answer="value",
        value=Decimal(241),
        seen="",
        author=done.who,
        event_id=uuid4(),
        at=NOW,
        recorded_at=NOW,
    )
    found = said(printed(done.sign(), reader="en"))
    assert "241 V" in found
    assert f"{mark} ({manager.name}, " in found
    assert ": 240 V (" in found
