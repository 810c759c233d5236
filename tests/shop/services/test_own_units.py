"""Measured values typed and read in metric or US units, and kept in the unit of their check."""

from decimal import Decimal
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.utils import translation

from equipment.models import Measurement
from shop import arrivedwords
from shop.forms.unsettled import PostForm
from shop.models import Correction, Person, ServiceSheet, SheetStep, Shop, StepEntry, Unsettled
from shop.services.answers import typed_value
from shop.services.arriving import answer_in_words, snapshot
from shop.services.corrections import Right, RightCheck, correct_sheet
from shop.services.paper import paper_of, paper_to_print
from shop.services.people import change_own
from shop.services.refusals import BadAnswer
from shop.services.standing import CheckStands, stands_of
from shop.unitwords import limits, said
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, TODAY, SheetWorld

pytestmark = pytest.mark.django_db
TITLE = "Volts at rated load"


def in_psi(sheet: ServiceSheet) -> SheetStep:
    """The measured check of a sheet, in psi: a working pressure, 900 to 1,100, last 1,000."""
    step = sheet.steps.get(section="check", title=TITLE)
    step.unit, step.low, step.high = "psi", Decimal(900), Decimal(1100)
    step.last_value = Decimal(1000)
    step.save()
    return step


@pytest.fixture
def pressure(hands: Hands) -> SheetStep:
    hands.open_the_checks()
    return in_psi(hands.sheet)


@pytest.fixture
def phone(hands: Hands, pressure: SheetStep) -> Phone:
    return Phone(hands.who, hands.sheet)


def told(sheet: ServiceSheet, step: SheetStep) -> Any:
    return snapshot(sheet, zone=ZoneInfo("UTC"))["steps"][str(step.pk)]


def test_a_person_reads_in_their_own_units_or_in_those_of_the_shop(
    shop: Shop, technician: Person
) -> None:
    assert technician.units_in(shop) == "us"
    technician = change_own(person=technician, language="en", own_units="metric")
    assert technician.units_in(shop) == "metric"
    technician = change_own(person=technician, language="en", own_units="")
    shop.units = "metric"
    assert technician.units_in(shop) == "metric"


def test_what_is_typed_in_bar_is_kept_in_psi_and_counts_once(
    phone: Phone, pressure: SheetStep
) -> None:
    entry = phone.answer(pressure, "value", value="70.3", unit="bar")
    assert [each.state for each in phone.send(entry, entry)] == ["taken", "taken"]
    kept = StepEntry.objects.get(step=pressure)
    assert (kept.value, kept.is_out_of_limit) == (Decimal("1019.6153"), False)
    assert told(phone.sheet, pressure)["values"] == {"us": "1019.6153", "metric": "70.3"}
    assert answer_in_words(kept, pressure, "metric") == "70.3 bar"
    assert answer_in_words(kept, pressure, "us") == "1,019.6153 psi"


def test_what_came_without_a_unit_is_in_the_one_that_is_kept(
    phone: Phone, pressure: SheetStep
) -> None:
    """As phones sent it before they knew of units, and kept meanwhile."""
    assert phone.send(phone.answer(pressure, "value", value="1000"))[0].state == "taken"
    assert StepEntry.objects.get(step=pressure).value == 1000


def test_an_unknown_unit_is_refused_in_words(phone: Phone, pressure: SheetStep) -> None:
    entry = phone.answer(pressure, "value", value="70", unit="stone" * 20) | {"live": True}
    (refused,) = phone.send(entry)
    assert (refused.state, refused.field) == ("refused", "value")
    assert refused.words == (f"“{TITLE}” is measured in psi or bar, not in stonestonestonestone.")
    assert not StepEntry.objects.filter(step=pressure).exists()
    pressure.unit = "V"
    with pytest.raises(BadAnswer, match=r"is measured in V, not in psi\."):
        typed_value(pressure, "70", "psi")
    assert typed_value(pressure, " ", "stone") is None


@pytest.mark.parametrize(
    ("value", "words"),
    [("70.345", "At most 2 decimals"), ("99999999", "too large"), ("seventy", "Write a number")],
)
def test_what_cannot_be_kept_is_refused_beside_its_box(
    phone: Phone, pressure: SheetStep, value: str, words: str
) -> None:
    entry = phone.answer(pressure, "value", value=value, unit="bar") | {"live": True}
    (refused,) = phone.send(entry)
    assert (refused.state, refused.field) == ("refused", "value")
    assert words in refused.words


def test_a_limit_decides_alike_in_both_units(phone: Phone, pressure: SheetStep) -> None:
    """1,100 psi is 75.8423 bar: 75.84 is within, 75.85 is past."""
    assert limits(pressure.in_units("metric")) == "62.06 – 75.84 bar"
    assert limits(pressure.in_units("us")) == "900 – 1,100 psi"
    within = phone.answer(pressure, "value", value="75.84", unit="bar")
    past = phone.answer(pressure, "value", value="75.85", unit="bar") | {"live": True}
    taken, asked = phone.send(within, past)
    assert (taken.state, asked.field) == ("taken", "remedy")
    stopped = {"remedy": "stop", "finding_text": "regulator drifts"}
    phone.send(past | {"event_id": str(uuid4()), **stopped})
    kept = StepEntry.objects.get(in_force_for=pressure)
    assert kept.is_out_of_limit
    assert said(pressure.in_units("metric"), kept.value) == "75.85 bar"


def test_the_same_value_of_two_people_is_no_rival_whatever_each_reads_in(
    phone: Phone, pressure: SheetStep, world: SheetWorld
) -> None:
    other = Phone(world.manager, phone.sheet)
    other.join()
    sent = {"value": "70.3", "unit": "bar", "seen": ""}
    phone.send(phone.answer(pressure, "value", **sent))
    other.send(other.answer(pressure, "value", **sent))
    other.send(other.answer(pressure, "value", value="1019.6153", unit="psi", seen=""))
    assert not StepEntry.objects.filter(step=pressure, rival_of__isnull=False).exists()
    other.send(other.answer(pressure, "value", value="70.4", unit="bar", seen=""))
    (rival,) = told(phone.sheet, pressure)["rivals"]
    assert rival["texts"] == {"us": "1,019.6153 psi", "metric": "70.3 bar"}


def test_a_gauge_at_zero_is_at_zero_in_every_unit(hands: Hands) -> None:
    gauge = hands.steps("zero")[0]
    assert gauge.unit == "psi"
    phone = Phone(hands.who, hands.sheet)
    phone.send(*(each for each in phone.before_the_checks() if each["answer"] == "done"))
    phone.send(phone.answer(gauge, "value", value="0.01", unit="bar"))
    gauge.refresh_from_db()
    assert gauge.entry.is_out_of_limit
    phone.send(phone.answer(gauge, "value", value="0", unit="bar", seen=str(gauge.entry.event_id)))
    gauge.refresh_from_db()
    assert (gauge.entry.value, gauge.entry.is_out_of_limit) == (0, False)


def test_what_waits_stays_in_the_unit_in_which_it_was_typed(
    phone: Phone, pressure: SheetStep, shop: Shop
) -> None:
    phone.send(phone.answer(pressure, "value", value="99", unit="bar"))  # past, and nothing done
    (row,) = Unsettled.objects.all()
    (shown,) = arrivedwords.rows_of([row], zone=shop.zone, today=TODAY)
    assert "99 bar" in shown.said
    assert PostForm(unsettled=row).fields["value"].label == "Value, bar"


def paper_text(paper: Any) -> list[tuple[str, str, str, str]]:
    checks = [check for group in paper.every_group for check in group.checks if check.text == TITLE]
    return [(each.unit, each.limit_text, each.last_text, each.found_text) for each in checks]


def test_an_open_sheet_prints_in_the_units_of_its_reader(hands: Hands, pressure: SheetStep) -> None:
    hands.answer(pressure, "value", value=Decimal("1019.6153"))
    assert paper_text(paper_of(hands.sheet, today=TODAY, system="metric")) == [
        ("bar", "62.06 – 75.84 bar", "68.95", "70.3 bar")
    ]
    assert paper_text(paper_of(hands.sheet, today=TODAY, system="us")) == [
        ("psi", "900 – 1,100 psi", "1,000", "1,019.6153 psi")
    ]
    with translation.override("es"):
        spanish = paper_of(hands.sheet, today=TODAY, system="metric")
    assert {gauge.unit for gauge in spanish.zero_gauges} == {"bar"}


def test_paper_says_a_hint_in_the_units_of_who_prints(hands: Hands) -> None:
    step = hands.check(TITLE)
    SheetStep.objects.filter(pk=step.pk).update(text="Only if the pressure drop is over 10 psi")

    def hints(system: str) -> set[str]:
        paper = paper_of(hands.sheet, today=TODAY, system=system)
        return {check.hint for group in paper.every_group for check in group.checks if check.hint}

    assert hints("us") == {"Only if the pressure drop is over 10 psi"}
    assert hints("metric") == {"Only if the pressure drop is over 0.7 bar (10 psi)"}
    with translation.override("es"):
        assert hints("metric") == {"Solo si la caída de presión pasa de 0.7 bar (10 psi)"}


def test_a_signed_sheet_keeps_the_units_of_who_signed_it(
    done: Hands, world: SheetWorld, technician: Person
) -> None:
    change_own(person=technician, language="en", own_units="metric")
    pressure = in_psi(done.sheet)
    done.who = Person.objects.get(pk=technician.pk)
    done.answer(pressure, "value", value=typed_value(pressure, "70.3", "bar"))
    signed = done.sign()
    change_own(person=technician, language="en", own_units="us")
    wanted = [("bar", "62.06 – 75.84 bar", "68.95", "70.3 bar")]
    signed = ServiceSheet.objects.get(pk=signed.pk)
    for system in ("us", "metric"):
        assert paper_text(paper_to_print(signed, today=TODAY, system=system)) == wanted
    # What it is measured by goes on in the unit of the check.
    measured = Measurement.objects.get(name=TITLE)
    assert (measured.unit, measured.value) == ("psi", Decimal("1019.6153"))


def test_a_correction_is_kept_in_the_units_of_who_made_it(done: Hands, world: SheetWorld) -> None:
    pressure = in_psi(done.sheet)
    done.answer(pressure, "value", value=Decimal(1000))
    signed = done.sign()
    manager = world.manager
    change_own(person=manager, language="en", own_units="metric")
    given: dict[str, Any] = {
        "sheet": signed,
        "reason": "misread",
        "signature": manager.name,
        "author": Person.objects.get(pk=manager.pk),
        "at": NOW,
    }
    value = typed_value(pressure, "69", "bar")
    right = Right(checks=(RightCheck(pressure, value=value),))
    new = correct_sheet(right=right, request_id=uuid4(), **given)
    row = Correction.objects.get(sheet=new)
    assert (row.was, row.now, row.value) == ("68.95 bar", "69 bar", Decimal("1000.7604"))
    # As it stands now, by its value and not by how it was said.
    again = [stands for step, stands in stands_of(signed).checks if step == pressure]
    assert again == [CheckStands(value=Decimal("1000.7604"))]
    with pytest.raises(ValueError, match="Nothing differs"):
        correct_sheet(right=right, request_id=uuid4(), **given)


def test_each_sees_the_same_sheet_in_their_own_units(
    client_as: Any, hands: Hands, pressure: SheetStep, world: SheetWorld
) -> None:
    hands.answer(pressure, "value", value=Decimal("1019.6153"))
    metric = client_as("technician")
    change_own(person=hands.who, language="en", own_units="metric")
    number = hands.sheet.number
    for url in (f"/sheets/{number}/", f"/sheets/{number}/work/"):
        page = metric.get(url).text
        assert "70.3 bar" in page
        assert "62.06 – 75.84 bar" in page
        page = client_as("manager").get(url).text
        assert "1,019.6153 psi" in page
        assert "900 – 1,100 psi" in page
