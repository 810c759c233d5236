"""What was skipped comes back: over due rows, on the due list, until somebody does it."""

from datetime import timedelta

import pytest
import time_machine

from equipment.models import Due, Renewal
from equipment.services import record_renewal, undo_renewal
from shop.services.left_undone import left_undone
from tests.inventory.pages.browsing import text_of
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


@pytest.fixture
def skipped(done: Hands, world: SheetWorld) -> Hands:
    """A signed sheet on which the rebuild was skipped and the oil done."""
    done.answer(done.check("Side seal"), "cleared")
    done.sign(leave_undone=True)
    return done


def keys(world: SheetWorld) -> list[tuple[int, int]]:
    return [(due.component_id, due.version.service_id) for due in (world.oil, world.rebuild)]


def test_a_skipped_service_stays_due_as_it_was_and_a_done_one_begins_anew(
    done: Hands, world: SheetWorld
) -> None:
    figures = ("due_date", "late_date", "since", "renewed_at", "is_past_due", "is_listed")
    before = Due.objects.filter(pk=world.rebuild.pk).values(*figures).get()
    oil_before = Due.objects.get(pk=world.oil.pk)
    done.answer(done.check("Side seal"), "cleared")
    done.sign(leave_undone=True)
    assert Due.objects.filter(pk=world.rebuild.pk).values(*figures).get() == before
    oil = Due.objects.get(pk=world.oil.pk)
    assert oil.renewed_at == NOW
    assert oil.since < oil_before.since
    listed = Due.objects.listed().order_by("pk")
    assert {due.pk for due in listed} == {world.oil.pk, world.rebuild.pk}


def test_it_may_be_drafted_again_and_comes_back_as_often_as_it_is_skipped(
    skipped: Hands, world: SheetWorld
) -> None:
    again = world.draft(Due.objects.get(pk=world.rebuild.pk))
    hands = Hands(again, skipped.who)
    hands.sign(leave_undone=True, at=NOW + timedelta(hours=1))
    found = left_undone(keys(world))
    assert list(found) == [keys(world)[1]]
    assert found[keys(world)[1]].number == again.number


def test_once_done_it_is_not_left_undone_any_more(skipped: Hands, world: SheetWorld) -> None:
    assert left_undone(keys(world))
    done_at = NOW + timedelta(hours=3)
    record_renewal(
        version=world.rebuild.version,
        component=world.rebuild.component,
        done_at=done_at,
        author=world.manager,
        recorded_at=done_at,
        zone=world.shop.zone,
    )
    assert left_undone(keys(world)) == {}
    undo_renewal(
        renewal=Renewal.objects.get(done_at=done_at),
        author=world.manager,
        at=done_at,
        reason="wrong gun",
        zone=world.shop.zone,
    )
    assert list(left_undone(keys(world))) == [keys(world)[1]]


def test_nothing_skipped_asks_no_second_question(
    world: SheetWorld, django_assert_num_queries: object
) -> None:
    wanted = keys(world)
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert left_undone(wanted) == {}


def test_the_due_list_its_file_and_the_sheet_say_so(
    skipped: Hands, world: SheetWorld, client_as: object
) -> None:
    number = skipped.sheet.number
    desk = client_as("manager")  # type: ignore[operator]
    with time_machine.travel(NOW, tick=False):
        listed = desk.get("/due/?before=all")
        assert f'href="/sheets/{number}/">left undone on sheet {number:04d}' in (
            listed.content.decode()
        )
        assert "left undone, comes back" in text_of(desk.get(f"/sheets/{number}/"))
        file = desk.get("/due/?before=all&export=csv")
    assert f"left undone on sheet {number:04d}" in b"".join(file.streaming_content).decode()
