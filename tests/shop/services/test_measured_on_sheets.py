"""What is measured on a signed sheet: kept with it, and what watches it falls due at once."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest

from equipment.models import Due, DueClock, Measurement, ServiceVersion
from equipment.services import CheckPlan, rebuild_all
from shop.models import Person, ServiceSheet
from shop.services import signing
from shop.services.drafting import hand_out
from tests.equipment.factories import ZONE, service_for
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

VOLTS = "Volts at rated load"


@pytest.fixture
def watching(world: SheetWorld) -> ServiceVersion:
    """Brushes of the generator, changed when the oil change measures too few volts."""
    return service_for(
        world.fleet.components["generator"],
        ("value", 14, {"watched": VOLTS, "low": Decimal(235)}),
        name="brushes",
        author=world.manager,
    )


def brushes(watching: ServiceVersion) -> Due:
    return Due.objects.get(version=watching)


def measured(done: Hands, volts: int, **more: object) -> None:
    done.answer(done.check(VOLTS), "value", value=Decimal(volts), **more)


def test_signing_keeps_what_was_measured(done: Hands, world: SheetWorld) -> None:
    sheet = done.sign()
    row = Measurement.objects.get()
    assert (row.component, row.name, row.value, row.unit) == (
        world.fleet.components["generator"],
        VOLTS,
        240,
        "V",
    )
    assert (row.source_kind, row.source_number, row.author) == ("sheet", sheet.number, done.who)
    assert (row.at, row.recorded_at) == (NOW, NOW)


def test_signed_with_a_bad_value_what_watches_it_is_listed_at_once(
    done: Hands, watching: ServiceVersion
) -> None:
    measured(done, 230)
    assert not brushes(watching).is_past_due
    done.sign()
    row = brushes(watching)
    assert row in Due.objects.listed().due(NOW.date())
    assert DueClock.objects.get(due=row).because == (
        "“Volts at rated load” was 230 V on 4 Feb 2026, past 235 V"
    )
    assert rebuild_all(zone=ZONE)[1] == 0


def test_only_the_answer_in_force_is_measured(done: Hands, watching: ServiceVersion) -> None:
    measured(done, 230)
    measured(done, 241)
    done.sign()
    assert [row.value for row in Measurement.objects.all()] == [241]
    assert not brushes(watching).is_past_due


def test_what_was_not_applicable_or_is_at_zero_is_not_measured(done: Hands) -> None:
    """Gauges that must read zero are no checks of a service."""
    assert done.steps("zero")
    done.answer(done.check(VOLTS), "na", note="no load bank here")
    done.sign()
    assert not Measurement.objects.exists()


def test_a_service_that_comes_back_leaves_what_was_measured_on_it(
    done: Hands, watching: ServiceVersion
) -> None:
    measured(done, 230)
    done.answer(done.check("Oil and filter changed"), "cleared")
    done.sign(leave_undone=True)
    assert brushes(watching).is_past_due


def test_signed_twice_with_one_id_it_is_measured_once(done: Hands) -> None:
    signing_id = uuid4()
    done.sign(signing_id=signing_id)
    done.sign(signing_id=signing_id)
    assert Measurement.objects.count() == 1


def test_a_failure_at_the_very_end_leaves_nothing_measured(
    done: Hands, watching: ServiceVersion, monkeypatch: pytest.MonkeyPatch
) -> None:
    measured(done, 230)

    def break_down(*_: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr(signing, "_keep_copy", break_down)
    with pytest.raises(RuntimeError):
        done.sign()
    assert not Measurement.objects.exists()
    assert not brushes(watching).is_past_due


def test_a_phone_ahead_of_its_time_measured_before_the_signature(done: Hands) -> None:
    measured(done, 240, at=NOW + timedelta(minutes=3))
    done.sign()
    assert Measurement.objects.get().at == NOW


def test_done_on_the_same_sheet_what_was_measured_there_was_before_it(
    world: SheetWorld, technician: Person, watching: ServiceVersion
) -> None:
    """The oil change measures too few volts, the same sheet changes the brushes."""
    sheet = world.draft(world.oil, brushes(watching))
    hand_out(sheet=sheet, technician=technician, author=world.manager, at=NOW)
    hands = Hands(ServiceSheet.objects.get(pk=sheet.pk), technician)
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    measured(hands, 230)
    hands.sign()
    assert Measurement.objects.get().value == 230
    row = brushes(watching)
    assert not row.is_past_due
    assert row.clocks.get().because.endswith("was not measured since this was last done")
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_check_of_its_own_says_how_the_work_left_it(
    world: SheetWorld, technician: Person
) -> None:
    version = service_for(
        world.fleet.components["generator"],
        ("value", 14, {"watched": "Belt deflection", "high": Decimal("0.5")}),
        name="belt",
        author=world.manager,
        checks=[CheckPlan(text="Belt deflection", kind="value", unit="in", high=Decimal("0.5"))],
    )
    sheet = world.draft(Due.objects.get(version=version))
    hand_out(sheet=sheet, technician=technician, author=world.manager, at=NOW)
    hands = Hands(ServiceSheet.objects.get(pk=sheet.pk), technician)
    hands.open_the_checks()
    hands.answer(
        hands.check("Belt deflection"),
        "value",
        value=Decimal("0.7"),
        remedy="found_work",
        finding_text="belt is worn",
    )
    hands.sign()
    row = Due.objects.get(version=version)
    assert row.is_past_due
    assert "was 0.7 in on 4 Feb 2026, past 0.5 in" in row.clocks.get().because
    assert rebuild_all(zone=ZONE)[1] == 0
