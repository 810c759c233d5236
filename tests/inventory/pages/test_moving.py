"""Receiving, moving, counting, scrapping and reversing on their pages."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from inventory.models import Balance, Location, Lot, Movement, Part
from inventory.services import Need, prove, receive, reserve
from shop.models import Shop
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    received,
    who_and_when,
)
from tests.inventory.pages.browsing import Page, buy_at, text_of


def lies(part: Part, place: Location) -> int:
    return sum(
        Balance.objects.filter(part=part, location=place).values_list("quantity_steps", flat=True)
    )


def promise(part: Part, place: Location, steps: int) -> None:
    reserve(
        needs=[Need(part=part, quantity_steps=steps)],
        places=[place],
        source_kind="sheet",
        source_number=412,
        author=PersonFactory(),
        at=AT,
    )


class TestReceive:
    def typed(self, place: Location, **more: Any) -> dict[str, Any]:
        return {"quantity": "4", "amount": "50", "cost": "each", "location": place.pk, **more}

    def test_what_came_is_there_with_its_cost_lot_and_slip(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        page = Page(desk, "inventory:receive", part.number)
        answer = page.send(
            **self.typed(
                bin_k3,
                lot_code="8814",
                cured_on="2025-12-01",
                expires_on="2032-12-01",
                source_text="slip 77",
            )
        )
        assert answer["Location"] == reverse("inventory:part", args=[part.number])
        lot = Lot.objects.get()
        assert (lot.code, lot.quantity_left_steps, lot.value_left_cents) == ("8814", 4, 20_000)
        movement = Movement.objects.get()
        assert (movement.source_text, movement.author.role) == ("slip 77", "manager")
        assert "Received 4 pieces into K-03." in text_of(desk.get(answer["Location"]))

    def test_the_amount_may_be_for_all_of_it(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        Page(desk, "inventory:receive", part.number).send(
            **self.typed(bin_k3, amount="199.99", cost="all")
        )
        assert Lot.objects.get().value_left_cents == 19_999

    def test_sent_twice_it_counts_once(self, desk: Client, part: Part, bin_k3: Location) -> None:
        page = Page(desk, "inventory:receive", part.number)
        assert page.send(**self.typed(bin_k3)).status_code == 302
        assert page.send(**self.typed(bin_k3)).status_code == 302
        assert lies(part, bin_k3) == 4
        # The twin: a page opened anew is another receipt.
        Page(desk, "inventory:receive", part.number).send(**self.typed(bin_k3))
        assert lies(part, bin_k3) == 8

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"quantity": "-4"}, "This cannot be below zero."),
            ({"quantity": "1.5"}, "Pieces come whole: 1.5 is not possible."),
            ({"quantity": "four"}, "“four” is not a number."),
            ({"quantity": "0"}, "Give a quantity above zero."),
            ({"quantity": "10000000"}, "That is more than 1,000,000. Check the number."),
            ({"quantity": ""}, "This is needed."),
            ({"amount": "-1"}, "This cannot be below zero."),
            ({"amount": "1.005"}, "Give at most 2 decimals."),
            ({"location": "0"}, "That place is not in use."),
            ({"cured_on": "2025-12-01", "expires_on": "2025-11-01"}, "before it was cured"),
            ({"cured_on": "2999-01-01"}, "This is later than today."),
            ({"cured_on": "5Q2026"}, "or a quarter like 3Q2026"),
            ({"expires_on": "soon"}, "Write the day like 2026-03-02."),
            ({"at": "2999-01-01T10:00"}, "This is later than now."),
        ],
    )
    def test_refused_beside_the_field_and_what_was_typed_stays(
        self, desk: Client, part: Part, bin_k3: Location, typed: dict[str, str], said: str
    ) -> None:
        page = Page(desk, "inventory:receive", part.number)
        answer = page.send(**self.typed(bin_k3, source_text="slip 77", **typed))
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert 'value="slip 77"' in answer.content.decode()
        assert page.request_id in answer.content.decode()
        assert not Movement.objects.exists()

    @pytest.mark.parametrize(
        ("typed", "asked"),
        [
            ({"quantity": "500"}, "500 pieces of GK-1 Gun rebuild kit is far more than usual."),
            ({"amount": "5000"}, "usually it is about $200.00."),
            ({"amount": "0.50"}, "usually it is about $200.00."),
            ({"expires_on": "2020-01-01"}, "It is past its use-by day already."),
        ],
    )
    def test_what_looks_like_a_slip_is_asked_about_and_then_done(
        self, desk: Client, part: Part, bin_k3: Location, typed: dict[str, str], asked: str
    ) -> None:
        buy_at(part, 3, 8)
        page = Page(desk, "inventory:receive", part.number)
        answer = page.send(**self.typed(bin_k3, **typed))
        assert answer.status_code == 422
        assert asked in text_of(answer)
        assert not Movement.objects.exists()
        assert page.send(**self.typed(bin_k3, **typed), sure="on").status_code == 302
        assert Movement.objects.count() == 1

    def test_what_ages_is_asked_for_its_day_and_reckoned_from_it(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        """ISO 2230:2002: group B keeps 7 years; the clock of 3Q2025 starts on 30 September."""
        Part.objects.filter(pk=part.pk).update(storage_group="B")
        page = Page(desk, "inventory:receive", part.number)
        answer = page.send(**self.typed(bin_k3))
        assert answer.status_code == 422
        assert "This part ages: give the day or quarter" in text_of(answer)
        assert not Movement.objects.exists()
        assert page.send(**self.typed(bin_k3, cured_on="3Q2025")).status_code == 302
        lot = Lot.objects.get()
        assert (lot.cured_on, lot.expires_on) == (date(2025, 9, 30), date(2032, 9, 30))

    def test_a_use_by_day_past_the_reckoned_one_is_asked_about(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        Part.objects.filter(pk=part.pk).update(keeps_months=6)
        typed = self.typed(bin_k3, cured_on="2026-03-01", expires_on="2027-03-01")
        page = Page(desk, "inventory:receive", part.number)
        assert "it keeps until 2026-09-01." in text_of(page.send(**typed))
        assert page.send(**typed, sure="on").status_code == 302
        assert Lot.objects.get().expires_on == date(2027, 3, 1)

    def test_an_honest_page_asks_nothing(self, desk: Client, part: Part) -> None:
        shown = desk.get(reverse("inventory:receive", args=[part.number]))
        assert "Yes, that is right" not in text_of(shown)

    def test_an_earlier_moment_is_kept(self, desk: Client, part: Part, bin_k3: Location) -> None:
        Page(desk, "inventory:receive", part.number).send(
            **self.typed(bin_k3, at="2026-03-02T09:00")
        )
        assert Movement.objects.get().at == AT  # 9:00 in Chicago is 15:00 UTC

    def test_left_as_it_is_the_moment_is_now(
        self, desk: Client, shop: Shop, part: Part, bin_k3: Location
    ) -> None:
        shown = timezone.localtime(timezone=shop.zone)
        Page(desk, "inventory:receive", part.number).send(
            **self.typed(bin_k3, at=shown.strftime("%Y-%m-%dT%H:%M"))
        )
        assert timezone.now() - Movement.objects.get().at < timedelta(minutes=2)

    def test_nothing_is_received_into_a_tray(self, desk: Client, part: Part) -> None:
        tray = BinFactory(tray=True)
        answer = Page(desk, "inventory:receive", part.number).send(**self.typed(tray))
        assert answer.status_code == 422

    def test_measured_parts_take_decimals(self, desk: Client, bin_k3: Location) -> None:
        oil = PartFactory(measured=True, number="OIL", usual_cost_cents=1_000)
        Page(desk, "inventory:receive", "OIL").send(
            **self.typed(bin_k3, quantity="2.25", amount="10")
        )
        assert lies(oil, bin_k3) == 225
        assert Lot.objects.get().value_left_cents == 2_250


class TestMove:
    def test_moves_what_expires_first(self, desk: Client, part: Part, bin_k3: Location) -> None:
        drawer = BinFactory(drawer=True)
        received(part, bin_k3, 4)
        page = Page(desk, "inventory:transfer", part.number)
        typed = {"from_location": bin_k3.pk, "to_location": drawer.pk, "quantity": "3"}
        for _ in range(2):
            assert page.send(**typed).status_code == 302
        assert (lies(part, bin_k3), lies(part, drawer)) == (1, 3)

    def test_more_than_lies_there_is_refused_beside_the_quantity(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        drawer = BinFactory(drawer=True)
        received(part, bin_k3, 4)
        answer = Page(desk, "inventory:transfer", part.number).send(
            from_location=bin_k3.pk, to_location=drawer.pk, quantity="5"
        )
        assert answer.status_code == 422
        assert "5 pieces asked, 4 pieces there." in str(answer.context["form"].errors["quantity"])
        assert lies(part, bin_k3) == 4

    def test_to_where_it_lies_already(self, desk: Client, part: Part, bin_k3: Location) -> None:
        received(part, bin_k3, 4)
        answer = Page(desk, "inventory:transfer", part.number).send(
            from_location=bin_k3.pk, to_location=bin_k3.pk, quantity="1"
        )
        assert "It lies there already." in text_of(answer)

    def test_what_a_sheet_was_promised_is_asked_about(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        drawer = BinFactory(drawer=True)
        received(part, bin_k3, 4)
        promise(part, bin_k3, 2)
        page = Page(desk, "inventory:transfer", part.number)
        typed = {"from_location": bin_k3.pk, "to_location": drawer.pk}
        assert page.send(**typed, quantity="3").status_code == 422
        asked = text_of(page.send(**typed, quantity="3"))
        assert "Reserved in K-03: 2 pieces for sheet 0412." in asked
        assert "After this, 1 piece would be left there." in asked
        assert page.send(**typed, quantity="2").status_code == 302
        sure = Page(desk, "inventory:transfer", part.number)
        assert sure.send(**typed, quantity="1", sure="on").status_code == 302

    def test_nothing_to_move_says_so(self, desk: Client, part: Part) -> None:
        shown = desk.get(reverse("inventory:transfer", args=[part.number]))
        assert "nothing to move yet" in text_of(shown)


class TestAdjust:
    @pytest.mark.parametrize(
        ("what", "quantity", "left"),
        [
            ("count", "3", 3),
            ("count", "7", 7),
            ("count", "0", 0),
            ("more", "2", 6),
            ("fewer", "1", 3),
            ("scrap", "4", 0),
        ],
    )
    def test_the_ledger_follows_the_shelf_once(
        self, desk: Client, part: Part, bin_k3: Location, what: str, quantity: str, left: int
    ) -> None:
        received(part, bin_k3, 4, 20_000)
        page = Page(desk, "inventory:adjust", part.number)
        for _ in range(2):
            answer = page.send(
                what=what, location=bin_k3.pk, quantity=quantity, reason="shelf looked at"
            )
            assert answer.status_code == 302
        assert lies(part, bin_k3) == left
        assert Movement.objects.last().reason == "shelf looked at"
        assert prove() == []

    def test_a_count_that_agrees_writes_nothing(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 4)
        Page(desk, "inventory:adjust", part.number).send(
            what="count", location=bin_k3.pk, quantity="4", reason="yearly"
        )
        assert Movement.objects.count() == 1

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"reason": ""}, "This is needed."),
            ({"quantity": "0"}, "Give a quantity above zero."),
            ({"quantity": "5"}, "5 pieces asked, 4 pieces there."),
            ({"quantity": "-1"}, "This cannot be below zero."),
            ({"what": ""}, "This is needed."),
            ({"lot": "0"}, "That is not a lot of this part."),
        ],
    )
    def test_refused(
        self, desk: Client, part: Part, bin_k3: Location, typed: dict[str, str], said: str
    ) -> None:
        received(part, bin_k3, 4)
        whole = {"what": "scrap", "location": bin_k3.pk, "quantity": "1", "reason": "torn"}
        answer = Page(desk, "inventory:adjust", part.number).send(**{**whole, **typed})
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert lies(part, bin_k3) == 4


class TestReverse:
    def movement(self, part: Part, place: Location) -> Movement:
        return receive(
            part=part,
            location=place,
            quantity_steps=4,
            value_cents=20_000,
            lot_code="8814",
            **who_and_when(source_text="slip 77"),
        )

    def test_shows_what_it_will_do_then_does_it_once(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        wrong = self.movement(part, bin_k3)
        page = Page(desk, "inventory:reverse_movement", wrong.pk)
        shown = text_of(desk.get(page.url))
        assert "Receipt of 2 Mar" in shown
        assert "GK-1 K-03 8814 −4 −$200.00" in shown
        for _ in range(2):
            assert page.send(reason="wrong slip").status_code == 302
        reversal = Movement.objects.get(kind="reversal")
        assert (reversal.reverses, reversal.reason) == (wrong, "wrong slip")
        assert lies(part, bin_k3) == 0
        again = text_of(desk.get(page.url))
        assert "It was reversed on" in again
        assert "wrong slip" in again

    def test_a_second_person_is_told_that_it_was_done(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        wrong = self.movement(part, bin_k3)
        first = Page(desk, "inventory:reverse_movement", wrong.pk)
        second = Page(desk, "inventory:reverse_movement", wrong.pk)
        first.send(reason="wrong slip")
        answer = second.send(reason="wrong slip, I say")
        assert answer.status_code == 422
        assert "It was reversed on" in text_of(answer)
        assert Movement.objects.count() == 2

    def test_needs_a_reason(self, desk: Client, part: Part, bin_k3: Location) -> None:
        answer = Page(desk, "inventory:reverse_movement", self.movement(part, bin_k3).pk).send(
            reason=" "
        )
        assert answer.status_code == 422
        assert "This is needed." in text_of(answer)

    def test_what_is_no_longer_there_cannot_go_back(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        wrong = self.movement(part, bin_k3)
        Page(desk, "inventory:adjust", part.number).send(
            what="scrap", location=bin_k3.pk, quantity="3", reason="torn"
        )
        answer = Page(desk, "inventory:reverse_movement", wrong.pk).send(reason="wrong slip")
        assert answer.status_code == 422
        assert "are no longer in K-03." in text_of(answer)
        assert lies(part, bin_k3) == 1

    def test_both_legs_of_a_transfer_go_back_together(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        drawer = BinFactory(drawer=True, code="04-D2")
        self.movement(part, bin_k3)
        Page(desk, "inventory:transfer", part.number).send(
            from_location=bin_k3.pk, to_location=drawer.pk, quantity="1"
        )
        leg = Movement.objects.last()
        page = Page(desk, "inventory:reverse_movement", leg.pk)
        shown = text_of(desk.get(page.url))
        assert "K-03 8814 +1" in shown
        assert "04-D2 8814 −1" in shown
        page.send(reason="other drawer")
        assert (lies(part, bin_k3), lies(part, drawer)) == (4, 0)

    def test_a_reversal_is_not_reversed(self, desk: Client, part: Part, bin_k3: Location) -> None:
        wrong = self.movement(part, bin_k3)
        Page(desk, "inventory:reverse_movement", wrong.pk).send(reason="wrong slip")
        url = reverse("inventory:reverse_movement", args=[Movement.objects.last().pk])
        assert "A reversal is not reversed" in text_of(desk.get(url))

    def test_an_unknown_movement_is_not_found(self, desk: Client) -> None:
        assert desk.get(reverse("inventory:reverse_movement", args=[99])).status_code == 404
