"""What signed sheets teach of how long services take."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from equipment.models import Due, Service
from equipment.services import open_finding
from equipment.services.taking import set_minutes
from shop.models import Person, ServiceSheet, Shop
from shop.planned_minutes import LAST
from shop.services.minutes import doings, learn_minutes, told
from shop.services.turning import turn_shop
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db


def fresh(world: SheetWorld) -> tuple[Service, Service]:
    return tuple(  # type: ignore[return-value]
        Service.objects.get(pk=due.version.service_id) for due in (world.oil, world.rebuild)
    )


def test_a_sheet_teaches_each_of_its_services_by_its_share(done: Hands, world: SheetWorld) -> None:
    """45 and 90 min were asked for, 180 written down: 60 and 120 min.

    (4 · 45 + 60) / 5 = 48 and (4 · 90 + 120) / 5 = 96 by hand.
    """
    done.sign(labour_minutes=180)
    assert learn_minutes() == 2
    oil, rebuild = fresh(world)
    assert (oil.learnt_minutes, rebuild.learnt_minutes) == (48, 96)
    assert learn_minutes() == 0
    version = type(world.oil.version).objects.select_related("service").get(pk=world.oil.version_id)
    assert (version.labour_minutes, version.planned_minutes) == (45, 48)


def test_the_turn_of_the_day_learns_it(done: Hands, world: SheetWorld) -> None:
    done.sign(labour_minutes=180)
    Shop.objects.update(turned_on=TODAY - timedelta(days=1))
    turn_shop(shop=Shop.objects.get(), today=TODAY)
    assert fresh(world)[0].learnt_minutes == 48


def test_what_was_left_undone_takes_no_share(done: Hands, world: SheetWorld) -> None:
    done.answer(done.check("Side seal"), "cleared")
    done.sign(leave_undone=True, labour_minutes=60)
    found = doings()
    assert [row.minutes for row in found[world.oil.version.service_id]] == [60]
    assert world.rebuild.version.service_id not in found


def test_found_work_put_right_on_it_makes_the_share_unknown(
    world: SheetWorld, technician: Person
) -> None:
    finding = open_finding(
        rig=world.fleet.rig, text="hose rubs", author=world.manager, at=NOW, request_id=uuid4()
    )
    hands = Hands(world.draft(world.oil, findings=[finding]), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=240)
    hands.answer(hands.check("hose rubs"), "choice", choice="put right")
    hands.use()
    hands.sign(labour_minutes=400)
    (row,) = doings()[world.oil.version.service_id]
    assert (row.minutes, row.of_minutes) == (0, 400)
    assert told([row]).times == 1
    assert learn_minutes() == 0


def test_work_found_on_its_component_is_counted(done: Hands, world: SheetWorld) -> None:
    done.answer(
        done.check("Volts at rated load"),
        "value",
        value=200,
        remedy="found_work",
        finding_text="regulator drifts",
    )
    done.sign()
    found = doings()
    assert [row.found for row in found[world.oil.version.service_id]] == [True]
    assert [row.found for row in found[world.rebuild.version.service_id]] == [False]


def bench_sheets(world: SheetWorld, minutes: list[int]) -> None:
    """Signed sheets of the oil change, one a day, written straight to the rows."""
    for place, took in enumerate(minutes):
        at = NOW + timedelta(days=place)
        sheet = ServiceSheet.objects.create(
            number=900 + place,
            rig=world.fleet.rig,
            state="signed",
            planned_on=at.date(),
            drafted_by=world.manager,
            drafted_at=at,
            signed_by=world.manager,
            signed_at=at,
            signature="A. Manager",
            labour_minutes=took,
            request_id=uuid4(),
        )
        sheet.lines.create(
            order=1,
            version=world.oil.version,
            component=world.oil.component,
            outcome="done",
            is_open=False,
        )


def test_only_the_last_dozen_counts_and_the_number_of_queries_does_not_grow(
    world: SheetWorld, django_assert_num_queries: Any
) -> None:
    bench_sheets(world, [500] * 5 + [50] * LAST)
    service = world.oil.version.service_id
    with django_assert_num_queries(4):
        rows = doings()[service]
    assert [row.minutes for row in rows] == [50] * LAST
    assert rows[0].sheet_number == 900 + 5 + LAST - 1
    learn_minutes()
    # (4 · 45 + 12 · 50) / 16 = 48.75
    assert fresh(world)[0].learnt_minutes == 49


def test_a_number_by_hand_stands_above_what_is_learnt(done: Hands, world: SheetWorld) -> None:
    done.sign(labour_minutes=180)
    learn_minutes()
    oil = set_minutes(service=fresh(world)[0], minutes=70, author=world.manager, at=NOW)
    assert (oil.set_minutes_by, oil.set_minutes_at) == (world.manager, NOW)
    row = Due.objects.select_related("version__service").get(pk=world.oil.pk)
    assert row.version.planned_minutes == 70
    later = timezone.now()
    set_minutes(service=oil, minutes=70, author=world.manager, at=later)
    assert fresh(world)[0].set_minutes_at == NOW
    set_minutes(service=oil, minutes=None, author=world.manager, at=later)
    row = Due.objects.select_related("version__service").get(pk=world.oil.pk)
    assert row.version.planned_minutes == 48


def test_no_service_takes_no_time(world: SheetWorld) -> None:
    with pytest.raises(ValueError, match="more than no time"):
        set_minutes(service=fresh(world)[0], minutes=0, author=world.manager, at=NOW)


def test_the_database_refuses_a_number_of_nobody(world: SheetWorld) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Service.objects.filter(pk=world.oil.version.service_id).update(set_minutes=5)
