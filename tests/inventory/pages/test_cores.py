"""Old parts owed back over HTTP, and what a part's page says of buying."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models import Core, Location, Part, PurchaseOrder
from shop.models import Role
from tests.inventory.factories import PersonFactory
from tests.inventory.orders import orders_in_every_state
from tests.inventory.pages.browsing import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def orders(part: Part, bin_k3: Location) -> list[PurchaseOrder]:
    """Four kits of order 2 came today by slip HS-100: $5.00 back for each old one."""
    return orders_in_every_state(part, bin_k3, author=PersonFactory(), at=timezone.now())


@pytest.fixture
def core(orders: list[PurchaseOrder]) -> Core:
    return Core.objects.get()


def post(client: Client, core: Core, do: str, **typed: Any) -> Any:
    named = {f"core-{core.pk}-{name}": value for name, value in typed.items()}
    return client.post("/cores/", {"core": core.pk, "do": do, **named})


class TestCores:
    def test_what_is_owed_to_whom_and_what_it_brings(self, desk: Client, core: Core) -> None:
        read = text_of(desk.get("/cores/"))
        for said in (
            "$20.00 is still to be paid",
            "4 pieces GK-1",
            "to Harbor Seals",
            "Owed since",
        ):
            assert said in read, said

    def test_sent_back_paid_and_then_gone_from_the_list(self, desk: Client, core: Core) -> None:
        today = timezone.localdate()
        assert post(desk, core, "sent", on=today).status_code == 302
        core.refresh_from_db()
        assert core.sent_back_on == today
        assert "went back" in text_of(desk.get("/cores/"))
        answer = post(desk, core, "paid", on=today, amount="-3")
        assert (answer.status_code, "below zero" in text_of(answer)) == (422, True)
        assert post(desk, core, "paid", on=today, amount="18.50").status_code == 302
        core.refresh_from_db()
        assert core.credited_cents == 1_850
        assert "No old part is owed." in text_of(desk.get("/cores/"))
        assert "paid $18.50" in text_of(desk.get("/cores/?all=yes"))
        again = post(desk, core, "paid", on=today, amount="18.50")
        assert again.status_code == 302
        core.refresh_from_db()
        assert core.credited_cents == 1_850

    def test_the_day_until_which_they_take_it(self, desk: Client, core: Core) -> None:
        past = timezone.localdate() - timedelta(days=2)
        Core.objects.update(owed_since=past - timedelta(days=9))
        assert post(desk, core, "until", back_by=past).status_code == 302
        read = text_of(desk.get("/cores/"))
        assert "they take it until" in read
        assert "past" in read

    @pytest.mark.parametrize(
        ("do", "typed", "said"),
        [
            ("sent", {"on": ""}, "This is needed."),
            ("sent", {"on": "soon"}, "Write the day like"),
            ("sent", {"on": "2999-01-01"}, "This is later than today."),
            ("sent", {"on": "2001-01-01"}, "before the new ones came"),
            ("until", {"back_by": "2001-01-01"}, "before the new ones came"),
            ("paid", {"on": "2020-01-01", "amount": "3"}, "once they went back"),
            ("burnt", {}, "The page came incomplete."),
        ],
    )
    def test_refused_beside_the_row(
        self, desk: Client, core: Core, do: str, typed: dict[str, str], said: str
    ) -> None:
        answer = post(desk, core, do, **typed)
        assert answer.status_code == 422
        assert said in text_of(answer)
        core.refresh_from_db()
        assert (core.sent_back_on, core.credited_on, core.back_by) == (None, None, None)

    def test_the_owner_reads_and_the_crew_does_not(
        self, client_as: Callable[..., Client], core: Core
    ) -> None:
        owner = client_as(Role.OWNER)
        assert "It went back" not in text_of(owner.get("/cores/"))
        assert post(owner, core, "sent", on=timezone.localdate()).status_code == 403
        assert client_as(Role.TECHNICIAN).get("/cores/").status_code == 403

    def test_before_the_first(self, desk: Client) -> None:
        assert "No old part is owed." in text_of(desk.get("/cores/"))


class TestPartPage:
    def test_who_sells_it_what_is_to_come_and_what_came(
        self, desk: Client, part: Part, orders: list[PurchaseOrder]
    ) -> None:
        read = text_of(desk.get("/parts/GK-1/"))
        for said in (
            "Harbor Seals , we buy it here first; theirs HS-7",
            "1 piece in a pack, $50.00 a pack, $45.00 a pack from 20.",
            "They say 3 days; the one delivery took 9 days.",
            "Order 2 to Harbor Seals: 6 pieces",
            "6 days late",
            "4 pieces from Harbor Seals, packing slip HS-100",
            "$210.00",
        ):
            assert said.replace(" ,", ",") in read.replace(" ,", ","), said

    def test_the_crew_sees_when_but_not_what_it_costs(
        self, client_as: Callable[..., Client], part: Part, orders: list[PurchaseOrder]
    ) -> None:
        read = text_of(client_as(Role.TECHNICIAN).get("/parts/GK-1/"))
        assert "Order 2 to Harbor Seals: 6 pieces" in read
        assert "$50.00" not in read
        assert "Add who sells it" not in read

    def test_as_many_queries_for_many_orders_as_for_one(
        self, desk: Client, part: Part, bin_k3: Location, orders: list[PurchaseOrder]
    ) -> None:
        def queries() -> int:
            with CaptureQueriesContext(connection) as seen:
                desk.get("/parts/GK-1/")
            return len(seen)

        desk.get("/parts/GK-1/")
        before = queries()
        for order in orders[:1]:
            order.state, order.sent_at = "sent", timezone.now()
            order.save()
        assert queries() == before
