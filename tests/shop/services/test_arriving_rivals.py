"""Entries from phones: two answers to one step, of people who did not see each other's."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest

from shop.models import (
    ReadingEntry,
)
from shop.services import working
from shop.services.arriving import (
    snapshot,
)
from tests.shop.phones import Phone, check
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)
A_MINUTE = timedelta(minutes=1)


def rivals(phone: Phone, title: str, shop: Any) -> tuple[str, list[str]]:
    """What is in force of a step, and what else was said of it."""
    step = snapshot(phone.sheet, zone=shop.zone)["steps"][str(check(phone, title).pk)]
    return step["choice"], [each["texts"]["us"] for each in step["rivals"]]


@pytest.fixture
def other(opened: Phone, world: SheetWorld) -> Phone:
    phone = Phone(world.manager, opened.sheet)
    phone.join()
    return phone


SEAL = "Side seal"


def choose(phone: Phone, choice: str, seen: str = "", minutes: int = 0) -> dict[str, Any]:
    at = NOW + minutes * A_MINUTE
    return phone.answer(check(phone, SEAL), "choice", choice=choice, seen=seen, at=at)


def test_two_who_did_not_see_each_other_are_both_kept(
    opened: Phone, other: Phone, shop: Any
) -> None:
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    other.send(choose(other, "replaced", minutes=2), now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", ["good"])


def test_the_newest_is_in_force_also_where_the_older_came_last(
    opened: Phone, other: Phone, shop: Any
) -> None:
    other.send(choose(other, "replaced", minutes=2), now=LATER)
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", ["good"])


def test_a_person_picks_one(opened: Phone, other: Phone, shop: Any) -> None:
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    second = choose(other, "replaced", minutes=2)
    other.send(second, now=LATER)
    opened.send(choose(opened, "good", seen=second["event_id"], minutes=3), now=LATER)
    assert rivals(opened, SEAL, shop) == ("good", [])
    assert check(opened, SEAL).entries.count() == 3


def test_three_phones_three_answers(opened: Phone, other: Phone, shop: Any) -> None:
    third = Phone(opened.who, opened.sheet)
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    other.send(choose(other, "replaced", minutes=3), now=LATER)
    third.send(
        third.answer(check(third, SEAL), "na", note="no gun on it", at=NOW + 2 * A_MINUTE),
        now=LATER,
    )
    assert rivals(opened, SEAL, shop) == ("replaced", ["good", "not applicable: no gun on it"])


def test_the_same_answer_twice_is_no_rival(opened: Phone, other: Phone, shop: Any) -> None:
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    other.send(choose(other, "good", minutes=2), now=LATER)
    assert rivals(opened, SEAL, shop) == ("good", [])


def test_who_saw_it_changes_it_and_is_no_rival(opened: Phone, other: Phone, shop: Any) -> None:
    first = choose(opened, "good", minutes=1)
    opened.send(first, now=LATER)
    other.send(choose(other, "replaced", seen=first["event_id"], minutes=2), now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", [])


def test_a_phone_that_changes_its_own_answer_is_no_rival(opened: Phone, shop: Any) -> None:
    first = choose(opened, "good", minutes=1)
    second = choose(opened, "replaced", seen=first["event_id"], minutes=2)
    opened.send(first, second, now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", [])


def test_nobody_takes_back_what_they_have_not_seen(opened: Phone, other: Phone, shop: Any) -> None:
    mine = choose(opened, "good", minutes=1)
    opened.send(mine, now=LATER)
    other.send(choose(other, "replaced", seen=mine["event_id"], minutes=2), now=LATER)
    undo = opened.answer(
        check(opened, SEAL), "cleared", seen=mine["event_id"], at=NOW + 3 * A_MINUTE
    )
    opened.send(undo, now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", ["taken back"])


def test_twin_without_what_was_seen_the_first_answer_is_silently_gone(
    opened: Phone, other: Phone, shop: Any
) -> None:
    """The page's own way in, where the person sees what is in force: the newest simply counts."""
    given = {"recorded_at": NOW, "at": NOW, "answer": "choice"}
    step = check(opened, SEAL)
    for author, choice in ((opened.who, "good"), (other.who, "replaced")):
        working.answer_step(step=step, event_id=uuid4(), author=author, choice=choice, **given)
    assert rivals(opened, SEAL, shop) == ("replaced", [])


def test_the_newest_reading_and_the_newest_use_count_whichever_came_last(
    opened: Phone, world: SheetWorld
) -> None:
    row = opened.sheet.parts.get(part=world.filter_part)
    hours = world.fleet.counters["hours"].pk
    for kind, said in (
        ("used", [{"row": row.pk, "used": "1"}, {"row": row.pk, "used": "0"}]),
        ("reading", [{"counter": hours, "value": "215"}, {"counter": hours, "value": "212"}]),
    ):
        newer, older = said
        Phone(world.manager, opened.sheet).send(
            opened.entry(kind, at=NOW + 2 * A_MINUTE, **newer), now=LATER
        )
        opened.send(opened.entry(kind, at=NOW + A_MINUTE, **older), now=LATER)
    row.refresh_from_db()
    assert row.used_steps == 1
    assert [each.value for each in ReadingEntry.objects.filter(is_in_force=True)] == [215]
