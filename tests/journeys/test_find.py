"""Codes typed as a scanner types them, in a browser; the camera where the browser reads codes."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from inventory.models import PartCode
from shop.models import Person, Role
from tests.journeys.conftest import PHONE, Look
from tests.journeys.worlds import JourneyWorld

#: A browser that reads codes and has a camera: it sees one label. Runs before the page's own.
CAMERA = """
window.BarcodeDetector = class {
  static async getSupportedFormats() { return ["qr_code"]; }
  async detect() { return [{ rawValue: "http://elsewhere.example/go/part/F-09/" }]; }
};
const canvas = () => document.createElement("canvas").captureStream();
Object.defineProperty(navigator, "mediaDevices", {
  value: { getUserMedia: async () => canvas() },
});
Object.defineProperty(HTMLMediaElement.prototype, "readyState", { get: () => 4 });
HTMLMediaElement.prototype.play = async () => {};
"""
NO_READER = "delete window.BarcodeDetector;"
BLOCKED = CAMERA.replace(
    "async () => canvas()", 'async () => { throw new DOMException("no", "NotAllowedError"); }'
)


@pytest.fixture
def page(
    page_at: Callable[..., Page], sign_in_as: Callable[..., Person], world: JourneyWorld
) -> Page:
    PartCode.objects.create(part=world.sheets.filter_part, code="4006381333931")
    page = page_at(PHONE)
    sign_in_as(page, Role.TECHNICIAN)
    return page


def scan(page: Page, code: str) -> None:
    """Type into whatever has the focus and press Enter, as a keyboard scanner does."""
    page.keyboard.type(code)
    page.keyboard.press("Enter")


def test_a_keyboard_scanner_needs_no_tap(page: Page, live_server: object, look: Look) -> None:
    page.goto("/find/")
    scan(page, "4006381333931")
    page.wait_for_url("**/parts/F-09/")
    page.goto("/find/")
    scan(page, "K-03")
    page.wait_for_url("**/locations/K-03/")
    page.goto("/find/")
    scan(page, "X-404")
    page.get_by_text("Nothing is known as “X-404”").wait_for()
    look(page)
    field = page.get_by_label("Scan or type")
    assert field.input_value() == "X-404"
    # What was not found is selected: the next scan takes its place.
    scan(page, "F-09")
    page.wait_for_url("**/parts/F-09/")


def test_without_a_reader_there_is_no_button(page: Page, live_server: object) -> None:
    page.add_init_script(NO_READER)
    page.goto("/find/")
    page.wait_for_load_state("networkidle")
    assert page.locator("#scan").is_hidden()


def test_the_camera_fills_the_field_and_goes_there(
    page: Page, live_server: object, look: Look
) -> None:
    page.add_init_script(CAMERA)
    page.goto("/find/")
    button = page.get_by_role("button", name="Scan with the camera")
    button.wait_for()
    look(page)
    button.click()
    page.wait_for_url("**/parts/F-09/")


def test_a_camera_that_is_not_allowed_is_said(page: Page, live_server: object) -> None:
    page.add_init_script(BLOCKED)
    page.goto("/find/")
    page.get_by_role("button", name="Scan with the camera").click()
    page.get_by_text("The browser was not allowed to use the camera.").wait_for()
    assert page.locator("#scan video").is_hidden()
