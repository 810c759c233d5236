"""Reading shift logs on the pages: sent in, asked about, kept; days, layouts, contradictions."""

import io
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from equipment.models import LogContradiction, LogLayout, Reading, ShiftDay, ShiftLog
from shop.models import ComingLog, Person
from tests.equipment.factories import SprayRig, spray_rig
from tests.shop.worlds import NOW

pytestmark = pytest.mark.django_db

CHICAGO = ZoneInfo("America/Chicago")
DAY = date(2026, 1, 20)


def log_rows(day: date = DAY, *, first: int = 2000, rows: int = 61) -> Iterator[list[str]]:
    """A minute of five-second rows and more: each adds ten strokes a side."""
    at = datetime.combine(day, time(8), CHICAGO)
    for row in range(rows):
        strokes = str(first + 10 * row)
        yield [f"{at:%Y-%m-%d %H:%M:%S}", strokes, strokes, "118.5", "1150"]
        at += timedelta(seconds=5)


def sure(day: date = DAY, *, first: int = 2000) -> bytes:
    """A log that leaves nothing to ask: 600 strokes of each side."""
    headings = "Time,Iso strokes,Resin strokes,Iso temp °F,Iso pressure psi\n"
    return (headings + "".join(",".join(row) + "\n" for row in log_rows(day, first=first))).encode()


def doubtful(day: date = DAY) -> bytes:
    """The same, with counters that do not say what they count."""
    return sure(day).replace(b"Iso strokes,Resin strokes", b"Iso count,Resin count")


@pytest.fixture
def fleet(shop: object) -> SprayRig:
    return spray_rig()


@pytest.fixture
def hand(client: Client, technician: Person) -> Client:
    client.force_login(technician, backend="django.contrib.auth.backends.ModelBackend")
    return client


def send(client: Client, *files: tuple[str, bytes], sending: str = "") -> str:
    """Send files in; the address of the sending."""
    answer = client.post(
        "/rigs/1/logs/",
        {
            "sending": sending or str(uuid4()),
            "logs": [SimpleUploadedFile(name, content) for name, content in files],
        },
    )
    assert answer.status_code == 302, answer.text
    return str(answer["Location"])


def test_a_log_that_leaves_nothing_to_ask_is_shown_and_kept(hand: Client, fleet: SprayRig) -> None:
    address = send(hand, ("monday.csv", sure()))
    card = hand.get(f"{address}1/")
    assert "61 rows, 1 day" in card.text
    assert "600 strokes of A and 600 of B, 120 gal" in card.text
    assert 'class="shift-wide"' in card.text
    assert not ShiftLog.objects.exists()
    kept = hand.post(f"{address}1/")
    assert "Kept: 1 day" in kept.text
    day = ShiftDay.objects.get()
    assert (day.date, day.strokes_a, day.gallons) == (DAY, 600, 120)
    page = hand.get(f"/rigs/1/logs/{DAY}/").text
    assert "120.0 of both" in page
    assert "A temperature" in page
    assert f"/rigs/1/logs/{DAY}/" in hand.get("/rigs/1/logs/").text
    assert f"/rigs/1/logs/{DAY}/" in hand.get("/rigs/1/").text


def test_a_doubt_is_asked_and_the_answer_holds_for_files_of_the_same_form(
    hand: Client, fleet: SprayRig
) -> None:
    tuesday = DAY + timedelta(days=1)
    address = send(hand, ("monday.csv", doubtful()), ("tuesday.csv", doubtful(tuesday)))
    card = hand.get(f"{address}1/")
    assert "1 question" in card.text
    assert "What do the counters count?" in card.text
    assert 'class="shift-wide"' in card.text, "the guess is drawn while it is asked about"
    assert hand.post(f"{address}1/").text.count("1 question"), "nothing is read with a doubt open"
    assert not ShiftLog.objects.exists()
    answered = hand.post(f"{address}1/", {"answer": "1", "counts": "cycles"})
    assert "1,200 strokes of A and 1,200 of B" in answered.text
    assert "1,200 strokes of A" in hand.get(f"{address}2/").text
    hand.post(f"{address}1/", {"answer": "1", "forget": "1"})


def test_an_answer_that_is_none_keeps_the_question(hand: Client, fleet: SprayRig) -> None:
    address = send(hand, ("monday.csv", doubtful()))
    for said in ({}, {"counts": "apples"}):
        answer = hand.post(f"{address}1/", {"answer": "1", **said})
        assert answer.status_code == 422
        assert "What do the counters count?" in answer.text
    assert not ShiftLog.objects.exists()


def test_columns_are_corrected_by_hand(hand: Client, fleet: SprayRig) -> None:
    address = send(hand, ("monday.csv", sure()))
    columns = {"column-1": "strokes_b:strokes", "column-2": "strokes_a:cycles"}
    answer = hand.post(f"{address}1/", {"answer": "1", **columns})
    assert "1,200 strokes of A and 600 of B" in answer.text
    assert "Forget the answers" in answer.text
    # The button stands in the form of the columns, so both are sent.
    forgotten = hand.post(f"{address}1/", {"answer": "1", **columns, "forget": "1"})
    assert "600 strokes of A and 600 of B" in forgotten.text


def test_a_layout_is_kept_by_name_and_read_unasked_next_time(hand: Client, fleet: SprayRig) -> None:
    address = send(hand, ("monday.csv", doubtful()))
    hand.post(f"{address}1/", {"answer": "1", "counts": "strokes"})
    hand.post(f"{address}1/")
    answer = hand.post(f"{address}1/layout/", {"name": "Grey box"}, headers={"HX-Request": "true"})
    assert "kept as “Grey box”" in answer.text
    refused = hand.post(f"{address}1/layout/", {"name": ""})
    assert refused.status_code == 422
    again = send(hand, ("tuesday.csv", doubtful(DAY + timedelta(days=1))))
    card = hand.get(f"{again}1/").text
    assert "600 strokes of A" in card
    assert "Grey box" in card
    assert "Grey box" in hand.get("/logs/layouts/").text
    assert LogLayout.objects.get().author == Person.objects.get(sign_in="technician")


def test_a_form_sent_twice_is_one_sending(hand: Client, fleet: SprayRig) -> None:
    sending = str(uuid4())
    send(hand, ("monday.csv", sure()), sending=sending)
    send(hand, ("monday.csv", sure()), sending=sending)
    assert ComingLog.objects.count() == 1


def test_a_zip_gives_a_card_for_each_file_and_a_reason_for_what_is_no_log(
    hand: Client, fleet: SprayRig
) -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("week/monday.csv", sure())
        archive.writestr("week/photo.jpg", b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8)
    address = send(hand, ("week.zip", packed.getvalue()), ("torn.zip", b"PK\x03\x04nothing"))
    assert [each.name for each in ComingLog.objects.order_by("place")] == [
        "week.zip/week/monday.csv", "week.zip/week/photo.jpg", "torn.zip",
    ]  # fmt: skip
    page = hand.get(address).text
    assert page.count('hx-trigger="load"') == 3
    assert "1 day" in hand.get(f"{address}1/").text
    for place in (2, 3):
        card = hand.get(f"{address}{place}/")
        assert 'role="alert"' in card.text
        assert "Keep th" not in card.text


def test_what_was_read_before_changes_nothing(hand: Client, fleet: SprayRig) -> None:
    hand.post(f"{send(hand, ('monday.csv', sure()))}1/")
    readings = Reading.objects.count()
    address = send(hand, ("copy of monday.csv", sure()))
    assert "read already" in hand.get(f"{address}1/").text
    hand.post(f"{address}1/")
    assert (ShiftLog.objects.count(), Reading.objects.count()) == (1, readings)


def test_a_file_is_left_out_and_old_ones_are_thrown_away(hand: Client, fleet: SprayRig) -> None:
    address = send(hand, ("monday.csv", sure()), ("tuesday.csv", sure(DAY + timedelta(days=1))))
    kept = ComingLog.objects.get(place=2)
    assert hand.post(f"{address}1/drop/")["Location"] == address
    assert list(ComingLog.objects.all()) == [kept]
    ComingLog.objects.update(at=NOW - timedelta(days=400))
    send(hand, ("monday.csv", sure()))
    assert not ComingLog.objects.filter(pk=kept.pk).exists()
    assert not default_storage.exists(str(kept.file.name))
    assert hand.get(address).status_code == 404


@pytest.mark.parametrize("data", [{}, {"sending": "no"}])
def test_no_file_is_asked_for_in_words(hand: Client, fleet: SprayRig, data: dict[str, str]) -> None:
    answer = hand.post("/rigs/1/logs/", {"sending": str(uuid4())} | data)
    assert answer.status_code == 422
    if not data:
        assert "Choose at least one file." in answer.text


def test_a_contradiction_is_shown_and_settled(
    hand: Client, client: Client, fleet: SprayRig, manager: Person
) -> None:
    hand.post(f"{send(hand, ('monday.csv', sure(first=500_000_000)))}1/")
    rows = LogContradiction.objects.open()
    assert rows.count() == 2
    page = hand.get("/rigs/1/logs/").text
    assert "contradict each other" in page
    assert "The log shows 500,000,000 strokes" in page
    assert ShiftDay.objects.get().strokes_a == 600
    client.force_login(manager, backend="django.contrib.auth.backends.ModelBackend")
    address = reverse("shop:contradiction", args=[rows[0].pk])
    assert client.post(address, {}).status_code == 422
    answer = client.post(address, {"how": "log_wrong"}, follow=True)
    assert "Settled." in answer.text
    assert LogContradiction.objects.open().count() == 1
    assert "Settled:" in client.get(address).text


def test_a_manager_withdraws_a_log_and_keeps_the_file(
    hand: Client, fleet: SprayRig, manager: Person
) -> None:
    hand.post(f"{send(hand, ('monday.csv', sure()))}1/")
    log = ShiftLog.objects.get()
    assert b"".join(hand.get(f"/logs/files/{log.pk}/").streaming_content) == sure()
    assert hand.get(f"/logs/files/{log.pk}/withdraw/").status_code == 403
    hand.force_login(manager, backend="django.contrib.auth.backends.ModelBackend")
    assert hand.post(f"/logs/files/{log.pk}/withdraw/", {"reason": ""}).status_code == 422
    hand.post(f"/logs/files/{log.pk}/withdraw/", {"reason": "rig 2's file"})
    assert not ShiftDay.objects.exists()
    page = hand.get("/rigs/1/logs/").text
    assert "rig 2&#x27;s file" in page
    assert hand.get(f"/logs/files/{log.pk}/withdraw/").status_code == 200


def test_the_picture_speaks_the_units_of_the_shop(
    hand: Client, fleet: SprayRig, shop: object
) -> None:
    hand.post(f"{send(hand, ('monday.csv', sure()))}1/")
    assert "Temperature, °F" in hand.get(f"/rigs/1/logs/{DAY}/").text
    shop.units = "metric"  # type: ignore[attr-defined]
    shop.save()  # type: ignore[attr-defined]
    page = hand.get(f"/rigs/1/logs/{DAY}/").text
    # (118.5 − 32) / 1.8 = 48.06; 1150 psi × 0.06894757 = 79.3 (NIST SP 811, Appendix B).
    assert "Temperature, °C" in page
    assert "48.1" in page
    assert "79.3" in page


def test_the_picture_speaks_the_units_of_who_looks_at_it(
    hand: Client, fleet: SprayRig, shop: object
) -> None:
    hand.post(f"{send(hand, ('monday.csv', sure()))}1/")
    hand.post("/my-language/", {"language": "en", "own_units": "metric"})
    page = hand.get(f"/rigs/1/logs/{DAY}/").text
    assert "Temperature, °C" in page
    assert "48.1" in page
    shop.units = "metric"  # type: ignore[attr-defined]
    shop.save()  # type: ignore[attr-defined]
    hand.post("/my-language/", {"language": "en", "own_units": "us"})
    assert "Temperature, °F" in hand.get(f"/rigs/1/logs/{DAY}/").text


def test_a_day_nobody_logged_is_not_there(hand: Client, fleet: SprayRig) -> None:
    assert hand.get("/rigs/1/logs/2026-01-19/").status_code == 404
    assert hand.get("/rigs/1/logs/2026-13-19/").status_code == 404
    assert hand.get("/rigs/9/logs/").status_code == 404
