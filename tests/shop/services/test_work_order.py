"""In which order a sheet is worked, and what the rig's running waits for.

The order is read out of 29 CFR 1910.147(d), (e) and (f)(1): before lockout what is read as found,
then prepare, shut down, isolate, lock, release, verify; after the work the way back, and only then
does the rig run.
"""

import re
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import timedelta
from decimal import Decimal
from html import unescape
from uuid import uuid4

import pytest
from django.test import Client

from equipment.models import Check, Due
from equipment.services import remove_component
from shop import isolation
from shop.isolation import Phase, Stage
from shop.models import Person, ServiceSheet, SheetStep
from shop.services.in_order import locking, open_returns
from shop.services.keying import Keyed, KeyedRefused, KeyedStep, key_in
from shop.services.paper import paper_of
from shop.services.paper.keeping import paper_from_plain, paper_to_plain
from shop.services.refusals import BadAnswer, ChecksLocked, LocksOffFirst, LookAgain
from shop.services.stages import stages_of
from tests.equipment.factories import ZONE
from tests.shop.paper.reading import read, text
from tests.shop.services.conftest import Hands, later
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db

HOUR = timedelta(hours=1)
DROP, OIL, VOLTS = "Filter drop as found", "Oil and filter changed", "Volts at rated load"
SEAL, PATTERN, WRAPPED = "Side seal", "Pattern even", "Cover refitted"
LAST = "Readings when done"


def add(version: object, order: int, title: str, **more: object) -> None:
    Check.objects.create(version=version, order=order, text=title, kind="tick", **more)


@pytest.fixture
def staged(world: SheetWorld) -> SheetWorld:
    """The generator: found, still, run. The gun: still, run, and a still one after it."""
    add(world.oil.version, 0, DROP, is_run=True)
    Check.objects.filter(text=VOLTS).update(is_run=True)
    Check.objects.filter(text=SEAL).update(opens=["material"])
    add(world.rebuild.version, 8, PATTERN, is_run=True)
    add(world.rebuild.version, 9, WRAPPED)
    return world


@pytest.fixture
def work(staged: SheetWorld, technician: Person) -> Hands:
    return Hands(staged.draft(), technician)


def in_order(hands: Hands) -> list[str]:
    """The titles as the hands come to them, each of the way in (d) and out (e) by its phase."""
    isolated = [*hands.steps("lockout"), *hands.steps("zero")]
    phases = [step.phase for step in isolated]
    assert phases == sorted(phases, key=list(Phase).index)
    assert [step.source[:21] for step in hands.steps("return")] == [
        f"29 CFR 1910.147(e)({number})" for number in (1, 2, 3)
    ]
    return [
        hands.steps("caution")[0].title,
        hands.steps("caution")[-1].title,
        DROP,
        "Know every source and tell everyone",
        "Your own lock",
        "Gauge",
        OIL,
        SEAL,
        *(step.title for step in hands.steps("return")),
        VOLTS,
        PATTERN,
        WRAPPED,
    ]


def follows(said: str, wanted: list[str]) -> None:
    """Each stands after the one before it."""
    at = 0
    for title in wanted:
        found = said.find(title, at)
        assert found >= 0, f"{title} does not follow in {said[at:]}"
        at = found + len(title)


def words_of(page: bytes) -> str:
    """The visible words of a page's main part."""
    main = page.decode().split("<main")[1].split("</main>")[0]
    main = re.sub(r"<(template|script|style).*?</\1>", " ", main, flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())


# --- the same order everywhere -------------------------------------------------------------------


def test_phone_desk_paper_and_keying_read_alike(
    work: Hands, client_as: Callable[..., Client]
) -> None:
    order = in_order(work)
    number = work.sheet.number
    phone = words_of(client_as("technician").get(f"/sheets/{number}/work/").content)
    follows(phone, [*order, LAST])
    follows(phone, ["As found, before lockout", DROP, "Lockout", "Parts", "Back to service"])
    follows(phone, ["Locks off", "With the rig running", VOLTS, LAST, "Found work", "Signed:"])
    follows(words_of(client_as("manager").get(f"/sheets/{number}/").content), order)
    keyed = words_of(client_as("manager").get(f"/sheets/{number}/keyed/").content)
    follows(keyed, [*order, "Readings", "Signature"])
    follows(keyed, ["Side seal", "Parts used", "Back to service"])
    paper = text(read(paper_of(work.sheet, today=TODAY, system="us")))
    follows(paper, [*order, LAST])
    follows(paper, ["As found, before lockout", "Lockout: one lock", "Checks, in the order"])
    follows(paper, ["Parts and bins", "Back to service, in this order", "With the rig running"])


def test_each_running_check_says_where_it_is_and_what_it_asks_for(
    work: Hands, client_as: Callable[..., Client]
) -> None:
    page = client_as("technician").get(f"/sheets/{work.sheet.number}/work/").content.decode()
    part = page.split('id="back"')[1].split("</section>")[0]
    running = words_of(f"<main>{part}</main>".encode())
    follows(running, [isolation.RUN_NOTE, "Generator", "oil and filter", VOLTS])
    follows(running, ["Spray gun", "full rebuild", PATTERN, isolation.STOPPED_NOTE, WRAPPED])
    assert running.count(isolation.RUN_NOTE) == running.count(isolation.STOPPED_NOTE) == 1
    assert page.count(isolation.FOUND_NOTE) == 1
    paper = text(read(paper_of(work.sheet, today=TODAY, system="us")))
    for note in (isolation.FOUND_NOTE, isolation.RUN_NOTE, isolation.STOPPED_NOTE):
        follows(paper, note.split())


def test_checks_are_numbered_as_the_paper_reads(work: Hands) -> None:
    paper = paper_of(work.sheet, today=TODAY, system="us")
    checks = [check for group in paper.every_group for check in group.checks]
    assert [check.text for check in checks] == [DROP, OIL, SEAL, VOLTS, PATTERN, WRAPPED]
    assert [check.number for check in checks] == [1, 2, 3, 4, 5, 6]
    told = [group.state_text for group in paper.every_group if group.state_text]
    assert len(told) == 2  # once for each line


def test_a_kept_copy_keeps_its_order_and_one_from_before_keeps_the_old_one(work: Hands) -> None:
    paper = paper_of(work.sheet, today=TODAY, system="us")
    again = paper_from_plain(paper_to_plain(paper), url="", printed="")
    assert again == paper
    old = asdict(replace(paper, groups=paper.every_group, found_groups=(), run_groups=()))
    for name in ("edition", "found_groups", "run_groups", "found_note", "groups_note", "run_note"):
        del old[name]
    said = text(read(paper_from_plain(old, url="", printed="")))
    follows(said, ["Your own lock", DROP, OIL, SEAL, VOLTS, "Locks off", "Parts and bins", LAST])


def test_a_sheet_that_only_runs_is_one_list(
    world: SheetWorld, technician: Person, client_as: Callable[..., Client]
) -> None:
    Check.objects.all().update(is_run=True)
    hands = Hands(world.draft(), technician)
    page = client_as("technician").get(f"/sheets/{hands.sheet.number}/work/").content.decode()
    assert 'id="back"' not in page
    assert "As found" not in page
    assert page.count(isolation.RUN_NOTE) == 2  # over the checks of each service
    paper = paper_of(hands.sheet, today=TODAY, system="us")
    assert paper.found_groups == paper.run_groups == ()
    follows(text(read(paper)), isolation.RUN_NOTE.split())
    assert [locking(step, who=technician, at=NOW) for step in hands.steps("check")] == [
        hands.steps("caution")
    ] * len(hands.steps("check"))


def test_a_bench_runs_without_a_way_back(
    staged: SheetWorld, technician: Person, client_as: Callable[..., Client]
) -> None:
    gun = staged.fleet.components["gun"]
    remove_component(component=gun, at=NOW, author=staged.manager, zone=ZONE)
    hands = Hands(staged.draft(Due.objects.get(component=gun), rig=None, component=gun), technician)
    page = client_as("technician").get(f"/sheets/{hands.sheet.number}/work/").content
    follows(words_of(page), ["On the bench", SEAL, "Running on the bench", PATTERN, WRAPPED])
    assert "Back to service" not in page.decode()
    assert isolation.BENCH_RUN_NOTE in page.decode()
    assert "rig runs" not in page.decode()
    for step in hands.steps("caution"):
        hands.answer(step)
    assert hands.answer(hands.check(PATTERN)).answer == "done"


# --- what the rig's running waits for ------------------------------------------------------------


def unlock(hands: Hands) -> None:
    for step in hands.steps("return"):
        hands.answer(step)


def test_as_found_wants_the_cautions_and_nothing_else(work: Hands) -> None:
    with pytest.raises(ChecksLocked, match="Stored fluid pressure"):
        work.answer(work.check(DROP))
    for step in work.steps("caution"):
        work.answer(step)
    assert work.answer(work.check(DROP)).answer == "done"
    work.open_the_checks()
    assert work.answer(work.check(DROP)).answer == "done"  # noted down, and entered late


def test_the_locks_come_off_before_the_rig_shows_its_work(work: Hands) -> None:
    for step in work.steps("caution"):
        work.answer(step)
    with pytest.raises(LocksOffFirst, match=r"Locks off comes first\. Still missing: Rig clear"):
        work.answer(work.check(VOLTS), "value", value=Decimal(240))
    work.open_the_checks()
    for done in range(3):
        with pytest.raises(LocksOffFirst):
            work.answer(work.check(PATTERN))
        work.answer(work.steps("return")[done])
    assert work.answer(work.check(PATTERN)).answer == "done"
    assert work.answer(work.check(VOLTS), "value", value=Decimal(240)).value == 240


def test_where_the_locks_stay_on_the_rig_does_not_run(work: Hands) -> None:
    work.open_the_checks()
    for step in work.steps("return"):
        work.answer(step, "na", note="stays locked out")
    assert open_returns(work.sheet) == []
    with pytest.raises(LocksOffFirst):
        work.answer(work.check(PATTERN))
    assert work.answer(work.check(PATTERN), "na", note="stays locked out").answer == "na"


def test_a_lock_put_on_again_comes_off_again(work: Hands) -> None:
    work.open_the_checks()
    unlock(work)
    work.answer(work.check(PATTERN))
    lock = next(step for step in work.steps("lockout") if step.phase == "lock")
    work.answer(lock, **later(NOW + HOUR))
    with pytest.raises(LocksOffFirst):
        work.answer(work.check(PATTERN), **later(NOW + 2 * HOUR))
    # What was entered before it was put on, and comes in late, is not stopped by it.
    assert work.answer(work.check(PATTERN), **later(NOW)).answer == "done"


def test_after_the_rig_ran_what_opens_is_proved_again_and_the_locks_come_off_again(
    work: Hands,
) -> None:
    work.open_the_checks()
    work.answer(work.check(SEAL), "choice", choice="good")
    unlock(work)
    with pytest.raises(LookAgain, match="Your own lock, Tried to start, Gauge A, Gauge B"):
        work.answer(work.check(SEAL), "choice", choice="replaced")
    for step in locking(work.check(SEAL), who=work.who, at=NOW):
        is_gauge = step.section == "zero"
        work.answer(step, "value" if is_gauge else "done", value=Decimal(0) if is_gauge else None)
    work.answer(work.check(SEAL), "choice", choice="replaced")
    with pytest.raises(LocksOffFirst):
        work.answer(work.check(PATTERN))
    unlock(work)
    assert work.answer(work.check(PATTERN)).answer == "done"
    assert work.answer(work.check(WRAPPED)).answer == "done"


def test_a_service_that_only_runs_waits_for_locks_that_are_on(
    world: SheetWorld, technician: Person
) -> None:
    """Nobody ticks "locks off" where nothing was locked."""
    Check.objects.filter(version=world.oil.version_id).update(is_run=True)
    hands = Hands(world.draft(), technician)
    assert stages_of(hands.steps("check"))[hands.check(VOLTS).pk] == Stage.RUN
    for step in hands.steps("caution"):
        hands.answer(step)
    assert hands.answer(hands.check(OIL)).answer == "done"
    hands.open_the_checks()
    with pytest.raises(LocksOffFirst):
        hands.answer(hands.check(VOLTS), "value", value=Decimal(240))
    unlock(hands)
    assert hands.answer(hands.check(VOLTS), "value", value=Decimal(240)).value == 240


def test_a_sheet_from_before_there_was_a_way_back_asks_what_it_asked(work: Hands) -> None:
    work.sheet.steps.filter(section="return").delete()
    work.open_the_checks()
    assert work.answer(work.check(PATTERN)).answer == "done"


def test_the_page_without_a_script_leads_to_what_comes_first(
    work: Hands, client_as: Callable[..., Client]
) -> None:
    work.open_the_checks()
    client = client_as("technician")
    for step in SheetStep.objects.filter(sheet=work.sheet, section__in=("caution", "lockout")):
        if step.is_each_persons:
            work.answer(step, author=Person.objects.get(pk=client.session["_auth_user_id"]))
    step = work.check(PATTERN)
    sent = {"event_id": str(uuid4()), "answer": "done"}
    answer = client.post(f"/sheets/{work.sheet.number}/steps/{step.pk}/", sent)
    assert answer.status_code == 422
    row = answer.content.decode().split(f'id="step-{step.pk}"')[1].split("</li>")[0]
    assert "Locks off comes first" in row
    assert f'href="#step-{work.steps("return")[0].pk}">Go there' in row


def keyed(hands: Hands, *, returned: str = "done") -> Keyed:
    def said(step: SheetStep) -> KeyedStep:
        note = "stays locked" if returned == "na" and step.section == "return" else ""
        if step.kind == "choice":
            return KeyedStep(step, "choice", choice=step.choices[0])
        if step.kind == "value":
            value = Decimal(0) if step.section == "zero" else Decimal(240)
            return KeyedStep(step, "value", value=value)
        return KeyedStep(step, returned if step.section == "return" else "done", note=note)

    return Keyed(
        writer=hands.who,
        at=NOW + HOUR,
        signature="T. Reed",
        labour_minutes=60,
        leave_undone=False,
        # As the form gives them, in the order of nothing.
        steps=tuple(map(said, hands.sheet.steps.order_by("-pk"))),
        used=tuple((row, 0) for row in hands.sheet.parts.all()),
    )


def test_a_paper_is_keyed_in_in_its_own_order(work: Hands, manager: Person) -> None:
    def key(said: Keyed) -> ServiceSheet:
        given = {"author": manager, "recorded_at": NOW + 2 * HOUR, "request_id": uuid4()}
        return key_in(sheet=work.sheet, keyed=said, **given)

    with pytest.raises(KeyedRefused) as refused:
        key(keyed(work, returned="na"))
    assert {f"step-{step.pk}" for step in work.steps("return")} <= refused.value.errors.keys()
    assert key(keyed(work)).state == "signed"


def test_the_own_lock_is_still_refused_as_not_applicable(work: Hands) -> None:
    lock = next(step for step in work.steps("lockout") if step.phase == "lock")
    with pytest.raises(BadAnswer):
        work.answer(lock, "na", note="no")
