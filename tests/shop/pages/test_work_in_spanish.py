"""A technician who chose Spanish works and is refused in it; the office reads English."""

import json
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from html.parser import HTMLParser
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.utils import translation

from equipment.models import RoundItem
from equipment.services import NewReading
from shop.models import Person, Role, ServiceSheet, SheetStep, Unsettled
from shop.services import clocking, drafting, handing_over, waiting, working
from shop.services.arriving import set_aside
from shop.services.corrections import Right, RightCheck, RightPart, RightReading, correct_sheet
from shop.services.drafting import hand_out
from shop.services.needs import set_need
from shop.services.second_look import look_again
from tests import wording
from tests.inventory.pages.browsing import text_of
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld, sheet_world

#: Attributes that are read aloud, or that the script of the sheet shows.
SHOWN = {"alt", "aria-label", "data-label", "data-next-label", "data-title"}


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def technician(person_as) -> Person:
    person = person_as(Role.TECHNICIAN)
    person.language = "es"
    person.save()
    return person


@pytest.fixture
def sheet(shop, manager) -> ServiceSheet:
    world = sheet_world(shop, manager)
    return world.draft(world.oil, world.rebuild)


class Spoken(HTMLParser):
    """What a page says, but for what it says in another language of its own accord."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.inside: list[bool] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        is_apart = given.get("lang") == "en" and tag != "html"
        is_left_out = is_apart or tag in ("style", "script")
        if not any(self.inside):
            self.texts += [value or "" for name, value in attrs if name in SHOWN]
        if tag not in ("input", "img", "br", "link", "meta", "path", "circle", "rect", "line"):
            self.inside.append(is_left_out)

    def handle_endtag(self, tag: str) -> None:
        if tag not in ("path", "circle", "rect", "line") and self.inside:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if not any(self.inside):
            self.texts.append(data)


@cache
def english() -> frozenset[str]:
    """Whatever of two words and more we say in English."""
    said = [each.text for folder in wording.CATALOGUES for each in wording.said_in(folder)]
    whole = [text for each in said for text in ((each,) if isinstance(each, str) else each)]
    pieces = {
        piece.strip(" .,:;()\n") for text in whole for piece in re.split(r"\{\w+\}|%\(\w+\)s", text)
    }
    return frozenset(piece for piece in pieces if re.search(r"[a-z]{2,} [a-z]{2,}", piece))


def left_in_english(page: str) -> list[str]:
    """What a page says in English, of what we say in Spanish: pieces of it, and whole texts."""
    spoken = Spoken(page).texts
    if words := re.search(r'<script id="words"[^>]*>(.*?)</script>', page):
        script = [each for each in json.loads(words[1]).values() if isinstance(each, str)]
        script.remove("carried forward")  # never shown: compared with what is kept
        spoken += script
    said = re.sub(r"\s+", " ", "\n".join(spoken))
    return [
        *(piece for piece in english() if re.search(rf"(?<!\w){re.escape(piece)}(?!\w)", said)),
        *({each.strip(" :") for each in spoken} & translated()),
    ]


@cache
def translated() -> frozenset[str]:
    """Whatever is another text in Spanish, one word as well."""
    with translation.override("es"):
        return frozenset(
            each.text
            for folder in wording.CATALOGUES
            for each in wording.said_in(folder)
            if isinstance(each.text, str) and translation.gettext(each.text) != each.text
        )


def test_the_page_says_nothing_of_ours_in_english(client_as, technician, sheet):
    client = client_as(technician)
    page = client.get(f"/sheets/{sheet.number}/work/").content.decode()
    assert '<html lang="es"' in page
    assert left_in_english(page) == []
    assert "Antes de empezar" in page


def test_the_same_look_finds_english(client_as, technician, sheet):
    """The test above, with its subject taken away."""
    Person.objects.filter(pk=technician.pk).update(language="en")
    page = client_as(technician).get(f"/sheets/{sheet.number}/work/").content.decode()
    assert len(left_in_english(page)) > 50


@pytest.mark.parametrize("place", ["waiting", "hand-over"])
def test_what_goes_on_around_it_is_asked_in_spanish(client_as, technician, sheet, place):
    page = client_as(technician).get(f"/sheets/{sheet.number}/{place}/")
    assert '<html lang="es"' in page.content.decode()
    said = re.sub(r"\s+", " ", "\n".join(Spoken(page.content.decode()).texts))
    assert [each for each in english() if f" {each} " in said] == []


def check_of(sheet: ServiceSheet) -> SheetStep:
    return sheet.steps.get(title="Volts at rated load")


def test_a_form_is_refused_in_spanish(client_as, technician, sheet):
    answer = client_as(technician).post(
        f"/sheets/{sheet.number}/steps/{check_of(sheet).pk}/",
        {"event_id": str(uuid4()), "answer": "value", "value": "doce"},
    )
    assert answer.status_code == 422
    assert "Escriba un número, como 1182 o 60.5." in text_of(answer)


def test_a_phone_is_refused_in_spanish_and_what_waits_is_kept_in_english(technician, sheet):
    phone = Phone(technician, sheet)
    step = check_of(sheet)
    with translation.override("es"):
        live = phone.answer(step, "value", value="240", live=True)
        late = phone.answer(step, "value", value="240")
        refused, waiting = phone.send(live, late)
        assert refused.state == "refused"
        assert refused.words.startswith("Las revisiones se abren cuando esto esté hecho:")
        assert waiting.state == "waiting"
    assert Unsettled.objects.get().reason.startswith("The checks open when these are done:")


def test_what_a_phone_sends_is_answered_in_the_language_of_its_page(client, technician, sheet):
    """Its session may have run out: the page says how it speaks."""
    phone = Phone(technician, sheet)
    batch = phone.batch(phone.answer(check_of(sheet), "value", value="240", live=True))

    def said(language: str) -> str:
        answer = client.post(
            f"/sheets/{sheet.number}/entries/",
            json.dumps(batch),
            content_type="application/json",
            headers={"accept-language": language},
        )
        (outcome,) = answer.json()["outcomes"].values()
        return str(outcome["words"])

    assert said("es").startswith("Las revisiones se abren")
    assert said("en").startswith("The checks open")


def test_found_work_is_told_in_the_language_of_the_page_that_tells_it(client_as, technician, sheet):
    """The page of a rig is in English for everybody, that of a sheet in its reader’s language."""
    client = client_as(technician)
    rig = sheet.rig
    on_rig = client.post(
        f"/rigs/{rig.number}/found/",
        {"request_id": str(uuid4()), "text": "gotea", "component": "rig", "is_grave": "on"},
        follow=True,
    )
    said = "Found work is written down. The rig must not leave until it is put right."
    assert said in text_of(on_rig)
    on_sheet = client.post(
        f"/found/new/?back=/sheets/{sheet.number}/",
        {"request_id": str(uuid4()), "rig": rig.number, "text": "gotea más"},
        follow=True,
    )
    assert on_sheet.redirect_chain[-1][0] == f"/sheets/{sheet.number}/"
    assert f"Quedó anotado el trabajo encontrado en el equipo {rig}." in text_of(on_sheet)


def round_of(phone: Phone, *, live: bool = True, **more: Any) -> dict[str, Any]:
    item, _ = RoundItem.objects.get_or_create(
        code="R1",
        kind=phone.sheet.rig.positions.first().kind,
        defaults={"text": "Look", "every": "day"},
    )
    answers = [{"item": item.pk, "answer": "right"}]
    return phone.entry("round", **{"answers": answers, "live": live, **more})


def test_a_round_on_a_phone_is_answered_in_spanish_and_told_on_the_rig_in_english(
    client_as, technician, sheet
):
    phone = Phone(technician, sheet, rig=sheet.rig)
    client = client_as(technician)

    def send(made: dict[str, Any]) -> dict[str, str]:
        answer = client.post(
            f"/rigs/{sheet.rig.number}/entries/",
            json.dumps(phone.batch(made)),
            content_type="application/json",
            headers={"accept-language": "es"},
        )
        return answer.json()["outcomes"][made["event_id"]]

    empty = send(round_of(phone, answers=[]))
    assert empty["words"] == "Responda los puntos de la ronda."
    assert send(round_of(phone))["words"] == "La ronda está guardada: 1 en orden."
    assert "The round is kept: 1 in order." in text_of(client.get(f"/rigs/{sheet.rig.number}/"))
    twice = send(round_of(phone))
    assert twice["words"] == f"La ronda de este día ya la registró {technician.name}."
    # Late it waits, is kept for the office, and is said on the page of the round.
    assert send(round_of(phone, live=False))["state"] == "waiting"
    kept = f"The round of this day was recorded already, by {technician.name}."
    assert Unsettled.objects.get().reason == kept
    page = text_of(client.get(f"/rigs/{sheet.rig.number}/round/"))
    assert f"Enviado, espera a un encargado: {twice['words']}" in page
    assert "1 en orden" in page


def test_a_word_is_said_in_the_language_of_the_page_that_shows_it(client_as, technician, sheet):
    """A person who reads English is led to the same page, and reads it there."""
    for language, said in (
        ("es", f"La hoja {sheet} está en espera de piezas."),
        ("en", f"Sheet {sheet} waits for parts."),
    ):
        Person.objects.filter(pk=technician.pk).update(language=language)
        answer = client_as(technician).post(
            f"/sheets/{sheet.number}/waiting/",
            {"request_id": str(uuid4()), "missing": "una abrazadera"},
            follow=True,
        )
        assert answer.redirect_chain[-1][0] == f"/sheets/{sheet.number}/"
        assert said in text_of(answer)


@dataclass
class Desk:
    """The small shop, and a technician's hands on a sheet of both its services."""

    world: SheetWorld
    technician: Person

    def handed_out(self) -> Hands:
        sheet = self.world.draft()
        hand_out(sheet=sheet, technician=self.technician, author=self.world.manager, at=NOW)
        return Hands(ServiceSheet.objects.get(pk=sheet.pk), self.technician)

    def under_way(self) -> Hands:
        hands = self.handed_out()
        clocking.start_time(sheet=hands.sheet, event_id=uuid4(), **self.at())
        hands.open_the_checks()
        hands.answer(hands.check("Oil and filter changed"), "na", note="ya lo cambió otro")
        hands.answer(
            hands.check("Volts at rated load"),
            "value",
            value=Decimal(300),
            remedy="found_work",
            finding_text="el regulador",
            is_grave=True,
        )
        handing_over.hand_over(
            sheet=hands.sheet, words="falta la pistola", to=None, event_id=uuid4(), **self.at()
        )
        return hands

    def signed(self) -> ServiceSheet:
        versions = type(self.world.rebuild.version).objects
        versions.filter(pk=self.world.rebuild.version_id).update(second_look=True)
        hands = self.handed_out()
        hands.take()
        hands.open_the_checks()
        hands.do_the_checks()
        counter = self.world.fleet.counters["hours"]
        working.enter_reading(
            sheet=hands.sheet, new=NewReading(counter, Decimal(215)), event_id=uuid4(), **self.at()
        )
        hands.use()
        return hands.sign()

    def at(self) -> dict[str, Any]:
        return {"author": self.technician, "at": NOW, "recorded_at": NOW}


def drafted(desk: Desk) -> ServiceSheet:
    return desk.world.draft()


def short_of_parts(desk: Desk) -> ServiceSheet:
    service = desk.world.oil.version.service
    set_need(service=service, part=desk.world.filter_part, quantity_steps=3)
    return desk.world.draft()


def handed_out(desk: Desk) -> ServiceSheet:
    return desk.handed_out().sheet


def under_way(desk: Desk) -> ServiceSheet:
    return desk.under_way().sheet


def waiting_for_parts(desk: Desk) -> ServiceSheet:
    hands = desk.handed_out()
    part = [desk.world.filter_part]
    waiting.wait_for_parts(
        sheet=hands.sheet, missing="una abrazadera", parts=part, event_id=uuid4(), **desk.at()
    )
    return hands.sheet


def signed(desk: Desk) -> ServiceSheet:
    return desk.signed()


def looked_at(desk: Desk) -> ServiceSheet:
    sheet = desk.signed()
    look_again(
        sheet=sheet,
        outcome="not_right",
        text="sello flojo",
        author=desk.world.manager,
        at=NOW,
        request_id=uuid4(),
    )
    return sheet


def corrects(desk: Desk) -> ServiceSheet:
    """Each thing that may be corrected, corrected."""
    sheet, world = desk.signed(), desk.world
    volts = sheet.steps.select_related("line", "entry").get(title="Volts at rated load")
    seal = sheet.steps.select_related("line", "entry").get(title="Side seal")
    right = Right(
        readings=[RightReading(sheet.readings.get(), Decimal(214))],
        checks=[RightCheck(volts, Decimal(231)), RightCheck(seal, None, "replaced")],
        parts=[RightPart(world.filter_part, 0, world.bin)],
        not_done=[sheet.lines.get(version=world.rebuild.version)],
        labour_minutes=100,
    )
    return correct_sheet(
        sheet=sheet,
        right=right,
        reason="mala luz",
        signature="A. Manager",
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )


def corrected(desk: Desk) -> ServiceSheet:
    old = corrects(desk).corrects
    assert old
    return old


def unsettled(desk: Desk) -> ServiceSheet:
    """Signed, and of what came late something waits and something is set aside."""
    sheet = desk.signed()
    phone = Phone(desk.technician, sheet)
    counter = desk.world.fleet.counters["hours"].pk
    steps = {step.title: step for step in sheet.steps.all()}
    phone.send(
        phone.answer(steps["Volts at rated load"], "value", value="239"),
        phone.answer(steps["Side seal"], "choice", choice="replaced"),
        phone.entry("reading", counter=counter, value="300"),
        phone.entry("used", row=sheet.parts.all()[0].pk, part="F-09", used="1"),
        phone.entry("found", text="fuga", is_grave=True),
        phone.entry("clock", does="stop"),
        phone.entry("wait", missing="una manguera"),
    )
    first = Unsettled.objects.order_by("pk")[0]
    set_aside(unsettled=first, note="repetido", author=desk.world.manager, at=NOW)
    return sheet


def locked(desk: Desk) -> ServiceSheet:
    """Under way, and what came late from a phone found its checks locked."""
    hands = desk.handed_out()
    phone = Phone(desk.technician, hands.sheet)
    phone.send(phone.answer(hands.check("Volts at rated load"), "value", value="239"))
    return hands.sheet


def void(desk: Desk) -> ServiceSheet:
    hands = desk.handed_out()
    hands.take()
    drafting.void_sheet(
        sheet=hands.sheet,
        author=desk.world.manager,
        at=NOW,
        reason="se vendió el equipo",
        request_id=uuid4(),
    )
    return hands.sheet


def on_the_bench(desk: Desk) -> ServiceSheet:
    gun = desk.world.fleet.components["gun"]
    return desk.world.draft(desk.world.rebuild, rig=None, component=gun)


def charged_to_a_rig(desk: Desk) -> ServiceSheet:
    world = desk.world
    gun = world.fleet.components["gun"]
    return world.draft(world.rebuild, rig=None, component=gun, charged_rig=world.fleet.rig)


STATES = (
    drafted,
    short_of_parts,
    handed_out,
    under_way,
    waiting_for_parts,
    signed,
    looked_at,
    corrects,
    corrected,
    unsettled,
    locked,
    void,
    on_the_bench,
    charged_to_a_rig,
)


@pytest.fixture
def desk(shop, manager, technician) -> Desk:
    return Desk(sheet_world(shop, manager), technician)


@pytest.fixture(params=[Role.TECHNICIAN, Role.MANAGER])
def reader(request, person_as, technician) -> Person:
    person = person_as(request.param)
    Person.objects.filter(pk=person.pk).update(language="es")
    return person


@pytest.mark.parametrize("state", STATES)
def test_the_page_of_a_sheet_says_nothing_of_ours_in_english(client_as, desk, reader, state):
    address, client = f"/sheets/{state(desk).number}/", client_as(reader)
    page = client.get(address).content.decode()
    assert '<html lang="es"' in page
    assert left_in_english(page) == []
    # Its twin: the same look, with the language taken away.
    Person.objects.filter(pk=reader.pk).update(language="en")
    assert len(left_in_english(client.get(address).content.decode())) > 20
