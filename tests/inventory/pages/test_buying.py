"""The reorder list, setting a reorder point, and places."""

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Location, Part, StockPolicy
from shop.models import Role
from tests.inventory.factories import BinFactory, PartFactory, received
from tests.inventory.pages.browsing import Page, buy_at, text_of

BUYING = reverse("inventory:buying")
PLACES = reverse("inventory:locations")


def queries_of(client: Client, url: str) -> int:
    client.get(url)
    with CaptureQueriesContext(connection) as seen:
        client.get(url)
    return len(seen)


class TestBuying:
    def test_what_fell_to_its_point_with_how_much_and_about_what_cost(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 3)
        buy_at(part, 3, 8)
        plenty = PartFactory(number="SS-1")
        received(plenty, bin_k3, 9)
        buy_at(plenty, 3, 8)
        read = text_of(desk.get(BUYING))
        assert "1 part has fallen to its reorder point." in read
        assert "would usually cost $250.00" in read
        assert "GK-1 Gun rebuild kit 3 3 8 5 $250.00" in read
        assert "SS-1" not in read

    def test_stock_in_drawers_does_not_count(self, desk: Client, part: Part) -> None:
        received(part, BinFactory(drawer=True), 9)
        buy_at(part, 3, 8)
        assert "GK-1" in text_of(desk.get(BUYING))

    def test_a_part_without_a_known_cost_is_said(self, desk: Client) -> None:
        buy_at(PartFactory(usual_cost_cents=0), 1, 2)
        read = text_of(desk.get(BUYING))
        assert "1 more without a known cost" in read
        assert "not known" in read

    def test_nothing_to_buy_names_what_comes_next(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 4)
        buy_at(part, 3, 8)
        far = PartFactory()
        received(far, bin_k3, 90)
        buy_at(far, 3, 8)
        read = text_of(desk.get(BUYING))
        assert "Nothing has fallen to its reorder point." in read
        assert (
            "The next is GK-1 Gun rebuild kit, with 4 pieces on hand "
            "and a reorder point of 3 pieces." in read
        )

    def test_without_any_point_it_says_so(self, desk: Client) -> None:
        assert "No part has a reorder point yet." in text_of(desk.get(BUYING))

    def test_as_many_queries_for_thirty_parts_as_for_three(
        self, desk: Client, bin_k3: Location
    ) -> None:
        def fall(count: int) -> None:
            for _ in range(count):
                buy_at(PartFactory(), 2, 8)

        fall(3)
        at_three = queries_of(desk, BUYING)
        fall(27)
        assert queries_of(desk, BUYING) == at_three

    def test_the_owner_reads_it_and_a_technician_does_not(
        self, client_as: Callable[..., Client]
    ) -> None:
        assert client_as(Role.OWNER).get(BUYING).status_code == 200
        assert client_as(Role.TECHNICIAN).get(BUYING).status_code == 403


class TestReorderPoint:
    def test_set_by_hand_with_its_reason_and_once(self, desk: Client, part: Part) -> None:
        page = Page(desk, "inventory:policy", part.number)
        for _ in range(2):
            answer = page.send(
                reorder_point_steps="3", order_up_to_steps="8", reason="27 days to get more"
            )
            assert answer.status_code == 302
        policy = StockPolicy.objects.get()
        assert (policy.reorder_point_steps, policy.order_up_to_steps) == (3, 8)
        shown = desk.get(page.url).content.decode()
        assert 'value="3"' in shown
        assert "27 days to get more" in shown

    @pytest.mark.parametrize(
        ("point", "up_to", "reason", "said"),
        [
            ("8", "3", "why not", "Order up to at least the reorder point."),
            ("-1", "3", "why not", "This cannot be below zero."),
            ("1.5", "3", "why not", "Pieces come whole"),
            ("1", "3", "", "This is needed."),
        ],
    )
    def test_refused(
        self, desk: Client, part: Part, point: str, up_to: str, reason: str, said: str
    ) -> None:
        answer = Page(desk, "inventory:policy", part.number).send(
            reorder_point_steps=point, order_up_to_steps=up_to, reason=reason
        )
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert not StockPolicy.objects.exists()


class TestPlaces:
    def test_list_counts_parts_and_hides_trays(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 4)
        received(part, bin_k3, 1)
        BinFactory(tray=True, code="tray-0412")
        BinFactory(code="K-04")
        read = text_of(desk.get(PLACES))
        assert "K-03 bin 1" in read
        assert "K-04 bin empty" in read
        assert "tray-0412" not in read
        assert "tray-0412" in text_of(desk.get(PLACES, {"show": "tray"}))

    def test_as_many_queries_for_thirty_places_as_for_three(self, desk: Client, part: Part) -> None:
        def fill(count: int) -> None:
            for _ in range(count):
                received(part, BinFactory(), 1)

        fill(3)
        at_three = queries_of(desk, PLACES)
        fill(27)
        assert queries_of(desk, PLACES) == at_three

    def test_a_place_says_what_lies_there_whatever_the_number(
        self, desk: Client, bin_k3: Location
    ) -> None:
        url = reverse("inventory:location", args=["K-03"])
        assert "It is empty." in text_of(desk.get(url))
        for _ in range(3):
            received(PartFactory(), bin_k3, 2, lot_code="8814")
        at_three = queries_of(desk, url)
        for _ in range(27):
            received(PartFactory(), bin_k3, 2)
        assert queries_of(desk, url) == at_three
        assert "Packing set 8814 keeps 2" in text_of(desk.get(url))

    @pytest.mark.parametrize(
        ("code", "said"),
        [
            ("k-03", "There is a place K-03 already."),
            ("A", "A and B are the sides of a rig."),
            ("K/1", "Use letters, digits"),
            ("", "This is needed."),
        ],
    )
    def test_a_new_place_is_refused(
        self, desk: Client, bin_k3: Location, code: str, said: str
    ) -> None:
        answer = Page(desk, "inventory:new_location").send(code=code, name="", kind="bin")
        assert answer.status_code == 422
        assert said in text_of(answer)

    def test_a_new_place_is_there_once(self, desk: Client) -> None:
        page = Page(desk, "inventory:new_location")
        assert page.send(code="K-07", name="top shelf", kind="bin").status_code == 302
        assert page.send(code="K-07", name="top shelf", kind="bin").status_code == 422
        assert Location.objects.get().name == "top shelf"

    def test_only_an_empty_place_is_retired(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        page = Page(desk, "inventory:location", "K-03")
        received(part, bin_k3, 1)
        answer = page.send()
        assert answer.status_code == 422
        empty = BinFactory(code="K-04")
        assert Page(desk, "inventory:location", "K-04").send().status_code == 302
        empty.refresh_from_db()
        bin_k3.refresh_from_db()
        assert (empty.retired, bin_k3.retired) == (True, False)

    def test_a_technician_does_not_retire(
        self, client_as: Callable[..., Client], bin_k3: Location
    ) -> None:
        client = client_as(Role.TECHNICIAN)
        url = reverse("inventory:location", args=["K-03"])
        assert "Retire this place" not in text_of(client.get(url))
        assert client.post(url).status_code == 403

    def test_an_unknown_place_is_not_found(self, desk: Client) -> None:
        assert desk.get(reverse("inventory:location", args=["K-99"])).status_code == 404
