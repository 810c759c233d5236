"""The demo shop: real rows by real services, and a shop that one would believe.

It is loaded once for this file. How it is loaded again, or refused: tests/shop/test_demo_again.py.
"""

from collections import Counter as Tally
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import StringIO
from unittest.mock import patch

import pytest
from django.core.management import call_command
from django.db import transaction
from django.test import Client
from django.utils import timezone

from equipment.models import (
    Due,
    Finding,
    Installation,
    Known,
    Reading,
    Renewal,
    Rig,
    SideSignal,
)
from equipment.services import rebuild_all
from equipment.services.sides import compare
from inventory.models import (
    Core,
    Count,
    Movement,
    Part,
    PurchaseOrder,
    PurchaseOrderLine,
    Receipt,
    RobbedKit,
)
from inventory.services import prove
from inventory.services.buying_times import late_orders
from shop.demo.loading import load
from shop.demo.sheets import DIFFERENCE
from shop.demo.story import HISTORY_DAYS, PASSWORD, Story
from shop.management.commands import demo
from shop.models import ServiceSheet, SheetLine, SheetPart, SheetStep, StepEntry
from shop.services.knowledge import image_of, known_for

#: A Wednesday, in the morning.
NOW = datetime(2026, 11, 25, 15, 0, tzinfo=UTC)
LATER = NOW + timedelta(days=2)


# Time for a slow machine that runs other tests beside it.
pytestmark = [pytest.mark.django_db, pytest.mark.timeout(600)]


@pytest.fixture(scope="module")
def story(django_db_setup: None, django_db_blocker: object) -> Iterator[Story]:
    """The shop, loaded once for all the tests here, and taken away after them."""
    with django_db_blocker.unblock():  # type: ignore[attr-defined]
        yield load(now=NOW)
        demo.empty_database()


@pytest.fixture
def demo_shop(story: Story, django_db_blocker: object) -> Iterator[Story]:
    """The loaded shop; what a test changes is undone after it."""
    with django_db_blocker.unblock(), transaction.atomic():  # type: ignore[attr-defined]
        yield story
        transaction.set_rollback(True)


def test_the_ledger_adds_up(demo_shop: Story) -> None:
    assert prove() == []


def test_the_due_rows_are_what_the_readings_say(demo_shop: Story) -> None:
    rows, changed = rebuild_all(zone=demo_shop.zone)
    assert rows > 500
    assert changed == 0


def test_it_is_a_shop_one_would_believe(demo_shop: Story) -> None:
    assert Rig.objects.count() >= 7
    make_up = {
        tuple(rig.positions.order_by("order").values_list("kind__name", "side"))
        for rig in Rig.objects.all()
    }
    assert len(make_up) >= 6
    first = Reading.objects.earliest("at").at
    assert NOW - first > timedelta(days=400)
    assert NOW - Reading.objects.latest("at").at < timedelta(days=4)
    steps = Tally(Reading.objects.values_list("step", flat=True))
    assert steps["reset"] > 10
    assert steps["rollover"] >= 2
    assert Reading.objects.filter(step="reset", before_reset__isnull=True).exists()
    assert Reading.objects.filter(is_in_force=False, reverses__isnull=False).count() == 1
    exchanged = Installation.objects.filter(removed_at__isnull=False)
    assert [row.position.label for row in exchanged] == ["pump A"]


def test_sheets_stand_in_every_state(demo_shop: Story) -> None:
    states = Tally(ServiceSheet.objects.values_list("state", flat=True))
    assert states.keys() == {"drafted", "handed_out", "under_way", "signed", "void"}
    assert states["signed"] >= 60
    assert ServiceSheet.objects.filter(is_waiting_for_parts=True).exists()
    assert ServiceSheet.objects.filter(component__isnull=False).exists()
    assert StepEntry.objects.filter(
        is_out_of_limit=True, in_force_for__isnull=False, step__sheet__state="under_way"
    ).exists()
    assert SheetPart.objects.filter(sheet__in=ServiceSheet.objects.open(), short_steps__gt=0)
    put_right = StepEntry.objects.filter(
        remedy="put_right", in_force_for__isnull=False, step__sheet__state="signed"
    )
    assert put_right
    for entry in put_right.select_related("step"):
        assert entry.step.is_outside(entry.value)
        assert entry.left_value is not None
        assert not entry.is_out_of_limit


def test_one_pair_has_left_its_baseline_and_the_linked_are_not_compared_by_strokes(
    demo_shop: Story,
) -> None:
    (signal,) = SideSignal.objects.select_related("rig")
    assert (signal.rig.number, signal.more, signal.state) == (2, "A", "open")
    linked = compare(Rig.objects.get(number=5), zone=demo_shop.zone)
    assert linked.why_not.startswith("Linked pumps stroke alike")
    metered = compare(Rig.objects.get(number=9), zone=demo_shop.zone)
    assert metered.compared == "flow"


def test_a_catch_test_that_was_right_says_the_difference_of_its_two_sides(demo_shop: Story) -> None:
    """Percent of the mean: 200 |A − B| / (A + B). Schoolbook arithmetic, no source."""
    seen = 0
    for step in SheetStep.objects.filter(
        title=DIFFERENCE, entry__isnull=False, entry__is_out_of_limit=False
    ).select_related("entry"):
        a, b = SheetStep.objects.filter(
            line=step.line_id, title__endswith=" side caught"
        ).values_list("entry__value", flat=True)
        left = step.entry.left_value
        right = step.entry.value if left is None else left
        assert right == round(200 * abs(a - b) / (a + b), 1)
        seen += 1
    assert seen > 20


def test_there_is_something_to_see_this_morning(demo_shop: Story) -> None:
    today = demo_shop.today
    states = Tally(
        due.state(today=today, warning_days=demo_shop.shop.warning_days)
        for due in Due.objects.listed()
    )
    assert states["overdue"] >= 3
    assert states["due"] >= 3
    assert states["soon"] >= 5
    assert states["clear"] > states["overdue"] + states["due"]
    assert 2 <= Part.objects.at_reorder_point(today=today).count() <= 20
    held = Finding.objects.holding()
    assert [finding.rig.name for finding in held if finding.rig] == ["Plover"]
    assert Finding.objects.open().filter(is_grave=False).count() >= 3


def test_somebody_wrote_down_what_the_next_one_should_know(demo_shop: Story) -> None:
    printed = Known.objects.in_force().filter(printed_since__isnull=False)
    assert {row.type.kind.name for row in printed} == {"gun", "pump"}
    assert all(image_of(row.digest).startswith(b"\xff\xd8") for row in printed)
    assert Known.objects.filter(replaces__isnull=False).exists()
    lines = SheetLine.objects.filter(version__service__name="full rebuild", is_open=False)
    assert any(row.written for row in known_for(lines[:40]).values())


def test_the_shop_buys_by_orders_and_one_of_them_is_late(demo_shop: Story) -> None:
    states = Tally(PurchaseOrder.objects.values_list("state", flat=True))
    assert states["closed"] >= 30
    assert Receipt.objects.count() >= 30
    late = late_orders(today=demo_shop.today)
    assert "Harrow Air Works" in {order.supplier.name for order in late}
    assert "CO-504" in {line.part.number for order in late for line in order.lines.all()}
    assert PurchaseOrderLine.objects.to_come().filter(received_steps__gt=0).exists()
    assert Core.objects.filter(credited_on__isnull=False).exists()
    assert Core.objects.filter(sent_back_on__isnull=True).exists()


def test_something_was_counted_found_robbed_and_waits_for_the_manager(demo_shop: Story) -> None:
    (robbed,) = RobbedKit.objects.all()
    assert robbed.kit.number == "GK-100"
    states = Tally(Count.objects.values_list("kind", "state"))
    assert states["cycle", "counted"] == 1
    assert states["cycle", "posted"] >= 3
    assert states["drawer", "posted"] >= 3


def test_nothing_happened_in_the_future(demo_shop: Story) -> None:
    for model, column in ((Reading, "at"), (Movement, "at"), (Renewal, "done_at")):
        assert not model.objects.filter(**{f"{column}__gt": NOW}).exists()
    assert not ServiceSheet.objects.filter(drafted_at__gt=NOW).exists()


def test_everybody_did_their_own_work(demo_shop: Story) -> None:
    electric = StepEntry.objects.filter(step__needs_electrician=True)
    assert electric.exists()
    assert not electric.filter(author__is_electrician=False).exists()
    assert not ServiceSheet.objects.exclude(drafted_by=demo_shop.manager).exists()
    assert not Movement.objects.filter(author=demo_shop.owner).exists()


def test_each_of_them_signs_in(demo_shop: Story) -> None:
    for sign_in in demo.SIGN_INS:
        typed = {"username": sign_in, "password": PASSWORD}
        client = Client()
        assert client.post("/sign-in/", typed).status_code == 302
        assert client.get("/").status_code == 200


def test_run_again_it_is_not_loaded_twice(demo_shop: Story) -> None:
    before = Movement.objects.count(), Reading.objects.count(), Rig.objects.count()
    said = StringIO()
    with patch.object(timezone, "now", return_value=LATER):
        call_command("demo", load_only=True, stdout=said)
    assert "is here already, loaded on 25 Nov." in said.getvalue()
    assert "--fresh loads it anew" in said.getvalue()
    assert before == (Movement.objects.count(), Reading.objects.count(), Rig.objects.count())


def test_the_day_it_was_loaded_is_told_from_the_day_its_shop_began(demo_shop: Story) -> None:
    began = demo_shop.shop.created_at.astimezone(demo_shop.zone).date()
    assert began + timedelta(days=HISTORY_DAYS) == demo_shop.today
