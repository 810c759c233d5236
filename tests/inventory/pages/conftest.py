"""A manager at the desk, a part and a bin."""

from collections.abc import Callable

import pytest
from django.test import Client

from inventory.models import Location, Part
from shop.models import Role
from tests.inventory.factories import BinFactory, PartFactory


@pytest.fixture
def desk(client_as: Callable[..., Client]) -> Client:
    """A manager at the desk."""
    return client_as(Role.MANAGER)


@pytest.fixture
def part(db: None) -> Part:
    return PartFactory(number="GK-1", name="Gun rebuild kit", usual_cost_cents=5_000)


@pytest.fixture
def bin_k3(db: None) -> Location:
    return BinFactory(code="K-03")
