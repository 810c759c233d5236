"""A real browser: the system's Chromium, driven by Playwright, with pages that may not complain.

A page made here fails its test on any console error, script error, refused content (CSP) or
request to another host, whether or not the test looked.
"""

import os
import re
import shutil
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe  # type: ignore[import-untyped]
from django.conf import settings
from django.test import Client
from django.utils import timezone
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright

from shop.models import Person, ServiceSheet, Shop
from tests.conftest import BACKEND
from tests.depth import IN_CI
from tests.journeys.acting import sideways
from tests.journeys.phones import SheetPhone
from tests.journeys.worlds import JourneyWorld, draft, journey_world

FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE, DESK = 390, 1280
SCREENS: dict[int, dict[str, Any]] = {
    PHONE: {
        "viewport": {"width": PHONE, "height": 844},
        "has_touch": True,
        "is_mobile": True,
        "device_scale_factor": 2,
    },
    DESK: {"viewport": {"width": DESK, "height": 900}},
}
#: Answers that a page shows on purpose (bad input, not allowed, too late); Chromium logs each.
MEANT = re.compile(r"the server responded with a status of (403|409|422|429)\b")
#: WCAG 2.2, levels A and AA, in axe's tags.
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
OF_COLOURS = {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}
AXE = Axe().axe_script
RUN_AXE = "options => axe.run(options).then(found => found.violations)"
WAIT_MS = 10_000

PersonAs = Callable[..., Person]
Look = Callable[..., None]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark whatever opens a page, so that no journey forgets to say it needs the browser.

    Most of what a page does is the same whatever lies under it, so a journey belongs to the run on
    SQLite, unless it says that the other database could change its way.
    """
    for item in items:
        if {"browser", "page_at"} & set(getattr(item, "fixturenames", ())):
            item.add_marker(pytest.mark.browser)
            if not item.get_closest_marker("postgresql_too"):
                item.add_marker(pytest.mark.sqlite)


@pytest.fixture(scope="session")
def chromium() -> str:
    path = os.environ.get("STROKEBOOK_BROWSER") or shutil.which("chromium")
    if not path or not Path(path).exists():
        pytest.skip(
            "No Chromium here. Install it (Debian: apt-get install chromium), or say where it is "
            "in STROKEBOOK_BROWSER."
        )
    return path


@pytest.fixture(scope="package")
def playwright(chromium: str) -> Iterator[Playwright]:
    # Playwright keeps an event loop in this thread for as long as it lives, and Django then
    # takes every query for one made in asynchronous code.
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
        # A busy machine is slow, and that is no fault of the page's.
        expect.set_options(timeout=WAIT_MS)
        with sync_playwright() as started:
            yield started


@pytest.fixture(scope="package")
def browser(playwright: Playwright, chromium: str) -> Iterator[Browser]:
    browser = playwright.chromium.launch(executable_path=chromium, args=FLAGS)
    yield browser
    browser.close()


@pytest.fixture
def page_at(browser: Browser, live_server: Any) -> Iterator[Callable[..., Page]]:
    """Open a page at a width: ``page_at(390)`` is a phone, ``page_at(1280)`` a desk.

    Each call is a visitor of their own. Further keywords go to the browser's context
    (``color_scheme="dark"``, ``java_script_enabled=False``, ``timezone_id=…``). Addresses are
    relative: ``page.goto("/due/")``.
    """
    contexts: list[BrowserContext] = []
    complaints: list[str] = []

    def open_page(width: int = DESK, **options: Any) -> Page:
        context = browser.new_context(**SCREENS[width], base_url=live_server.url, **options)
        contexts.append(context)
        context.set_default_timeout(WAIT_MS)
        context.set_default_navigation_timeout(WAIT_MS)
        context.on("page", lambda page: _listen(page, live_server.url, complaints))
        return context.new_page()

    open_page.complaints = complaints  # type: ignore[attr-defined]
    open_page.meant = meant = []  # type: ignore[attr-defined]
    yield open_page
    for context in contexts:
        context.close()
    # Looked through when all is closed: a page may complain to its end.
    complaints = [each for each in complaints if not any(form.search(each) for form in meant)]
    assert not complaints, "The browser complained:\n" + "\n".join(complaints)


def _listen(page: Page, home: str, complaints: list[str]) -> None:
    def console(message: Any) -> None:
        if message.type == "error" and not MEANT.search(message.text):
            complaints.append(f"{page.url}: {message.text}")

    def request(request: Any) -> None:
        if not request.url.startswith((home, "data:", "blob:", "about:")):
            complaints.append(f"{page.url}: asked another host, {request.url}")

    page.on("console", console)
    page.on("pageerror", lambda error: complaints.append(f"{page.url}: {error}"))
    page.on("request", request)


@pytest.fixture
def sign_in_as(person_as: PersonAs, live_server: Any) -> Callable[..., Person]:
    """Sign a page in by role, or as the person given, without the form: ``sign_in_as(page, role)``.

    The sign-in form itself has a journey of its own.
    """

    def sign_in(page: Page, who: str | Person) -> Person:
        person = who if isinstance(who, Person) else person_as(who)
        client = Client()
        client.force_login(person, backend=BACKEND)
        name = settings.SESSION_COOKIE_NAME
        page.context.add_cookies(
            [{"name": name, "value": client.cookies[name].value, "url": live_server.url}]
        )
        return person

    return sign_in


def axe_finds(page: Page, schemes: tuple[str, ...]) -> list[str]:
    """Return, element by element, what axe finds against WCAG 2.2 A and AA.

    At the end of the page, where its sticky bar covers nothing: elsewhere it covers what has been
    scrolled under it, and axe takes that for a target too small to hit.
    """
    page.evaluate("window.scrollTo(0, document.documentElement.scrollHeight)")
    if not page.evaluate("'axe' in window"):
        page.evaluate(AXE)
    found = []
    for number, scheme in enumerate(schemes):
        page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
        # The dark changes colours and nothing else, so outside CI they alone are looked at again.
        rules = OF_COLOURS if number and not IN_CI else {"type": "tag", "values": WCAG}
        options = {"runOnly": rules, "resultTypes": ["violations"]}
        for violation in page.evaluate(RUN_AXE, options):
            found += [
                f"{page.url}, {scheme}, {violation['id']}: {violation['help']}\n"
                f"  {node['html']}\n  {node.get('failureSummary', '')}"
                for node in violation["nodes"]
            ]
    return found


@pytest.fixture
def expect_axe_clean() -> Callable[..., None]:
    """Fail, element by element, on what axe finds against WCAG 2.2 A and AA, light and dark."""

    def check(page: Page, *, schemes: tuple[str, ...] = ("light", "dark")) -> None:
        found = axe_finds(page, schemes)
        assert not found, "axe:\n" + "\n".join(found)

    return check


#: A piece of a page that htmx fetches, or is about to put in.
ON_ITS_WAY = "[hx-trigger=load], .htmx-request, .htmx-swapping, .htmx-added"


@pytest.fixture
def look() -> Iterator[Look]:
    """Look at the page that is open: it fits its window, and axe finds nothing.

    A journey goes on to its end, and then fails with all that was seen on the way.
    """
    found: list[str] = []

    def see(page: Page, *, schemes: tuple[str, ...] = ("light",)) -> None:
        # What fills itself is looked at when it is there, not on its way.
        expect(
            page.locator("[hx-trigger=load], .htmx-request, .htmx-swapping, .htmx-added")
        ).to_have_count(0)
        if out := sideways(page):
            found.append(f"{page.url} is wider than its window, {out}")
        found.extend(axe_finds(page, schemes))

    yield see
    assert not found, "\n".join(dict.fromkeys(found))


@pytest.fixture
def world(
    shop: Shop, manager: Person, technician: Person, owner: Person, monkeypatch: pytest.MonkeyPatch
) -> JourneyWorld:
    """The shop of tests/journeys/worlds.py, which began a month before today."""
    now = timezone.now()
    monkeypatch.setattr("tests.equipment.factories.START", now - timedelta(days=30))
    monkeypatch.setattr("tests.inventory.factories.AT", now - timedelta(days=30))
    return journey_world(shop, manager, now=now)


#: What the browser writes into its console when there is no signal, or the shop fails.
SILENCE = re.compile(r"ERR_INTERNET_DISCONNECTED|ERR_FAILED|status of 503|fetching the script")


@pytest.fixture
def silence_is_meant(page_at: Any) -> None:
    """For journeys that lose the signal: what the browser says of it is no complaint."""
    page_at.meant.append(SILENCE)


@pytest.fixture
def sheet(world: JourneyWorld, technician: Person) -> ServiceSheet:
    """A sheet of the technician's, handed out."""
    return draft(world, technician=technician)


@pytest.fixture
def phone(
    page_at: Callable[..., Page], sign_in_as: PersonAs, technician: Person, sheet: ServiceSheet
) -> SheetPhone:
    """The technician's phone, with the sheet open on it."""
    phone = SheetPhone(page_at(PHONE), sheet)
    sign_in_as(phone.page, technician)
    phone.open()
    return phone
