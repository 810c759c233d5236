"""A rig two days into its count, and people who look at its pages on the third day at noon."""

from collections.abc import Callable, Iterator
from datetime import datetime

import pytest
import time_machine
from django.test import Client

from shop.models import Role
from tests.equipment.factories import SprayRig, day, spray_rig


@pytest.fixture
def noon() -> Iterator[datetime]:
    """12:00 in Chicago on 8 January 2026."""
    now = day(3, hour=6)
    with time_machine.travel(now, tick=False):
        yield now


@pytest.fixture
def spray(db: None, noon: datetime) -> SprayRig:
    made = spray_rig(number=4)
    made.read(day(2), hours=20, a=3_000, b=3_100)
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
