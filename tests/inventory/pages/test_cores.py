"""Old parts owed back over HTTP, and what a part's page says of buying."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from inventory.models import Core, Location, Movement, Part, PurchaseOrder
from inventory.pack_prices import PackPrice
from inventory.services import reverse
from inventory.services.buying import (
    Terms,
    Wish,
    create_supplier,
    draft_order,
    send_order,
    set_supplier_part,
)
from inventory.services.buying_receipts import Arrival, receive_delivery
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


def post(client: Client, core: Core, do: str, address: str = "/cores/", **typed: Any) -> Any:
    named = {f"core-{core.pk}-{name}": value for name, value in typed.items()}
    return client.post(address, {"core": core.pk, "do": do, **named})


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

    def test_only_what_may_stay_empty_is_said_to(self, desk: Client, core: Core) -> None:
        read = text_of(desk.get("/cores/"))
        assert "They take it until (may stay empty)" in read
        assert read.count("may stay empty") == 1
        today = timezone.localdate()
        assert post(desk, core, "until", on="", back_by=today).status_code == 302
        assert post(desk, core, "sent", on=today).status_code == 302
        answer = post(desk, core, "paid", on=today, amount="")
        assert (answer.status_code, "This is needed." in text_of(answer)) == (422, True)
        assert "may stay empty" not in text_of(desk.get("/cores/"))

    def test_the_day_until_which_they_take_it(self, desk: Client, core: Core) -> None:
        past = timezone.localdate() - timedelta(days=2)
        Core.objects.update(owed_since=past - timedelta(days=9))
        assert post(desk, core, "until", back_by=past).status_code == 302
        read = text_of(desk.get("/cores/"))
        assert "they take it until" in read
        assert "past" in read

    @pytest.mark.parametrize("address", ["/cores/", "/cores/?all=yes"])
    def test_sent_twice_it_counts_once_and_another_word_changes_nothing(
        self, desk: Client, core: Core, address: str
    ) -> None:
        today = timezone.localdate()
        yesterday = today - timedelta(days=1)
        Core.objects.update(owed_since=yesterday)

        def again(do: str, **typed: Any) -> str:
            answer = post(desk, core, do, address=address, **typed)
            assert answer.status_code == 302
            assert answer.url == address
            return text_of(desk.get("/"))

        assert "The old gun rebuild kit went back".lower() in again("sent", on=today).lower()
        assert f"They went back on {today} already." in again("sent", on=today)
        assert f"They went back on {today} already." in again("sent", on=yesterday)
        assert f"They went back on {today} already." in again("until", back_by=today)
        assert "paid for the old" in again("paid", on=today, amount="18.50")
        assert f"They were credited on {today} already." in again("paid", on=today, amount="18.50")
        assert f"They were credited on {today} already." in again("paid", on=today, amount="1")
        core.refresh_from_db()
        assert (core.sent_back_on, core.back_by) == (today, None)
        assert (core.credited_on, core.credited_cents) == (today, 1_850)

    def test_what_must_go_back_first_stands_on_top(
        self, desk: Client, core: Core, part: Part
    ) -> None:
        today = timezone.localdate()
        since = today - timedelta(days=30)
        told: dict[str, Any] = {
            "supplier": core.supplier,
            "part": part,
            "owed_since": since,
            "changed_by": core.changed_by,
            "changed_at": core.changed_at,
        }
        for cents, back_by, sent in [
            (111, today - timedelta(days=20), today - timedelta(days=25)),
            (222, None, None),
            (333, today + timedelta(days=3), None),
            (444, today - timedelta(days=1), None),
        ]:
            Core.objects.create(
                quantity_steps=1, credit_cents=cents, back_by=back_by, sent_back_on=sent, **told
            )
        core.delete()
        read = text_of(desk.get("/cores/"))
        at = [read.index(money) for money in ("$4.44", "$3.33", "$2.22", "$1.11")]
        assert at == sorted(at)
        assert "$11.10 is still to be paid for 4 delivery lines" in read
        assert "1 should have gone back already." in read

    def test_a_row_of_a_later_page_is_changed_and_comes_back_to_it(
        self, desk: Client, core: Core
    ) -> None:
        kept = Core.objects.values().get()
        today = timezone.localdate()
        more = [{**kept, "id": None, "back_by": today} for _ in range(50)]
        Core.objects.bulk_create([Core(**row) for row in more])
        assert "Later" in text_of(desk.get("/cores/"))
        assert desk.get("/cores/").content.count(b"Keep that day") == 50
        answer = post(desk, core, "sent", address="/cores/?page=1", on="soon")
        assert answer.status_code == 422
        assert 'value="soon"' in answer.content.decode()
        answer = post(desk, core, "sent", address="/cores/?page=2", on=today)
        assert (answer.status_code, answer.url) == (302, "/cores/?page=2")

    def test_what_is_owed_no_more_says_so(self, desk: Client, core: Core) -> None:
        Core.objects.all().delete()
        assert post(desk, core, "sent", on=timezone.localdate()).status_code == 302
        assert "owed no more" in text_of(desk.get("/cores/"))
        assert desk.post("/cores/", {"core": "\u0663", "do": "sent"}).status_code == 302

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

    def test_a_delivery_taken_back_is_not_said_to_have_come(
        self, desk: Client, part: Part, orders: list[PurchaseOrder]
    ) -> None:
        assert "packing slip HS-100, order 2" in text_of(desk.get("/parts/GK-1/"))
        came = Movement.objects.get(kind=Movement.Kind.RECEIPT, lot__receipt_line__isnull=False)
        reverse(
            movement=came,
            author=came.author,
            at=timezone.now(),
            request_id=uuid4(),
            reason="typed twice",
        )
        read = text_of(desk.get("/parts/GK-1/"))
        assert "Came last" not in read
        assert "Order 2 to Harbor Seals: 10 pieces" in read

    def test_as_many_queries_for_many_orders_as_for_one(
        self, desk: Client, part: Part, bin_k3: Location, orders: list[PurchaseOrder]
    ) -> None:
        def queries() -> int:
            with CaptureQueriesContext(connection) as seen:
                desk.get("/parts/GK-1/")
            return len(seen)

        desk.get("/parts/GK-1/")
        before = queries()
        who: dict[str, Any] = {"author": PersonFactory(), "at": timezone.now()}
        for number in range(3):
            seller = create_supplier(name=f"Seller {number}", **who)
            prices = (PackPrice(1, 5_000), PackPrice(20, 4_500))
            set_supplier_part(supplier=seller, part=part, terms=Terms(1, prices=prices))
            order = draft_order(supplier=seller, wishes=[Wish(part, 10)], request_id=uuid4(), **who)
            send_order(order=order, **who)
            receive_delivery(
                order=order,
                packing_slip="1",
                arrivals=[Arrival(order.lines.get(), bin_k3, 4)],
                request_id=uuid4(),
                **who,
            )
        read = text_of(desk.get("/parts/GK-1/"))
        assert read.count("4 pieces from Seller") == 3
        assert read.count("6 pieces") >= 4
        assert queries() == before
