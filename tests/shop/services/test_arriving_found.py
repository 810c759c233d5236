"""Found work of a rig from a phone, beside its round: once, under who reported it."""

import pytest

from equipment.models import Finding, Round
from shop.models import Arrival, Person, Unsettled
from shop.services.arriving import post
from tests.shop.phones import Phone, states
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


@pytest.fixture
def phone(world: SheetWorld, technician: Person) -> Phone:
    return Phone(technician, world.draft(), rig=world.fleet.rig)


@pytest.mark.parametrize("is_grave", [True, False])
def test_sent_twice_it_counts_once_and_a_grave_one_holds_the_rig(
    phone: Phone, world: SheetWorld, is_grave: bool
) -> None:
    entry = phone.entry("found", text="whip hose rubs", is_grave=is_grave)
    assert states(phone.send(entry)) == states(phone.send(entry)) == ["taken"]
    made = Finding.objects.get()
    assert (made.rig, made.component, made.text) == (world.fleet.rig, None, "whip hose rubs")
    assert (made.source_kind, made.opened_by_id, made.opened_at) == ("hand", phone.who.pk, NOW)
    assert list(Finding.objects.holding()) == ([made] if is_grave else [])
    assert Arrival.objects.get().rig == world.fleet.rig
    assert not Round.objects.exists()


@pytest.mark.parametrize(
    ("text", "words"), [("  ", "Say what you found."), ("x" * 301, "at most 300")]
)
def test_without_words_and_with_too_many_it_is_refused_to_who_looks(
    phone: Phone, text: str, words: str
) -> None:
    live, late = ({**phone.entry("found", text=text), "live": live} for live in (True, False))
    refused, kept = phone.send(live, late)
    assert (refused.state, kept.state) == ("refused", "waiting")
    assert words in refused.words
    assert not Finding.objects.exists()
    assert Unsettled.objects.get().kind == "found"


def test_by_a_pen_in_doubt_it_waits_and_is_posted_as_its_authors(
    phone: Phone, world: SheetWorld, manager: Person
) -> None:
    Person.objects.filter(pk=phone.who.pk).update(is_active=False)
    assert states(phone.send(phone.entry("found", text="rubs", is_grave=True))) == ["waiting"]
    assert not Finding.objects.exists()
    waits = Unsettled.objects.get()
    post(unsettled=waits, changes={}, author=manager, at=NOW, zone=world.shop.zone)
    assert Finding.objects.holding().get().opened_by_id == phone.who.pk
