"""What a sheet asks for before something is opened: of whom, how often, and of what is found.

The rules themselves, as numbers in and words out, are in tests/shop/test_isolation.py.
"""

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import Check, ComponentKind, Due, Finding, ServiceVersion, Skill
from equipment.services import open_finding, remove_component
from shop import isolation
from shop.isolation import locks
from shop.models import Person, Role, ServiceSheet, SheetStep
from shop.services import signing
from shop.services.drafting import CARRY_FORWARD, PUT_RIGHT, draft_sheet
from shop.services.in_order import locking, open_returns, still_locked
from shop.services.paper import paper_of
from shop.services.refusals import (
    ChecksLocked,
    ChecksOpen,
    ElectricianNeeded,
    ElectricianSigns,
    LookAgain,
)
from tests.equipment.factories import ZONE
from tests.shop.paper.reading import read, text
from tests.shop.services.conftest import Hands, later
from tests.shop.worlds import NOW, TODAY, SheetWorld, caution

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
SEAL, VOLTS, OIL = "Side seal", "Volts at rated load", "Oil and filter changed"


@pytest.fixture
def opening(world: SheetWorld, technician: Person) -> Hands:
    """On this sheet the gun's seal opens the A and B sections, and the rig runs for the volts."""
    Check.objects.filter(text=SEAL).update(opens=["material"])
    Check.objects.filter(text=VOLTS).update(is_run=True)
    hands = Hands(world.draft(), technician)
    hands.open_the_checks()
    return hands


def seal(hands: Hands, *, after: timedelta = HOUR, **more: Any) -> Any:
    given = {"choice": "good", **later(NOW + after), **more}
    return hands.answer(hands.check(SEAL), "choice", **given)


def again(hands: Hands, title: str, at: datetime) -> None:
    """What a check asks for is done again, in the order in which it is asked for."""
    for step in locking(hands.check(title), who=hands.who, at=at):
        is_gauge = step.section == "zero"
        value = Decimal(0) if is_gauge else None
        hands.answer(step, "value" if is_gauge else "done", value=value, **later(at))


def names(steps: list[SheetStep]) -> list[str]:
    return [f"{step.title} {step.side}".strip() for step in steps]


# --- a zero that is old, or that was followed by a start ----------------------------------------


def test_an_old_zero_is_read_again_before_a_fluid_section_is_opened(opening: Hands) -> None:
    with pytest.raises(
        LookAgain, match="do again: Your own lock, Tried to start, Gauge A, Gauge B"
    ):
        seal(opening, after=9 * HOUR)
    again(opening, SEAL, NOW + 9 * HOUR)
    assert seal(opening, after=9 * HOUR).choice == "good"


def test_twin_without_an_age_yesterdays_zero_opens_it(
    opening: Hands, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locks, "PROOF_HOLDS", timedelta(days=365))
    assert seal(opening, after=30 * HOUR).choice == "good"


def test_after_a_start_the_own_lock_and_the_proofs_are_done_again(opening: Hands) -> None:
    opening.put_back_into_service()
    opening.answer(opening.check(VOLTS), "value", value=Decimal(240))
    with pytest.raises(LookAgain) as refused:
        seal(opening)
    assert names(refused.value.missing) == ["Your own lock", "Tried to start", "Gauge A", "Gauge B"]
    again(opening, SEAL, NOW + HOUR)
    assert seal(opening).choice == "good"


def test_twin_where_no_check_is_marked_a_start_is_not_noticed(opening: Hands) -> None:
    opening.sheet.steps.update(is_run=False)
    opening.answer(opening.check(VOLTS), "value", value=Decimal(240))
    assert seal(opening).choice == "good"


def test_a_start_on_another_sheet_of_the_rig_counts(opening: Hands, world: SheetWorld) -> None:
    finding = open_finding(
        rig=world.fleet.rig, text="rubs", author=world.manager, at=NOW, request_id=uuid4()
    )
    other = Hands(
        draft_sheet(
            rig=world.fleet.rig,
            dues=[],
            findings=[finding],
            planned_on=TODAY,
            author=world.manager,
            at=NOW,
            today=TODAY,
            request_id=uuid4(),
        ),
        world.manager,
    )
    other.open_the_checks()
    seal(opening)
    for step in other.steps("return"):
        other.answer(step, **later(NOW + 2 * HOUR))
    with pytest.raises(LookAgain, match="Gauge A"):
        seal(opening, after=3 * HOUR)
    # What was entered before that start, and comes in late, is not stopped by it.
    assert seal(opening, after=HOUR).choice == "good"


def test_what_opens_nothing_wants_no_fresh_zero(opening: Hands) -> None:
    step = opening.check(SEAL)
    assert opening.answer(step, "na", note="not opened", **later(NOW + 30 * HOUR)).answer == "na"


def test_how_many_queries_a_lock_takes_does_not_grow(opening: Hands) -> None:
    """The steps before with their entries, the person's own entries, the last start."""
    step = SheetStep.objects.select_related("sheet").get(pk=opening.check(SEAL).pk)

    def asked() -> int:
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assert locking(step, who=opening.who, at=NOW + HOUR) == []
        return len(queries)

    before = asked()
    opening.open_the_checks()
    assert asked() == before == 3


# --- each person ---------------------------------------------------------------------------------


def test_who_joins_reads_the_cautions_and_puts_on_a_lock_of_his_own(
    opening: Hands, world: SheetWorld
) -> None:
    assert still_locked(opening.sheet, who=opening.who) == []
    own = [
        step for step in opening.sheet.steps.order_by("section", "order") if step.is_each_persons
    ]
    assert set(still_locked(opening.sheet, who=world.manager)) == set(own)
    with pytest.raises(
        ChecksLocked, match="Stored fluid pressure, Unexpected start, Your own lock"
    ):
        seal(opening, author=world.manager)
    for step in own:
        opening.answer(step, author=world.manager)
    assert seal(opening, author=world.manager).author == world.manager
    # He takes off his lock; the first one's stays on.
    lock = next(step for step in own if step.phase == "lock")
    opening.answer(lock, "cleared", author=world.manager)
    with pytest.raises(ChecksLocked, match="Your own lock"):
        seal(opening, author=world.manager)
    assert seal(opening).author == opening.who


def test_twin_where_one_reads_for_all_the_second_opens_it_unread(
    opening: Hands, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(SheetStep, "is_each_persons", False)
    assert seal(opening, author=world.manager).author == world.manager


# --- found work ----------------------------------------------------------------------------------


def found_on(world: SheetWorld, name: str) -> ServiceSheet:
    finding = open_finding(
        rig=world.fleet.rig,
        component=world.fleet.components[name],
        text="leaks at the rod",
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )
    return world.draft(world.oil, findings=[finding])


def test_found_work_on_a_pump_brings_the_cautions_and_gauges_of_its_kind(
    world: SheetWorld, technician: Person
) -> None:
    """The pump has no service of its own here: what it carries is known from its kind."""
    hands = Hands(found_on(world, "pump A"), technician)
    assert "Stored fluid pressure" in {step.title for step in hands.steps("caution")}
    assert names(hands.steps("zero")) == ["Gauge A", "Gauge B"]
    hands.open_the_checks()
    found = hands.sheet.steps.get(title="leaks at the rod")
    assert found.opens == ["material"]
    with pytest.raises(LookAgain):
        hands.answer(found, "choice", choice=PUT_RIGHT, **later(NOW + 9 * HOUR))
    # To leave it for later opens nothing.
    given = {"choice": CARRY_FORWARD, **later(NOW + 9 * HOUR)}
    assert hands.answer(found, "choice", **given).choice == CARRY_FORWARD


def test_found_work_brings_what_the_services_of_its_kind_ask_for(world: SheetWorld) -> None:
    Check.objects.filter(text=SEAL).update(opens=["air", "material"])
    world.rebuild.version.cautions.add(caution("SC18", "Fire"))
    sheet = found_on(world, "gun")  # nothing leaves a gun: only its services know
    found = sheet.steps.get(title="leaks at the rod")
    assert found.opens == ["air", "material"]
    assert {"Fire", "Stored fluid pressure"} <= {
        step.title for step in sheet.steps.filter(section="caution")
    }


def test_found_work_on_no_component_brings_what_any_work_does(world: SheetWorld) -> None:
    finding = Finding.objects.create(
        rig=world.fleet.rig, text="frame", opened_by=world.manager, opened_at=NOW,
        request_id=uuid4(),
    )  # fmt: skip
    sheet = world.draft(world.rebuild, findings=[finding])
    assert "Unexpected start" in {step.title for step in sheet.steps.filter(section="caution")}


# --- the bench -----------------------------------------------------------------------------------


def test_on_the_bench_there_is_nothing_to_isolate_but_pressure_may_be_shut_in(
    world: SheetWorld, technician: Person
) -> None:
    Check.objects.filter(text=SEAL).update(opens=["material"])
    gun = world.fleet.components["gun"]
    remove_component(component=gun, at=NOW, author=world.manager, zone=ZONE)
    due = Due.objects.get(component=gun)
    hands = Hands(world.draft(due, rig=None, component=gun), technician)
    assert hands.steps("zero") == hands.steps("return") == []
    assert names(hands.steps("lockout")) == [
        "Nothing feeds it",
        "Trapped pressure let go",
        "Springs held",
        "Nothing more comes out",
    ]
    with pytest.raises(ChecksLocked):
        seal(hands)
    hands.open_the_checks()
    assert seal(hands).choice == "good"


def test_a_bench_is_spoken_of_as_a_bench(
    world: SheetWorld, technician: Person, client_as: Callable[..., Client]
) -> None:
    Check.objects.filter(text=SEAL).update(opens=["material"])
    gun = world.fleet.components["gun"]
    remove_component(component=gun, at=NOW, author=world.manager, zone=ZONE)
    due = Due.objects.get(component=gun)
    sheet = world.draft(due, rig=None, component=gun)
    phone = client_as("technician").get(f"/sheets/{sheet.number}/work/").content.decode()
    assert "<h2>On the bench</h2>" in phone
    assert "Lockout" not in phone
    assert "One lock per person" not in phone
    keyed = client_as("manager").get(f"/sheets/{sheet.number}/keyed/").content.decode()
    assert "<h2>On the bench</h2>" in keyed
    paper = paper_of(sheet, today=TODAY, system="us")
    printed = text(read(paper))
    assert "On the bench: before it is opened" in printed
    assert "one lock per person" not in printed
    # One that was kept before there were words for it prints what it said then.
    assert "one lock per person" in text(read(replace(paper, edition=1)))


def test_each_side_is_said_once_and_no_source_is_said_to_be_from_memory(
    opening: Hands, client_as: Callable[..., Client]
) -> None:
    panel = "Electrical panel"
    opening.sheet.steps.filter(title="Shore power").update(source=isolation.CAUTION_SOURCES["SC16"])
    opening.sheet.steps.filter(section="caution").update(
        source=isolation.CAUTION_SOURCES["SC03"], title=panel
    )
    page = client_as("technician").get(f"/sheets/{opening.sheet.number}/work/").content.decode()
    paper = paper_of(opening.sheet, today=TODAY, system="us")
    said = [step.source for step in paper.lockout]
    for side in "AB":
        step = opening.sheet.steps.get(title="Heated fluid", side=side, phase="isolate")
        row = page.split(f'id="step-{step.pk}"')[1].split("</li>")[0]
        head = row.split('class="text"><strong>')[1].split("</strong>")[0]
        assert head.count(f">{side}<") == 1
        assert said.count(f"Heated fluid {side}") == 2  # isolated, and let go
    assert "Heated fluid" not in said
    assert "memory" not in page
    assert "29 CFR 1910.169" not in page
    assert "(d)(5)(i); 1910.169</p>" in page
    assert {caution.source for caution in paper.cautions} == {"29 CFR 1910.147(d)(5)(i); 1910.169"}


# --- the licensed electrician --------------------------------------------------------------------


@pytest.fixture
def licensed() -> Person:
    return Person.objects.create(
        sign_in="volt", name="V. Olt", role=Role.TECHNICIAN, is_electrician=True, created_at=NOW
    )


def test_one_check_of_an_electrician_does_not_keep_a_technician_from_the_rest(
    world: SheetWorld, technician: Person, licensed: Person
) -> None:
    Check.objects.filter(text=VOLTS).update(needs_electrician=True)
    ComponentKind.objects.filter(name="Generator").update(name="Electrical panel")
    hands = Hands(world.draft(), technician)
    theirs = [step for step in hands.steps("lockout") if step.needs_electrician]
    assert names(theirs) == ["Electrical panel"]
    with pytest.raises(ElectricianNeeded, match=r"Here: V\. Olt"):
        hands.answer(theirs[0])
    for step in [*hands.steps("caution"), *hands.steps("lockout")]:
        if not step.needs_electrician:
            hands.answer(step)
    for step in hands.steps("zero"):
        hands.answer(step, "value", value=Decimal(0))
    assert hands.answer(hands.check(OIL)).author == technician
    with pytest.raises(ElectricianNeeded):
        hands.answer(hands.check(VOLTS), "value", value=Decimal(240))
    for step in hands.sheet.steps.order_by("section", "order"):
        if step.is_each_persons:
            hands.answer(step, author=licensed)
    with pytest.raises(ChecksLocked, match="Electrical panel"):
        hands.answer(hands.check(VOLTS), "value", value=Decimal(240), author=licensed)
    hands.answer(theirs[0], author=licensed)
    assert hands.answer(hands.check(VOLTS), "value", value=Decimal(240), author=licensed)


@pytest.fixture
def electric(world: SheetWorld, technician: Person, licensed: Person) -> Hands:
    """The generator's service is for an electrician, who did it on a technician's sheet."""
    ServiceVersion.objects.filter(pk=world.oil.version_id).update(skill=Skill.ELECTRICIAN)
    hands = Hands(world.draft(), technician)
    hands.take()
    hands.open_the_checks()
    for step in hands.sheet.steps.order_by("section", "order"):
        if step.is_each_persons:
            hands.answer(step, author=licensed)
    assert {step.needs_electrician for step in hands.steps("check")} == {True, False}
    hands.answer(hands.check(OIL), author=licensed)
    hands.answer(hands.check(VOLTS), "value", value=Decimal(240), author=licensed)
    hands.answer(hands.check(SEAL), "choice", choice="good")
    hands.use()
    return hands


def test_an_electricians_service_is_signed_for_by_one(electric: Hands, licensed: Person) -> None:
    with pytest.raises(ElectricianSigns, match=r"only one signs for it\. Here: V\. Olt"):
        electric.sign()
    assert electric.sign(author=licensed).signed_by == licensed


def test_twin_without_that_anybody_signs_for_it(
    electric: Hands, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(signing, "_refuse_other_than_electrician", lambda *_: None)
    assert electric.sign().signed_by == electric.who


def test_left_undone_it_may_be_signed_by_the_technician(electric: Hands, licensed: Person) -> None:
    electric.answer(electric.check(VOLTS), "cleared", author=licensed)
    assert electric.sign(leave_undone=True).state == "signed"


# --- back to service -----------------------------------------------------------------------------


def test_before_the_signature_the_rig_goes_back_into_service(hands: Hands) -> None:
    hands.take()
    hands.open_the_checks()
    hands.do_the_checks()
    hands.use()
    assert names(open_returns(hands.sheet)) == ["Rig clear", "People clear and told", "Locks off"]
    with pytest.raises(ChecksOpen, match="the way back to service: Rig clear"):
        hands.sign(in_service=False)
    hands.put_back_into_service()
    assert hands.sign(in_service=False).state == "signed"


def test_left_undone_the_rig_may_stay_locked_out(hands: Hands) -> None:
    hands.take()
    hands.open_the_checks()
    hands.use()
    assert hands.sign(in_service=False, leave_undone=True).state == "signed"


def test_a_gauge_above_zero_keeps_a_done_sheet_from_being_signed(done: Hands) -> None:
    done.answer(done.steps("zero")[0], "value", value=Decimal(900))
    with pytest.raises(ChecksLocked, match="Gauge A"):
        done.sign()


def test_nobody_waits_for_a_lock_before_the_rig_was_locked_out(
    world: SheetWorld, technician: Person
) -> None:
    """Where the rig runs for every check, nothing is locked out, and nothing comes back."""
    Check.objects.all().update(is_run=True)
    hands = Hands(world.draft(), technician)
    assert {step.section for step in hands.sheet.steps.all()} == {"caution", "check"}


def test_sheets_drafted_before_ask_what_they_asked(
    hands: Hands, at: datetime, person_as: Callable[..., Person]
) -> None:
    """Steps without a phase, as they stood before there were any: once done, done."""
    hands.sheet.steps.filter(section="lockout").update(phase="", proves=[])
    hands.open_the_checks()
    assert hands.answer(hands.check(OIL), **later(NOW + 30 * HOUR)).answer == "done"
