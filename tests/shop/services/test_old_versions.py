"""A service is changed at the desk: what was signed keeps the version it read, on paper too."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from io import BytesIO

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pypdf import PdfReader

from shop.models import Person, ServiceSheet
from shop.services.drafting import void_sheet
from tests.equipment.pages.browsing import Page, filled
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock() -> Iterator[None]:
    """Every page says when it was printed, to the minute."""
    with time_machine.travel(NOW + timedelta(days=1), tick=False):
        yield


def printed(client: Client, sheet: ServiceSheet) -> str:
    answer = client.get(reverse("shop:sheet_pdf", args=[sheet.number]))
    pages = PdfReader(BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture
def desk(client_as: Callable[..., Client], manager: Person) -> Client:
    return client_as(manager)


def publish(desk: Client, world: SheetWorld) -> None:
    """Other limits, another check, no caution."""
    page = Page(desk, "equipment:change_service", world.oil.version.service_id)
    answer = desk.post(
        page.url,
        {
            **filled(page.shown),
            "checks-0-text": "Oil, filter and seal changed",
            "checks-1-low": "235",
            "checks-1-high": "245",
            "cautions": [],
        },
    )
    assert answer.status_code == 302


def test_a_signed_sheet_prints_the_version_that_it_was_signed_under(
    world: SheetWorld, done: Hands, desk: Client
) -> None:
    signed = done.sign()
    before = printed(desk, signed)
    publish(desk, world)
    after = printed(desk, signed)
    assert after == before
    for words in ("Oil and filter changed", "228 – 252 V", "Unexpected start"):
        assert words in after, words
    for words in ("Oil, filter and seal changed", "235 – 245 V"):
        assert words not in after, words
    line = signed.lines.get(version__service=world.oil.version.service)
    assert line.version.version == 1


def test_twin_a_sheet_drafted_afterwards_prints_the_new_version(
    world: SheetWorld, desk: Client, manager: Person
) -> None:
    old = world.draft(world.oil)
    void_sheet(sheet=old, author=manager, at=NOW, reason="changed", request_id=old.request_id)
    publish(desk, world)
    world.oil.refresh_from_db()
    text = printed(desk, world.draft(world.oil))
    for words in ("Oil, filter and seal changed", "235 – 245 V"):
        assert words in text, words
    for words in ("228 – 252 V", "Unexpected start"):
        assert words not in text, words
