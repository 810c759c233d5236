"""The section "What we know": written by the crew, pictures and files by managers, read by all."""

from io import BytesIO
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.test import Client

from equipment.models import ComponentType, Known, Service
from equipment.services.knowing import keep_known
from tests.equipment.factories import SprayRig, day, service_for
from tests.equipment.pages.browsing import (
    Page,
    hidden_of,
    html_of,
    keeps,
    queries_of,
    said,
    text_of,
)
from tests.equipment.papers import pdf_file, rewritten, with_script
from tests.equipment.photographs import photo_file

pytestmark = pytest.mark.django_db


@pytest.fixture
def gun(spray: SprayRig) -> ComponentType:
    return spray.components["gun"].type


@pytest.fixture
def rebuild(spray: SprayRig) -> Service:
    return service_for(spray.components["gun"], ("gallons", 1000), author=spray.author).service


def named(content: bytes, name: str) -> BytesIO:
    file = BytesIO(content)
    file.name = name
    return file


class TestNotes:
    def test_a_technician_writes_one_and_everybody_reads_it(
        self, phone: Client, owner_client: Client, gun: ComponentType
    ) -> None:
        page = Page(phone, "equipment:type_note", gun.pk)
        for _ in range(2):
            answer = page.send(text="Torque to 12", document="Maker’s sheet 4", page="page 7")
            assert answer["Location"] == f"/types/{gun.pk}/#known"
        shown = text_of(owner_client.get(f"/types/{gun.pk}/"))
        assert "Torque to 12" in shown
        assert "Where it stands: Maker’s sheet 4, page 7. A. Technician, 8 Jan" in shown
        assert "Write a note" not in shown
        assert Known.objects.count() == 1

    def test_a_service_has_its_own(self, phone: Client, rebuild: Service) -> None:
        url = f"/services/{rebuild.pk}/"
        assert "Nothing is written down yet." in text_of(phone.get(url))
        Page(phone, "equipment:service_note", rebuild.pk).send(text="Warm it first")
        assert "Warm it first" in text_of(phone.get(url))

    def test_a_newer_one_begins_with_the_older_which_stays_readable(
        self, phone: Client, desk: Client, gun: ComponentType
    ) -> None:
        Page(desk, "equipment:type_note", gun.pk).send(text="Torque to 10")
        page = Page(phone, "equipment:newer_note", Known.objects.get().pk)
        assert ">Torque to 10</textarea>" in html_of(page.shown).replace("\n", "")
        page.send(text="Torque to 12")
        shown = text_of(phone.get(f"/types/{gun.pk}/"))
        assert shown.index("Torque to 12") < shown.index("What it said before")
        assert "Torque to 10" in shown
        # Whoever still has the old page open is told, and keeps what was typed.
        late = page.client.post(page.url, {**page.hidden, "request_id": uuid4(), "text": "To 11"})
        assert late.status_code == 422
        assert "There is a newer one by now. Read it first." in text_of(late)
        assert "To 11" in html_of(late)

    def test_nothing_said_and_too_much(self, phone: Client, gun: ComponentType) -> None:
        page = Page(phone, "equipment:type_note", gun.pk)
        answer = page.send(text=" ", document="Sheet 4")
        assert answer.status_code == 422
        assert keeps(answer, "document", "Sheet 4")
        assert page.send(text="x" * 601).status_code == 422

    def test_a_manager_takes_one_off_with_a_reason(
        self, desk: Client, phone: Client, gun: ComponentType
    ) -> None:
        Page(desk, "equipment:type_note", gun.pk).send(text="Torque to 10")
        page = Page(desk, "equipment:take_off_known", Known.objects.get().pk)
        assert page.send(reason=" ").status_code == 422
        page.send(reason="of the old model")
        shown = text_of(phone.get(f"/types/{gun.pk}/"))
        assert "Nothing is written down yet." in shown
        assert "Taken off by A. Manager, 8 Jan: of the old model" in shown
        assert page.send(reason="again").status_code == 422
        assert phone.get(page.url).status_code == 403


class TestFiles:
    def test_a_picture_is_shown_and_printed(self, desk: Client, gun: ComponentType) -> None:
        page = Page(desk, "equipment:type_file", gun.pk)
        answer = page.send(file=photo_file(), text="Exploded view", is_printed="on")
        assert said(answer) == "The picture is kept."
        known = Known.objects.get()
        assert (known.kind, bool(known.printed_since)) == ("picture", True)
        shown = html_of(desk.get(f"/types/{gun.pk}/"))
        assert f'src="/photos/{known.digest}.jpg"' in shown
        assert 'alt="Exploded view"' in shown
        assert "Printed on service sheets." in shown
        desk.post(f"/known/{known.pk}/printed/", {"print": "no"})
        assert "Printed on service sheets." not in html_of(desk.get(f"/types/{gun.pk}/"))

    def test_a_pdf_is_kept_as_it_came(self, desk: Client, phone: Client, rebuild: Service) -> None:
        sent = pdf_file(pages=3)
        Page(desk, "equipment:service_file", rebuild.pk).send(file=sent, text="Torque table")
        known = Known.objects.get()
        assert (known.kind, known.pages) == ("file", 3)
        url = f"/known/files/{known.digest}.pdf"
        assert f'href="{url}"' in html_of(phone.get(f"/services/{rebuild.pk}/"))
        answer = phone.get(url)
        assert b"".join(answer.streaming_content) == sent.getvalue()  # type: ignore[arg-type]
        assert answer["Content-Type"] == "application/pdf"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert answer["Content-Disposition"] == f'attachment; filename="{known.digest[:12]}.pdf"'
        assert "immutable" in answer["Cache-Control"]
        again = phone.get(url, headers={"If-None-Match": answer["ETag"]})
        assert again.status_code == 304

    def test_to_nobody_who_has_not_signed_in(self, desk: Client, rebuild: Service) -> None:
        Page(desk, "equipment:service_file", rebuild.pk).send(file=pdf_file(), text="Table")
        answer = Client().get(f"/known/files/{Known.objects.get().digest}.pdf")
        assert answer["Location"].startswith("/sign-in/")

    @pytest.mark.parametrize("name", ["x", "f" * 64, "0" * 63])
    def test_what_is_not_there(self, phone: Client, spray: SprayRig, name: str) -> None:
        assert phone.get(f"/known/files/{name}.pdf").status_code == 404

    @pytest.mark.parametrize(
        ("file", "words"),
        [
            (lambda: named(b"<svg xmlns='http://www.w3.org/2000/svg'/>", "x.png"), "no photo"),
            (lambda: named(b"<html><script>1</script>", "x.pdf"), "no photo"),
            (lambda: named(b"%PDF-1.7 nothing", "x.pdf"), "PDF is broken"),
            (lambda: rewritten(with_script), "carries a program"),
            (lambda: named(b"", "x.pdf"), "The file came empty."),
            (lambda: named(photo_file().getvalue(), "x" * 201 + ".png"), "name is too long"),
        ],
    )
    def test_what_is_in_it_counts_and_not_its_name(
        self, desk: Client, gun: ComponentType, file: Any, words: str
    ) -> None:
        answer = Page(desk, "equipment:type_file", gun.pk).send(file=file(), text="Exploded view")
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert "Exploded view" in html_of(answer)
        assert not Known.objects.exists()

    def test_a_picture_by_another_name_is_a_picture(self, desk: Client, gun: ComponentType) -> None:
        Page(desk, "equipment:type_file", gun.pk).send(
            file=named(photo_file().getvalue(), "x.pdf"), text="Exploded view"
        )
        assert Known.objects.get().kind == "picture"

    @pytest.mark.parametrize("file", [photo_file, pdf_file])
    def test_it_survives_what_else_is_wrong(
        self, desk: Client, gun: ComponentType, file: Any
    ) -> None:
        page = Page(desk, "equipment:type_file", gun.pk)
        answer = page.send(file=file(), text=" ")
        assert answer.status_code == 422
        assert "The file is here already." in text_of(answer)
        answer = desk.post(page.url, {**hidden_of(answer), "text": "Exploded view"})
        assert answer.status_code == 302
        assert Known.objects.get().text == "Exploded view"

    @pytest.mark.parametrize(
        "held",
        ["picture:../../secret-key:0", "file:" + "f" * 64 + ":1", "a\x00:b:²", "::", "x" * 9000],
    )
    def test_a_made_up_hash_is_no_file(self, desk: Client, gun: ComponentType, held: str) -> None:
        answer = Page(desk, "equipment:type_file", gun.pk).send(file_id=held, text="Exploded")
        assert answer.status_code == 422
        assert "Choose a picture or a PDF." in text_of(answer)

    def test_a_pdf_is_not_printed_on_sheets(self, desk: Client, gun: ComponentType) -> None:
        answer = Page(desk, "equipment:type_file", gun.pk).send(
            file=pdf_file(), text="Table", is_printed="on"
        )
        assert answer.status_code == 422
        assert "Only a picture is printed on sheets, not a PDF." in text_of(answer)

    def test_a_newer_picture_stands_in_its_place(self, desk: Client, gun: ComponentType) -> None:
        Page(desk, "equipment:type_file", gun.pk).send(
            file=photo_file(size=(300, 200)), text="Exploded view", is_printed="on"
        )
        older = Known.objects.get()
        Page(desk, "equipment:newer_file", older.pk).send(
            file=photo_file(size=(310, 200)), text="Exploded view"
        )
        newer = Known.objects.in_force().get()
        assert (newer.replaces, bool(newer.printed_since)) == (older, True)
        assert f'href="/photos/{older.digest}.jpg"' in html_of(desk.get(f"/types/{gun.pk}/"))

    def test_a_full_disk_is_said_and_nothing_half_kept(
        self, desk: Client, gun: ComponentType, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(*args: object, **kwargs: object) -> str:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(type(default_storage), "save", full, raising=False)
        answer = Page(desk, "equipment:type_file", gun.pk).send(
            file=photo_file(size=(351, 200)), text="Exploded view"
        )
        assert answer.status_code == 422
        assert "The file could not be stored." in text_of(answer)
        assert not Known.objects.exists()

    def test_a_technician_adds_none(self, phone: Client, gun: ComponentType) -> None:
        assert phone.get(f"/types/{gun.pk}/file/").status_code == 403
        assert "Add a picture or a PDF" not in text_of(phone.get(f"/types/{gun.pk}/"))
        assert "Write a note" in text_of(phone.get(f"/types/{gun.pk}/"))

    def test_a_note_has_no_newer_file_and_a_file_no_newer_note(
        self, desk: Client, gun: ComponentType
    ) -> None:
        Page(desk, "equipment:type_note", gun.pk).send(text="Torque")
        note = Known.objects.get()
        Page(desk, "equipment:type_file", gun.pk).send(file=pdf_file(), text="Table")
        file = Known.objects.latest("pk")
        assert desk.get(f"/known/{note.pk}/newer-file/").status_code == 404
        assert desk.get(f"/known/{file.pk}/newer/").status_code == 404
        assert desk.post(f"/known/{file.pk}/printed/", {"print": "yes"}).status_code == 302
        assert not Known.objects.filter(printed_since__isnull=False).exists()


def test_a_type_names_what_we_have_of_it_and_is_reached_from_there(
    phone: Client, spray: SprayRig, gun: ComponentType, rebuild: Service
) -> None:
    tag = spray.components["gun"].tag
    assert f'href="/types/{gun.pk}/"' in html_of(phone.get(f"/components/{tag}/"))
    shown = html_of(phone.get(f"/types/{gun.pk}/"))
    assert f'href="/components/{tag}/"' in shown
    assert f'href="/services/{rebuild.pk}/"' in shown
    assert phone.get("/types/9999/").status_code == 404


def test_no_more_queries_for_more_of_it(desk: Client, gun: ComponentType, spray: SprayRig) -> None:
    def note() -> None:
        keep_known(
            about=gun,
            kind="note",
            text="Torque",
            author=spray.author,
            at=day(2),
            request_id=uuid4(),
        )

    note()
    few = queries_of(desk, f"/types/{gun.pk}/")
    for _ in range(12):
        note()
    assert queries_of(desk, f"/types/{gun.pk}/") == few
