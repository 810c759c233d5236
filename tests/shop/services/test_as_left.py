"""A measured value as found and as left: what is taken, what counts from then on, what is said."""

from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.db import IntegrityError, transaction

from equipment.models import Component, Due, Finding, Measurement
from shop import arrivedwords, unitwords
from shop.models import Correction, ServiceSheet, SheetLine, SheetStep, StepEntry, Unsettled
from shop.paper.sheet import sheet_pdf
from shop.services.across import compared
from shop.services.answers import typed_value
from shop.services.arriving import post, snapshot
from shop.services.corrections import Right, RightCheck, correct_sheet
from shop.services.keying import KeyedRefused
from shop.services.paper import paper_from_plain, paper_to_print
from shop.services.paper.keeping import paper_to_plain
from shop.services.refusals import BadAnswer, SheetRefused
from shop.services.standing import stands_of
from shop.services.working import pick_answer
from tests.shop.phones import Phone, check
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.services.test_keying import changed, key, paper
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

VOLTS = "Volts at rated load"
LATER = NOW + timedelta(hours=5)
TODAY = date(2026, 2, 4)
PUT_RIGHT = {"value": Decimal(260), "remedy": "put_right"}


def volts(hands: Hands) -> SheetStep:
    return hands.check(VOLTS)


def measured_on(component: Component) -> list[Decimal]:
    rows = Measurement.objects.filter(component=component, name=VOLTS).order_by("at", "pk")
    return list(rows.values_list("value", flat=True))


class TestWhatIsTaken:
    """228 – 252 V are its limits; the rules themselves are in tests/shop/test_as_left.py."""

    @pytest.fixture(autouse=True)
    def _open(self, hands: Hands) -> None:
        hands.open_the_checks()

    @pytest.mark.parametrize("remedy", ["put_right", "replaced"])
    def test_put_right_it_is_read_again_and_lies_within(self, hands: Hands, remedy: str) -> None:
        before = rows_of_every_table()
        found = {"value": Decimal(260), "remedy": remedy}
        for left, words in (
            (None, "enter the value as left"),
            (Decimal("252.0001"), "Still out of limit"),
        ):
            with pytest.raises(BadAnswer, match=words) as refused:
                hands.answer(volts(hands), "value", left_value=left, **found)
            assert refused.value.field == "left_value"
        assert rows_of_every_table() == before
        entry = hands.answer(volts(hands), "value", left_value=Decimal(252), **found)
        assert (entry.value, entry.left_value, entry.measured) == (260, 252, 252)
        assert not entry.is_out_of_limit

    def test_seen_to_it_may_stay_out_of_limit_or_not(self, hands: Hands) -> None:
        found = {"value": Decimal(260), "remedy": "found_work", "finding_text": "drifts"}
        for left, stays in ((None, True), (Decimal(255), True), (Decimal(250), False)):
            entry = hands.answer(volts(hands), "value", left_value=left, **found)
            assert (entry.left_value, entry.is_out_of_limit) == (left, stays)

    @pytest.mark.parametrize(
        ("note", "kept"),
        [("", "relay stuck"), ("hot day", "hot day; relay stuck"), ("relay stuck", "relay stuck")],
    )
    @pytest.mark.parametrize("remedy", ["put_right", "replaced"])
    def test_what_was_written_beside_it_is_a_note_where_it_opens_no_found_work(
        self, hands: Hands, remedy: str, note: str, kept: str
    ) -> None:
        found = {"value": Decimal(260), "left_value": Decimal(240), "remedy": remedy}
        entry = hands.answer(
            volts(hands), "value", note=note, finding_text=" relay stuck ", **found
        )
        assert (entry.note, entry.finding) == (kept, None)
        assert not Finding.objects.exists()
        again = hands.answer(volts(hands), "value", value=Decimal(241), finding_text="it was 241")
        assert again.note == "it was 241"

    def test_twin_words_of_found_work_stand_there_and_not_in_the_note(self, hands: Hands) -> None:
        found = {"value": Decimal(260), "remedy": "found_work", "finding_text": "drifts"}
        entry = hands.answer(volts(hands), "value", note="hot day", **found)
        assert (entry.note, entry.finding.text) == ("hot day", "drifts")
        assert hands.answer(volts(hands), "cleared", finding_text="drifts").note == ""

    def test_a_note_too_long_with_what_was_written_beside_it_is_refused(self, hands: Hands) -> None:
        texts = {"note": "n" * 200, "finding_text": "f" * 200}
        with pytest.raises(SheetRefused, match="300"):
            hands.answer(volts(hands), "value", left_value=Decimal(240), **PUT_RIGHT, **texts)

    def test_within_its_limits_it_may_be_adjusted_all_the_same(self, hands: Hands) -> None:
        entry = hands.answer(volts(hands), "value", value=Decimal(230), left_value=Decimal(240))
        assert (entry.measured, entry.is_out_of_limit) == (240, False)
        with pytest.raises(BadAnswer, match="Say what you did") as refused:
            hands.answer(volts(hands), "value", value=Decimal(230), left_value=Decimal(260))
        assert refused.value.field == "remedy"

    def test_a_code_has_one_as_left_and_is_compared_as_a_code(self, hands: Hands) -> None:
        oil = volts(hands)
        oil.unit, oil.low, oil.high = "ISO 4406", None, Decimal(201815)
        oil.save()
        found, still, left = (
            typed_value(oil, each) for each in ("22/18/15", "20/19/15", "18/16/13")
        )
        with pytest.raises(BadAnswer, match="Still out"):
            hands.answer(oil, "value", value=found, left_value=still, remedy="replaced")
        entry = hands.answer(oil, "value", value=found, left_value=left, remedy="replaced")
        unit = oil.in_units("us")
        assert (
            unitwords.found_and_left(unit, entry.value, entry.left_value)
            == "as found 22/18/15 ISO 4406, as left 18/16/13 ISO 4406"
        )

    def test_a_gauge_at_zero_has_none(self, hands: Hands) -> None:
        gauge = hands.steps("zero")[0]
        with pytest.raises(BadAnswer, match="cannot be answered so"):
            hands.answer(gauge, "value", value=Decimal(40), left_value=Decimal(0))

    def test_what_is_no_value_keeps_none(self, hands: Hands) -> None:
        entry = hands.answer(volts(hands), "na", note="no load bank", left_value=Decimal(240))
        assert (entry.value, entry.left_value) == (None, None)

    def test_the_database_keeps_it_with_a_value_only(self, hands: Hands) -> None:
        row = {"step": volts(hands), "author": hands.who, "at": NOW, "recorded_at": NOW}
        StepEntry.objects.create(
            **row, event_id=uuid4(), answer="value", value=230, left_value=Decimal(240)
        )
        with pytest.raises(IntegrityError), transaction.atomic():
            StepEntry.objects.create(
                **row, event_id=uuid4(), answer="na", note="no", left_value=Decimal(240)
            )

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ("plenty", "Write a number"),
            ("1,5", "Write a number"),
            ("1e9", "Write a number"),
            ("900000000", "too large"),
            ("240.12345", "At most 4 decimals"),
        ],
    )
    def test_it_is_typed_as_the_value_is(self, hands: Hands, typed: str, words: str) -> None:
        with pytest.raises(BadAnswer, match=words) as refused:
            typed_value(volts(hands), typed, field="left_value")
        assert refused.value.field == "left_value"


class TestFromAPhone:
    def test_both_are_typed_in_the_persons_unit_and_kept_in_that_of_the_step(
        self, opened: Phone
    ) -> None:
        """1,200 psi is 82.74 bar and 1,100 psi is 75.84 bar (1 psi = 0.0689476 bar)."""
        step = check(opened, VOLTS)
        SheetStep.objects.filter(pk=step.pk).update(unit="psi", low=900, high=1100)
        said = {"value": "82.74", "unit": "bar", "remedy": "put_right"}
        past = opened.answer(step, "value", left_value="75.85", **said) | {"live": True}
        within = opened.answer(step, "value", left_value="75.84", **said)
        refused, taken = opened.send(past, within)
        assert (refused.state, refused.field) == ("refused", "left_value")
        assert taken.state == "taken"
        entry = StepEntry.objects.get(in_force_for=step)
        assert (round(entry.value), round(entry.left_value)) == (1200, 1100)
        told = snapshot(opened.sheet, zone=ZoneInfo("UTC"))["steps"][str(step.pk)]
        assert (told["values"]["metric"], told["left_values"]["metric"]) == ("82.74", "75.84")
        assert told["out"] is False

    def test_an_older_phone_says_nothing_of_it(self, opened: Phone) -> None:
        sent = opened.answer(check(opened, VOLTS), "value", value="240")
        assert "left_value" not in sent
        assert opened.send(sent)[0].state == "taken"
        assert check(opened, VOLTS).entry.left_value is None

    def test_two_who_left_it_otherwise_are_rivals_and_one_is_picked(
        self, opened: Phone, world: SheetWorld
    ) -> None:
        other = Phone(world.manager, opened.sheet)
        other.join()
        step = check(opened, VOLTS)
        said = {"value": "260", "remedy": "put_right", "seen": ""}
        opened.send(opened.answer(step, "value", left_value="240", **said), now=LATER)
        minutes = NOW + timedelta(minutes=2)
        other.send(other.answer(step, "value", left_value="250", at=minutes, **said), now=LATER)
        told = snapshot(opened.sheet, zone=ZoneInfo("UTC"))["steps"][str(step.pk)]
        assert told["left_values"]["us"] == "250"
        [rival] = told["rivals"]
        assert rival["texts"]["us"] == "as found 260 V, as left 240 V"
        picked = StepEntry.objects.get(event_id=rival["event"])
        entry = pick_answer(
            picked=picked, event_id=uuid4(), author=world.manager, at=LATER, recorded_at=LATER
        )
        assert (entry.left_value, entry.is_out_of_limit) == (240, False)

    def test_the_same_as_left_twice_is_no_rival(self, opened: Phone, world: SheetWorld) -> None:
        other = Phone(world.manager, opened.sheet)
        other.join()
        step = check(opened, VOLTS)
        said = {"value": "260", "remedy": "put_right", "left_value": "240", "seen": ""}
        for phone in (opened, other):
            phone.send(phone.answer(step, "value", **said), now=LATER)
        assert not StepEntry.objects.filter(rival_of__isnull=False).exists()

    def test_late_and_not_read_again_it_waits_and_is_posted_with_the_value_as_left(
        self, opened: Phone, world: SheetWorld
    ) -> None:
        late = opened.answer(check(opened, VOLTS), "value", value="260", remedy="put_right")
        assert opened.send(late, now=LATER)[0].state == "waiting"
        row = Unsettled.objects.get()
        assert "enter the value as left" in row.reason
        post(
            unsettled=row,
            changes={"left_value": "240"},
            author=world.manager,
            at=LATER,
            zone=world.shop.zone,
        )
        assert check(opened, VOLTS).entry.left_value == 240

    def test_what_waits_is_told_with_both(self, opened: Phone, world: SheetWorld) -> None:
        late = opened.answer(
            check(opened, VOLTS), "value", value="260", left_value="255", remedy="put_right"
        )
        opened.send(late, now=LATER)
        [row] = arrivedwords.rows_of([Unsettled.objects.get()], zone=world.shop.zone, today=TODAY)
        assert row.said == "as found 260 V, as left 255 V"


class TestFromThenOn:
    def test_what_stands_as_left_is_measured_and_is_the_last_value(
        self, done: Hands, world: SheetWorld
    ) -> None:
        done.answer(volts(done), "value", left_value=Decimal(241), **PUT_RIGHT)
        done.sign()
        assert measured_on(world.fleet.components["generator"]) == [241]
        again = world.draft(Due.objects.get(pk=world.oil.pk))
        assert again.steps.get(title=VOLTS).last_value == 241

    def test_not_read_again_it_is_as_found(self, done: Hands, world: SheetWorld) -> None:
        found = {"value": Decimal(260), "remedy": "found_work", "finding_text": "drifts"}
        done.answer(volts(done), "value", **found)
        done.sign()
        assert measured_on(world.fleet.components["generator"]) == [260]
        again = world.draft(Due.objects.get(pk=world.oil.pk))
        assert again.steps.get(title=VOLTS).last_value == 260


class TestCorrected:
    @pytest.fixture
    def signed(self, done: Hands) -> ServiceSheet:
        done.answer(volts(done), "value", left_value=Decimal(241), **PUT_RIGHT)
        return done.sign()

    def correct(self, sheet: ServiceSheet, world: SheetWorld, **said: Any) -> ServiceSheet:
        step = sheet.steps.select_related("line", "entry").get(title=VOLTS)
        return correct_sheet(
            sheet=sheet,
            right=Right(checks=(RightCheck(step, **said),)),
            reason="misread",
            signature="A. Manager",
            author=world.manager,
            at=LATER,
            request_id=uuid4(),
        )

    def test_what_is_not_corrected_is_carried_over(
        self, signed: ServiceSheet, world: SheetWorld
    ) -> None:
        self.correct(signed, world, value=Decimal(262))
        row = Correction.objects.get()
        assert (row.was, row.now) == (
            "as found 260 V, as left 241 V",
            "as found 262 V, as left 241 V",
        )
        # It measures what it did, so nothing is measured anew.
        assert measured_on(world.fleet.components["generator"]) == [241]
        self.correct(signed, world, left_value=Decimal(239))
        ((_, stands),) = [each for each in stands_of(signed).checks if each[0].title == VOLTS]
        assert (stands.value, stands.left_value) == (262, 239)
        assert measured_on(world.fleet.components["generator"]) == [241, 239]
        again = world.draft(Due.objects.get(pk=world.oil.pk))
        assert again.steps.get(title=VOLTS).last_value == 239

    def test_what_stays_out_of_limit_says_what_has_to_be_done(
        self, signed: ServiceSheet, world: SheetWorld
    ) -> None:
        with pytest.raises(SheetRefused, match="out of limit"):
            self.correct(signed, world, left_value=Decimal(255))
        self.correct(signed, world, left_value=Decimal(255), work="regulator drifts")

    def test_said_as_it_stands_it_is_no_correction(
        self, signed: ServiceSheet, world: SheetWorld
    ) -> None:
        with pytest.raises(SheetRefused, match="Nothing differs"):
            self.correct(signed, world, left_value=Decimal(241))

    def test_the_database_keeps_it_of_a_corrected_value_only(
        self, signed: ServiceSheet, world: SheetWorld
    ) -> None:
        new = self.correct(signed, world, value=Decimal(262))
        words = {"sheet": new, "title": "x", "was": "a", "now": "b", "left_value": 240}
        for about in ({"about": "labour", "value": 30}, {"about": "check", "step": volts_of(new)}):
            with pytest.raises(IntegrityError), transaction.atomic():
                Correction.objects.create(**words, **about)


def volts_of(correction: ServiceSheet) -> SheetStep:
    return SheetStep.objects.filter(sheet=correction.corrects).exclude(title=VOLTS).last()


class TestOnPaper:
    def test_a_signed_sheet_says_both_and_is_not_out_of_limit(self, done: Hands) -> None:
        done.answer(volts(done), "value", left_value=Decimal(241), **PUT_RIGHT)
        printed = self.printed(done.sign())
        (on_paper,) = [c for g in printed.every_group for c in g.checks if c.text == VOLTS]
        assert on_paper.found_text == "as found 260 V, as left 241 V: Put right, read again"
        assert not on_paper.is_out
        assert {group.outcome_text for group in printed.every_group} == {"done"}

    def test_a_sheet_kept_before_there_was_one_prints_as_it_did(self, done: Hands) -> None:
        """The copy of a check of then: "282 V: Put right, read again", and nothing as left."""
        printed = self.printed(done.sign())
        old = paper_to_plain(printed)
        kept = old["groups"] + old["found_groups"] + old["run_groups"]
        (was,) = [each for group in kept for each in group["checks"] if each["text"] == VOLTS]
        was |= {"found_text": "282 V: Put right, read again", "is_out": True}
        again = paper_from_plain(old, url="", printed="")
        (on_paper,) = [c for g in again.every_group for c in g.checks if c.text == VOLTS]
        assert (on_paper.found_text, on_paper.is_out) == ("282 V: Put right, read again", True)
        assert sheet_pdf(again).startswith(b"%PDF")

    def printed(self, sheet: ServiceSheet) -> Any:
        sheet = ServiceSheet.objects.get(pk=sheet.pk)
        return paper_to_print(sheet, today=TODAY, system="us", printed_at=NOW)


class TestKeyedIn:
    def test_both_are_taken_from_paper(self, hands: Hands, world: SheetWorld) -> None:
        keyed = changed(paper(hands), VOLTS, left_value=Decimal(240), **PUT_RIGHT)
        key(hands, world.manager, keyed)
        entry = volts(hands).entry
        assert (entry.value, entry.left_value, entry.written_by) == (260, 240, keyed.writer)

    def test_what_was_not_read_again_is_refused_beside_its_step(
        self, hands: Hands, world: SheetWorld
    ) -> None:
        keyed = changed(paper(hands), VOLTS, **PUT_RIGHT)
        with pytest.raises(KeyedRefused) as refused:
            key(hands, world.manager, keyed)
        assert "as left" in refused.value.errors[f"step-{volts(hands).pk}"]


def test_side_a_and_side_b_are_compared_as_they_were_left() -> None:
    line = SheetLine(pk=1, version_id=1)
    unit = {"line_id": 1, "section": "check", "kind": "value", "unit": "psi"}
    left = StepEntry(value=Decimal(900), left_value=Decimal(1010))
    a = SheetStep(pk=1, title="Pressure A", entry=left, **unit)
    b = SheetStep(pk=2, title="Pressure B", entry=StepEntry(value=Decimal(1000)), **unit)
    assert compared([a, b], [line], "us")[2].said == "A is 10 psi above B"
