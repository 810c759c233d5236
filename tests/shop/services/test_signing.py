"""Signing: readings, spend, renewals, found work and the copy, all of it or none."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from equipment.models import Check, Due, Finding, Reading, Renewal
from equipment.services import NewReading, ReadingsRefused, open_finding
from inventory.models import Movement, Reservation
from inventory.services import prove
from shop.models import Person, ServiceSheet, SignedCopy, StepEntry
from shop.services import signing
from shop.services.drafting import CARRY_FORWARD, PUT_RIGHT
from shop.services.refusals import (
    AlreadySigned,
    ChecksLocked,
    ChecksOpen,
    ElectricianNeeded,
    SheetClosed,
    SheetRefused,
    UsedMoreThanTaken,
)
from shop.services.working import enter_reading
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def read(hands: Hands, world: SheetWorld, name: str, value: int) -> None:
    enter_reading(
        sheet=hands.sheet,
        new=NewReading(world.fleet.counters[name], Decimal(value)),
        event_id=uuid4(),
        author=hands.who,
        at=NOW,
        recorded_at=NOW,
    )


def test_signing_does_everything_at_once(done: Hands, world: SheetWorld) -> None:
    read(done, world, "hours", 215)
    sheet = done.sign()
    assert (sheet.state, sheet.signed_by, sheet.signature) == ("signed", done.who, "T. Reed")
    reading = Reading.objects.get(source="sheet")
    assert (reading.value, reading.source_number, reading.author) == (215, sheet.number, done.who)
    renewed = Renewal.objects.filter(source_kind="sheet", source_number=sheet.number)
    assert {row.version for row in renewed} == {world.oil.version, world.rebuild.version}
    world.oil.refresh_from_db()
    assert (world.oil.since, world.oil.is_past_due) == (0, False)
    issued = Movement.objects.filter(kind="issue", source_kind="sheet", source_number=sheet.number)
    assert {row.part: -row.value_cents for row in issued} == {
        world.filter_part: 1800,
        world.kit: 21200,
    }
    assert not Reservation.objects.exists()
    assert set(sheet.lines.values_list("outcome", "is_open")) == {("done", False)}
    copy = SignedCopy.objects.get(sheet=sheet)
    assert "T. Reed" in str(copy.document)
    assert prove() == []


def test_signed_twice_with_one_id_it_is_signed_once(done: Hands) -> None:
    signing_id = uuid4()
    done.sign(signing_id=signing_id)
    before = rows_of_every_table()
    assert done.sign(signing_id=signing_id).signing_id == signing_id
    assert rows_of_every_table() == before


def test_a_second_signature_is_refused_with_nothing_written(done: Hands, world: SheetWorld) -> None:
    """The twin of the last test: the same sending under another id."""
    done.sign(signature="First")
    before = rows_of_every_table()
    with pytest.raises(AlreadySigned, match=r"signed by A\. Technician as “First”"):
        done.sign(signature="Second", author=world.manager)
    assert rows_of_every_table() == before
    assert done.fresh().signature == "First"


def test_a_refused_reading_leaves_nothing_half_written(done: Hands, world: SheetWorld) -> None:
    """Entered in good faith; before the signature somebody read more on the face."""
    read(done, world, "hours", 215)
    world.fleet.read(NOW + timedelta(hours=1), hours=218)
    before = rows_of_every_table()
    with pytest.raises(ReadingsRefused):
        done.sign(at=NOW + timedelta(hours=2))
    assert rows_of_every_table() == before
    assert done.fresh().state == "under_way"


def test_a_failure_at_the_very_end_leaves_nothing_half_written(
    done: Hands, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = rows_of_every_table()

    def break_down(*_: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr(signing, "_keep_copy", break_down)
    with pytest.raises(RuntimeError):
        done.sign()
    assert rows_of_every_table() == before
    assert done.fresh().state == "under_way"


def test_more_used_than_taken_leaves_nothing_half_written(done: Hands) -> None:
    done.use(**{"F-09": 2})
    before = rows_of_every_table()
    with pytest.raises(UsedMoreThanTaken):
        done.sign()
    assert rows_of_every_table() == before


def test_open_checks_are_named_or_their_services_come_back(done: Hands, world: SheetWorld) -> None:
    done.answer(done.check("Side seal"), "cleared")
    with pytest.raises(ChecksOpen, match="1 check is open: Side seal"):
        done.sign()
    sheet = done.sign(leave_undone=True)
    outcomes = {line.title: line.outcome for line in sheet.lines.select_related("version__service")}
    assert outcomes == {"oil and filter": "done", "full rebuild": "left"}
    assert [row.version for row in Renewal.objects.all()] == [world.oil.version]
    again = world.draft(Due.objects.get(pk=world.rebuild.pk))
    assert again.lines.get().version == world.rebuild.version


def test_checks_answered_past_the_cautions_are_not_signed(done: Hands) -> None:
    """A caution taken back after the checks were done: the signature asks for it again."""
    done.answer(done.steps("caution")[0], "cleared")
    with pytest.raises(ChecksLocked):
        done.sign()


def test_a_name_makes_the_signature(done: Hands) -> None:
    with pytest.raises(SheetRefused, match="Write your name"):
        done.sign(signature=" ")


def test_an_electricians_check_answered_by_another_is_not_signed(done: Hands) -> None:
    done.sheet.steps.filter(title="Volts at rated load").update(needs_electrician=True)
    with pytest.raises(ElectricianNeeded):
        done.sign()


def test_a_void_sheet_is_not_signed(done: Hands) -> None:
    ServiceSheet.objects.filter(pk=done.sheet.pk).update(
        state="void", voided_by=done.who, voided_at=NOW
    )
    with pytest.raises(SheetClosed, match="is void"):
        done.sign()


@pytest.mark.parametrize(
    ("choice", "is_closed", "carried"), [(PUT_RIGHT, True, 0), (CARRY_FORWARD, False, 1)]
)
def test_found_work_is_closed_or_carried_forward(
    world: SheetWorld, technician: Person, choice: str, is_closed: bool, carried: int
) -> None:
    finding = open_finding(
        rig=world.fleet.rig,
        text="hose rubs on the frame",
        is_grave=True,
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )
    hands = Hands(world.draft(world.oil, findings=[finding]), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=Decimal(240))
    hands.answer(hands.check("hose rubs on the frame"), "choice", choice=choice, note="clamped")
    hands.use()
    sheet = hands.sign()
    finding.refresh_from_db()
    assert (finding.closed_at is not None, finding.times_carried) == (is_closed, carried)
    assert Finding.objects.holding().exists() is not is_closed
    if is_closed:
        closed = (finding.closing, finding.closed_source_kind, finding.closed_source_number)
        assert closed == ("clamped", "sheet", sheet.number)


def test_the_next_sheet_shows_the_last_value(done: Hands, world: SheetWorld) -> None:
    done.sign()
    sheet = world.draft(Due.objects.get(pk=world.oil.pk))
    assert sheet.steps.get(title="Volts at rated load").last_value == 240


def test_a_value_in_another_unit_is_not_the_last_one(done: Hands, world: SheetWorld) -> None:
    done.sign()
    Check.objects.filter(text="Volts at rated load").update(unit="kV")
    sheet = world.draft(Due.objects.get(pk=world.oil.pk))
    assert sheet.steps.get(title="Volts at rated load").last_value is None


def test_what_was_signed_stays_as_it_was_when_the_service_changes(
    done: Hands, world: SheetWorld
) -> None:
    sheet = done.sign()
    document = SignedCopy.objects.get(sheet=sheet).document
    Check.objects.filter(version=world.oil.version).update(text="another text")
    assert "Oil and filter changed" in str(document)
    assert sheet.steps.filter(title="Oil and filter changed").exists()


@pytest.mark.django_db(transaction=True)
def test_two_people_sign_at_once_and_one_of_them_signs(done: Hands, world: SheetWorld) -> None:
    results = at_once(
        lambda: done.sign(signature="One"), lambda: done.sign(signature="Two", author=world.manager)
    )
    assert refused(results, AlreadySigned) == 1
    assert Movement.objects.filter(kind="issue").count() == 2
    assert SignedCopy.objects.count() == 1
    assert Renewal.objects.count() == 2
    assert StepEntry.objects.filter(step__section="check").count() == 3
    assert prove() == []


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_without_the_lock_on_the_sheet_both_would_begin_to_sign(
    done: Hands, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The twin: the sheet's row lock is what tells the second that it is signed already."""
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, signing, "_refuse_unready")
    results = at_once(lambda: done.sign(), lambda: done.sign(author=world.manager))
    assert not any(isinstance(each, AlreadySigned) for each in results)
