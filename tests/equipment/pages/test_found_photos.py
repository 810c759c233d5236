"""Photos of found work: several, with the report or later; none counted twice, none lost."""

from io import BytesIO
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.core.files.storage import default_storage
from django.db import DatabaseError, connection, transaction
from django.test import Client

from equipment.models import Finding, FindingPhoto
from equipment.pictures import shrink
from equipment.services import open_finding, photos
from equipment.services.photos import (
    MOST_OF_FOUND_WORK,
    TooManyPhotos,
    attach_to_found,
    file_of,
    store_picture,
)
from inventory import guards
from tests.equipment.factories import SprayRig, day, spray_rig
from tests.equipment.pages.browsing import Page, hidden_of, html_of, said, text_of
from tests.equipment.photographs import photo_file
from tests.races import all_meet_in, at_once

pytestmark = pytest.mark.django_db


def several(*widths: int) -> list[BytesIO]:
    return [photo_file(size=(width, 200)) for width in widths]


@pytest.fixture
def page(phone: Client, spray: SprayRig) -> Page:
    return Page(phone, "equipment:new_finding", 4)


def found(spray: SprayRig, **fields: Any) -> Finding:
    return open_finding(
        **{
            "rig": spray.rig,
            "text": "Cracked sight glass",
            "is_grave": True,
            "author": spray.author,
            "at": day(2),
            "request_id": uuid4(),
            **fields,
        }
    )


class TestReporting:
    def test_several_go_with_the_report_and_are_shown_where_it_is(
        self, page: Page, phone: Client, spray: SprayRig
    ) -> None:
        answer = page.send(
            text="Ramp bent", component="rig", is_grave="on", photos=several(300, 310, 320)
        )
        assert answer.status_code == 302
        digests = list(FindingPhoto.objects.values_list("digest", flat=True))
        assert len(digests) == 3
        for url in ("/rigs/4/", f"/found/{Finding.objects.get().pk}/", "/rigs/4/readings/"):
            shown = html_of(phone.get(url))
            for digest in digests:
                assert f'src="/photos/{digest}.jpg?small"' in shown, url
        # The rig's own page shows them in the banner and among the open found work.
        assert html_of(phone.get("/rigs/4/")).count(f'href="/photos/{digests[0]}.jpg"') == 2
        assert 'alt="Photo 1 of: Ramp bent, 8 Jan, A. Technician"' in html_of(phone.get("/rigs/4/"))

    def test_sent_twice_they_count_once(self, page: Page) -> None:
        for _ in range(2):
            page.send(text="Ramp bent", component="rig", photos=several(300, 310))
        assert (Finding.objects.count(), FindingPhoto.objects.count()) == (1, 2)

    def test_they_survive_what_else_is_wrong(self, page: Page) -> None:
        answer = page.send(text=" ", component="rig", photos=several(300, 310))
        assert answer.status_code == 422
        assert "These photos are here already." in text_of(answer)
        again = hidden_of(answer)
        answer = page.client.post(
            page.url, {**again, "text": "Ramp bent", "component": "rig", "photos": several(320)}
        )
        assert answer.status_code == 302
        assert FindingPhoto.objects.count() == 3

    def test_one_that_is_no_photo_is_said_beside_the_field(self, page: Page) -> None:
        svg = BytesIO(b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>")
        svg.name = "x.jpg"
        answer = page.send(text="Ramp bent", component="rig", photos=[photo_file(), svg])
        assert answer.status_code == 422
        assert "Send a JPEG, PNG or WEBP picture." in text_of(answer)
        assert not Finding.objects.exists()

    def test_more_at_once_than_a_sending_takes(self, page: Page) -> None:
        answer = page.send(text="Ramp bent", component="rig", photos=several(*range(300, 307)))
        assert answer.status_code == 422
        assert "Send at most 6 photos at once." in text_of(answer)

    @pytest.mark.parametrize("held", ["../../secret-key", "f" * 64, "a\x00b,²", "9" * 4000, ",,,"])
    def test_a_made_up_hash_is_no_photo(self, page: Page, held: str) -> None:
        assert page.send(text="Bent", component="rig", photo_ids=held).status_code == 302
        assert not FindingPhoto.objects.exists()

    def test_a_full_disk_loses_the_photo_and_not_the_found_work(
        self, page: Page, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def full(*args: object, **kwargs: object) -> str:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(type(default_storage), "save", full, raising=False)
        answer = page.send(text="Bent", component="rig", photos=several(341))
        assert answer.status_code == 302
        assert "The photo could not be stored." in said(answer)
        assert (Finding.objects.count(), FindingPhoto.objects.count()) == (1, 0)


class TestLater:
    def test_added_on_its_page(self, phone: Client, spray: SprayRig) -> None:
        page = Page(phone, "equipment:finding", found(spray).pk)
        assert page.send(photos=several(300)).status_code == 302
        photo = FindingPhoto.objects.get()
        assert (photo.author.name, photo.found_id) == (
            "A. Technician",
            Finding.objects.get().request_id,
        )
        # The same photo once more, by another sending, is the same photo.
        Page(phone, "equipment:finding", Finding.objects.get().pk).send(photos=several(300))
        assert FindingPhoto.objects.count() == 1

    def test_none_chosen_is_said(self, phone: Client, spray: SprayRig) -> None:
        answer = Page(phone, "equipment:finding", found(spray).pk).send()
        assert answer.status_code == 422
        assert "Choose a photo, or take one." in text_of(answer)

    def test_more_than_it_takes(self, phone: Client, spray: SprayRig) -> None:
        finding = found(spray)
        for width in range(MOST_OF_FOUND_WORK):
            attached(finding, 300 + width)
        answer = Page(phone, "equipment:finding", finding.pk).send(photos=several(200))
        assert answer.status_code == 422
        assert "has 12 photos, which is all it takes." in text_of(answer)

    def test_an_owner_looks_and_adds_none(self, owner_client: Client, spray: SprayRig) -> None:
        url = f"/found/{found(spray).pk}/"
        shown = owner_client.get(url)
        assert "Cracked sight glass" in text_of(shown)
        assert "Keep the photos" not in text_of(shown)
        assert owner_client.post(url, {"photos": several(300)}).status_code == 403
        assert not FindingPhoto.objects.exists()

    def test_a_photo_may_come_before_its_found_work(self, phone: Client, spray: SprayRig) -> None:
        reported = uuid4()
        early = attach(reported, 300, author=spray.author)
        finding = found(spray, request_id=reported)
        assert f"/photos/{early.digest}.jpg" in html_of(phone.get(f"/found/{finding.pk}/"))


def attach(found_id: Any, width: int, *, author: Any, photo_id: Any = None) -> FindingPhoto:
    return attach_to_found(
        found_id=found_id,
        digest=store_picture(shrink(photo_file(size=(width, 200)))),
        author=author,
        at=day(3),
        photo_id=photo_id or uuid4(),
    )


def attached(finding: Finding, width: int, **more: Any) -> FindingPhoto:
    return attach(finding.request_id, width, author=finding.opened_by, **more)


class TestGuards:
    def test_the_thirteenth_is_refused(self, spray: SprayRig) -> None:
        finding = found(spray)
        for width in range(MOST_OF_FOUND_WORK):
            attached(finding, 300 + width)
        with pytest.raises(TooManyPhotos):
            attached(finding, 900)

    def test_it_is_only_added_to(self, spray: SprayRig) -> None:
        attached(found(spray), 300)
        with pytest.raises(DatabaseError, match="is only added to"), transaction.atomic():
            FindingPhoto.objects.update(digest="0" * 64)
        with pytest.raises(DatabaseError, match="is only added to"), transaction.atomic():
            FindingPhoto.objects.all().delete()

    def test_a_picture_of_former_times_is_still_found(self, monkeypatch: Any) -> None:
        monkeypatch.setattr(photos, "FOLDER", "faces")
        digest = store_picture(shrink(photo_file(size=(277, 200))))
        monkeypatch.undo()
        assert file_of(digest).startswith("faces/")
        store_picture(shrink(photo_file(size=(277, 200))))
        assert file_of(digest).startswith("faces/"), "stored a second time"


ONE = UUID("5c9f0b5e-0d34-4a73-9a8c-5a0b8d1f7e21")
KEYS = {each.name: each for each in FindingPhoto._meta.constraints}


def one_picture_by_four(*, photo_id: Any, widths: tuple[int, ...], monkeypatch: Any) -> list[Any]:
    """Four phones at once with photos of one found work, each past the look for an earlier one."""
    finding = found(spray_rig())
    author = finding.opened_by
    for width in set(widths):
        store_picture(shrink(photo_file(size=(width, 200))))
    all_meet_in(monkeypatch, FindingPhoto.objects, "bulk_create", people=len(widths))
    return at_once(
        *[
            lambda width=width: attach(
                finding.request_id, width, author=author, photo_id=photo_id or uuid4()
            )
            for width in widths
        ]
    )


class TestRaces:
    pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.postgresql]

    @pytest.mark.parametrize(
        ("photo_id", "widths"), [(ONE, (300, 310)), (None, (300, 300, 300, 300))]
    )
    def test_one_sent_at_the_same_moment_counts_once(
        self, monkeypatch: pytest.MonkeyPatch, photo_id: Any, widths: tuple[int, ...]
    ) -> None:
        made = one_picture_by_four(photo_id=photo_id, widths=widths, monkeypatch=monkeypatch)
        assert {each.pk for each in made} == {FindingPhoto.objects.get().pk}

    @pytest.mark.parametrize(
        ("key", "photo_id", "widths"),
        [
            ("a_photo_sent_twice_counts_once", ONE, (300, 310)),
            ("found_work_shows_a_picture_once", None, (300, 300)),
        ],
    )
    def test_twin_without_the_key_it_counts_twice(
        self, monkeypatch: pytest.MonkeyPatch, key: str, photo_id: Any, widths: tuple[int, ...]
    ) -> None:
        with connection.schema_editor() as editor:
            editor.remove_constraint(FindingPhoto, KEYS[key])
        try:
            one_picture_by_four(photo_id=photo_id, widths=widths, monkeypatch=monkeypatch)
            assert FindingPhoto.objects.count() == 2
        finally:
            guards.lift_all(connection)
            FindingPhoto.objects.all().delete()
            guards.install_all(connection)
            with connection.schema_editor() as editor:
                editor.add_constraint(FindingPhoto, KEYS[key])
