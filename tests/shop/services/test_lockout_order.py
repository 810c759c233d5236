"""The order of lockout on a sheet: what an entry waits for, by its own moment and its own hand.

29 CFR 1910.147(d): "shall be done in the following sequence", (1) prepare, (2) shut down, (3)
isolate, (4) lock, (5) release, (6) verify; (e) before the locks come off, (1) the machine, (2) the
people; (3) each takes off his own. The rule alone, as a table, is in tests/shop/test_order.py.
"""

from datetime import timedelta
from decimal import Decimal
from random import Random
from uuid import uuid4

import pytest
from django.db import transaction
from django.test import Client
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.isolation import IN_ORDER, Phase
from shop.models import Person, SheetStep, StepEntry, Unsettled
from shop.services import working
from shop.services.arriving import snapshot
from shop.services.in_order import locking, open_returns
from shop.services.refusals import ChecksOpen, LookAgain, OutOfOrder
from tests.equipment.factories import ZONE
from tests.shop.phones import Phone, states
from tests.shop.services.conftest import Hands, later
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

HOUR, MINUTE, DAY = timedelta(hours=1), timedelta(minutes=1), timedelta(days=1)
OIL, VOLTS, SEAL = "Oil and filter changed", "Volts at rated load", "Side seal"


def of_phase(hands: Hands, phase: str) -> SheetStep:
    return hands.sheet.steps.filter(phase=phase).order_by("section", "order")[0]


def do(hands: Hands, step: SheetStep, **more: object) -> StepEntry:
    if step.section == "zero":
        return hands.answer(step, "value", **{"value": Decimal(0), **more})
    return hands.answer(step, **more)


def lock_out(hands: Hands, *phases: str, **more: object) -> None:
    """The cautions and these phases, in order."""
    wanted = [*hands.steps("caution")]
    for phase in phases or IN_ORDER:
        of = hands.sheet.steps.filter(phase=phase).exclude(section="return")
        wanted += of.order_by("section", "order")
    for step in wanted:
        do(hands, step, **more)


# --- in its order --------------------------------------------------------------------------------


@pytest.mark.parametrize("phase", IN_ORDER[1:])
def test_each_step_names_the_first_that_is_to_be_done_before_it(hands: Hands, phase: Phase) -> None:
    step = of_phase(hands, phase)
    with pytest.raises(OutOfOrder, match="This comes first: Stored fluid pressure"):
        do(hands, step)
    for each in hands.steps("caution"):
        do(hands, each)
    for earlier in IN_ORDER[: IN_ORDER.index(phase)]:
        first = of_phase(hands, earlier)
        with pytest.raises(OutOfOrder) as refused:
            do(hands, step)
        assert refused.value.missing[0] == first
        assert str(refused.value) == f"This comes first: {first.title} {first.side}".strip() + "."
        for each in hands.sheet.steps.filter(phase=earlier).order_by("order"):
            do(hands, each)
    assert do(hands, step).answer in ("done", "value")


def test_what_is_not_there_is_no_step_to_wait_for(hands: Hands) -> None:
    """A source that the rig does not have is answered so, at any time."""
    shore = of_phase(hands, Phase.ISOLATE)
    assert hands.answer(shore, "na", note="none here").answer == "na"
    lock_out(hands, Phase.PREPARE, Phase.SHUT_DOWN)
    for step in hands.sheet.steps.filter(phase=Phase.ISOLATE).exclude(pk=shore.pk):
        do(hands, step)
    assert do(hands, of_phase(hands, Phase.LOCK)).answer == "done"


def test_a_gauge_with_pressure_on_it_is_always_taken(hands: Hands) -> None:
    """It says that nothing is safe, and keeps the checks locked."""
    gauge = hands.steps("zero")[0]
    assert do(hands, gauge, value=Decimal(900)).value == 900
    with pytest.raises(OutOfOrder):
        do(hands, gauge)


def test_a_step_is_taken_back_at_any_time_and_then_comes_first_again(hands: Hands) -> None:
    lock_out(hands)
    stop = of_phase(hands, Phase.SHUT_DOWN)
    assert hands.answer(stop, "cleared").answer == "cleared"
    with pytest.raises(OutOfOrder, match="Shut down in the usual order"):
        do(hands, hands.steps("zero")[0])


def test_the_way_back_is_one_step_after_the_other(hands: Hands) -> None:
    lock_out(hands)
    clear, people, off = hands.steps("return")
    for step in (people, off):
        with pytest.raises(OutOfOrder, match=r"^This comes first: Rig clear\.$"):
            hands.answer(step)
    hands.answer(clear, "na", note="it stays locked")
    with pytest.raises(OutOfOrder, match="Rig clear"):
        hands.answer(off)  # that the locks stay on clears no rig
    for step in (clear, people, off):
        assert hands.answer(step).answer == "done"


def test_twin_where_no_order_is_held_the_locks_come_off_first(
    hands: Hands, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(working, "refuse_out_of_order", lambda *_, **__: None)
    assert hands.answer(hands.steps("return")[2]).answer == "done"


# --- by whose hand, and when ---------------------------------------------------------------------


def test_each_tries_and_proves_behind_a_lock_of_his_own(hands: Hands, world: SheetWorld) -> None:
    lock_out(hands)
    gauge = hands.steps("zero")[0]
    with pytest.raises(OutOfOrder):
        do(hands, gauge, author=world.manager)
    for step in hands.sheet.steps.order_by("section", "order"):
        if step.is_each_persons:
            do(hands, step, author=world.manager)
    assert do(hands, gauge, author=world.manager).author == world.manager
    # What the first one proved still counts for him.
    assert locking(hands.check(OIL), who=hands.who, at=NOW) == []


def test_a_proof_from_before_its_authors_lock_does_not_count(
    hands: Hands,
) -> None:
    hands.sheet.steps.filter(title=SEAL).update(opens=["material"])
    lock_out(hands)
    lock = of_phase(hands, Phase.LOCK)
    hands.answer(lock, "cleared", **later(NOW + MINUTE))
    hands.answer(lock, **later(NOW + 2 * MINUTE))
    with pytest.raises(LookAgain, match="do again: Tried to start, Gauge A, Gauge B"):
        hands.answer(hands.check(SEAL), "choice", choice="good", **later(NOW + HOUR))
    for step in locking(hands.check(SEAL), who=hands.who, at=NOW + HOUR):
        do(hands, step, **later(NOW + HOUR))
    assert hands.answer(hands.check(SEAL), "choice", choice="good", **later(NOW + HOUR))


@pytest.mark.parametrize("phase", [Phase.SHUT_DOWN, Phase.ISOLATE, Phase.RELEASE])
def test_a_proof_from_before_what_was_done_again_does_not_count(
    hands: Hands, world: SheetWorld, phase: Phase
) -> None:
    """29 CFR 1910.147(d)(2), (3), (5), then (6); whoever takes it back."""
    hands.sheet.steps.filter(title=SEAL).update(opens=["material"])
    lock_out(hands)
    step = of_phase(hands, phase)
    hands.answer(step, "cleared", author=world.manager, **later(NOW + MINUTE))
    hands.answer(step, **later(NOW + 2 * MINUTE))
    said = {"choice": "good", **later(NOW + HOUR)}
    with pytest.raises(LookAgain, match="do again: Tried to start, Gauge A, Gauge B"):
        hands.answer(hands.check(SEAL), "choice", **said)
    for each in locking(hands.check(SEAL), who=hands.who, at=NOW + HOUR):
        do(hands, each, **later(NOW + HOUR))
    assert hands.answer(hands.check(SEAL), "choice", **said).choice == "good"
    # What opens nothing is put right without them, though it was done once more.
    hands.answer(hands.check(OIL), **later(NOW + HOUR))
    hands.answer(step, "cleared", **later(NOW + 2 * HOUR))
    hands.answer(step, **later(NOW + 2 * HOUR))
    assert hands.answer(hands.check(OIL), **later(NOW + 2 * HOUR)).answer == "done"


def test_on_the_next_day_the_own_lock_and_the_try_out_are_looked_at_again(hands: Hands) -> None:
    lock_out(hands)
    hands.answer(hands.check(OIL))
    with pytest.raises(
        LookAgain, match=r"^Before this, do again: Your own lock, Tried to start\.$"
    ):
        hands.answer(hands.check(VOLTS), "value", value=Decimal(240), **later(NOW + DAY))
    tried = hands.sheet.steps.get(title="Tried to start")
    with pytest.raises(OutOfOrder, match=r"^Before this, do again: Your own lock\.$"):
        do(hands, tried, **later(NOW + DAY))
    # What was entered yesterday is put right without them, and what is left undone wants none.
    assert hands.answer(hands.check(OIL), **later(NOW + DAY)).answer == "done"
    assert hands.answer(hands.check(SEAL), "na", note="no", **later(NOW + DAY)).answer == "na"
    for step in (of_phase(hands, Phase.LOCK), tried):
        do(hands, step, **later(NOW + DAY))
    said = {"value": Decimal(240), **later(NOW + DAY)}
    assert hands.answer(hands.check(VOLTS), "value", **said).value == 240


def test_work_after_the_locks_came_off_asks_for_locks_again_and_then_the_way_back(
    hands: Hands,
) -> None:
    """A check that opens nothing too. Then the rig is not signed for as back in service."""
    hands.take()
    lock_out(hands)
    hands.do_the_checks()
    hands.answer(hands.check(OIL), "cleared")
    hands.put_back_into_service()
    with pytest.raises(LookAgain, match="Your own lock, Tried to start"):
        hands.answer(hands.check(OIL), **later(NOW + MINUTE))
    for step in locking(hands.check(OIL), who=hands.who, at=NOW + MINUTE):
        do(hands, step, **later(NOW + MINUTE))
    hands.answer(hands.check(OIL), **later(NOW + MINUTE))
    hands.use()
    assert open_returns(hands.sheet) == hands.steps("return")
    with pytest.raises(ChecksOpen, match="the way back to service: Rig clear"):
        hands.sign(in_service=False)
    with pytest.raises(OutOfOrder, match="do again: Rig clear"):
        hands.answer(hands.steps("return")[2], **later(NOW + HOUR))
    for step in hands.steps("return"):
        hands.answer(step, **later(NOW + HOUR))
    assert hands.sign(in_service=False, at=NOW + HOUR).state == "signed"


# --- from phones ---------------------------------------------------------------------------------


def in_order(phone: Phone) -> list[dict[str, object]]:
    return [*phone.before_the_checks(), *phone.back_to_service()]


@pytest.mark.parametrize("clock", [-DAY, timedelta(0), DAY])
def test_what_was_entered_in_order_is_taken_by_any_clock(
    hands: Hands, technician: Person, clock: timedelta
) -> None:
    phone = Phone(technician, hands.sheet, clock=clock)
    assert set(states(phone.send(*in_order(phone), now=NOW + HOUR))) == {"taken"}


def test_what_was_entered_out_of_order_waits_for_a_manager_with_its_reason(
    hands: Hands, phone: Phone
) -> None:
    off = hands.steps("return")[2]
    assert states(phone.send(phone.answer(off))) == ["waiting"]
    assert Unsettled.objects.get().reason == "This comes first: Rig clear."
    [outcome] = phone.send({**phone.answer(off), "live": True})
    assert (outcome.state, outcome.words) == ("refused", "This comes first: Rig clear.")


def test_what_comes_late_is_looked_at_as_it_stood_then(
    hands: Hands, phone: Phone, world: SheetWorld
) -> None:
    """A gauge read at eight comes in after the shut down was taken back at nine; and one read
    before the lock was on does not hide behind it."""
    lock_out(hands, *IN_ORDER[:5], **later(NOW + HOUR))
    gauge = hands.steps("zero")[0]
    hands.answer(of_phase(hands, Phase.SHUT_DOWN), "cleared", **later(NOW + 3 * HOUR))
    now = NOW + 4 * HOUR

    def sent(at: timedelta) -> list[str]:
        other = Phone(hands.who, hands.sheet)
        entry = other.answer(gauge, "value", value="0", at=NOW + at)
        return states(other.send(entry, now=now))

    assert sent(2 * HOUR) == ["taken"]
    assert sent(timedelta(minutes=30)) == ["waiting"]
    assert sent(3 * HOUR + MINUTE) == ["waiting"]


def test_a_phone_is_told_whose_each_own_step_is(
    hands: Hands, world: SheetWorld, technician: Person
) -> None:
    lock_out(hands)
    lock = of_phase(hands, Phase.LOCK)
    for step in hands.sheet.steps.order_by("section", "order"):
        if step.is_each_persons:
            do(hands, step, author=world.manager, **later(NOW + MINUTE))
    hands.answer(hands.steps("caution")[0], "cleared", author=world.manager)
    told = snapshot(hands.fresh(), zone=ZONE)["own"]
    assert set(told[str(lock.pk)]) == {str(technician.pk), str(world.manager.pk)}
    mine = told[str(lock.pk)][str(technician.pk)]
    assert (mine["instant"], mine["answer"]) == (NOW.isoformat(), "done")
    assert set(told[str(hands.steps("caution")[0].pk)]) == {str(technician.pk)}
    assert set(told) == {str(s.pk) for s in hands.sheet.steps.all() if s.is_each_persons}


def test_the_page_without_a_script_leads_to_what_comes_first(
    hands: Hands, client_as: object
) -> None:
    client: Client = client_as("technician")  # type: ignore[operator]
    off = hands.steps("return")[2]
    sent = {"event_id": str(uuid4()), "answer": "done"}
    answer = client.post(f"/sheets/{hands.sheet.number}/steps/{off.pk}/", sent)
    assert answer.status_code == 422
    row = answer.content.decode().split(f'id="step-{off.pk}"')[1].split("</li>")[0]
    assert "This comes first: Rig clear." in row
    assert f'href="#step-{hands.steps("return")[0].pk}">Go there' in row


# --- whatever is sent ----------------------------------------------------------------------------


@given(st.integers(), st.booleans())
@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_whatever_is_entered_the_signed_times_keep_the_order(
    hands: Hands, seed: int, shuffled: bool
) -> None:
    """Of what is in force: no proof from before the lock of its author, nothing from before what
    comes before it. In the order of the paper nothing is refused."""
    random = Random(seed)
    wanted = [
        step
        for section in ("caution", "lockout", "zero", "return")
        for step in hands.steps(section)
    ]
    if shuffled:
        wanted = random.sample(wanted, len(wanted)) + wanted
    order = ["", *IN_ORDER, Phase.RETURN]
    first: dict[int, StepEntry] = {}
    with transaction.atomic():
        for minute, step in enumerate(wanted):
            try:
                entry = do(hands, step, **later(NOW + minute * MINUTE))
            except OutOfOrder:
                assert shuffled
            else:
                first.setdefault(step.pk, entry)
        transaction.set_rollback(True)  # the next one begins with nothing entered
    for one in first.values():
        for other in first.values():
            if one.step.phase == Phase.RETURN or other.step.phase == Phase.RETURN:
                continue
            if order.index(one.step.phase) < order.index(other.step.phase):
                assert one.at < other.at, (one.step, other.step)
    back = [first[step.pk].at for step in hands.steps("return") if step.pk in first]
    assert back == sorted(back)
    assert shuffled or len(first) == len(wanted)
