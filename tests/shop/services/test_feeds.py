"""A person's calendar address: one at a time, stopped at once, its key kept nowhere."""

from dataclasses import replace
from datetime import datetime, timedelta
from hashlib import sha256

import pytest
from django.db import IntegrityError, connection
from django.db.transaction import atomic

from shop.models import CalendarFeed, Person
from shop.services import feeds
from shop.services.feeds import (
    AddressUsedUp,
    Choices,
    NoAddress,
    change_feed,
    choices_of,
    find_feed,
    make_feed,
    note_fetch,
    standing_feed,
    stop_feed,
)
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.pages.world import make_rig

pytestmark = pytest.mark.django_db

KEY, OTHER_KEY = "a" * 43, "b" * 43
ALL = Choices("all", True, "all")


def make(person: Person, at: datetime, key: str = KEY, choices: Choices = ALL) -> CalendarFeed:
    return make_feed(person=person, key=key, choices=choices, at=at)


def test_a_feed_is_found_by_its_key_and_by_nothing_else(manager: Person, at: datetime) -> None:
    feed = make(manager, at)
    assert find_feed(KEY) == feed
    for other in (KEY[:-1], KEY + "a", KEY.upper(), "", feed.key_hash):
        assert find_feed(other) is None, other


def test_the_key_is_kept_nowhere(manager: Person, at: datetime) -> None:
    feed = make(manager, at)
    assert feed.key_hash == sha256(KEY.encode()).hexdigest()
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM shop_calendarfeed")
        assert KEY not in repr(cursor.fetchall())


def test_sent_twice_it_makes_one_address(manager: Person, at: datetime) -> None:
    later = at + timedelta(minutes=1)
    assert make(manager, at) == make(manager, later)
    assert CalendarFeed.objects.get().made_at == at


def test_twin_without_the_look_back_the_second_sending_breaks(
    manager: Person, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    make(manager, at)
    monkeypatch.setattr(feeds, "hash_of", lambda key: f"{key} {CalendarFeed.objects.count()}")
    make(manager, at)
    assert CalendarFeed.objects.count() == 2


def test_a_new_address_stops_the_one_before(manager: Person, at: datetime) -> None:
    make(manager, at)
    later = at + timedelta(hours=1)
    new = make(manager, later, OTHER_KEY)
    assert find_feed(KEY) is None
    assert find_feed(OTHER_KEY) == new == standing_feed(manager)
    assert CalendarFeed.objects.get(key_hash=feeds.hash_of(KEY)).stopped_at == later


def test_a_stopped_address_never_works_again(manager: Person, at: datetime) -> None:
    make(manager, at)
    stop_feed(person=manager, at=at)
    stop_feed(person=manager, at=at + timedelta(days=1))
    assert find_feed(KEY) is None
    assert CalendarFeed.objects.get().stopped_at == at
    with pytest.raises(AddressUsedUp):
        make(manager, at)
    assert find_feed(KEY) is None


def test_nobody_makes_an_address_of_the_key_of_another(
    manager: Person, technician: Person, at: datetime
) -> None:
    feed = make(manager, at)
    with pytest.raises(AddressUsedUp):
        make(technician, at)
    assert find_feed(KEY) == feed


def test_each_person_has_an_address_of_their_own(
    manager: Person, technician: Person, at: datetime
) -> None:
    make(manager, at)
    make(technician, at, OTHER_KEY)
    stop_feed(person=manager, at=at)
    assert (find_feed(KEY), standing_feed(manager)) == (None, None)
    assert find_feed(OTHER_KEY) == standing_feed(technician)


def test_who_may_not_sign_in_has_no_calendar(manager: Person, at: datetime) -> None:
    make(manager, at)
    manager.is_active = False
    manager.save()
    assert find_feed(KEY) is None


def test_what_is_in_it_may_be_changed_and_the_address_stays(manager: Person, at: datetime) -> None:
    make(manager, at)
    chosen = Choices("mine", False, "none", (make_rig(4), make_rig(7)))
    later = at + timedelta(days=1)
    changed = change_feed(person=manager, choices=chosen, at=later)
    assert choices_of(find_feed(KEY) or changed) == chosen
    assert (changed.made_at, changed.changed_at) == (at, later)
    change_feed(person=manager, choices=replace(chosen, only_rigs=()), at=later)
    assert choices_of(changed).only_rigs == ()


def test_what_was_stopped_is_not_changed(manager: Person, at: datetime) -> None:
    make(manager, at)
    stop_feed(person=manager, at=at)
    with pytest.raises(NoAddress):
        change_feed(person=manager, choices=Choices("none", True, "none"), at=at)
    assert CalendarFeed.objects.get().services == "all"


def test_the_database_refuses_a_calendar_with_nothing_in_it(manager: Person, at: datetime) -> None:
    with pytest.raises(IntegrityError, match="a_calendar_has_something_in_it"), atomic():
        make(manager, at, choices=Choices("none", False, "none"))


def test_a_fetch_is_noted_once_an_hour(manager: Person, at: datetime) -> None:
    feed = make(manager, at)

    def fetched(minutes: int) -> datetime | None:
        note_fetch(feed=CalendarFeed.objects.get(), at=at + timedelta(minutes=minutes))
        return CalendarFeed.objects.get().fetched_at

    assert fetched(1) == at + timedelta(minutes=1)
    assert fetched(60) == at + timedelta(minutes=1)
    assert fetched(61) == at + timedelta(minutes=61)
    note_fetch(feed=feed, at=at + timedelta(minutes=62))  # read before the first fetch
    assert CalendarFeed.objects.get().fetched_at == at + timedelta(minutes=61)


@pytest.mark.django_db(transaction=True)
def test_of_two_addresses_made_at_once_one_stands(manager: Person, at: datetime) -> None:
    results = at_once(*(lambda key=key: make(manager, at, key) for key in (KEY, OTHER_KEY)))
    assert refused(results, AddressUsedUp) == 0
    assert CalendarFeed.objects.filter(stopped_at__isnull=True).count() == 1
    assert CalendarFeed.objects.count() == 2


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_lock_one_of_them_breaks(
    manager: Person, at: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, feeds, "_stop")
    results = at_once(*(lambda key=key: make(manager, at, key) for key in (KEY, OTHER_KEY)))
    assert sum(isinstance(each, IntegrityError) for each in results) == 1
