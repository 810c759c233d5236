"""Drum levels on the page of quick readings."""

from uuid import UUID

import pytest
import time_machine
from django.test import Client

from equipment.models import DrumLevel
from tests.equipment.factories import SprayRig, day
from tests.equipment.pages.browsing import Page, html_of, keeps, said, text_of
from tests.equipment.pages.test_readings import box, in_force

pytestmark = pytest.mark.django_db


@pytest.fixture
def page(phone: Client, spray: SprayRig) -> Page:
    return Page(phone, "equipment:readings", 4)


def test_kept_with_the_readings_and_compared_in_one_plain_line(
    page: Page, spray: SprayRig, phone: Client
) -> None:
    answer = page.send(**{box(spray, "a"): "3200"}, a_left="40", b_left="41.5")
    assert said(answer) == "1 reading kept. 2 drum levels kept."
    assert "Two dips with readings tell" in text_of(phone.get(page.url))
    with time_machine.travel(day(4, hour=6), tick=False):
        again = Page(phone, "equipment:readings", 4)
        answer = again.send(**{box(spray, "a"): "3600"}, a_left="53.5", a_new="55")
        line = "Drums say 42 gal of A, counters 40: 4 % apart, within what a dip stick can tell."
        assert said(answer) == f"1 reading kept. 1 drum level kept. {line}"
        listed = text_of(phone.get(page.url))
    assert line in listed
    assert "53.5 gal left in A, new drum of 55 gal" in listed


def test_drums_alone_will_do(page: Page) -> None:
    assert said(page.send(b_left="12")) == "1 drum level kept."


def test_a_level_that_rose_asks_in_place_and_nothing_is_lost(page: Page, spray: SprayRig) -> None:
    page.send(a_left="10")
    page.hidden["request_id"] = "5d2b1c34-8a5e-4f7f-9f4b-0d3e52f1a001"
    with time_machine.travel(day(4), tick=False):
        answer = page.send(**{box(spray, "a"): "3200"}, a_left="50")
        assert answer.status_code == 422
        assert "More than the 10 gal of the last dip. Was a new drum put on?" in text_of(answer)
        assert 'id="id_a_new_error"' in html_of(answer)
        assert keeps(answer, "a_left", "50")
        assert keeps(answer, box(spray, "a"), "3200")
        assert in_force(spray, "a") == [3_000]
        done = page.send(**{box(spray, "a"): "3200"}, a_left="50", a_new="55")
    assert done.status_code == 302
    assert in_force(spray, "a") == [3_000, 3_200]


@pytest.mark.parametrize(
    ("typed", "field", "words"),
    [
        ({"a_new": "55"}, "a_left", "Say what is left in the new drum."),
        ({"a_left": "60", "a_new": "55"}, "a_left", "more left than a full drum holds"),
        ({"b_left": "-2"}, "b_left", "This cannot be below zero."),
        ({"b_left": "half"}, "b_left", "Write a number"),
        ({"b_left": "9999"}, "b_left", "Gallons from 0 to 2,000"),
        ({"b_left": "2", "b_new": "0"}, "b_new", "Give a number above zero."),
    ],
)
def test_what_cannot_be_is_said_beside_it(
    page: Page, typed: dict[str, str], field: str, words: str
) -> None:
    answer = page.send(**typed)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert f'id="id_{field}_error"' in html_of(answer)
    assert "Nothing is kept yet" in text_of(answer)
    assert all(keeps(answer, name, value) for name, value in typed.items())
    assert not DrumLevel.objects.exists()


def test_a_wrong_one_is_taken_back_and_stays_to_be_read(
    page: Page, spray: SprayRig, phone: Client
) -> None:
    page.send(a_left="5")
    level = DrumLevel.objects.get()
    back = Page(phone, "equipment:reverse_drum", level.pk)
    assert "A drum: 5 gal left, entered by A. Technician." in text_of(back.shown)
    assert back.send(reason="").status_code == 422
    assert back.send(reason="it was 50").status_code == 302
    level.refresh_from_db()
    assert not level.is_in_force
    assert "Taken back by A. Technician" in text_of(phone.get(page.url))
    back.hidden["request_id"] = str(UUID(int=5))
    assert "taken back already" in text_of(back.send(reason="again"))
