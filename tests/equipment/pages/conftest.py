"""A rig two days into its count, and people who look at its pages on the third day at noon."""

from collections.abc import Callable, Iterator
from datetime import datetime

import pytest
import time_machine
from django.test import Client

from equipment.services.library import load_library
from shop.models import Person, Role
from tests.copies import once
from tests.equipment.factories import START, ZONE, PersonFactory, SprayRig, day, spray_rig


@pytest.fixture
def noon() -> Iterator[datetime]:
    """12:00 in Chicago on 8 January 2026."""
    now = day(3, hour=6)
    with time_machine.travel(now, tick=False):
        yield now


@pytest.fixture
def spray(db: None, noon: datetime) -> SprayRig:
    return once(two_days_in, key="two days in", author=PersonFactory())


def two_days_in(*, author: Person) -> SprayRig:
    made = spray_rig(author=author, number=4)
    made.read(day(2), hours=20, a=3_000, b=3_100)
    return made


def two_days_in_by_the_library(*, author: Person) -> SprayRig:
    """The same rig, and all the services of the starting library."""
    made = two_days_in(author=author)
    load_library(author=author, at=START, zone=ZONE)
    return made


@pytest.fixture
def desk(client_as: Callable[..., Client], noon: datetime) -> Client:
    """A manager at the desk."""
    return client_as(Role.MANAGER)


@pytest.fixture
def phone(client_as: Callable[..., Client], noon: datetime) -> Client:
    """A technician with a phone."""
    return client_as(Role.TECHNICIAN)


@pytest.fixture
def owner_client(client_as: Callable[..., Client], noon: datetime) -> Client:
    return client_as(Role.OWNER)
