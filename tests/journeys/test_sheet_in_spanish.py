"""A whole sheet in Spanish, without signal, from the first caution to the signature."""

import re

import pytest
from playwright.sync_api import Page, expect

from equipment.models import Renewal
from shop.models import Person, ServiceSheet, Unsettled
from tests.journeys.acting import (
    SafeWords,
    SignWords,
    back_to_service,
    make_safe,
    sideways,
    sign_by_name,
)
from tests.journeys.conftest import PHONE, Look
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, draft

pytestmark = pytest.mark.usefixtures("silence_is_meant")

SAFE = SafeWords(
    cautions="Avisos",
    read="Ya lo leí",
    enter="Anotar",
    correct="Cambiar",
    is_open="Las revisiones están abiertas.",
)


@pytest.fixture
def sheet(world: JourneyWorld, technician: Person) -> ServiceSheet:
    technician.language = "es"
    technician.save()
    return draft(world, technician=technician)


def fits_a_small_phone(page: Page) -> None:
    """Spanish is longer: nothing sticks out at 320 px, and no tab or button is cut."""
    page.set_viewport_size({"width": 320, "height": 640})
    assert sideways(page) == ""
    cut = page.evaluate(
        """() => [...document.querySelectorAll("#work-tabs a, #thumb a, .button, button")]
            .filter((each) => each.offsetParent && each.scrollWidth > each.clientWidth + 1)
            .map((each) => each.textContent)"""
    )
    assert cut == []
    page.set_viewport_size({"width": PHONE, "height": 844})


def test_a_gun_is_rebuilt_in_spanish_with_the_network_off(
    phone: SheetPhone, sheet: ServiceSheet, look: Look
) -> None:
    steps = {each.title: f"#step-{each.pk}" for each in sheet.steps.filter(section="check")}
    page = phone.page
    phone.is_ready_to_leave()
    phone.loses_signal()
    # Before it is safe a check is refused, in words that the phone has with it.
    page.get_by_role("link", name="Sigue: revisiones").click()
    page.locator(f"{steps['Oil and filter changed']} button.check-row").click()
    expect(page.locator(steps["Oil and filter changed"])).to_contain_text(
        "Las revisiones se abren cuando cada aviso está leído"
    )
    look(page)
    page.get_by_role("link", name=re.compile("^Avisos")).click()
    fits_a_small_phone(page)
    make_safe(page, SAFE)
    look(page)

    page.get_by_role("link", name="Sigue: revisiones").click()
    fits_a_small_phone(page)
    page.locator(f"{steps['Oil and filter changed']} button.check-row").click()
    volts = page.locator(steps["Volts at rated load"])
    volts.get_by_role("textbox").first.fill("260")
    volts.get_by_role("button", name="Anotar").click()
    expect(volts.get_by_text("¿Qué hizo al respecto?")).to_be_visible()
    volts.locator("[name=remedy][value=put_right]").check()
    volts.get_by_role("button", name="Anotar").click()
    expect(volts.get_by_text("Vuelva a leerlo y anote el valor como quedó.")).to_be_visible()
    volts.get_by_label("Como quedó").fill("240")
    look(page)
    volts.get_by_role("button", name="Anotar").click()
    expect(volts.locator(".said")).to_contain_text("como se encontró 260 V, como quedó 240 V")
    expect(volts.locator(".said")).to_contain_text("guardado aquí")
    page.get_by_role("link", name=re.compile("^Sigue: ")).click()
    seal = page.locator(steps["Side seal"])
    seal.locator("button[value=good]").click()
    expect(seal.locator("button[value=good]")).to_have_attribute("aria-pressed", "true")
    expect(seal.locator(".said")).to_contain_text("guardado aquí")

    page.get_by_role("link", name="Sigue: piezas").click()
    page.get_by_role("button", name="Ya las pasé a la charola").click()
    expect(page.get_by_text("Pasadas a la charola; guardado aquí")).to_be_visible()
    page.get_by_label("Usado de oil filter").fill("2")  # one more than the shelf held
    page.get_by_label("Usado de Fluid section kit").fill("1")
    fits_a_small_phone(page)
    look(page)
    page.get_by_role("link", name="Sigue: vuelta al servicio").click()
    fits_a_small_phone(page)
    back_to_service(page)
    page.get_by_label("Cuánto duró el trabajo").fill("95")
    page.get_by_label("Firma: su nombre").fill("")
    page.get_by_role("link", name="Firmar la hoja").click()
    expect(page.get_by_text("Escriba su nombre para firmar.")).to_be_visible()
    page.get_by_label("Firma: su nombre").fill("Señora Técnica")
    look(page)
    page.get_by_role("link", name="Firmar la hoja").click()
    expect(page.locator("#by-name")).to_contain_text("No hay nada dibujado.")
    fits_a_small_phone(page)
    sign_by_name(page, SignWords("Firmar la hoja", "Firmar solo con el nombre"))
    expect(page.get_by_text("Firmada y guardada aquí")).to_be_visible()
    phone.says("en este teléfono")

    # Longer ago than what somebody still looks at: nobody can be asked any more.
    page.wait_for_timeout(16_000)
    phone.has_signal_again()
    page.wait_for_url(re.compile(rf"/sheets/{sheet.number}/$"))
    sheet.refresh_from_db()
    assert (sheet.state, sheet.signature) == ("signed", "Señora Técnica")
    assert Renewal.objects.filter(source_number=sheet.number).count() == 2
    # The office reads English.
    assert Unsettled.objects.get().reason == "The tray held 1 piece."
