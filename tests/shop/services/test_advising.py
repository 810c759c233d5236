"""What advice is gathered from: services with their odds, drawers, sheets, history, suppliers."""

import itertools
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.models import Due
from equipment.services import publish_version
from equipment.services.coming import renewals_by
from equipment.services.odds import odds_by
from inventory.models import (
    Part,
    PriceBreak,
    PurchaseOrder,
    StockAdvice,
    StockClass,
    StockPolicy,
    Supplier,
    SupplierPart,
)
from inventory.services import IssueLine, TransferLine, issue, set_policy, transfer
from inventory.services.buying import Wish, draft_order, send_order
from inventory.services.buying_receipts import Arrival, receive_delivery
from shop.advice import AHEAD_DAYS, Given, found_of, recompute
from shop.advice_words import late_words, need_rows
from shop.models import Person, Shop
from shop.services.advising import advise, follow_again, gather
from shop.services.needs import set_need
from shop.services.sheet_parts import take_parts
from tests.equipment.factories import ZONE, day, service_for
from tests.inventory.factories import PartFactory, received
from tests.shop.worlds import NOW, TODAY, SheetWorld, sheet_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(shop: Shop, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


def sold_by(
    world: SheetWorld, part: Part, *, lead: int = 7, review: int = 0, **more: Any
) -> SupplierPart:
    supplier, _ = Supplier.objects.get_or_create(
        name="Harbor Supply",
        defaults={"review_days": review, "changed_by": world.manager, "changed_at": NOW},
    )
    return SupplierPart.objects.create(
        supplier=supplier, part=part, lead_time_days=lead, preferred=True, **more
    )


def given_for(world: SheetWorld, part: Part) -> Given:
    return gather(shop=world.shop, today=TODAY)[part.pk]


def reckoned(world: SheetWorld) -> dict[int, StockAdvice]:
    advise(shop=world.shop, today=TODAY, author=world.manager, at=NOW)
    return {row.part_id: row for row in StockAdvice.objects.filter(location__isnull=True)}


# --- odds ----------------------------------------------------------------------------------------


def test_the_first_renewal_has_the_odds_of_the_due_list(world: SheetWorld) -> None:
    rows = Due.objects.listed()
    days = [TODAY + timedelta(days=ahead) for ahead in (0, 7, 40)]
    found = renewals_by(rows, today=TODAY, days=days, zone=ZONE)
    for place, each in enumerate(days):
        expected = odds_by(rows, day=each, zone=ZONE)
        for pk, odds in expected.items():
            first = found[pk][place][0] if found[pk][place] else 0.0
            assert first == pytest.approx(odds.due, abs=1e-4)


def test_a_service_falls_due_again_an_interval_later_and_never_likelier(world: SheetWorld) -> None:
    """150 hours at about 10 a day: once more about every 15 days."""
    days = [TODAY + timedelta(days=ahead) for ahead in (7, 14, 28, 56)]
    chances = renewals_by(Due.objects.listed(), today=TODAY, days=days, zone=ZONE)[world.oil.pk]
    assert all(a >= b for of_day in chances for a, b in itertools.pairwise(of_day))
    assert chances[0][2] < 0.2
    assert chances[-1][2] > 0.9


def test_by_the_calendar_the_next_one_is_an_interval_later(world: SheetWorld) -> None:
    version = service_for(
        world.fleet.components["gun"], ("days", 20), name="look over", author=world.manager
    )
    due = Due.objects.get(version=version)
    days = [due.due_date + timedelta(days=ahead) for ahead in (-1, 0, 19, 20)]
    chances = renewals_by(Due.objects.filter(pk=due.pk), today=days[0], days=days, zone=ZONE)[
        due.pk
    ]
    assert chances == [(), (1.0,), (1.0,), (1.0, 1.0)]


def test_what_is_long_past_due_is_done_once_and_then_an_interval_later(world: SheetWorld) -> None:
    version = service_for(
        world.fleet.components["gun"], ("days", 5), name="wipe down", author=world.manager
    )
    days = [TODAY + timedelta(days=ahead) for ahead in (0, 4, 5, 10)]
    rows = Due.objects.filter(version=version)
    assert rows.get().due_date < TODAY - timedelta(days=20)
    (chances,) = renewals_by(rows, today=TODAY, days=days, zone=ZONE).values()
    assert chances == [(1.0,), (1.0,), (1.0, 1.0), (1.0, 1.0, 1.0)]


# --- what services, sheets and drawers ask -------------------------------------------------------


def test_services_that_need_a_part_are_asked_for_with_their_odds(world: SheetWorld) -> None:
    given = given_for(world, world.filter_part)
    (need,) = given.needs
    assert (need.rig, need.quantity_steps) == (world.fleet.rig.pk, 1)
    assert need.what.endswith("oil and filter")
    # 150 hours were due at day 15 or so; it is day 30.
    assert need.by(AHEAD_DAYS[0])[0] == 1.0


def test_a_kit_is_asked_for_as_a_kit(world: SheetWorld) -> None:
    advice = reckoned(world)
    assert world.kit.pk in advice
    assert world.seal.pk not in advice


def test_a_bigger_service_stands_for_the_smaller_one(world: SheetWorld) -> None:
    gun = world.fleet.components["gun"]
    clean = service_for(gun, ("gallons", 990), name="clean out", author=world.manager)
    set_need(service=clean.service, part=world.filter_part, quantity_steps=3)
    assert any("clean out" in each.what for each in given_for(world, world.filter_part).needs)

    publish_version(
        service=world.rebuild.version.service,
        triggers=[*_plans(world)],
        includes=[clean.service],
        author=world.manager,
        at=NOW,
        zone=ZONE,
    )
    needs = given_for(world, world.filter_part).needs
    first_week = [
        each for each in needs if "clean out" in each.what and each.by(AHEAD_DAYS[0])[:1] == (1.0,)
    ]
    assert not first_week


def _plans(world: SheetWorld) -> Any:
    from equipment.services import trigger_plans

    return trigger_plans(world.rebuild.version)


def test_what_a_sheet_needs_counts_once_and_from_its_day_on(world: SheetWorld) -> None:
    before = given_for(world, world.kit)
    world.draft(planned_on=TODAY + timedelta(days=10))
    given = given_for(world, world.kit)
    (need,) = [each for each in given.needs if each.sheet]
    assert need.quantity_steps == 1
    assert (need.by(7), need.by(14)) == ((), (1.0,))
    # The service itself is on the sheet: what remains of it is its second renewal.
    week, later = AHEAD_DAYS[0], AHEAD_DAYS[-1]
    assert sum(sum(each.by(later)) for each in given.needs) == pytest.approx(
        sum(sum(each.by(later)) for each in before.needs)
    )
    assert sum(sum(each.by(week)) for each in given.needs) < sum(
        sum(each.by(week)) for each in before.needs
    )
    # What is promised is not taken off what is here as well.
    assert given.position_steps == before.position_steps == 1


def test_what_lies_in_the_tray_of_a_sheet_is_asked_for_no_more(world: SheetWorld) -> None:
    sheet = world.draft()
    assert [each.sheet for each in given_for(world, world.kit).needs if each.by(7)[:1] == (1.0,)]
    take_parts(sheet=sheet, author=world.manager, at=NOW, request_id=uuid4())
    given = given_for(world, world.kit)
    assert not [each for each in given.needs if each.sheet]
    assert given.position_steps == 0


def test_a_kit_in_the_rigs_drawer_is_counted_once(world: SheetWorld) -> None:
    bare = reckoned(world)[world.kit.pk].reorder_point_steps
    transfer(
        lines=[
            TransferLine(
                part=world.kit, from_location=world.bin, to_location=world.drawer, quantity_steps=1
            )
        ],
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )
    given = given_for(world, world.kit)
    assert [(each.rig, each.here_steps) for each in given.drawers] == [(world.fleet.rig.pk, 1)]
    assert (given.usable_steps, given.position_steps) == (0, 0)
    assert reckoned(world)[world.kit.pk].reorder_point_steps == bare - 1


def test_what_a_drawer_should_hold_and_does_not_is_taken_from_the_shop(world: SheetWorld) -> None:
    set_policy(
        part=world.kit,
        location=world.drawer,
        reorder_point_steps=1,
        order_up_to_steps=1,
        author=world.manager,
        at=NOW,
    )
    given = given_for(world, world.kit)
    assert (given.lacks_steps, given.position_steps) == (1, 1)
    (drawer,) = given.drawers
    # A number by hand stands: once used from, the drawer is filled again.
    assert (drawer.asked_steps(0), drawer.asked_steps(1)) == (1, 2)


def test_a_robbed_kit_is_bought_as_a_kit_unless_its_parts_are(world: SheetWorld) -> None:
    """No whole kit is free: of its two seals one lies in the drawer."""
    transfer(
        lines=[
            TransferLine(
                part=world.kit,
                from_location=world.bin,
                to_location=_quarantine(world),
                quantity_steps=1,
            )
        ],
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )
    world.draft(world.rebuild)
    asked = [each for each in given_for(world, world.kit).needs if each.sheet]
    assert [each.quantity_steps for each in asked] == [1]
    sold_by(world, world.seal)
    set_need(service=world.oil.version.service, part=world.seal, quantity_steps=1)
    asked = [each for each in given_for(world, world.seal).needs if each.sheet]
    assert [each.quantity_steps for each in asked] == [2]
    assert not [each for each in given_for(world, world.kit).needs if each.sheet]


def _quarantine(world: SheetWorld) -> Any:
    from tests.inventory.factories import BinFactory

    return BinFactory(quarantine=True)


# --- what was used -------------------------------------------------------------------------------


def test_what_no_service_planned_is_learnt_as_breaking(world: SheetWorld) -> None:
    for back, steps in ((20, 2), (10, 1)):
        received(world.filter_part, world.bin, steps, 100, at=NOW - timedelta(days=back))
        issue(
            lines=[IssueLine(part=world.filter_part, location=world.bin, quantity_steps=steps)],
            author=world.manager,
            at=NOW - timedelta(days=back),
            request_id=uuid4(),
        )
    unplanned = given_for(world, world.filter_part).unplanned
    assert (unplanned.events, unplanned.steps, unplanned.quantity_steps) == (2, 3, 2)


# --- how it is bought ----------------------------------------------------------------------------


def test_lead_time_review_pack_and_prices_come_from_the_supplier(world: SheetWorld) -> None:
    sold = sold_by(world, world.kit, lead=20, review=14, pack_steps=2, least_packs=3)
    PriceBreak.objects.create(supplier_part=sold, from_packs=1, pack_price_cents=40_000)
    PriceBreak.objects.create(supplier_part=sold, from_packs=5, pack_price_cents=38_000)
    given = given_for(world, world.kit)
    # A triangle about what they say, by bands: 50, 80, 95 and 99 %, from three weeks up by threes.
    assert [lead.days for lead in given.lead_times] == [20, 24, 27]
    assert given.review_days == 14
    assert given.lead_from == "Harbor Supply says 20 days; nothing came from them yet"
    assert (given.terms.pack_steps, given.terms.least_packs) == (2, 3)
    assert given.terms.prices == ((1, 40_000), (5, 38_000))
    assert all(span.days in given.needs[0].chances for span in given.spans)


def ordered(
    world: SheetWorld, part: Part, *, back: int, took: int | None, steps: int = 2
) -> PurchaseOrder:
    """An order sent so many days ago, that came after so many, or has not come."""
    sent_at = NOW - timedelta(days=back)
    order = draft_order(
        supplier=Supplier.objects.get(name="Harbor Supply"),
        wishes=[Wish(part, steps)],
        author=world.manager,
        at=sent_at,
        request_id=uuid4(),
    )
    send_order(order=order, author=world.manager, at=sent_at)
    if took is not None:
        receive_delivery(
            order=order,
            packing_slip=f"slip {back}",
            arrivals=[Arrival(line=order.lines.get(), quantity_steps=steps, location=world.bin)],
            author=world.manager,
            at=sent_at + timedelta(days=took),
            request_id=uuid4(),
        )
    return order


def mean_days(given: Given) -> float:
    return sum(lead.days * lead.weight for lead in given.lead_times)


def test_what_orders_took_is_learnt_and_said(world: SheetWorld) -> None:
    sold_by(world, world.filter_part, lead=10)
    by_word = given_for(world, world.filter_part)
    for place, took in enumerate((12, 14, 16, 19, 19, 19)):
        ordered(world, world.filter_part, back=100 + 25 * place, took=took)
    given = given_for(world, world.filter_part)
    assert given.lead_from == "Harbor Supply says 10 days; 6 order lines of it took 12 to 19 days"
    assert given.lead_times[0].days > by_word.lead_times[0].days
    assert given.lead_times[-1].days >= 19
    assert not given.late_orders
    assert sum(lead.weight for lead in given.lead_times) == pytest.approx(1)
    # Another part of the same supplier goes by what the supplier took on the whole.
    sold_by(world, world.kit, lead=10)
    other = given_for(world, world.kit)
    assert other.lead_from == (
        "Harbor Supply says 10 days; none of it came from them yet, "
        "6 order lines of other parts took 12 to 19 days"
    )
    assert other.span_days > by_word.span_days


def test_an_order_that_is_late_is_named_and_counts_once_by_its_odds(world: SheetWorld) -> None:
    sold_by(world, world.filter_part, lead=10)
    before = given_for(world, world.filter_part)
    order = ordered(world, world.filter_part, back=16, took=None, steps=8)
    given = given_for(world, world.filter_part)
    (late,) = given.late_orders
    assert (late.order, late.steps, late.late_days) == (order.number, 8, 6)
    assert given.on_order_steps == 8
    assert given.position_steps == given.usable_steps + 8
    chances = [late.missing[span.days] for span in given.spans]
    assert all(0 < chance < 1 for chance in chances)
    assert chances == sorted(chances, reverse=True)
    # That it waits so long is a wait of at least so long: an order of today takes longer too.
    assert mean_days(given) > mean_days(before)
    (said,) = late_words(given)
    assert said.startswith(
        f"Order {order.number} is 6 days late with 8. It may still come: it is reckoned as here in "
    )


def test_an_order_that_is_not_late_is_reckoned_to_come(world: SheetWorld) -> None:
    sold_by(world, world.filter_part, lead=10)
    ordered(world, world.filter_part, back=9, took=None, steps=8)
    given = given_for(world, world.filter_part)
    assert (given.on_order_steps, given.late_orders) == (8, ())


def test_what_a_drawer_or_the_bins_hold_for_it_is_said_beside_a_need(world: SheetWorld) -> None:
    transfer(
        lines=[
            TransferLine(
                part=world.filter_part, from_location=world.bin, to_location=world.drawer,
                quantity_steps=1,
            )
        ],
        author=world.manager, at=NOW, request_id=uuid4(),
    )  # fmt: skip
    (row,) = need_rows(given_for(world, world.filter_part))
    assert row.covered == "in its drawer"
    world.draft(world.rebuild)
    (row, *_) = [each for each in need_rows(given_for(world, world.kit)) if each.sheet]
    assert row.covered == "reserved in the bins"


def test_a_longer_lead_time_asks_for_more(world: SheetWorld) -> None:
    short = reckoned(world)[world.filter_part.pk].reorder_point_steps
    sold_by(world, world.filter_part, lead=60)
    assert reckoned(world)[world.filter_part.pk].reorder_point_steps > short


def test_a_manager_asks_for_more_of_a_class(world: SheetWorld) -> None:
    letter = given_for(world, world.kit).value_class
    StockClass.objects.create(
        letter=letter,
        target_percent=Decimal("99.5"),
        count_every_days=30,
        changed_by=world.manager,
        changed_at=NOW,
    )
    assert given_for(world, world.kit).target == pytest.approx(0.995)


# --- kept ----------------------------------------------------------------------------------------


def test_the_kept_number_is_recomputed_from_the_figures_kept(world: SheetWorld) -> None:
    sold_by(world, world.kit)
    rows = reckoned(world)
    assert {world.kit.pk, world.filter_part.pk} <= rows.keys()
    for row in rows.values():
        again = recompute(row.figures)
        assert again == found_of(row.figures)
        assert row.order_up_to_steps == again.order_up_to_steps
        assert row.reorder_point_steps == (again.point_steps if again.order_up_to_steps else 0)
        assert row.value_class == row.figures["given"]["value_class"]
        assert row.reckoned_on == TODAY


def test_a_policy_follows_the_advice_unless_it_was_set_by_hand(world: SheetWorld) -> None:
    set_policy(
        part=world.kit, reorder_point_steps=9, order_up_to_steps=12, author=world.manager, at=NOW
    )
    rows = reckoned(world)
    by_hand = StockPolicy.objects.get(part=world.kit)
    assert (by_hand.by_hand, by_hand.reorder_point_steps) == (True, 9)
    follows = StockPolicy.objects.get(part=world.filter_part)
    row = rows[world.filter_part.pk]
    assert not follows.by_hand
    assert (follows.reorder_point_steps, follows.order_up_to_steps) == (
        row.reorder_point_steps,
        row.order_up_to_steps,
    )

    follow_again(part=world.kit, author=world.manager, at=NOW)
    by_hand.refresh_from_db()
    assert not by_hand.by_hand
    assert by_hand.reorder_point_steps == rows[world.kit.pk].reorder_point_steps


def test_a_number_set_over_one_that_follows_is_by_hand(world: SheetWorld) -> None:
    reckoned(world)
    review = date(2026, 9, 1)
    set_policy(
        part=world.filter_part,
        reorder_point_steps=7,
        order_up_to_steps=8,
        author=world.manager,
        at=NOW,
        reason="one more winter",
        review_on=review,
    )
    reckoned(world)
    policy = StockPolicy.objects.get(part=world.filter_part)
    assert (policy.by_hand, policy.reorder_point_steps, policy.review_on) == (True, 7, review)


def test_advice_goes_with_the_need_for_it(world: SheetWorld) -> None:
    reckoned(world)
    world.filter_part.retired = True
    world.filter_part.save()
    assert world.filter_part.pk not in reckoned(world)


def test_reckoned_twice_it_stays_the_same(world: SheetWorld) -> None:
    first = {pk: row.figures for pk, row in reckoned(world).items()}
    again = advise(shop=world.shop, today=TODAY, author=world.manager, at=day(31))
    assert again.policies == 0
    assert {row.part_id: row.figures for row in StockAdvice.objects.all()} == first


def test_the_queries_do_not_grow_with_the_parts(world: SheetWorld) -> None:
    def counted() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            gather(shop=world.shop, today=TODAY)
        return len(queries)

    sold_by(world, world.kit)
    before = counted()
    for _ in range(8):
        part = PartFactory()
        sold_by(world, part)
        set_need(service=world.oil.version.service, part=part, quantity_steps=1)
    assert counted() == before
