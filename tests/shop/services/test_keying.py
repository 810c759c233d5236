"""A paper sheet keyed in: whole or not at all, once, and refused as the phone would refuse it."""

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from equipment.models import Finding, Reading, Renewal
from equipment.services import NewReading
from inventory.models import Movement
from inventory.services import prove
from shop import words
from shop.models import (
    PartEntry,
    Person,
    ReadingEntry,
    ServiceSheet,
    Shop,
    SignedCopy,
    StepEntry,
)
from shop.services import keying
from shop.services.keying import Keyed, KeyedFound, KeyedPart, KeyedRefused, KeyedStep, key_in
from shop.services.paper import paper_to_print
from shop.services.refusals import AlreadySigned, SheetClosed
from shop.services.working import answer_step
from tests.races import all_meet_in, at_once, refused, without_row_locks
from tests.shop.factories import PersonFactory
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

#: The paper was signed after four hours of work and keyed in on the next day.
SIGNED_AT = NOW + timedelta(hours=4)
KEYED_AT = NOW + timedelta(days=1)


def fine(step: Any) -> KeyedStep:
    if step.kind == "tick":
        return KeyedStep(step, "done")
    if step.kind == "choice":
        return KeyedStep(step, "choice", choice=step.choices[0])
    return KeyedStep(step, "value", value=Decimal(240 if step.section == "check" else 0))


def paper(hands: Hands, **more: Any) -> Keyed:
    """All done, everything promised used up, the hours read."""
    steps = hands.sheet.steps.order_by("pk")
    return replace(
        Keyed(
            writer=hands.who,
            at=SIGNED_AT,
            signature="T. Reed",
            labour_minutes=180,
            leave_undone=False,
            steps=tuple(fine(step) for step in steps),
            used=tuple((row, row.planned_steps) for row in hands.sheet.parts.order_by("pk")),
        ),
        **more,
    )


def key(hands: Hands, author: Person, keyed: Keyed, **more: Any) -> ServiceSheet:
    given = {"recorded_at": KEYED_AT, "request_id": uuid4()}
    return key_in(sheet=hands.sheet, keyed=keyed, author=author, **{**given, **more})


def without(keyed: Keyed, *sections: str) -> Keyed:
    return replace(keyed, steps=tuple(e for e in keyed.steps if e.step.section not in sections))


def changed(keyed: Keyed, title: str, **more: Any) -> Keyed:
    steps = tuple(replace(e, **more) if e.step.title == title else e for e in keyed.steps)
    return replace(keyed, steps=steps)


def test_all_of_it_is_taken_and_signed_under_the_name_on_the_paper(
    hands: Hands, world: SheetWorld
) -> None:
    hours = NewReading(world.fleet.counters["hours"], Decimal(215))
    sheet = key(hands, world.manager, paper(hands, readings=(hours,)))
    assert (sheet.state, sheet.signature, sheet.signed_at) == ("signed", "T. Reed", SIGNED_AT)
    assert (sheet.signed_by, sheet.written_by) == (world.manager, hands.who)
    for model in (StepEntry, PartEntry, ReadingEntry):
        for entry in model.objects.all():
            assert (entry.author, entry.written_by) == (world.manager, hands.who)
            assert (entry.at, entry.recorded_at) == (SIGNED_AT, KEYED_AT)
    assert Reading.objects.get(source="sheet").at == SIGNED_AT
    assert {row.done_at for row in Renewal.objects.all()} == {SIGNED_AT}
    issued = Movement.objects.filter(kind="issue")
    assert {row.part for row in issued} == {world.filter_part, world.kit}
    copy = str(SignedCopy.objects.get(sheet=sheet).document)
    # Who keyed it in stands once on it, and each line says whose it is and when.
    assert "T. Reed (on paper; keyed in by A. Manager)" in copy
    assert copy.count("keyed in by") == 1
    moment = words.dated(SIGNED_AT, zone=Shop.objects.get().zone)
    entries = hands.sheet.steps.count() + hands.sheet.parts.count() + 1
    assert copy.count(f"A. Technician, {moment} on paper") == entries
    assert prove() == []


@pytest.mark.parametrize("started_at", [None, SIGNED_AT - timedelta(hours=3)])
def test_the_paper_says_when_it_began_or_nobody_does(
    hands: Hands, world: SheetWorld, started_at: datetime | None
) -> None:
    sheet = key(hands, world.manager, paper(hands, started_at=started_at))
    assert (sheet.started_at, sheet.signed_at) == (started_at, SIGNED_AT)
    kept = SignedCopy.objects.get(sheet=sheet).document
    zone = Shop.objects.get().zone
    began = words.dated(started_at, zone=zone) if started_at else ""
    assert (kept["started"], kept["finished"]) == (began, words.dated(SIGNED_AT, zone=zone))
    # Whose it is stands there all the same.
    assert ["Technician", hands.who.name] in [list(each) for each in kept["cells"]]


@pytest.mark.parametrize("hours", [0, 2])
def test_what_a_phone_told_before_the_paper_stays_the_beginning(
    hands: Hands, world: SheetWorld, hours: int
) -> None:
    hands.open_the_checks()
    begun = hands.fresh().started_at
    assert begun is not None
    keyed = without(paper(hands), "caution", "lockout", "zero")
    on_paper = begun + timedelta(hours=hours - 1)
    sheet = key(hands, world.manager, replace(keyed, started_at=on_paper))
    assert sheet.started_at == min(begun, on_paper)


def test_a_sheet_signed_before_prints_who_keyed_it_in_on_each_line(
    hands: Hands, world: SheetWorld
) -> None:
    """What was kept with a signature is printed as it was kept."""
    sheet = key(hands, world.manager, paper(hands))
    before = "A. Technician, 4 Feb 2026 10:00 on paper, keyed in by A. Manager"
    # As it stands in the database, where nothing changes it.
    for group in sheet.signed_copy.document["groups"]:
        for check in group["checks"]:
            check["by_text"] = before
    printed = paper_to_print(sheet, today=KEYED_AT.date(), system="us")
    assert {check.by_text for group in printed.groups for check in group.checks} == {before}


def test_who_keyed_in_one_line_of_a_sheet_is_named_there(hands: Hands, world: SheetWorld) -> None:
    """The twin: what one manager put right by itself, before another keyed in all the rest."""
    hands.open_the_checks()
    other = PersonFactory(manager=True)
    seal = hands.check("Side seal")
    given = {"at": SIGNED_AT, "recorded_at": SIGNED_AT, "event_id": uuid4()}
    said = {"answer": "choice", "choice": seal.choices[0], "written_by": hands.who}
    answer_step(step=seal, author=other, **said, **given)
    keyed = without(paper(hands), "caution", "lockout", "zero")
    keyed = replace(keyed, steps=tuple(e for e in keyed.steps if e.step != seal))
    key(hands, world.manager, keyed)
    copy = str(SignedCopy.objects.get().document)
    assert copy.count(f"on paper, keyed in by {other.name}") == 1


def test_checks_stay_locked_until_the_paper_confirms_what_comes_before(
    hands: Hands, world: SheetWorld
) -> None:
    before = rows_of_every_table()
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, without(paper(hands), "caution", "zero"))
    steps = hands.sheet.steps.filter(section__in=["caution", "zero"])
    assert refusal.value.errors == {
        f"step-{step.pk}": keying.AT_ZERO if step.section == "zero" else keying.TICK_IT
        for step in steps
    }
    assert rows_of_every_table() == before
    assert hands.fresh().state == "handed_out"


def test_a_lock_that_the_paper_leaves_out_is_refused_beside_it(
    hands: Hands, world: SheetWorld
) -> None:
    keyed = changed(paper(hands), "Your own lock", answer="na", note="alone here")
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, keyed)
    said = refusal.value.errors[f"step-{hands.sheet.steps.get(phase='lock').pk}"]
    assert (
        said == "“Your own lock” is asked for on every job: it cannot be marked as not applicable."
    )


def test_a_gauge_off_zero_is_refused_beside_it(hands: Hands, world: SheetWorld) -> None:
    keyed = paper(hands)
    gauge = hands.steps("zero")[0]
    steps = tuple(replace(e, value=Decimal(40)) if e.step == gauge else e for e in keyed.steps)
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, replace(keyed, steps=steps))
    assert "must read zero" in refusal.value.errors[f"step-{gauge.pk}"]


def test_everything_that_is_wrong_is_said_at_once_and_nothing_is_kept(
    hands: Hands, world: SheetWorld
) -> None:
    before = rows_of_every_table()
    keyed = changed(paper(hands), "Volts at rated load", value=Decimal(200))
    keyed = changed(keyed, "Side seal", choice="chewed")
    hours = NewReading(world.fleet.counters["hours"], Decimal(100))
    keyed = replace(keyed, readings=(hours,))
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, keyed)
    said = refusal.value
    assert "out of limit" in said.errors[f"step-{hands.check('Volts at rated load').pk}"]
    assert "Choose one" in said.errors[f"step-{hands.check('Side seal').pk}"]
    assert list(said.readings) == [world.fleet.counters["hours"].pk]
    assert rows_of_every_table() == before


def test_a_value_out_of_limit_with_its_answer_opens_found_work(
    hands: Hands, world: SheetWorld
) -> None:
    keyed = changed(
        paper(hands),
        "Volts at rated load",
        value=Decimal(200),
        remedy="found_work",
        finding_text="regulator drifts",
        is_grave=True,
    )
    key(hands, world.manager, keyed)
    found = Finding.objects.get()
    assert (found.text, found.is_grave, found.opened_by) == ("regulator drifts", True, hands.who)


def test_what_was_found_is_found_work_of_who_wrote_it_and_stands_on_the_signed_sheet(
    hands: Hands, world: SheetWorld
) -> None:
    found = (KeyedFound("hose chafed at the bracket"), KeyedFound("brake light out", is_grave=True))
    sending = uuid4()
    for _ in range(2):
        key(hands, world.manager, paper(hands, found=found), request_id=sending)
    kept = Finding.objects.order_by("pk")
    assert [(each.text, each.is_grave, each.opened_by, each.opened_at) for each in kept] == [
        ("hose chafed at the bracket", False, hands.who, SIGNED_AT),
        ("brake light out", True, hands.who, SIGNED_AT),
    ]
    assert {(each.source_kind, each.source_number) for each in kept} == {
        ("sheet", hands.sheet.number)
    }
    printed = SignedCopy.objects.get().document["found_work"]
    assert [each["text"] for each in printed] == [each.text for each in found]


def test_open_checks_are_named_or_come_back(hands: Hands, world: SheetWorld) -> None:
    keyed = paper(hands)
    seal = hands.check("Side seal")
    keyed = replace(keyed, steps=tuple(e for e in keyed.steps if e.step != seal))
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, keyed)
    assert refusal.value.errors == {f"step-{seal.pk}": keying.STILL_OPEN}
    sheet = key(hands, world.manager, replace(keyed, leave_undone=True))
    assert set(sheet.lines.values_list("outcome", flat=True)) == {"done", "left"}


def test_an_electricians_check_is_an_electricians_on_paper_too(
    hands: Hands, world: SheetWorld
) -> None:
    hands.sheet.steps.filter(title="Volts at rated load").update(needs_electrician=True)
    volts = hands.check("Volts at rated load")
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, paper(hands))
    assert "licensed electrician" in refusal.value.errors[f"step-{volts.pk}"]
    sparks = PersonFactory(electrician=True)
    keyed = changed(paper(hands), "Volts at rated load", by=sparks)
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, keyed)
    assert refusal.value.errors["theirs"] == keying.THEIRS_TOO
    sheet = key(hands, world.manager, replace(keyed, theirs_too=True))
    assert sheet.steps.get(pk=volts.pk).entry.hand == sparks
    caution = sheet.steps.filter(section="caution").first()
    assert {entry.hand for entry in caution.entries.all()} == {sparks, hands.who}


def test_who_keys_it_in_need_not_be_an_electrician_but_the_writer_must(
    hands: Hands, world: SheetWorld
) -> None:
    """The twin of the last: the keyer's own licence does not count for the writer's work."""
    hands.sheet.steps.filter(title="Volts at rated load").update(needs_electrician=True)
    with pytest.raises(KeyedRefused):
        key(hands, PersonFactory(manager=True, is_electrician=True), paper(hands))


def test_more_used_than_taken_is_refused_beside_its_line(hands: Hands, world: SheetWorld) -> None:
    rows = {row.part: row for row in hands.sheet.parts.all()}
    used = ((rows[world.filter_part], 3), (rows[world.kit], 1))
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, paper(hands, used=used))
    where = f"used-{rows[world.filter_part].pk}"
    assert list(refusal.value.errors) == [where]
    assert "only 1 piece in the tray" in refusal.value.errors[where]


def test_what_was_taken_and_not_said_is_asked_for(hands: Hands, world: SheetWorld) -> None:
    hands.take()
    rows = {row.part: row for row in hands.sheet.parts.all()}
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, paper(hands, used=((rows[world.kit], 1),)))
    assert list(refusal.value.errors) == [f"used-{rows[world.filter_part].pk}"]


def test_a_part_that_nobody_planned_is_taken_and_used(hands: Hands, world: SheetWorld) -> None:
    extra = KeyedPart(world.seal, world.drawer, 1, "extra-0")
    key(hands, world.manager, paper(hands, parts=(extra,)))
    assert Movement.objects.filter(kind="issue", part=world.seal).exists()
    assert prove() == []


def test_a_part_that_is_not_there_is_refused_beside_its_line(
    hands: Hands, world: SheetWorld
) -> None:
    before = rows_of_every_table()
    extra = KeyedPart(world.seal, world.drawer, 9, "extra-0")
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, paper(hands, parts=(extra,)))
    assert list(refusal.value.errors) == ["extra-0"]
    assert rows_of_every_table() == before


@pytest.mark.parametrize(
    ("at", "said"),
    [
        (KEYED_AT + timedelta(minutes=1), "has not come yet"),
        (NOW - timedelta(days=1), "was not drafted then"),
    ],
)
def test_a_time_that_cannot_be_is_refused(
    hands: Hands, world: SheetWorld, at: datetime, said: str
) -> None:
    with pytest.raises(KeyedRefused) as refusal:
        key(hands, world.manager, paper(hands, at=at))
    assert said in refusal.value.errors["at"]


def test_sent_twice_it_counts_once_and_another_is_told(hands: Hands, world: SheetWorld) -> None:
    keyed, request_id = paper(hands), uuid4()
    first = key(hands, world.manager, keyed, request_id=request_id)
    before = rows_of_every_table()
    assert key(hands, world.manager, keyed, request_id=request_id) == first
    assert rows_of_every_table() == before
    # The twin: another key is another try, which the signature refuses.
    with pytest.raises(AlreadySigned):
        key(hands, world.manager, keyed)


def test_a_void_sheet_takes_nothing(hands: Hands, world: SheetWorld) -> None:
    ServiceSheet.objects.filter(pk=hands.sheet.pk).update(
        state="void", voided_by=hands.who, voided_at=NOW
    )
    with pytest.raises(SheetClosed):
        key(hands, world.manager, paper(hands))


def test_what_the_phone_entered_before_stays(hands: Hands, world: SheetWorld) -> None:
    hands.open_the_checks()
    keyed = without(paper(hands), "caution", "lockout", "zero")
    key(hands, world.manager, keyed)
    entry = hands.steps("caution")[0].entry
    assert entry is not None
    assert (entry.author, entry.written_by) == (hands.who, None)


def test_a_failure_at_the_end_leaves_nothing(
    hands: Hands, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = rows_of_every_table()

    def break_down(**_: object) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr(keying, "sign_sheet", break_down)
    with pytest.raises(RuntimeError):
        key(hands, world.manager, paper(hands))
    assert rows_of_every_table() == before


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_lock_on_the_sheet_both_begin_to_key_it_in(
    hands: Hands, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    keyed = paper(hands)
    other = PersonFactory(manager=True)
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, keying._Keying, "all")
    results = at_once(lambda: key(hands, world.manager, keyed), lambda: key(hands, other, keyed))
    assert sum(isinstance(each, AlreadySigned) for each in results) == 0


@pytest.mark.django_db(transaction=True)
def test_two_who_key_in_one_paper_at_once_sign_it_once(hands: Hands, world: SheetWorld) -> None:
    keyed = paper(hands)
    other = PersonFactory(manager=True)
    results = at_once(lambda: key(hands, world.manager, keyed), lambda: key(hands, other, keyed))
    assert refused(results, AlreadySigned) == 1
    assert StepEntry.objects.count() == hands.sheet.steps.count()
    assert Renewal.objects.count() == 2
    assert prove() == []
