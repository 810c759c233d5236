"""A person's calendar address: made, changed, stopped, fetched."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256

from django.db import transaction
from django.db.models import Q

from equipment.models import Rig
from shop.models import CalendarFeed, Person

#: How exactly it is known when an address was last fetched.
FETCH_NOTED = timedelta(hours=1)


class FeedRefused(ValueError):
    """Something about a calendar that cannot be done; its text is meant for the person."""


class AddressUsedUp(FeedRefused):
    """The page was sent again after its address had been stopped, or by somebody else."""

    def __init__(self) -> None:
        super().__init__("That address was stopped already. Make a new one.")


class NoAddress(FeedRefused):
    """The address was stopped meanwhile."""

    def __init__(self) -> None:
        super().__init__("There is no address to change: it was stopped. Make a new one.")


@dataclass(frozen=True, slots=True)
class Choices:
    """What a person wants in the calendar; no rigs: every rig."""

    services: str
    has_jobs: bool
    sheets: str
    only_rigs: Sequence[Rig] = ()


def hash_of(key: str) -> str:
    """What is kept of a key.

    A key is 256 random bits, which no list of guesses covers: a plain hash is enough, and finding
    it by an index gives away nothing about the key.
    """
    return sha256(key.encode()).hexdigest()


def make_feed(*, person: Person, key: str, choices: Choices, at: datetime) -> CalendarFeed:
    """Make an address out of a fresh random key. The one before, if there is one, stops at once.

    Sent twice with one key, it makes one address. Raises AddressUsedUp.
    """
    with transaction.atomic():
        _lock(person)
        if earlier := CalendarFeed.objects.filter(key_hash=hash_of(key)).first():
            if earlier.stopped_at is not None or earlier.person_id != person.pk:
                raise AddressUsedUp
            return earlier
        _stop(person, at)
        feed = CalendarFeed.objects.create(
            person=person,
            key_hash=hash_of(key),
            services=choices.services,
            has_jobs=choices.has_jobs,
            sheets=choices.sheets,
            made_at=at,
            changed_at=at,
        )
        feed.only_rigs.set(choices.only_rigs)
    return feed


def change_feed(*, person: Person, choices: Choices, at: datetime) -> CalendarFeed:
    """Change what lies in the calendar; its address stays. Raises NoAddress."""
    with transaction.atomic():
        _lock(person)
        feed = standing_feed(person)
        if feed is None:
            raise NoAddress
        feed.services, feed.has_jobs = choices.services, choices.has_jobs
        feed.sheets, feed.changed_at = choices.sheets, at
        feed.save(update_fields=["services", "has_jobs", "sheets", "changed_at"])
        feed.only_rigs.set(choices.only_rigs)
    return feed


def stop_feed(*, person: Person, at: datetime) -> None:
    """Stop the person's address at once. Stopped twice, it keeps the first moment."""
    with transaction.atomic():
        _lock(person)
        _stop(person, at)


def standing_feed(person: Person) -> CalendarFeed | None:
    """The address that works, if there is one."""
    return CalendarFeed.objects.filter(person=person, stopped_at__isnull=True).first()


def last_feed(person: Person) -> CalendarFeed | None:
    """The address that works, or else the one that was stopped last."""
    return CalendarFeed.objects.filter(person=person).order_by("-pk").first()


def find_feed(key: str) -> CalendarFeed | None:
    """The feed behind a key: not stopped, and its person may still sign in."""
    return (
        CalendarFeed.objects.select_related("person")
        .filter(key_hash=hash_of(key), stopped_at__isnull=True, person__is_active=True)
        .first()
    )


def note_fetch(*, feed: CalendarFeed, at: datetime) -> None:
    """Keep when a calendar program last asked, at most once an hour."""
    if feed.fetched_at is not None and at - feed.fetched_at < FETCH_NOTED:
        return
    old = Q(fetched_at__isnull=True) | Q(fetched_at__lte=at - FETCH_NOTED)
    CalendarFeed.objects.filter(old, pk=feed.pk).update(fetched_at=at)


def choices_of(feed: CalendarFeed) -> Choices:
    """What was chosen for a feed."""
    rigs = tuple(feed.only_rigs.order_by("number"))
    return Choices(feed.services, feed.has_jobs, feed.sheets, rigs)


def _lock(person: Person) -> None:
    """Of two pages of one person, one waits: there is one address at a time."""
    Person.objects.select_for_update().get(pk=person.pk)


def _stop(person: Person, at: datetime) -> None:
    CalendarFeed.objects.filter(person=person, stopped_at__isnull=True).update(stopped_at=at)
