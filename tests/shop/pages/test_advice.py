"""The page of reasons, the part's page and the buying list: what they say are the row's figures."""

import re
from datetime import timedelta
from html import unescape
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from inventory.models import Movement, StockAdvice, StockPolicy
from inventory.services import set_policy
from shop.advice import found_of, given_of
from shop.advice_words import of_hundred, sentence
from shop.models import Person, Shop
from shop.services.advising import advise
from tests.inventory.factories import PartFactory
from tests.shop.worlds import NOW, TODAY, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person, time_machine: Any) -> SheetWorld:
    made = sheet_world(shop, manager)
    time_machine.move_to(NOW, tick=False)
    advise(shop=shop, today=TODAY, author=manager, at=NOW)
    return made


@pytest.fixture
def desk(client_as: Any) -> Client:
    return client_as("manager")


def page(client: Client, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200
    return answer.content.decode()


def text_of(shown: str) -> str:
    """What a page says, without its markup and drawings."""
    body = re.sub(r"<svg.*?</svg>|<script.*?</script>", "", shown, flags=re.S)
    return unescape(re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body)))


def test_the_reasons_are_the_figures_of_the_row(world: SheetWorld, desk: Client) -> None:
    row = StockAdvice.objects.get(part=world.filter_part)
    given, found = given_of(row.figures), found_of(row.figures)
    shown = text_of(page(desk, f"/parts/{world.filter_part.number}/advice/"))
    assert str(sentence(given, found)) in shown
    assert f"Buy when {found.point_steps} are left on hand and on order" in shown
    assert f"{found.point_steps} are enough in {of_hundred(found.at_point.reached)}" in shown
    assert of_hundred(found.one_more.reached) in shown
    assert found.one_fewer is not None
    assert of_hundred(found.one_fewer.reached) in shown
    for need in given.needs:
        assert need.what in shown
    for lead in given.lead_times:
        assert f"{lead.days} d ({lead.weight:.0%})" in shown
    assert f"{given.target:.1%} of spans" in shown


def test_without_advice_the_page_says_when_there_will_be_some(
    world: SheetWorld, desk: Client
) -> None:
    part = PartFactory()
    assert "Nothing is advised for this part yet" in page(desk, f"/parts/{part.number}/advice/")
    assert "On hand against time" not in page(desk, f"/parts/{part.number}/")
    assert desk.get("/parts/no-such/advice/").status_code == 404


def test_the_parts_page_says_and_draws_the_same(world: SheetWorld, desk: Client) -> None:
    row = StockAdvice.objects.get(part=world.filter_part)
    given, found = given_of(row.figures), found_of(row.figures)
    shown = page(desk, f"/parts/{world.filter_part.number}/")
    assert str(sentence(given, found)) in text_of(shown)
    assert f"reorder point {found.point_steps}" in shown
    figures = r'((?:\s*<td role="cell" class="num">[^<]*</td>){3})'
    cells = re.findall(r'<td role="cell">([^<]*)</td>' + figures, shown)
    weeks = [(day, *(int(each) for each in re.findall(r">(\d+)<", rest))) for day, rest in cells]
    assert len(weeks) == 1 + len(found.ahead)
    # One filter lies in the bin: what is left is that, less what is asked for, never below nothing.
    for (_, low, middle, high), each in zip(weeks[1:], found.ahead, strict=True):
        assert (low, middle, high) == (
            max(0, 1 - each.high), max(0, 1 - each.middle), max(0, 1 - each.low)
        )  # fmt: skip


def test_what_a_manager_fixes_stands_with_reason_and_day(world: SheetWorld, desk: Client) -> None:
    address = f"/parts/{world.filter_part.number}"
    sent = {
        "reorder_point_steps": "6",
        "order_up_to_steps": "9",
        "reason": "winter",
        "review_on": str(TODAY + timedelta(days=30)),
        "request_id": str(uuid4()),
    }
    assert desk.post(f"{address}/policy/", sent).status_code == 302
    shown = text_of(page(desk, f"{address}/advice/"))
    assert "Fixed by hand: buy at 6, up to 9. “winter”" in shown
    assert "By what falls due, which is not in force: Buy when" in shown
    part = page(desk, f"{address}/")
    assert "The number above is fixed by hand until" in text_of(part)
    assert "reorder point 6" in part
    assert "is past" not in shown
    assert "to be looked at again" not in page(desk, "/buying/")

    assert desk.post(f"{address}/advice/follow/").status_code == 302
    policy = StockPolicy.objects.get(part=world.filter_part)
    row = StockAdvice.objects.get(part=world.filter_part)
    assert (policy.by_hand, policy.reorder_point_steps) == (False, row.reorder_point_steps)
    assert "The part is bought by this advice" in page(desk, f"{address}/advice/")


def test_a_day_that_is_no_day_is_refused_beside_the_field(world: SheetWorld, desk: Client) -> None:
    sent = {
        "reorder_point_steps": "6", "order_up_to_steps": "9", "reason": "x", "review_on": "soon",
        "request_id": str(uuid4()),
    }  # fmt: skip
    answer = desk.post(f"/parts/{world.filter_part.number}/policy/", sent)
    assert answer.status_code == 422
    assert StockPolicy.objects.get(part=world.filter_part).reorder_point_steps != 6


def test_the_buying_list_says_which_day_to_look_again_is_past(
    world: SheetWorld, desk: Client
) -> None:
    assert "to be looked at again" not in page(desk, "/buying/")
    set_policy(
        part=world.kit,
        reorder_point_steps=2,
        order_up_to_steps=3,
        author=world.manager,
        at=NOW,
        reason="trade fair",
        review_on=TODAY - timedelta(days=1),
    )
    shown = text_of(page(desk, "/buying/"))
    assert "Fixed by hand, to be looked at again" in shown
    assert "trade fair" in shown
    assert "The day to look at it again is past" in page(desk, f"/parts/{world.kit.number}/advice/")


def test_reckoned_again_it_follows_what_changed(world: SheetWorld, desk: Client) -> None:
    StockAdvice.objects.update(reorder_point_steps=0, order_up_to_steps=0)
    answer = desk.post(f"/parts/{world.kit.number}/advice/again/", follow=True)
    assert "reckoned again" in answer.content.decode()
    row = StockAdvice.objects.get(part=world.kit)
    assert row.reorder_point_steps == found_of(row.figures).point_steps > 0


def test_a_technician_reads_it_and_changes_nothing(world: SheetWorld, client_as: Any) -> None:
    hand: Client = client_as("technician")
    shown = page(hand, f"/parts/{world.kit.number}/advice/")
    assert "Reckon again" not in shown
    assert hand.post(f"/parts/{world.kit.number}/advice/again/").status_code == 403
    assert hand.post(f"/parts/{world.kit.number}/advice/follow/").status_code == 403


def test_the_drawing_begins_with_the_ledger(world: SheetWorld, desk: Client) -> None:
    """The line of what was counted ends at what the ledger adds up to in the bins."""
    from inventory.models import Location
    from shop.advice_plot import Moved, held_behind

    moved = [
        Moved(each.at.date(), each.quantity_steps)
        for each in Movement.objects.filter(
            part=world.filter_part, location__kind=Location.Kind.BIN
        )
    ]
    held = held_behind(moved, on_hand_steps=1, today=NOW.date() + timedelta(days=60))
    assert held[-1].steps == 1
    assert held[0].steps == 0
