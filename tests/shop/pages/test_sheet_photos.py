"""Photos of found work that phones send late, by their pen; and notes left on the page."""

from collections.abc import Callable
from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.core.files.storage import default_storage
from django.test import Client
from django.urls import reverse

from equipment.models import Finding, FindingPhoto, Rig
from equipment.services import open_finding
from equipment.services.photos import MOST_OF_FOUND_WORK, photos_of_found
from shop.models import LineNote, Person, Role, Shop, Unsettled
from shop.services import late_photos
from shop.services.arriving import read_pen
from shop.services.late_photos import NotYet, take_photo
from tests.equipment.photographs import photo_file
from tests.shop.phones import Phone
from tests.shop.services.conftest import rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def phone(world: SheetWorld, technician: Person) -> Phone:
    return Phone(technician, world.draft())


@pytest.fixture
def nobody() -> Client:
    return Client(raise_request_exception=False, enforce_csrf_checks=True)


def send(client: Client, phone: Phone, event_id: Any, **other: Any) -> Any:
    given = {
        "pen": phone.pen,
        "photo_id": str(uuid4()),
        "event_id": str(event_id),
        "photo": photo_file(size=(300, 200)),
        **other,
    }
    with time_machine.travel(NOW, tick=False):
        name = "shop:rig_photo" if phone.rig else "shop:sheet_photo"
        return client.post(reverse(name, args=[phone.of.number]), given)


def report(phone: Phone, text: str = "hose rubs") -> dict[str, Any]:
    entry = phone.entry("found", text=text, is_grave=True)
    assert [each.state for each in phone.send(entry)] == ["taken"]
    return entry


def shown() -> list[FindingPhoto]:
    finding = Finding.objects.latest("pk")
    return photos_of_found([finding]).get(finding.request_id, [])


class TestTaken:
    def test_nobody_signed_in_and_it_is_its_authors(self, nobody: Client, phone: Phone) -> None:
        entry = report(phone)
        answer = send(nobody, phone, entry["event_id"])
        assert (answer.status_code, answer.content.decode()) == (200, "The photo is kept.")
        assert [photo.author for photo in shown()] == [phone.who]

    def test_the_sheet_shows_it_beside_what_was_found(
        self, nobody: Client, phone: Phone, client_as: Callable[..., Client]
    ) -> None:
        send(nobody, phone, report(phone)["event_id"])
        [photo] = shown()
        page = client_as(Role.MANAGER).get(f"/sheets/{phone.sheet.number}/").content.decode()
        assert f'href="{reverse("equipment:photo", args=[photo.digest])}"' in page

    def test_sent_twice_it_counts_once(self, nobody: Client, phone: Phone) -> None:
        entry, photo_id = report(phone), str(uuid4())
        for _ in range(2):
            assert send(nobody, phone, entry["event_id"], photo_id=photo_id).status_code == 200
        # Another id, the same picture: a phone that forgot that it had sent it.
        assert send(nobody, phone, entry["event_id"]).status_code == 200
        assert len(shown()) == 1

    def test_before_its_found_work_is_here(self, nobody: Client, phone: Phone) -> None:
        entry = phone.entry("found", text="hose rubs", is_grave=True)
        assert send(nobody, phone, entry["event_id"]).status_code == 200
        phone.send(entry)
        assert len(shown()) == 1

    def test_of_found_work_opened_by_a_value_out_of_limit(
        self, nobody: Client, phone: Phone
    ) -> None:
        phone.send(*phone.before_the_checks())
        step = phone.sheet.steps.get(title="Volts at rated load")
        entry = phone.answer(
            step, "value", value="282", remedy="found_work", finding_text="regulator drifts"
        )
        assert [each.state for each in phone.send(entry)] == ["taken"]
        assert send(nobody, phone, entry["event_id"]).status_code == 200
        assert Finding.objects.latest("pk").text == "regulator drifts"
        assert len(shown()) == 1

    def test_a_signed_sheet_takes_them_still(self, nobody: Client, phone: Phone) -> None:
        entry = report(phone)
        type(phone.sheet).objects.filter(pk=phone.sheet.pk).update(
            state="signed", signed_by=phone.who, signed_at=NOW
        )
        assert send(nobody, phone, entry["event_id"]).status_code == 200


class TestRefused:
    @pytest.mark.parametrize("pen", ["", "x", "a\x00b", "{}:1:2", "9" * 4000])
    def test_without_a_pen_of_ours(self, nobody: Client, phone: Phone, pen: str) -> None:
        entry = report(phone)
        before = rows_of_every_table()
        answer = send(nobody, phone, entry["event_id"], pen=pen)
        assert answer.status_code == 403
        assert rows_of_every_table() == before

    def test_twin_with_the_pen_it_is_taken(self, nobody: Client, phone: Phone) -> None:
        assert send(nobody, phone, report(phone)["event_id"], pen=phone.pen).status_code == 200

    @pytest.mark.parametrize(
        ("other", "words"),
        [
            ({"photo": BytesIO(b"<svg xmlns='http://www.w3.org/2000/svg'/>")}, "no photo"),
            ({"photo": ""}, "did not come along"),
            ({"photo_id": "x"}, "without saying what it shows"),
            ({"event_id": "a\x00b"}, "without saying what it shows"),
        ],
    )
    def test_what_is_no_photo_or_of_nothing(
        self, nobody: Client, phone: Phone, other: dict[str, Any], words: str
    ) -> None:
        event_id = report(phone)["event_id"]
        answer = send(nobody, phone, **{"event_id": event_id, **other})
        assert answer.status_code == 422
        assert words in answer.content.decode()
        assert answer["Content-Type"].startswith("text/plain")
        assert not FindingPhoto.objects.exists()

    def test_of_another_sheet(self, nobody: Client, phone: Phone, world: SheetWorld) -> None:
        other = open_finding(
            rig=world.fleet.rig, text="rubs", author=phone.who, at=NOW, request_id=uuid4()
        )
        answer = send(nobody, phone, other.request_id)
        assert answer.status_code == 422
        assert "not reported on this sheet" in answer.content.decode()

    def test_more_than_it_takes(self, nobody: Client, phone: Phone) -> None:
        entry = report(phone)
        for width in range(MOST_OF_FOUND_WORK):
            photo = photo_file(size=(300 + width, 200))
            assert send(nobody, phone, entry["event_id"], photo=photo).status_code == 200
        answer = send(nobody, phone, entry["event_id"], photo=photo_file(size=(200, 200)))
        assert answer.status_code == 422

    def test_too_large_is_refused_unread(
        self, nobody: Client, phone: Phone, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        entry = report(phone)
        monkeypatch.setattr("shop.views.work.photos.MOST_MEGABYTES", 0)
        monkeypatch.setattr("shop.views.work.photos.BESIDES", 0)
        assert send(nobody, phone, entry["event_id"]).status_code == 413

    def test_a_full_disk_leaves_it_on_the_phone(
        self, nobody: Client, phone: Phone, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(*args: object, **kwargs: object) -> str:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(type(default_storage), "save", full, raising=False)
        photo = photo_file(size=(361, 200))
        assert send(nobody, phone, report(phone)["event_id"], photo=photo).status_code == 503
        assert not FindingPhoto.objects.exists()

    def test_no_such_sheet_and_only_posted_to(self, nobody: Client, phone: Phone) -> None:
        given = {"pen": phone.pen}
        with time_machine.travel(NOW, tick=False):
            assert nobody.post("/sheets/9999/photos/", given).status_code == 404
        assert nobody.get(f"/sheets/{phone.sheet.number}/photos/").status_code == 405


class TestPenInDoubt:
    """Of somebody switched off since: only beside what they reported themselves."""

    @pytest.fixture
    def gone(self, phone: Phone) -> Phone:
        Person.objects.filter(pk=phone.who.pk).update(is_active=False)
        return phone

    def test_of_its_own_entry_that_waits_for_a_manager(self, nobody: Client, gone: Phone) -> None:
        entry = gone.entry("found", text="hose rubs", is_grave=True)
        assert send(nobody, gone, entry["event_id"]).status_code == 503
        assert [each.state for each in gone.send(entry)] == ["waiting"]
        assert Unsettled.objects.exists()
        assert send(nobody, gone, entry["event_id"]).status_code == 200

    def test_not_of_what_another_reported(
        self, nobody: Client, phone: Phone, world: SheetWorld, manager: Person
    ) -> None:
        entry = report(Phone(manager, phone.sheet))
        Person.objects.filter(pk=phone.who.pk).update(is_active=False)
        assert send(nobody, phone, entry["event_id"]).status_code == 503
        assert not FindingPhoto.objects.exists()

    def test_twin_without_the_look_it_comes_in(
        self, gone: Phone, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        given = {
            "of": gone.sheet,
            "pen": read_pen(gone.pen, at=NOW),
            "event_id": uuid4(),
            "picture": _picture(),
            "photo_id": uuid4(),
            "at": NOW,
        }
        with pytest.raises(NotYet):
            take_photo(**given)
        monkeypatch.setattr(late_photos, "_is_own", lambda *given: True)
        assert take_photo(**given).author == gone.who


class TestOfARig:
    """Reported on the page of its round, so that no sheet is in it."""

    @pytest.fixture
    def phone(self, phone: Phone, world: SheetWorld) -> Phone:
        phone.rig = world.fleet.rig
        return phone

    @pytest.mark.parametrize("is_first", [True, False])
    def test_before_its_found_work_and_behind_it(
        self, nobody: Client, phone: Phone, is_first: bool
    ) -> None:
        entry = phone.entry("found", text="hose rubs")
        if not is_first:
            phone.send(entry)
        assert send(nobody, phone, entry["event_id"]).status_code == 200
        phone.send(entry)
        assert [photo.author for photo in shown()] == [phone.who]

    def test_of_another_rig(self, nobody: Client, phone: Phone, manager: Person) -> None:
        other = Rig.objects.create(name="Trailer 7", number=7, created_at=NOW)
        found = open_finding(rig=other, text="rubs", author=phone.who, at=NOW, request_id=uuid4())
        answer = send(nobody, phone, found.request_id)
        assert answer.status_code == 422
        assert "not reported of this rig" in answer.content.decode()
        assert not FindingPhoto.objects.exists()

    def test_a_pen_in_doubt_adds_to_its_own_of_this_rig(
        self, nobody: Client, phone: Phone, world: SheetWorld
    ) -> None:
        Person.objects.filter(pk=phone.who.pk).update(is_active=False)
        entry = phone.entry("found", text="hose rubs")
        assert send(nobody, phone, entry["event_id"]).status_code == 503
        assert [each.state for each in phone.send(entry)] == ["waiting"]
        # It waits of this rig, and of no other.
        phone.rig = Rig.objects.create(name="Trailer 7", number=7, created_at=NOW)
        assert send(nobody, phone, entry["event_id"]).status_code == 503
        phone.rig = world.fleet.rig
        assert send(nobody, phone, entry["event_id"]).status_code == 200

    def test_a_pen_in_doubt_adds_nothing_to_what_another_reported(
        self, nobody: Client, phone: Phone, manager: Person
    ) -> None:
        entry = report(Phone(manager, phone.sheet, rig=phone.rig))
        Person.objects.filter(pk=phone.who.pk).update(is_active=False)
        assert send(nobody, phone, entry["event_id"]).status_code == 503
        assert not FindingPhoto.objects.exists()

    def test_no_such_rig(self, nobody: Client, phone: Phone) -> None:
        assert nobody.post("/rigs/99/photos/", {"pen": phone.pen}).status_code == 404


def _picture() -> Any:
    from equipment.pictures import shrink

    return shrink(photo_file())


class TestNotes:
    def test_left_on_the_page_and_read_by_all_of_the_crew(
        self, client_as: Callable[..., Client], phone: Phone
    ) -> None:
        client = client_as(phone.who)
        url = reverse("shop:line_note", args=[phone.sheet.number, 1])
        given = {"text": "left-hand thread", "event_id": str(uuid4())}
        for _ in range(2):
            answer = client.post(url, given)
            assert answer["Location"] == f"/sheets/{phone.sheet.number}/work/#line-1"
        assert LineNote.objects.get().text == "left-hand thread"

    def test_from_a_phone_later(self, phone: Phone) -> None:
        entry = phone.entry("next", line=1, text="left-hand thread")
        wrong = phone.entry("next", line=99, text="nowhere")
        assert [each.state for each in phone.send(entry, wrong)] == ["taken", "waiting"]
        assert LineNote.objects.get().author == phone.who

    def test_not_by_an_owner(self, client_as: Callable[..., Client], phone: Phone) -> None:
        url = reverse("shop:line_note", args=[phone.sheet.number, 1])
        assert client_as("owner").post(url, {"text": "x"}).status_code == 403
        assert client_as("technician").post(f"{url}", {"event_id": "x"}).status_code == 404
