"""Two managers who would send each other home: the lock on all managers lets one of them stay."""

from datetime import datetime

import pytest

from shop.models import Person, Shop
from shop.services import people
from shop.services.people import LastManager, switch_off
from tests.races import all_meet_in, at_once, refused, without_row_locks

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def other(at: datetime) -> Person:
    return people.create_person(
        sign_in="other", name="O. Manager", role="manager", password="a long secret", at=at
    )


def managers() -> int:
    return Person.objects.filter(role="manager", is_active=True).count()


def test_one_of_two_managers_stays(shop: Shop, manager: Person, other: Person) -> None:
    results = at_once(lambda: switch_off(person=manager), lambda: switch_off(person=other))
    assert refused(results, LastManager) == 1
    assert managers() == 1


@pytest.mark.postgresql
def test_twin_without_the_lock_nobody_could_let_anybody_in(
    shop: Shop, manager: Person, other: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, Person, "save")
    at_once(lambda: switch_off(person=manager), lambda: switch_off(person=other))
    assert managers() == 0
