"""Every rule that one row can break is in the database, and says so in words."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction

from inventory.models import (
    Balance,
    KitLine,
    Lot,
    LotExtension,
    Movement,
    Part,
    ReceiptLine,
    Reservation,
    RowIsAppendOnly,
    StockPolicy,
)
from inventory.services import issue, reverse
from inventory.services.moving import IssueLine
from tests.inventory import broken_rows
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db


def a_part(**change: Any) -> Part:
    part = PartFactory.build(changed_by=PersonFactory(), **change)
    part.search_key = "given"
    return part


def a_lot(**change: Any) -> Lot:
    return Lot(
        **{
            "part": PartFactory(),
            "code": "L-1",
            "received_at": AT,
            "quantity_received_steps": 2,
            "value_received_cents": 10,
            "quantity_left_steps": 2,
            "value_left_cents": 10,
            **change,
        }
    )


def a_movement(**change: Any) -> Movement:
    lot = received(PartFactory(), BinFactory(), 5, 500)
    return Movement(
        **{
            "kind": "issue",
            "part": lot.part,
            "lot": lot,
            "location": BinFactory(),
            "quantity_steps": -1,
            "value_cents": -100,
            "at": AT,
            "author": PersonFactory(),
            "request_id": uuid4(),
            "line_no": 1,
            **change,
        }
    )


def sent_before(**_: Any) -> Movement:
    earlier = Movement.objects.get(lot=received(PartFactory(), BinFactory(), 5, 500))
    return a_movement(request_id=earlier.request_id)


def about_another() -> Movement:
    earlier = Movement.objects.get(lot=received(PartFactory(), BinFactory(), 5, 500))
    return a_movement(about=earlier)


def a_balance(**change: Any) -> Balance:
    lot = received(PartFactory(), BinFactory(), 5, 500)
    return Balance(
        **{
            "part": lot.part,
            "location": BinFactory(),
            "lot": lot,
            "quantity_steps": 1,
            **change,
        }
    )


def the_same_balance() -> Balance:
    kept = Balance.objects.get(lot=received(PartFactory(), BinFactory(), 5, 500))
    return Balance(part=kept.part, location=kept.location, lot=kept.lot, quantity_steps=1)


def a_line(**change: Any) -> KitLine:
    return KitLine(
        **{"kit": PartFactory(kit=True), "part": PartFactory(), "quantity_steps": 1, **change}
    )


def a_kit_in_itself() -> KitLine:
    kit = PartFactory(kit=True)
    return KitLine(kit=kit, part=kit, quantity_steps=1)


def the_same_line() -> KitLine:
    line = a_line()
    line.save()
    return KitLine(kit=line.kit, part=line.part, quantity_steps=3)


def a_promise(**change: Any) -> Reservation:
    return Reservation(
        **{
            "part": PartFactory(),
            "location": BinFactory(),
            "quantity_steps": 1,
            "source_kind": "sheet",
            "source_number": 412,
            "author": PersonFactory(),
            "created_at": AT,
            **change,
        }
    )


def the_same_promise() -> Reservation:
    promise = a_promise()
    promise.save()
    return a_promise(part=promise.part, location=promise.location)


def a_policy(**change: Any) -> StockPolicy:
    return StockPolicy(
        **{
            "part": PartFactory(),
            "reorder_point_steps": 2,
            "order_up_to_steps": 6,
            "set_by": PersonFactory(),
            "set_at": AT,
            **change,
        }
    )


def a_second_shop_policy() -> StockPolicy:
    policy = a_policy()
    policy.save()
    return a_policy(part=policy.part)


def a_second_policy_of_a_place() -> StockPolicy:
    policy = a_policy(location=BinFactory())
    policy.save()
    return a_policy(part=policy.part, location=policy.location)


BROKEN: dict[str, Callable[[], models.Model]] = {
    "part_has_at_least_one_step_per_unit": lambda: a_part(steps_per_unit=0),
    "kits_come_whole": lambda: a_part(is_kit=True, steps_per_unit=10),
    "part_has_a_number": lambda: a_part(number=""),
    "part_storage_group_is_known": lambda: a_part(storage_group="D"),
    "one_line_per_part_of_a_kit": the_same_line,
    "kit_line_holds_something": lambda: a_line(quantity_steps=0),
    "kit_does_not_contain_itself": a_kit_in_itself,
    "location_is_of_a_known_kind": lambda: BinFactory.build(
        kind="attic", changed_by=PersonFactory()
    ),
    "location_has_a_code": lambda: BinFactory.build(code="", changed_by=PersonFactory()),
    "lot_quantity_never_negative": lambda: a_lot(quantity_left_steps=-1, value_left_cents=0),
    "lot_value_never_negative": lambda: a_lot(value_left_cents=-1),
    "lot_used_up_is_worth_nothing": lambda: a_lot(quantity_left_steps=0),
    "request_counts_once": sent_before,
    "movement_moves_something": lambda: a_movement(quantity_steps=0),
    "reversal_names_what_it_reverses": lambda: a_movement(kind="reversal"),
    "transfer_carries_no_value": lambda: a_movement(kind="transfer"),
    "one_balance_per_part_place_and_lot": the_same_balance,
    "balance_never_negative": lambda: a_balance(quantity_steps=-1),
    "reservation_promises_something": lambda: a_promise(quantity_steps=0),
    "one_reservation_per_part_place_and_source": the_same_promise,
    "one_shop_policy_per_part": a_second_shop_policy,
    "one_policy_per_part_and_place": a_second_policy_of_a_place,
    "order_up_to_not_below_reorder_point": lambda: a_policy(order_up_to_steps=1),
    "only_a_cost_change_is_about_another": about_another,
    **broken_rows.BROKEN,
}


def the_constraint(row: models.Model, name: str) -> models.BaseConstraint:
    return next(each for each in row._meta.constraints if each.name == name)


@pytest.mark.parametrize("name", BROKEN)
def test_a_form_is_told_in_words(name: str) -> None:
    row = BROKEN[name]()
    constraint = the_constraint(row, name)
    with pytest.raises(ValidationError):
        constraint.validate(type(row), row)
    with pytest.raises(ValidationError):
        row.full_clean()


@pytest.mark.parametrize("name", BROKEN)
def test_the_database_refuses_it_past_every_form(name: str) -> None:
    row = BROKEN[name]()
    with pytest.raises(IntegrityError), transaction.atomic():
        models.Model.save_base(row, force_insert=True)


def test_every_constraint_has_a_row_that_breaks_it() -> None:
    ours = apps.get_app_config("inventory").get_models()
    assert {each.name for model in ours for each in model._meta.constraints} == set(BROKEN)


def test_a_movement_is_reversed_once() -> None:
    lot = received(PartFactory(), BinFactory(), 5, 500)
    movement = Movement.objects.get(lot=lot)
    reverse(movement=movement, reason="Wrong slip", **who_and_when())
    again = a_movement(kind="reversal", reverses=movement)
    with pytest.raises(IntegrityError), transaction.atomic():
        again.save()


def a_posted_movement() -> Movement:
    return Movement.objects.get(lot=received(PartFactory(), BinFactory(), 5, 500))


def a_receipt_line() -> ReceiptLine:
    receipt = broken_rows.a_receipt()
    receipt.save()
    return ReceiptLine.objects.create(receipt=receipt, lot=a_posted_movement().lot, goods_cents=500)


def an_extension() -> LotExtension:
    extension = broken_rows.an_extension(lot=a_posted_movement().lot)
    extension.save()
    return extension


@pytest.mark.parametrize("made", [a_posted_movement, a_receipt_line, an_extension])
def test_code_cannot_change_what_is_only_added(made: Callable[[], models.Model]) -> None:
    row = made()
    rows = type(row)._default_manager.all()
    for attempt in (
        row.save,
        row.delete,
        rows.delete,
        lambda: rows.update(lot=None),
        lambda: rows.bulk_update([row], ["lot"]),
    ):
        with pytest.raises(RowIsAppendOnly, match="is only added"):
            attempt()


# --- the words queries are asked in ------------------------------------------------------------


def test_search_finds_every_word_whatever_its_case() -> None:
    wanted = PartFactory(number="PK-2", name="Packing set, Größe 2")
    PartFactory(number="PK-3", name="O-ring")
    assert list(Part.objects.search("GRÖSSE pk")) == [wanted]
    assert list(Part.objects.search("größe ring")) == []
    assert Part.objects.search("  ").count() == 2


def test_search_follows_a_new_name() -> None:
    part = PartFactory(name="Packing set")
    part.name = "Seal set"
    part.save(update_fields=["name"])
    assert list(Part.objects.search("seal")) == [part]
    assert not Part.objects.search("packing").exists()


def test_stock_is_told_apart_by_place() -> None:
    part, shelf, bench = PartFactory(), BinFactory(), BinFactory()
    for place, quantity in (
        (shelf, 5),
        (bench, 2),
        (BinFactory(drawer=True), 3),
        (BinFactory(tray=True), 4),
        (BinFactory(quarantine=True), 7),
    ):
        received(part, place, quantity)
    a_promise(part=part, location=shelf, quantity_steps=6).save()
    never_moved = PartFactory()
    row = Part.objects.with_stock(today=AT.date()).get(pk=part.pk)
    assert (row.on_hand_steps, row.in_drawers_steps) == (7, 3)
    assert (row.reserved_steps, row.available_steps) == (6, 1)
    empty = Part.objects.with_stock(today=AT.date()).get(pk=never_moved.pk)
    assert (empty.on_hand_steps, empty.reserved_steps, empty.available_steps) == (0, 0, 0)


def test_the_reorder_list_holds_what_fell_to_its_point() -> None:
    shelf = BinFactory()
    at_point, above, without, in_drawer_only = (PartFactory() for _ in range(4))
    for part in (at_point, above, in_drawer_only):
        a_policy(part=part).save()
    a_policy(part=without, location=shelf).save()
    received(at_point, shelf, 2)
    received(above, shelf, 3)
    received(in_drawer_only, BinFactory(drawer=True), 9)
    rows = Part.objects.at_reorder_point(today=AT.date()).order_by("number")
    assert list(rows) == [at_point, in_drawer_only]
    assert (rows[0].reorder_point_steps, rows[0].order_up_to_steps) == (2, 6)
    line = IssueLine(part=above, location=shelf, quantity_steps=1)
    issue(lines=[line], **who_and_when())
    assert above in Part.objects.at_reorder_point(today=AT.date())


def test_what_has_expired_is_on_hand_but_not_available() -> None:
    part, shelf = PartFactory(), BinFactory()
    a_policy(part=part).save()
    today = AT.date()
    received(part, shelf, 5, expires_on=today - timedelta(days=1))
    received(part, shelf, 2, expires_on=today)
    row = Part.objects.with_stock(today=today).get(pk=part.pk)
    assert (row.on_hand_steps, row.expired_steps, row.usable_steps) == (7, 5, 2)
    assert row.available_steps == 2
    # The point is 2: the five that expired do not put the buying off.
    assert part in Part.objects.at_reorder_point(today=today)
    assert part not in Part.objects.at_reorder_point(today=today - timedelta(days=1))


def test_the_parts_list_is_one_query(django_assert_num_queries: Any) -> None:
    shelf = BinFactory()
    for quantity in range(30):
        received(PartFactory(), shelf, quantity + 1)
    for rows in (3, 30):
        # 1: parts with the sums of their balances and promises and their policy
        with django_assert_num_queries(1):
            found = list(Part.objects.for_parts_list(today=AT.date()).order_by("number")[:rows])
            assert sum(row.available_steps + row.order_up_to_steps for row in found) > 0


def test_the_ledger_page_is_one_query(django_assert_num_queries: Any) -> None:
    part, shelf = PartFactory(), BinFactory()
    for _ in range(30):
        received(part, shelf, 2)
    for rows in (3, 30):
        # 1: movements with part, place, lot, author and both ends of a reversal
        with django_assert_num_queries(1):
            for row in Movement.objects.for_ledger(part)[:rows]:
                assert row.part.number
                assert row.location.code
                assert row.lot.code
                assert row.author.name
                assert row.reverses is None
                assert getattr(row, "reversed_by", None) is None


def test_the_page_of_a_place_is_one_query(django_assert_num_queries: Any) -> None:
    shelf = BinFactory()
    for _ in range(30):
        received(PartFactory(), shelf, 2)
    for rows in (3, 30):
        # 1: balances with part and lot
        with django_assert_num_queries(1):
            found = Balance.objects.for_place(shelf)[:rows]
            assert all(row.part.number and row.lot.code for row in found)
