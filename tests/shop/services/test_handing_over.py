"""A sheet changes hands with a word, which is kept and which the next one sees."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError

from shop.models import HandOver, Person, Role, Shop
from shop.services.clocking import clock_of, start_time
from shop.services.handing_over import hand_over
from shop.services.refusals import SheetClosed, SheetRefused
from tests.shop.services.conftest import Hands, later, rows_of_every_table
from tests.shop.worlds import NOW

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


@pytest.fixture
def next_one(person_as: Any) -> Person:
    return person_as(Role.TECHNICIAN, sign_in="next")


def over(
    hands: Hands, words: str = "side B packing still out", to: Person | None = None, **more: Any
) -> HandOver:
    given = {"event_id": uuid4(), "author": hands.who, **later(NOW), **more}
    return hand_over(sheet=hands.sheet, words=words, to=to, **given)


def test_the_sheet_is_with_the_next_one_and_time_stops(
    hands: Hands, next_one: Person, shop: Shop
) -> None:
    start_time(sheet=hands.sheet, author=hands.who, event_id=uuid4(), **later(NOW - HOUR))
    made = over(hands, to=next_one)
    sheet = hands.fresh()
    assert (sheet.technician, sheet.handed_out_at, sheet.state) == (next_one, NOW, "under_way")
    assert sheet.hand_overs.get() == made
    assert clock_of(hands.who, now=NOW + HOUR, zone=shop.zone).running is None


def test_it_may_be_left_to_whoever_goes_on(hands: Hands, next_one: Person) -> None:
    over(hands)
    assert hands.fresh().technician is None
    start_time(sheet=hands.sheet, author=next_one, event_id=uuid4(), **later(NOW))
    assert hands.fresh().technician == next_one


@pytest.mark.parametrize(
    ("words", "said"), [("  ", "what the next one must know"), ("x" * 301, "300")]
)
def test_a_word_goes_with_it(hands: Hands, words: str, said: str) -> None:
    before = rows_of_every_table()
    with pytest.raises(SheetRefused, match=said):
        over(hands, words)
    assert rows_of_every_table() == before
    assert hands.fresh().technician == hands.who


def test_not_to_who_cannot_work_on_it(hands: Hands, owner: Person, next_one: Person) -> None:
    Person.objects.filter(pk=next_one.pk).update(is_active=False)
    next_one.refresh_from_db()
    for to in (owner, next_one):
        with pytest.raises(SheetRefused, match="cannot work on a sheet"):
            over(hands, to=to)


def test_sent_twice_it_counts_once(hands: Hands, next_one: Person) -> None:
    event = uuid4()
    first = over(hands, event_id=event)
    over(hands, "and back", to=next_one, **later(NOW + HOUR))
    assert over(hands, event_id=event) == first
    assert hands.fresh().technician == next_one


def test_twin_without_its_id_it_is_taken_away_again(hands: Hands, next_one: Person) -> None:
    over(hands)
    over(hands, "and back", to=next_one, **later(NOW + HOUR))
    over(hands, **later(NOW + 2 * HOUR))
    assert hands.fresh().technician is None
    assert HandOver.objects.count() == 3


def test_an_older_word_that_comes_in_late_does_not_win(hands: Hands, next_one: Person) -> None:
    over(hands, to=next_one, **later(NOW + HOUR))
    over(hands, at=NOW, recorded_at=NOW + 2 * HOUR)
    assert hands.fresh().technician == next_one


def test_not_on_a_signed_sheet(done: Hands) -> None:
    done.sign()
    with pytest.raises(SheetClosed):
        over(done)


def test_the_database_wants_a_word(hands: Hands) -> None:
    with pytest.raises(IntegrityError, match="who_hands_over_says_a_word"):
        HandOver.objects.create(
            sheet=hands.sheet, words="", event_id=uuid4(), author=hands.who, **later(NOW)
        )
