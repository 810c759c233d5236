"""The page of a lot, its invoice, and its extension."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.models import Balance, Location, Lot, LotExtension, Movement, Part
from inventory.services import IssueLine, break_kit, issue, prove, scrap
from shop.models import Role
from tests.inventory.factories import BinFactory, kit_of, received, who_and_when
from tests.inventory.pages.browsing import Page, text_of


@pytest.fixture
def lot(part: Part, bin_k3: Location) -> Lot:
    return received(part, bin_k3, 4, 20_000, lot_code="8814", source_text="slip 77")


def receipt(lot: Lot) -> Movement:
    return lot.movements.get(kind="receipt")


def shown(client: Client, lot: Lot) -> str:
    answer = client.get(reverse("inventory:lot", args=[lot.pk]))
    assert answer.status_code == 200
    return text_of(answer)


def used(lot: Lot, steps: int, **more: object) -> None:
    issue(
        lines=[IssueLine(lot.part, Balance.objects.there().get(lot=lot).location, steps, lot)],
        **who_and_when(**more),
    )


class TestInvoice:
    def test_the_difference_is_shared_and_the_lot_says_so(self, desk: Client, lot: Lot) -> None:
        used(lot, 1, source_kind="sheet", source_number=412)
        page = Page(desk, "inventory:invoice", receipt(lot).pk)
        answer = page.send(amount="240", reason="Invoice 9921")
        assert answer["Location"] == reverse("inventory:lot", args=[lot.pk])
        assert page.send(amount="240", reason="Invoice 9921").status_code == 302
        said = shown(desk, lot)
        assert "Lot 8814 cost $240.00: the difference is shared out." in said
        assert "Invoice 9921" in said
        lot.refresh_from_db()
        assert lot.value_left_cents == 18_000
        assert Movement.objects.filter(kind="cost").count() == 2
        assert prove() == []

    @pytest.mark.parametrize(
        ("amount", "why"),
        [
            ("200", "It costs that much already."),
            ("-3", "This cannot be below zero."),
            ("dear", "is not a number"),
            ("2400", "$2,400.00 in all? So far it is $200.00."),
        ],
    )
    def test_what_cannot_be_is_said_beside_the_field_and_stays(
        self, desk: Client, lot: Lot, amount: str, why: str
    ) -> None:
        answer = Page(desk, "inventory:invoice", receipt(lot).pk).send(amount=amount, reason="x")
        assert answer.status_code == 422
        assert why in text_of(answer)
        assert f'value="{amount}"' in answer.content.decode()
        assert not Movement.objects.filter(kind="cost").exists()

    def test_a_strange_figure_is_taken_when_it_is_meant(self, desk: Client, lot: Lot) -> None:
        page = Page(desk, "inventory:invoice", receipt(lot).pk)
        assert page.send(amount="2400", reason="x", sure="on").status_code == 302
        lot.refresh_from_db()
        assert lot.value_left_cents == 240_000

    def test_only_a_receipt_has_one(self, desk: Client, lot: Lot) -> None:
        used(lot, 1)
        taken = Movement.objects.get(kind="issue")
        for pk in (taken.pk, 99):
            assert desk.get(reverse("inventory:invoice", args=[pk])).status_code == 404

    def test_the_history_of_the_part_offers_it_to_a_manager(
        self, desk: Client, client_as: Callable[..., Client], lot: Lot
    ) -> None:
        address = reverse("inventory:part", args=[lot.part.number])
        assert (
            reverse("inventory:invoice", args=[receipt(lot).pk])
            in desk.get(address).content.decode()
        )
        assert "Invoice differs" not in text_of(client_as(Role.TECHNICIAN).get(address))


class TestExtend:
    def test_a_lot_looked_at_counts_again(self, desk: Client, part: Part, bin_k3: Location) -> None:
        part.storage_group = "B"
        part.save()
        today = timezone.localdate()
        lot = received(part, bin_k3, 3, expires_on=today - timedelta(days=5))
        page = Page(desk, "inventory:extend_lot", lot.pk)
        until = today + timedelta(days=365)
        assert page.send(until=str(until), reason="All three sound").status_code == 302
        assert page.send(until=str(until), reason="All three sound").status_code == 302
        said = shown(desk, lot)
        assert "All three sound" in said
        assert LotExtension.objects.get().until == until
        assert "Expired" not in text_of(desk.get(reverse("inventory:part", args=[part.number])))

    def test_beyond_what_its_group_allows_is_refused_and_stays(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        part.storage_group = "A"
        part.save()
        today = timezone.localdate()
        lot = received(part, bin_k3, 3, expires_on=today)
        until = today + timedelta(days=3 * 366)
        answer = Page(desk, "inventory:extend_lot", lot.pk).send(until=str(until), reason="sound")
        assert answer.status_code == 422
        assert "Group A is extended once" in text_of(answer)
        assert f'value="{until}"' in answer.content.decode()
        assert not LotExtension.objects.exists()

    def test_a_lot_that_keeps_has_none(self, desk: Client, lot: Lot) -> None:
        address = reverse("inventory:extend_lot", args=[lot.pk])
        assert "It keeps" in text_of(desk.get(address))
        assert address not in desk.get(reverse("inventory:lot", args=[lot.pk])).content.decode()

    def test_use_by_leads_there_for_a_manager(
        self, desk: Client, client_as: Callable[..., Client], part: Part, bin_k3: Location
    ) -> None:
        lot = received(part, bin_k3, 3, expires_on=timezone.localdate())
        address = reverse("inventory:extend_lot", args=[lot.pk])
        use_by = reverse("inventory:keeping")
        assert address in desk.get(use_by).content.decode()
        assert address not in client_as(Role.TECHNICIAN).get(use_by).content.decode()


class TestExpired:
    def test_it_goes_to_a_drawer_only_with_a_reason(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        drawer = BinFactory(code="06-D1", drawer=True)
        lot = received(
            part, bin_k3, 2, lot_code="old", expires_on=timezone.localdate() - timedelta(days=1)
        )
        page = Page(desk, "inventory:transfer", part.number)
        typed = {"from_location": bin_k3.pk, "to_location": drawer.pk, "quantity": "1"}
        answer = page.send(**typed, lot=lot.pk)
        assert answer.status_code == 422
        assert "Lot old of GK-1 Gun rebuild kit expired" in text_of(answer)
        assert not Movement.objects.filter(kind="transfer").exists()
        assert page.send(**typed, lot=lot.pk, expired_reason="Only one").status_code == 302
        assert {row.reason for row in Movement.objects.filter(kind="transfer")} == {
            "Expired: Only one"
        }

    def test_the_reason_is_asked_for_only_where_something_expired(
        self, desk: Client, lot: Lot
    ) -> None:
        page = desk.get(reverse("inventory:transfer", args=[lot.part.number]))
        assert "though expired" not in text_of(page)


class TestLot:
    def test_it_says_where_it_came_from_lies_and_went(self, desk: Client, lot: Lot) -> None:
        used(lot, 1)
        scrap(
            part=lot.part,
            location=Location.objects.get(code="K-03"),
            quantity_steps=1,
            reason="Cut",
            **who_and_when(),
        )
        said = shown(desk, lot)
        for words in ("slip 77", "K-03", "2 pieces", "Cut", "−1 piece", "hand"):
            assert words in said

    def test_a_kit_that_was_opened_leads_to_its_parts_and_back(
        self, desk: Client, bin_k3: Location
    ) -> None:
        kit, [seal] = kit_of(seal=1)
        whole = received(kit, bin_k3, 1, 100, lot_code="kit 7")
        break_kit(kit=kit, location=bin_k3, to_location=bin_k3, quantity=1, **who_and_when())
        part = seal.lots.get()
        addresses = {lot: reverse("inventory:lot", args=[lot.pk]) for lot in (whole, part)}
        assert addresses[part] in desk.get(addresses[whole]).content.decode()
        assert addresses[whole] in desk.get(addresses[part]).content.decode()

    def test_there_is_no_such_lot(self, desk: Client) -> None:
        assert desk.get(reverse("inventory:lot", args=[99])).status_code == 404
