"""The sheet's pages in the units of whoever has them: what is typed comes back as it was typed."""

from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
import time_machine
from django.test import Client

from shop.models import Person, ServiceSheet, SheetStep, StepEntry
from shop.services.people import change_own
from tests.inventory.pages.browsing import Page, text_of
from tests.shop.pages.test_keying import typed
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld, sheet_world

LIMITS = "62.06 – 75.84 bar"


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def world(shop: Any, manager: Person) -> SheetWorld:
    return sheet_world(shop, manager)


@pytest.fixture
def hands(world: SheetWorld, technician: Person) -> Hands:
    hands = Hands(world.draft(), technician)
    hands.take()
    hands.open_the_checks()
    return hands


@pytest.fixture
def pressure(hands: Hands) -> SheetStep:
    step = hands.check("Volts at rated load")
    step.unit, step.low, step.high = "psi", Decimal(900), Decimal(1100)
    step.save()
    return step


@pytest.fixture
def metric(client_as: Any, technician: Person, manager: Person) -> Client:
    for person in (technician, manager):
        change_own(person=person, language="en", own_units="metric")
    client: Client = client_as("technician")
    return client


def send(client: Client, step: SheetStep, **fields: str) -> Any:
    address = f"/sheets/{step.sheet.number}/steps/{step.pk}/"
    return client.post(address, {"event_id": str(uuid4()), "answer": "value", **fields})


def kept(step: SheetStep) -> Decimal | None:
    entry = StepEntry.objects.filter(in_force_for=step).first()
    return entry.value if entry else None


def test_a_metric_technician_types_bar_and_reads_it_again(
    metric: Client, pressure: SheetStep
) -> None:
    page = metric.get(f"/sheets/{pressure.sheet.number}/work/").text
    assert LIMITS in page
    assert 'data-low="62.06"' in page
    assert 'data-high="75.84"' in page
    assert send(metric, pressure, value="70.3", unit="bar").status_code == 302
    assert kept(pressure) == Decimal("1019.6153")
    page = metric.get(f"/sheets/{pressure.sheet.number}/work/").text
    assert 'value="70.3"' in page


@pytest.mark.parametrize(
    ("value", "why"),
    [
        ("75.85", "out of limit"),
        ("70.345", "At most 2 decimals"),
        ("much", "Write a number"),
    ],
)
def test_what_is_refused_comes_back_as_it_was_typed(
    metric: Client, pressure: SheetStep, value: str, why: str
) -> None:
    answer = send(metric, pressure, value=value, unit="bar")
    assert answer.status_code == 422
    assert f'value="{value}"' in answer.text
    assert why in answer.text
    assert kept(pressure) is None


def test_what_was_typed_in_other_units_comes_back_in_those(
    metric: Client, pressure: SheetStep, technician: Person
) -> None:
    """The page is older than what its reader chose meanwhile."""
    answer = send(metric, pressure, value="1100.5", unit="psi")
    assert answer.status_code == 422
    assert "900 – 1,100 psi" in answer.text
    assert 'value="1100.5"' in answer.text
    assert 'name="unit" value="psi"' in answer.text
    refused = send(metric, pressure, value="70", unit="stone")
    assert refused.status_code == 422
    assert "is measured in psi or bar, not in stone." in text_of(refused)
    assert 'value="70"' in refused.text


def test_paper_is_keyed_in_in_the_units_of_who_keys(
    client_as: Any, metric: Client, world: SheetWorld, technician: Person
) -> None:
    sheet = world.draft()
    sheet.steps.filter(title="Volts at rated load").update(unit="psi", low=900, high=1100)
    step = sheet.steps.get(title="Volts at rated load")
    page = Page(client_as("manager"), "shop:keyed", sheet.number)
    shown = client_as("manager").get(page.url)
    assert LIMITS in text_of(shown)
    assert 'data-high="75.84"' in shown.text
    field = f"value-{step.pk}"
    fields = typed(sheet, day=NOW.date().isoformat(), writer=technician.pk)
    refused = page.send(**fields | {field: "70.345"})
    assert "At most 2 decimals" in text_of(refused)
    # The page keeps its units, whatever its reader chooses meanwhile.
    change_own(person=world.manager, language="en", own_units="us")
    refused = page.send(**fields | {field: "75.85"})
    assert refused.status_code == 422
    assert 'value="75.85"' in refused.text
    assert LIMITS in text_of(refused)
    assert page.send(**fields | {field: "70.3"}).status_code == 302
    assert kept(step) == Decimal("1019.6153")
    paper = client_as("manager").get(f"/sheets/{sheet.number}/").text
    assert "1,019.6153 psi" in paper


@pytest.mark.parametrize("units", ["", "stone"])
def test_a_page_without_its_units_is_asked_for_again(
    client_as: Any, world: SheetWorld, technician: Person, units: str
) -> None:
    sheet = world.draft()
    page = Page(client_as("manager"), "shop:keyed", sheet.number)
    fields = typed(sheet, day=NOW.date().isoformat(), writer=technician.pk)
    answer = page.send(**fields | {"units": units})
    assert answer.status_code == 422
    assert "The page came without its units" in text_of(answer)
    assert ServiceSheet.objects.get(pk=sheet.pk).is_open
    assert 'name="units" value="us"' in answer.text


def test_a_correction_is_typed_in_the_units_of_who_corrects(
    client_as: Any, hands: Hands, pressure: SheetStep, metric: Client
) -> None:
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Side seal"), "choice", choice="good")
    hands.answer(pressure, "value", value=Decimal(1000))
    hands.use()
    signed = hands.sign()
    page = Page(client_as("manager"), "shop:correct_sheet", signed.number)
    shown = text_of(client_as("manager").get(page.url))
    assert f"{LIMITS}; stands: 68.95 bar" in shown
    answer = page.send(
        **{f"check-{pressure.pk}": "70.3", "reason": "misread", "signature": "A. Manager"}
    )
    assert answer.status_code == 302
    assert "68.95 bar → 70.3 bar" in text_of(client_as("manager").get(answer.url))


def test_a_hint_is_read_in_ones_own_units_and_language(
    client_as: Any, pressure: SheetStep, technician: Person
) -> None:
    SheetStep.objects.filter(pk=pressure.pk).update(text="Only if the pressure drop is over 10 psi")
    caution = pressure.sheet.steps.filter(section="caution").first()
    assert caution is not None
    SheetStep.objects.filter(pk=caution.pk).update(text="Stay under 30 psi.")

    def page(language: str, units: str) -> str:
        change_own(person=technician, language=language, own_units=units)
        return text_of(client_as("technician").get(f"/sheets/{pressure.sheet.number}/work/"))

    metric = page("en", "metric")
    assert "Only if the pressure drop is over 0.7 bar (10 psi)." in metric
    assert "Stay under 30 psi." in metric  # a caution stays word for word
    assert "Only if the pressure drop is over 10 psi." in page("en", "us")
    assert "Solo si la caída de presión pasa de 0.7 bar (10 psi)." in page("es", "metric")
