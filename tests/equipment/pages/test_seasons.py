"""Days of the year: each shop sets its own, and what waits for them follows."""

from datetime import datetime

import pytest
from django.core.exceptions import ValidationError
from django.test import Client
from django.urls import reverse

from equipment.models import Season
from equipment.services.seasons import change_season, create_season
from tests.copies import once
from tests.equipment.factories import ZONE, PersonFactory, SprayRig
from tests.equipment.pages.browsing import filled, keeps, said, text_of
from tests.equipment.pages.conftest import two_days_in_by_the_library

pytestmark = pytest.mark.django_db

PAGE = reverse("equipment:seasons")


@pytest.fixture
def spray(db: None, noon: datetime) -> SprayRig:
    return once(two_days_in_by_the_library, key="by the library", author=PersonFactory())


@pytest.fixture
def frost(spray: SprayRig) -> Season:
    return Season.objects.get(name="first frost")


def test_says_whose_day_it_is_and_who_waits_for_it(owner_client: Client, frost: Season) -> None:
    read = text_of(owner_client.get(PAGE))
    assert "First frost, 15 Oct" in read
    assert "set the day of your place" in read
    assert "To be done before it: generator, coolant, belts and hoses" in read
    assert "Set it" not in read


def test_set_by_the_manager(desk: Client, frost: Season) -> None:
    answer = desk.post(PAGE, {**filled(desk.get(PAGE), form=-2), "day": "28", "month": "9"})
    assert said(answer) == "First frost is 28 Sep here."
    frost.refresh_from_db()
    assert (frost.month, frost.day) == (9, 28)
    read = text_of(desk.get(PAGE))
    assert "First frost, 28 Sep" in read
    assert "set the day of your place" not in read


def test_another_day(desk: Client, frost: Season) -> None:
    sent = {**filled(desk.get(PAGE)), "name": "leap day", "day": "29", "month": "2"}
    assert said(desk.post(PAGE, sent)) == "Leap day is 29 Feb here."
    again = desk.post(PAGE, sent)
    assert again.status_code == 422
    assert "There is a season of that name." in text_of(again)
    assert Season.objects.count() == 2


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"day": "31", "month": "4"}, "That month has no such day."),
        ({"day": "30", "month": "2"}, "That month has no such day."),
        ({"day": "0"}, "Write the day of the month, like 15."),
        ({"day": "32"}, "Write the day of the month, like 15."),
        ({"day": "soon"}, "Write the day of the month, like 15."),
        ({"name": ""}, "This is needed."),
    ],
)
def test_refused_in_words_with_nothing_lost(
    desk: Client, frost: Season, typed: dict[str, str], words: str
) -> None:
    sent = {**filled(desk.get(PAGE)), "name": "thaw", "day": "1", "month": "3", **typed}
    answer = desk.post(PAGE, sent)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert keeps(answer, "day", sent["day"])
    assert Season.objects.count() == 1


def test_a_day_that_is_there_no_more(desk: Client, frost: Season) -> None:
    for about in ("999", "", "²"):
        sent = {"season": about, "name": "x", "day": "1", "month": "1"}
        assert desk.post(PAGE, sent).status_code == 404


def test_a_technician_reads_only(phone: Client, frost: Season) -> None:
    assert phone.get(PAGE).status_code == 200
    sent = {"season": "new", "name": "x", "day": "1", "month": "1"}
    assert phone.post(PAGE, sent).status_code == 403


def test_services_refuse_what_is_no_day(frost: Season) -> None:
    for month, day in ((2, 30), (4, 31), (13, 1), (1, 0)):
        with pytest.raises(ValidationError):
            create_season(name="none", month=month, day=day)
        with pytest.raises(ValidationError):
            change_season(season=frost, name="none", month=month, day=day, zone=ZONE)
    frost.refresh_from_db()
    assert (frost.name, frost.month, frost.day) == ("first frost", 10, 15)
