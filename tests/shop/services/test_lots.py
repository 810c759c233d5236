"""A lot and a rig: from the lot to the component it went into, and back."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Lot, Movement
from inventory.services import StockRefused, correct_cost, prove
from inventory.services.tracing import uses_of
from shop.models import Person, Role
from shop.services.lots import lots_in_component, lots_in_sheet, went_into
from shop.services.refusals import SheetRefused
from shop.services.sheet_parts import add_part
from shop.services.spend import sheet_movements
from tests.inventory.factories import received
from tests.inventory.pages.browsing import text_of
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def test_a_lot_leads_to_sheet_rig_and_component_and_each_of_them_back(
    done: Hands, world: SheetWorld, client_as: Callable[..., Client]
) -> None:
    sheet = done.sign()
    kit_lot, filter_lot = (Lot.objects.get(part=part) for part in (world.kit, world.filter_part))
    gun, generator = world.rebuild.component, world.oil.component
    for lot, component in ((kit_lot, gun), (filter_lot, generator)):
        [use] = uses_of(lot)
        there = went_into([use])[sheet.number, lot.part.pk]
        assert (there.sheet, there.rig, there.components) == (sheet, world.fleet.rig, (component,))
        assert [(each.lot, there.sheet) for each, there in lots_in_component(component)] == [
            (lot, sheet)
        ]
    assert {use.lot for use in lots_in_sheet(sheet)} == {kit_lot, filter_lot}

    client = client_as(Role.TECHNICIAN)
    lot_page = reverse("inventory:lot", args=[kit_lot.pk])
    sheet_page = reverse("shop:sheet", args=[sheet.number])
    gun_page = reverse("equipment:component", args=[gun.tag])
    rig_page = reverse("shop:rig", args=[world.fleet.rig.number])
    for page, leads_to in (
        (lot_page, (sheet_page, gun_page, rig_page)),
        (gun_page, (lot_page, sheet_page)),
        (sheet_page, (lot_page,)),
    ):
        content = client.get(page).content.decode()
        assert all(f'href="{address}"' in content for address in leads_to), page
    other = client.get(reverse("equipment:component", args=[generator.tag])).content.decode()
    assert lot_page not in other


def test_before_anything_was_used_no_page_speaks_of_lots(
    hands: Hands, world: SheetWorld, client_as: Callable[..., Client]
) -> None:
    client = client_as(Role.TECHNICIAN)
    for page in (
        reverse("shop:sheet", args=[hands.sheet.number]),
        reverse("equipment:component", args=[world.rebuild.component.tag]),
    ):
        assert "Lots that went into it" not in text_of(client.get(page))


def test_a_late_invoice_is_spend_of_the_rig_that_used_the_lot(
    done: Hands, world: SheetWorld, client_as: Callable[..., Client]
) -> None:
    sheet = done.sign()
    lot = Lot.objects.get(part=world.kit)
    correct_cost(
        movement=lot.movements.get(kind="receipt"),
        value_cents=21_200 + 1_500,
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
        reason="Invoice 88",
    )
    assert prove() == []
    moved = sheet_movements(NOW, NOW.replace(year=NOW.year + 1))
    assert -sum(row.value_cents for row in moved) == 1_800 + 21_200 + 1_500
    page = client_as(Role.MANAGER).get(reverse("shop:sheet", args=[sheet.number]))
    said = text_of(page)
    assert "Spend $245.00" in said
    assert "Cost change" in said


def test_what_expired_comes_to_the_tray_only_by_a_managers_word(
    hands: Hands, world: SheetWorld, technician: Person
) -> None:
    lot = received(
        world.seal, world.bin, 2, lot_code="old", expires_on=NOW.date().replace(year=2020)
    )
    wanted = {
        "sheet": hands.sheet,
        "part": world.seal,
        "location": world.bin,
        "quantity_steps": 1,
        "at": NOW,
    }
    with pytest.raises(StockRefused, match="but expired"):
        add_part(**wanted, author=world.manager, request_id=uuid4())
    with pytest.raises(SheetRefused, match="only when a manager"):
        add_part(**wanted, author=technician, request_id=uuid4(), expired_reason="sound")
    assert not Movement.objects.filter(lot=lot).exclude(kind="receipt").exists()
    add_part(**wanted, author=world.manager, request_id=uuid4(), expired_reason="sound")
    row = Movement.objects.filter(lot=lot, quantity_steps=1).get(kind="transfer")
    assert row.reason.endswith(". Expired: sound")
