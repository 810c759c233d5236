"""Entries from phones: under who made them and when, whoever sends them with whatever clock."""

from collections.abc import Callable
from datetime import timedelta

import pytest
import time_machine
from django.core import signing

from shop.models import (
    Arrival,
    Person,
    Role,
    StepEntry,
    Unsettled,
)
from shop.services.arriving import (
    NotOurs,
    pen_of,
    pens,
    read_pen,
)
from tests.shop.phones import Phone, check, states
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)
A_MINUTE = timedelta(minutes=1)


def test_an_entry_is_its_authors_whoever_sends_it(opened: Phone, world: SheetWorld) -> None:
    other = Phone(world.manager, opened.sheet, id=opened.id)
    other.join()
    oil, seal = check(opened, "Oil and filter changed"), check(opened, "Side seal")
    other.send(opened.answer(oil), other.answer(seal, "choice", choice="good"))
    assert check(opened, "Oil and filter changed").entry.author == opened.who
    assert check(opened, "Side seal").entry.author == world.manager


def forged(person: Person) -> str:
    return signing.dumps({"p": person.pk, "h": "0"}, key="not ours", salt=pens.SALT)


@pytest.mark.parametrize(
    "pen",
    [
        forged,
        lambda person: "",
        lambda person: "a:b:c",
        lambda person: pen_of(person)[:-1],
        lambda person: pen_of(person).replace(":", ""),
        lambda person: signing.dumps({"p": person.pk, "h": "0"}, salt="another"),
        lambda person: signing.dumps({"p": 2**40, "h": "0"}, salt=pens.SALT),
        lambda person: signing.dumps({"p": "x\x00", "h": "0"}, salt=pens.SALT),
        lambda person: signing.dumps([1], salt=pens.SALT),
        lambda person: signing.dumps(None, salt=pens.SALT),
    ],
)
def test_a_pen_that_is_not_ours_stores_nothing(opened: Phone, pen: Callable[[Person], str]) -> None:
    before = rows_of_every_table()
    text = pen(opened.who)
    with pytest.raises(NotOurs):
        read_pen(text, at=NOW)
    entry = {**opened.answer(check(opened, "Oil and filter changed")), "pen": text}
    [outcome] = opened.send(entry)
    assert (outcome.state, outcome.field) == ("refused", "pen")
    assert rows_of_every_table() == before


def test_twin_with_our_key_the_forged_pen_writes(opened: Phone) -> None:
    """The signature is what stops it: the same words signed by us are believed."""
    entry = opened.answer(check(opened, "Oil and filter changed"))
    assert states(opened.send({**entry, "pen": pen_of(opened.who)})) == ["taken"]


def _off(person: Person) -> None:
    person.is_active = False


def _new_password(person: Person) -> None:
    person.set_password("another quiet word")


def _owner(person: Person) -> None:
    person.role = Role.OWNER


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_off, "may no longer sign in"),
        (_new_password, "another password"),
        (_owner, "no longer works on sheets"),
    ],
)
def test_a_pen_that_no_longer_holds_keeps_its_entry_waiting(
    opened: Phone, change: Callable[[Person], None], said: str
) -> None:
    entry = {**opened.answer(check(opened, "Oil and filter changed")), "live": True}
    change(opened.who)
    opened.who.save()
    [outcome] = opened.send(entry)
    assert outcome.state == "waiting"
    assert said in outcome.words
    kept = Unsettled.objects.get()
    assert (kept.author, kept.kind, kept.at) == (opened.who, "answer", NOW)
    assert check(opened, "Oil and filter changed").entry is None


@pytest.mark.parametrize(("days", "state"), [(59, "taken"), (61, "waiting")])
def test_a_pen_keeps_for_sixty_days(opened: Phone, days: int, state: str) -> None:
    with time_machine.travel(NOW - timedelta(days=days), tick=False):
        pen = pen_of(opened.who)
    entry = {**opened.answer(check(opened, "Oil and filter changed")), "pen": pen}
    assert states(opened.send(entry)) == [state]


# --- when --------------------------------------------------------------------------------------


@pytest.mark.parametrize("days", [-1, -400, 1, 400])
def test_a_clock_that_is_wrong_is_put_right(hands: Hands, days: int) -> None:
    phone = Phone(hands.who, hands.sheet, clock=timedelta(days=days))
    caution = hands.steps("caution")[0]
    phone.send(phone.answer(caution, at=NOW + A_MINUTE), now=LATER)
    entry = StepEntry.objects.get()
    assert (entry.at, entry.recorded_at) == (NOW + A_MINUTE, LATER)
    assert Arrival.objects.get().clock_error_seconds == -days * 86_400


def test_no_entry_is_later_than_it_came_nor_older_than_its_sheet(hands: Hands) -> None:
    """The phone's clock was put right between the entries and the sending."""
    phone = Phone(hands.who, hands.sheet)
    first, second = hands.steps("caution")[:2]
    ancient = {**phone.answer(first), "at": "0001-01-01T00:00:00+00:00"}
    future = {**phone.answer(second), "at": "9999-12-31T23:59:59+00:00"}
    phone.send(ancient, future, now=LATER)
    assert list(Arrival.objects.order_by("pk").values_list("at", flat=True)) == [
        hands.sheet.drafted_at,
        LATER,
    ]


def test_entries_of_a_phone_stay_in_their_order_across_batches(hands: Hands) -> None:
    phone = Phone(hands.who, hands.sheet)
    first, second, third = phone.before_the_checks()[:3]
    first["at"] = (NOW + 10 * A_MINUTE).isoformat()
    second["at"] = NOW.isoformat()
    third["at"] = (NOW + 2 * A_MINUTE).isoformat()
    phone.send(first, second, now=LATER)
    phone.send(third, now=LATER)
    assert set(Arrival.objects.values_list("at", flat=True)) == {NOW + 10 * A_MINUTE}
