"""A signed sheet corrected: what was wrong is said right, what follows is posted, the old stays."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from equipment.models import Due, Finding, Measurement, Reading, Renewal
from equipment.services import NewReading
from inventory.models import Balance, Movement
from inventory.services import prove
from shop.models import Correction, ServiceSheet, SheetPart, SignedCopy
from shop.paper.sheet import sheet_pdf
from shop.services import corrections
from shop.services.corrections import (
    CorrectionRefused,
    Right,
    RightCheck,
    RightPart,
    RightReading,
    correct_sheet,
)
from shop.services.left_undone import left_undone
from shop.services.minutes import doings
from shop.services.paper import paper_to_print
from shop.services.refusals import SheetRefused
from shop.services.standing import stands_of
from shop.services.working import enter_reading
from tests.inventory.factories import received
from tests.races import all_meet_in, at_once, without_row_locks
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)


@pytest.fixture
def signed(done: Hands, world: SheetWorld) -> ServiceSheet:
    """Hours read as 215, volts as 240, one filter and one kit used, both services done."""
    enter_reading(
        sheet=done.sheet,
        new=NewReading(world.fleet.counters["hours"], Decimal(215)),
        event_id=uuid4(),
        author=done.who,
        at=NOW,
        recorded_at=NOW,
    )
    return done.sign(labour_minutes=180)


def correct(sheet: ServiceSheet, world: SheetWorld, **more: Any) -> ServiceSheet:
    given = {
        "reason": "misread in bad light",
        "signature": "A. Manager",
        "author": world.manager,
        "at": LATER,
        "request_id": uuid4(),
    }
    right = {name: more.pop(name) for name in list(more) if name in Right.__dataclass_fields__}
    return correct_sheet(sheet=sheet, right=Right(**right), **{**given, **more})


def volts(sheet: ServiceSheet) -> Any:
    return sheet.steps.select_related("line", "entry").get(title="Volts at rated load")


def printed(sheet: ServiceSheet) -> Any:
    sheet = ServiceSheet.objects.get(pk=sheet.pk)
    return paper_to_print(sheet, today=TODAY, system="us")


def test_a_misread_face_is_corrected_and_lives_follow(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    before = printed(signed)
    entry = signed.readings.get()
    new = correct(signed, world, readings=(RightReading(entry, Decimal(205)),))
    assert (new.corrects, new.state, new.signed_by) == (signed, "signed", world.manager)
    stands = Reading.objects.get(counter=entry.counter, at=NOW, is_in_force=True)
    assert (stands.value, stands.author) == (205, world.manager)
    world.fleet.counters["hours"].refresh_from_db()
    assert world.fleet.counters["hours"].last_value == 205
    row = Correction.objects.get()
    assert (row.sheet, row.was, row.now) == (new, "215 h", "205 h")
    assert printed(signed) == replace(before, corrected_by=(str(new),))
    assert "205" not in str(SignedCopy.objects.get(sheet=signed).document["readings"])


def test_it_is_corrected_again_from_how_it_stands(signed: ServiceSheet, world: SheetWorld) -> None:
    entry = signed.readings.get()
    for value in (205, 206):
        correct(signed, world, readings=(RightReading(entry, Decimal(value)),))
    assert [row.was for row in Correction.objects.order_by("pk")] == ["215 h", "205 h"]
    assert stands_of(signed).readings[0][1].value == 206  # type: ignore[union-attr]


def test_more_used_is_issued_and_less_comes_back_at_the_source_of_the_old_sheet(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    received(world.filter_part, world.bin, 5, 5000)
    correct(signed, world, parts=(RightPart(world.filter_part, 3, world.bin),))
    assert (
        Balance.objects.get(
            part=world.filter_part, location=world.bin, quantity_steps__gt=0
        ).quantity_steps
        == 3
    )
    correct(signed, world, parts=(RightPart(world.filter_part, 0, world.bin),))
    spent = Movement.objects.spent().of_source("sheet", signed.number)
    rows = spent.filter(part=world.filter_part)
    assert sum(rows.values_list("quantity_steps", flat=True)) == 0
    assert sum(rows.values_list("value_cents", flat=True)) == 0
    assert prove() == []
    assert [row.now for row in Correction.objects.order_by("pk")] == [
        "3 pieces used",
        "none used",
    ]


def test_a_part_that_nobody_wrote_down(signed: ServiceSheet, world: SheetWorld) -> None:
    correct(signed, world, parts=(RightPart(world.seal, 1, world.drawer),))
    assert not SheetPart.objects.filter(sheet=signed, part=world.seal).exists()
    issued = Movement.objects.get(kind="issue", part=world.seal)
    assert (issued.source_number, issued.quantity_steps) == (signed.number, -1)
    parts = {part: steps for part, steps, _place in stands_of(signed).parts}
    assert parts[world.seal] == 1


def test_a_value_is_measured_anew_and_the_next_sheet_shows_it(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    new = correct(signed, world, checks=(RightCheck(volts(signed), value=Decimal(235)),))
    rows = Measurement.objects.filter(name="Volts at rated load").order_by("at", "pk")
    assert [row.value for row in rows] == [240, 235]
    assert rows[1].source_number == new.number
    again = world.draft(Due.objects.get(pk=world.oil.pk))
    assert again.steps.get(title="Volts at rated load").last_value == 235


def test_a_choice_is_corrected(signed: ServiceSheet, world: SheetWorld) -> None:
    step = signed.steps.select_related("line", "entry").get(title="Side seal")
    correct(signed, world, checks=(RightCheck(step, choice="replaced"),))
    assert (Correction.objects.get().was, Correction.objects.get().now) == ("good", "replaced")


def test_a_right_value_out_of_limit_asks_what_has_to_be_done(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    check = RightCheck(volts(signed), value=Decimal(200))
    with pytest.raises(CorrectionRefused, match="out of limit") as refused:
        correct(signed, world, checks=(check,))
    assert refused.value.where == f"work-{check.step.pk}"
    asked = RightCheck(volts(signed), value=Decimal(200), work="regulator drifts")
    new = correct(signed, world, checks=(asked,))
    found = Finding.objects.get()
    assert (found.text, found.source_number) == ("regulator drifts", new.number)
    assert [each.text for each in printed(new).found_work] == ["regulator drifts"]
    assert sheet_pdf(printed(new)).startswith(b"%PDF")
    assert found.component == volts(signed).line.component


def test_a_service_that_was_not_done_falls_due_as_before(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    world.rebuild.refresh_from_db()
    line = signed.lines.get(version=world.rebuild.version)
    new = correct(signed, world, not_done=(line,))
    undone = Renewal.objects.get(undoes__isnull=False)
    assert undone.undoes is not None
    assert undone.undoes.source_number == signed.number
    assert not Renewal.objects.in_force().filter(version=world.rebuild.version).exists()
    key = (world.rebuild.component_id, world.rebuild.version.service_id)
    assert left_undone([key])[key] == new
    assert line.version is not None
    assert line.version.service_id not in doings()
    with pytest.raises(CorrectionRefused, match="undone already"):
        correct(signed, world, not_done=(line,))


def test_how_long_it_took_teaches_by_its_correction(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    correct(signed, world, labour_minutes=90)
    (row,) = doings()[world.oil.version.service_id]
    # 90 min over services asked for at 45 and 90.
    assert (row.minutes, row.of_minutes) == (30, 90)


def test_all_of_it_in_one_sheet_or_none(signed: ServiceSheet, world: SheetWorld) -> None:
    before = rows_of_every_table()
    with pytest.raises(CorrectionRefused) as refused:
        correct(
            signed,
            world,
            readings=(RightReading(signed.readings.get(), Decimal(205)),),
            labour_minutes=90,
            parts=(RightPart(world.filter_part, 99, world.bin),),
        )
    assert refused.value.where == f"part-{world.filter_part.pk}"
    assert rows_of_every_table() == before
    new = correct(
        signed,
        world,
        readings=(RightReading(signed.readings.get(), Decimal(205)),),
        checks=(RightCheck(volts(signed), value=Decimal(235)),),
        parts=(RightPart(world.filter_part, 0, world.bin),),
        not_done=(signed.lines.get(version=world.rebuild.version),),
        labour_minutes=90,
    )
    assert set(new.corrected.values_list("about", flat=True)) == {
        "reading", "check", "part", "service", "labour",
    }  # fmt: skip
    words = str(printed(new))
    for said in ("205 h (it said: 215 h)", "235 V", "none used", "not done", "90 min"):
        assert said in words
    assert f"corrects sheet {signed}" in words
    assert prove() == []


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "Nothing differs"),
        ({"labour_minutes": 180}, "Nothing differs"),
        ({"labour_minutes": 90, "reason": " "}, "how it came"),
        ({"labour_minutes": 90, "signature": ""}, "Write your name"),
        ({"labour_minutes": 90, "reason": "x" * 301}, "300"),
    ],
)
def test_what_says_nothing_is_refused_with_nothing_written(
    signed: ServiceSheet, world: SheetWorld, more: dict[str, Any], words: str
) -> None:
    before = rows_of_every_table()
    with pytest.raises(SheetRefused, match=words):
        correct(signed, world, **more)
    assert rows_of_every_table() == before


def test_an_impossible_figure_is_refused_beside_it(signed: ServiceSheet, world: SheetWorld) -> None:
    entry = signed.readings.get()
    with pytest.raises(CorrectionRefused) as refused:
        correct(signed, world, readings=(RightReading(entry, Decimal(150)),))
    assert refused.value.where == f"reading-{entry.pk}"


def test_an_open_sheet_and_a_correction_are_not_corrected(
    hands: Hands, world: SheetWorld, request: pytest.FixtureRequest
) -> None:
    with pytest.raises(SheetRefused, match="is not signed"):
        correct(hands.sheet, world, labour_minutes=5)
    signed = request.getfixturevalue("signed")
    new = correct(signed, world, labour_minutes=90)
    with pytest.raises(SheetRefused, match="a correction itself"):
        correct(new, world, labour_minutes=5)


def test_sent_twice_it_is_one_sheet_and_under_another_key_it_says_nothing_new(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    key = uuid4()
    given = {"parts": (RightPart(world.filter_part, 0, world.bin),)}
    first = correct(signed, world, request_id=key, **given)
    before = rows_of_every_table()
    assert correct(signed, world, request_id=key, **given) == first
    assert rows_of_every_table() == before
    # The twin: it is the key by which it is known; another is another try at the same.
    with pytest.raises(SheetRefused, match="Nothing differs"):
        correct(signed, world, **given)


@pytest.mark.django_db(transaction=True)
def test_two_managers_at_once_draw_two_numbers_and_the_second_sees_what_the_first_wrote(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    def act() -> ServiceSheet:
        return correct(signed, world, parts=(RightPart(world.filter_part, 0, world.bin),))

    results = at_once(act, act)
    assert sum(isinstance(each, SheetRefused) for each in results) == 1
    assert Correction.objects.count() == 1
    assert prove() == []


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_locks_both_draw_one_number(
    signed: ServiceSheet, world: SheetWorld, monkeypatch: pytest.MonkeyPatch
) -> None:
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, corrections, "_next_number")
    results = at_once(
        lambda: correct(signed, world, labour_minutes=80),
        lambda: correct(signed, world, labour_minutes=90),
    )
    assert any(isinstance(each, IntegrityError) for each in results)


BROKEN: dict[str, Callable[[ServiceSheet, SheetWorld], dict[str, Any]]] = {
    "a reading without one": lambda _sheet, _world: {"about": "reading"},
    "a part and a check": lambda sheet, world: {
        "about": "part",
        "part": world.seal,
        "step": volts(sheet),
    },
    "labour of a line": lambda sheet, _world: {"about": "labour", "line": sheet.lines.first()},
}


@pytest.mark.parametrize("broken", BROKEN.values(), ids=BROKEN)
def test_the_database_refuses_a_correction_of_nothing_or_of_two_things(
    signed: ServiceSheet,
    world: SheetWorld,
    broken: Callable[[ServiceSheet, SheetWorld], dict[str, Any]],
) -> None:
    new = correct(signed, world, labour_minutes=90)
    with pytest.raises(IntegrityError), transaction.atomic():
        Correction.objects.create(sheet=new, title="x", was="a", now="b", **broken(signed, world))


def test_the_database_refuses_two_words_on_one_thing_and_an_open_correction(
    signed: ServiceSheet, world: SheetWorld
) -> None:
    new = correct(signed, world, labour_minutes=90)
    said = {"sheet": new, "about": "part", "part": world.seal, "title": "x", "was": "", "now": ""}
    Correction.objects.create(**said)
    with pytest.raises(IntegrityError), transaction.atomic():
        Correction.objects.create(**said)
    with pytest.raises(IntegrityError), transaction.atomic():
        ServiceSheet.objects.filter(pk=new.pk).update(
            state="drafted", signed_by=None, signed_at=None
        )
