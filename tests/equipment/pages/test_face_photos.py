"""A photo of the faces goes with the readings, and never stands in their way."""

from io import BytesIO

import pytest
from django.core.files.storage import default_storage
from django.db import DatabaseError, transaction
from django.test import Client

from equipment.models import FacePhoto, Reading
from equipment.services import photos
from tests.equipment.factories import SprayRig
from tests.equipment.pages.browsing import Page, hidden_of, html_of, keeps, said, text_of
from tests.equipment.pages.test_readings import box, in_force
from tests.equipment.photographs import photo_file

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(phone: Client, spray: SprayRig) -> Page:
    return Page(phone, "equipment:readings", 4)


def heic() -> BytesIO:
    file = BytesIO(b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic")
    file.name = "face.heic"
    return file


def test_it_is_kept_with_the_readings_and_shown_among_them(page: Page, spray: SprayRig) -> None:
    answer = page.send(**{box(spray, "a"): "3200", box(spray, "b"): "3300"}, photo=photo_file())
    assert answer.status_code == 302
    photo = FacePhoto.objects.get()
    assert {row.request_id for row in Reading.objects.filter(value__in=[3200, 3300])} == {
        photo.request_id
    }
    listed = html_of(page.client.get(page.url))
    assert listed.count(f'href="/photos/{photo.digest}.jpg"') == 1
    assert f'src="/photos/{photo.digest}.jpg?small"' in listed
    assert 'alt="Photo of the faces, 8 Jan, A. Technician"' in listed


def test_sent_twice_it_counts_once(page: Page, spray: SprayRig) -> None:
    for _ in range(2):
        page.send(**{box(spray, "a"): "3200"}, photo=photo_file())
    assert FacePhoto.objects.count() == 1


def test_what_is_no_photo_is_said_beside_it_and_nothing_typed_is_lost(
    page: Page, spray: SprayRig
) -> None:
    answer = page.send(**{box(spray, "a"): "3200"}, photo=heic())
    assert answer.status_code == 422
    assert "This is a HEIC photo, which we cannot read." in text_of(answer)
    assert 'id="id_photo_error"' in html_of(answer)
    assert keeps(answer, box(spray, "a"), "3200")
    # A browser gives no file back: the same button again sends the readings without it.
    assert page.send(**{box(spray, "a"): "3200"}).status_code == 302
    assert in_force(spray, "a")[-1] == 3_200
    assert not FacePhoto.objects.exists()


def test_a_good_photo_survives_what_else_is_wrong(page: Page, spray: SprayRig) -> None:
    answer = page.send(**{box(spray, "a"): "12"}, photo=photo_file())
    assert answer.status_code == 422
    assert "This photo is here already." in text_of(answer)
    assert not FacePhoto.objects.exists()
    again = hidden_of(answer)
    assert photos.is_stored(again["photo_id"])
    answer = page.client.post(page.url, {**again, box(spray, "a"): "3200"})
    assert answer.status_code == 302
    assert FacePhoto.objects.get().digest == again["photo_id"]


@pytest.mark.parametrize("held", ["../../secret-key", "f" * 64, "a\x00b", "²" * 64, "9" * 400])
def test_a_made_up_hash_is_no_photo(page: Page, spray: SprayRig, held: str) -> None:
    answer = page.send(**{box(spray, "a"): "3200"}, photo_id=held)
    assert answer.status_code == 302
    assert not FacePhoto.objects.exists()


def test_too_large_a_file_is_refused_unread(
    page: Page, spray: SprayRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("equipment.forms.photos.MOST_MEGABYTES", 0)
    answer = page.send(**{box(spray, "a"): "3200"}, photo=photo_file())
    assert answer.status_code == 422
    assert "The photo is larger than 0 MB." in text_of(answer)


@pytest.mark.parametrize("content", [b"", b"\x00" * 10])
def test_an_empty_or_broken_file(page: Page, spray: SprayRig, content: bytes) -> None:
    file = BytesIO(content)
    file.name = "x.jpg"
    answer = page.send(**{box(spray, "a"): "3200"}, photo=file)
    assert answer.status_code == 422
    assert keeps(answer, box(spray, "a"), "3200")


def test_a_full_disk_loses_the_photo_and_not_the_readings(
    page: Page, spray: SprayRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object, **kwargs: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(type(default_storage), "save", full, raising=False)
    answer = page.send(**{box(spray, "a"): "3200"}, photo=photo_file(size=(333, 222)))
    assert answer.status_code == 302
    assert said(answer) == (
        "The photo could not be stored. Tell whoever runs the server. 1 reading kept."
    )
    assert in_force(spray, "a")[-1] == 3_200


class TestServing:
    @pytest.fixture
    def address(self, page: Page, spray: SprayRig) -> str:
        page.send(**{box(spray, "a"): "3200"}, photo=photo_file())
        return f"/photos/{FacePhoto.objects.get().digest}.jpg"

    def test_with_headers_that_leave_no_way_to_misuse_it(self, phone: Client, address: str) -> None:
        answer = phone.get(address)
        assert b"".join(answer.streaming_content).startswith(b"\xff\xd8")  # type: ignore[arg-type]
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Security-Policy"] == "default-src 'none'; sandbox"
        assert answer["Cross-Origin-Resource-Policy"] == "same-origin"
        assert answer["Cache-Control"].startswith("private")
        assert answer["Content-Disposition"].startswith("inline; filename=")

    def test_a_phone_that_has_it_is_told_to_keep_it(self, phone: Client, address: str) -> None:
        tag = phone.get(address)["ETag"]
        assert phone.get(address, headers={"If-None-Match": tag}).status_code == 304
        small = phone.get(f"{address}?small", headers={"If-None-Match": tag})
        assert small.status_code == 200
        assert "immutable" in small["Cache-Control"]

    def test_to_nobody_who_has_not_signed_in(self, address: str) -> None:
        answer = Client().get(address)
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/")

    @pytest.mark.parametrize("name", ["x", "f" * 64, "F" * 64, "0" * 63])
    def test_what_is_not_there(self, phone: Client, spray: SprayRig, name: str) -> None:
        assert phone.get(f"/photos/{name}.jpg").status_code == 404


def test_it_is_only_added_to(page: Page, spray: SprayRig) -> None:
    page.send(**{box(spray, "a"): "3200"}, photo=photo_file())
    with pytest.raises(DatabaseError, match="is only added to"), transaction.atomic():
        FacePhoto.objects.update(digest="0" * 64)
    with pytest.raises(DatabaseError, match="is only added to"), transaction.atomic():
        FacePhoto.objects.all().delete()
