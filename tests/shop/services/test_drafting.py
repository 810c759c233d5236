"""Drafting, handing out and voiding: one sheet for one asking, one open sheet for one service."""

from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from equipment.models import Check, Due, Finding, Installation, Position
from equipment.services import open_finding, remove_component, set_hose
from inventory.models import Balance, Reservation
from shop.models import Person, ServiceSheet, SheetLine, SheetStep
from shop.services import drafting
from shop.services.drafting import hand_out, void_sheet
from shop.services.refusals import (
    NotFitted,
    NothingPicked,
    OnAnotherSheet,
    OneRigAtATime,
    SheetClosed,
    SheetRefused,
)
from tests.equipment.factories import ZONE, a_hose, spray_rig
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def leak(world: SheetWorld) -> Finding:
    return open_finding(
        rig=world.fleet.rig,
        component=world.fleet.components["gun"],
        text="leaks at the head",
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )


def void(world: SheetWorld, sheet: ServiceSheet, reason: str = "the rig left") -> None:
    void_sheet(sheet=sheet, author=world.manager, at=NOW, reason=reason, request_id=uuid4())


def test_a_sheet_has_its_services_along_the_rig_then_the_found_work(world: SheetWorld) -> None:
    sheet = world.draft(world.rebuild, world.oil, findings=[leak(world)])
    titles = [line.title for line in sheet.lines.order_by("order")]
    assert titles == ["oil and filter", "full rebuild", "found work: leaks at the head"]
    assert (sheet.number, sheet.state, sheet.charged_rig) == (1, "drafted", world.fleet.rig)
    sections = sheet.steps.values_list("section", flat=True).distinct()
    assert set(sections) == {"caution", "lockout", "zero", "check", "return"}
    found = SheetStep.objects.get(sheet=sheet, title="leaks at the head")
    assert found.choices == [drafting.PUT_RIGHT, drafting.CARRY_FORWARD]


def test_one_asking_sent_twice_makes_one_sheet(world: SheetWorld) -> None:
    request = uuid4()
    first = world.draft(request_id=request)
    before = rows_of_every_table()
    assert world.draft(request_id=request) == first
    assert rows_of_every_table() == before


def test_without_its_id_the_same_asking_would_be_a_second_one(world: SheetWorld) -> None:
    """The twin: only the id makes the second sending the same."""
    world.draft(request_id=uuid4())
    with pytest.raises(OnAnotherSheet):
        world.draft(request_id=uuid4())


def test_a_service_on_an_open_sheet_is_refused_by_name_with_nothing_written(
    world: SheetWorld,
) -> None:
    first = world.draft(world.oil)
    before = rows_of_every_table()
    with pytest.raises(OnAnotherSheet, match=f"oil and filter, is on sheet {first} already"):
        world.draft(world.oil, world.rebuild)
    assert rows_of_every_table() == before


def test_where_nobody_looks_the_database_refuses_it_still(
    world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    world.draft(world.oil)
    monkeypatch.setattr(drafting, "_refuse_doubles", lambda dues, findings: None)
    before = rows_of_every_table()
    with pytest.raises(SheetRefused, match="at the same moment"):
        world.draft(world.oil, is_sure=True)
    assert rows_of_every_table() == before


def test_found_work_is_on_one_open_sheet(world: SheetWorld) -> None:
    finding = leak(world)
    world.draft(world.oil, findings=[finding])
    with pytest.raises(OnAnotherSheet, match="leaks at the head"):
        world.draft(world.rebuild, findings=[finding])
    other = world.draft(world.rebuild)
    with pytest.raises(IntegrityError), transaction.atomic():
        SheetLine.objects.create(sheet=other, order=9, finding=finding)


def test_nothing_picked_is_no_sheet(world: SheetWorld) -> None:
    with pytest.raises(NothingPicked):
        drafting.draft_sheet(
            rig=world.fleet.rig,
            dues=[],
            planned_on=NOW.date(),
            author=world.manager,
            at=NOW,
            today=NOW.date(),
            request_id=uuid4(),
        )


def test_a_sheet_is_for_one_rig(world: SheetWorld) -> None:
    other = spray_rig(author=world.manager, number=2)
    strange = Due.objects.filter(rig=other.rig).first()
    assert strange is not None
    with pytest.raises(OneRigAtATime):
        world.draft(world.oil, strange)


def test_what_was_taken_out_meanwhile_is_refused(world: SheetWorld) -> None:
    remove_component(
        component=world.fleet.components["gun"], at=NOW, author=world.manager, zone=ZONE
    )
    with pytest.raises(NotFitted, match="has moved"):
        world.draft(Due.objects.get(pk=world.rebuild.pk))


def test_a_void_sheet_gives_everything_back(hands: Hands, world: SheetWorld) -> None:
    hands.take()
    assert not Balance.objects.there().filter(location=world.bin).exists()
    void(world, hands.fresh())
    there = Balance.objects.there().filter(location=world.bin)
    assert {row.part: row.quantity_steps for row in there} == {world.filter_part: 1, world.kit: 1}
    assert not Reservation.objects.exists()
    assert world.draft().number == 2  # its services may be picked again


def test_voiding_says_why_and_is_done_once(world: SheetWorld) -> None:
    sheet = world.draft()
    with pytest.raises(SheetRefused, match="Say why"):
        void(world, sheet, reason="  ")
    void(world, sheet)
    with pytest.raises(SheetClosed, match="is void"):
        void(world, sheet)


def test_a_sheet_is_handed_to_somebody_who_can_work(
    world: SheetWorld, technician: Person, owner: Person
) -> None:
    sheet = world.draft()
    with pytest.raises(SheetRefused, match="cannot work"):
        hand_out(sheet=sheet, technician=owner, author=world.manager, at=NOW)
    hand_out(sheet=sheet, technician=technician, author=world.manager, at=NOW)
    sheet.refresh_from_db()
    assert (sheet.state, sheet.technician) == ("handed_out", technician)


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_managers_at_once_draw_two_numbers(world: SheetWorld) -> None:
    results = at_once(lambda: world.draft(world.oil), lambda: world.draft(world.rebuild))
    assert sorted(sheet.number for sheet in results) == [1, 2]


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_two_managers_at_once_draft_a_service_once(world: SheetWorld) -> None:
    results = at_once(lambda: world.draft(), lambda: world.draft())
    assert refused(results, SheetRefused) == 1
    assert ServiceSheet.objects.count() == 1


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_without_the_lock_on_the_shop_two_numbers_clash(
    world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The twin: the shop's row is what makes them queue."""
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, drafting, "_refuse_doubles")
    results = at_once(lambda: world.draft(world.oil), lambda: world.draft(world.rebuild))
    assert refused(results, SheetRefused) == 1  # by the unique number, not by the lock


def test_a_hint_that_asks_for_the_hoses_says_what_those_of_its_rig_hold(
    world: SheetWorld,
) -> None:
    Check.objects.filter(text="Volts at rated load").update(hint="Twice over. {hoses}")

    def hint() -> str:
        sheet = world.draft(world.oil)
        text = sheet.steps.get(title="Volts at rated load").text
        void(world, sheet)
        return text

    assert hint() == "Twice over."
    hose = a_hose()
    rig = world.fleet.rig
    place = Position.objects.create(rig=rig, order=99, kind=hose.type.kind)
    Installation.objects.create(
        component=hose, position=place, installed_at=NOW, author=world.manager
    )
    assert hint() == "Twice over. Not known how much it holds: heated hose HOS-1."
    set_hose(type=hose.type, inner_diameter_in=Decimal("0.375"), length_ft=Decimal(210))
    assert hint() == (
        "Twice over. The hoses hold 1.20 gal (4.56 L) on each side: "
        "heated hose HOS-1 1.20 gal (4.56 L)."
    )
