"""What is entered while the work goes on: locks before checks, limits, and each entry once."""

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError

from equipment.counters import WentDown
from equipment.models import Check, Finding
from equipment.services import NewReading
from shop.models import Person, Role, ServiceSheet, SheetStep, StepEntry
from shop.services.answers import typed_value
from shop.services.in_order import still_locked
from shop.services.paper.entries import answer_text
from shop.services.refusals import BadAnswer, ChecksLocked, ElectricianNeeded, SheetClosed
from shop.services.working import enter_reading, open_checks
from shop.unitwords import limits
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def own_locks(hands: Hands) -> list[SheetStep]:
    return [step for step in hands.steps("lockout") if step.phase == "lock"]


def test_checks_stay_locked_until_all_before_them_is_done(hands: Hands) -> None:
    waiting = [*hands.steps("caution"), *hands.steps("lockout"), *hands.steps("zero")]
    assert still_locked(hands.sheet) == waiting
    oil = hands.check("Oil and filter changed")
    for step in waiting:
        with pytest.raises(ChecksLocked, match="The checks open when"):
            hands.answer(oil)
        if step.section == "zero":
            hands.answer(step, "value", value=Decimal(0))
        else:
            hands.answer(step)
    assert still_locked(hands.sheet) == []
    assert hands.answer(oil).answer == "done"


def test_a_caution_taken_back_locks_them_again(hands: Hands) -> None:
    hands.open_the_checks()
    hands.answer(hands.steps("caution")[0], "cleared")
    with pytest.raises(ChecksLocked):
        hands.answer(hands.check("Oil and filter changed"))


@pytest.mark.parametrize("reads", ["0.1", "12", "-1"])
def test_a_gauge_that_is_not_at_zero_is_kept_as_read_and_keeps_the_lock(
    hands: Hands, reads: str
) -> None:
    hands.open_the_checks()
    gauge = hands.steps("zero")[0]
    kept = hands.answer(gauge, "value", value=Decimal(reads))
    assert (kept.value, kept.is_out_of_limit) == (Decimal(reads), True)
    assert still_locked(hands.sheet) == [gauge]
    for title in ("Oil and filter changed", "Side seal"):
        with pytest.raises(ChecksLocked, match="Gauge A"):
            hands.answer(hands.check(title), "done")
    hands.answer(gauge, "value", value=Decimal(0))
    assert still_locked(hands.sheet) == []
    assert [entry.value for entry in gauge.entries.order_by("pk")] == [0, Decimal(reads), 0]


def test_a_value_out_of_limit_says_what_was_done(hands: Hands) -> None:
    hands.open_the_checks()
    volts = hands.check("Volts at rated load")
    with pytest.raises(BadAnswer, match="Say what you did"):
        hands.answer(volts, "value", value=Decimal(260))
    stopped = {"remedy": "stop", "finding_text": "regulator drifts"}
    assert hands.answer(volts, "value", value=Decimal(260), **stopped).is_out_of_limit
    for limit in (228, 252):  # a limit itself is inside
        assert not hands.answer(volts, "value", value=Decimal(limit)).is_out_of_limit
    assert volts.entries.count() == 3


def test_a_cleanliness_code_is_typed_as_a_code_or_as_counts(hands: Hands) -> None:
    hands.open_the_checks()
    oil = hands.check("Volts at rated load")
    oil.unit, oil.low, oil.high = "ISO 4406", None, Decimal(201815)
    oil.save()
    for text, is_outside in (("3500 500 60", False), ("20/18/15", False), ("19/16/16", True)):
        value = typed_value(oil, text)
        found = {"remedy": "found_work", "finding_text": "change the oil"} if is_outside else {}
        entry = hands.answer(oil, "value", value=value, **found)
        assert entry.is_out_of_limit == is_outside
    said = answer_text(entry, oil, zone=ZoneInfo("UTC"), system="us", keyer=None)
    assert said.startswith("19/16/16 ISO 4406: Open found work")
    assert limits(oil.in_units("us")) == "at most 20/18/15 ISO 4406"
    for text in ("57", "13/16/18", "dirty"):
        with pytest.raises(BadAnswer):
            typed_value(oil, text)
    assert typed_value(oil, " ") is None


@pytest.mark.parametrize(
    ("remedy", "is_grave", "holds"),
    [("found_work", False, 0), ("found_work", True, 1), ("stop", False, 1)],
)
def test_found_work_from_a_value_may_hold_the_rig(
    hands: Hands, world: SheetWorld, remedy: str, is_grave: bool, holds: int
) -> None:
    hands.open_the_checks()
    volts = hands.check("Volts at rated load")
    with pytest.raises(BadAnswer, match="Say what you found"):
        hands.answer(volts, "value", value=Decimal(260), remedy=remedy)
    entry = hands.answer(
        volts,
        "value",
        value=Decimal(260),
        remedy=remedy,
        finding_text="regulator drifts",
        is_grave=is_grave,
    )
    held = Finding.objects.holding().filter(rig=world.fleet.rig)
    assert (entry.finding.text, held.count()) == ("regulator drifts", holds)
    assert entry.finding.component == world.fleet.components["generator"]


def test_only_a_licensed_electrician_enters_their_checks(
    world: SheetWorld, technician: Person, person_as: object
) -> None:
    Check.objects.filter(text="Volts at rated load").update(needs_electrician=True)
    hands = Hands(world.draft(), technician)
    hands.open_the_checks()
    volts = hands.check("Volts at rated load")
    with pytest.raises(ElectricianNeeded, match="licensed electrician"):
        hands.answer(volts, "value", value=Decimal(240))
    licensed = Person.objects.create(
        sign_in="volt", name="V. Olt", role=Role.TECHNICIAN, is_electrician=True, created_at=NOW
    )
    for step in [*hands.steps("caution"), *own_locks(hands)]:
        hands.answer(step, author=licensed)
    assert hands.answer(volts, "value", value=Decimal(240), author=licensed).author == licensed


def test_an_entry_sent_twice_counts_once(hands: Hands) -> None:
    hands.open_the_checks()
    event = uuid4()
    oil = hands.check("Oil and filter changed")
    first = hands.answer(oil, event_id=event)
    hands.answer(oil, "na", note="no oil in it")
    assert hands.answer(oil, event_id=event) == first
    oil.refresh_from_db()
    assert (oil.entry.answer, oil.entries.count()) == ("na", 2)


def test_without_its_id_an_entry_sent_again_would_win_over_a_newer_one(hands: Hands) -> None:
    """The twin of the last test, with the key taken away."""
    hands.open_the_checks()
    oil = hands.check("Oil and filter changed")
    hands.answer(oil, event_id=uuid4())
    hands.answer(oil, "na", note="no oil in it")
    hands.answer(oil, event_id=uuid4())
    oil.refresh_from_db()
    assert (oil.entry.answer, oil.entries.count()) == ("done", 3)


def test_the_database_refuses_a_second_entry_of_one_id(hands: Hands) -> None:
    entry = hands.answer(hands.steps("caution")[0])
    with pytest.raises(IntegrityError):
        StepEntry.objects.create(
            step=entry.step,
            event_id=entry.event_id,
            author=hands.who,
            at=NOW,
            recorded_at=NOW,
            answer="done",
        )


@pytest.mark.parametrize(
    ("title", "answer", "more", "said"),
    [
        ("Oil and filter changed", "value", {"value": Decimal(1)}, "cannot be answered so"),
        ("Oil and filter changed", "na", {}, "Say why it does not apply"),
        ("Side seal", "choice", {"choice": "blue"}, "Choose one"),
        ("Volts at rated load", "value", {}, "Enter the value"),
    ],
)
def test_an_answer_that_does_not_fit_is_refused(
    hands: Hands, title: str, answer: str, more: dict[str, object], said: str
) -> None:
    hands.open_the_checks()
    with pytest.raises(BadAnswer, match=said):
        hands.answer(hands.check(title), answer, **more)
    assert len(open_checks(hands.sheet)) == 3


NEVER_ABSENT = ["Know every source and tell everyone", "Your own lock", "Tried to start"]


def test_what_is_of_one_source_may_be_absent_and_the_lock_never(hands: Hands) -> None:
    """Whoever locks out tells everyone, locks himself and tries to start, whatever the rig has."""
    for section in ("caution", "zero"):
        assert not any(step.may_be_absent for step in hands.steps(section))
    steps = hands.steps("lockout")
    assert set(NEVER_ABSENT) <= {step.title for step in steps if not step.may_be_absent}
    assert {step.phase for step in steps if step.may_be_absent} == {"isolate", "release"}
    for step in steps:
        if step.may_be_absent:
            assert hands.answer(step, "na", note="not on this rig").answer == "na"
        else:
            with pytest.raises(BadAnswer, match="it cannot be marked as not applicable"):
                hands.answer(step, "na", note="not on this rig")
    assert hands.answer(hands.steps("return")[-1], "na", note="stays locked").answer == "na"


def test_an_own_lock_once_said_not_to_apply_keeps_the_checks_locked(hands: Hands) -> None:
    hands.open_the_checks()
    [lock] = own_locks(hands)
    StepEntry.objects.create(
        step=lock,
        event_id=uuid4(),
        author=hands.who,
        at=NOW,
        recorded_at=NOW,
        answer="na",
        note="as it was once taken",
    )
    assert still_locked(hands.sheet, who=hands.who) == [lock]


def test_the_first_entry_puts_the_sheet_under_way(hands: Hands) -> None:
    hands.answer(hands.steps("caution")[0])
    sheet = hands.fresh()
    assert (sheet.state, sheet.started_at) == ("under_way", NOW)


def test_nothing_is_entered_on_a_signed_sheet(done: Hands) -> None:
    done.sign()
    with pytest.raises(SheetClosed):
        done.answer(done.check("Oil and filter changed"))


def test_a_lower_counter_is_asked_about_when_it_is_entered(hands: Hands, world: SheetWorld) -> None:
    hours = world.fleet.counters["hours"]
    given = {
        "sheet": hands.sheet,
        "author": hands.who,
        "at": NOW,
        "recorded_at": NOW + timedelta(minutes=1),
    }
    with pytest.raises(WentDown, match="Was the counter reset"):
        enter_reading(event_id=uuid4(), new=NewReading(hours, Decimal(12)), **given)
    assert not hands.sheet.readings.exists()
    event = uuid4()
    for _ in range(2):
        enter_reading(
            event_id=event,
            new=NewReading(hours, Decimal(12), "reset", Decimal(210)),
            **given,
        )
    enter_reading(event_id=uuid4(), new=NewReading(hours, Decimal(215)), **given)
    assert [row.value for row in hands.sheet.readings.filter(is_in_force=True)] == [215]
    assert hands.sheet.readings.count() == 2
    assert ServiceSheet.objects.get(pk=hands.sheet.pk).state == "under_way"


def test_without_its_id_a_reading_sent_again_would_win_over_a_newer_one(
    hands: Hands, world: SheetWorld
) -> None:
    """The twin of the key above: a slip of 212 that was corrected to 215 comes in late."""
    given = {"author": hands.who, "at": NOW, "recorded_at": NOW}
    for value in (212, 215, 212):
        enter_reading(
            sheet=hands.sheet,
            new=NewReading(world.fleet.counters["hours"], Decimal(value)),
            event_id=uuid4(),
            **given,
        )
    assert [row.value for row in hands.sheet.readings.filter(is_in_force=True)] == [212]
    assert hands.sheet.readings.count() == 3
