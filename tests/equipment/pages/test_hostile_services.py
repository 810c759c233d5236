"""The forms about services, sent with what nobody should type: refused in words, never broken."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from equipment.models import Season, Service, ServiceVersion
from tests.equipment.factories import SprayRig, service_for
from tests.equipment.pages.browsing import Page, filled

pytestmark = pytest.mark.django_db

HOSTILE = (
    "-1",
    "0",
    "NaN",
    "-Infinity",
    "1e400",
    "9" * 25,
    "9" * 5_000,
    "0.00000000001",
    "' OR 1=1 --",
    "<script>alert(1)</script>",
    "\u202e\u0661\u0662 %s {0} \ud7ff",
    "a\x00b",
    "é" * 300,
    "2026-02-30",
)
#: Refused beside the field, or done: nothing else may come of it.
SOUND = {200, 302, 422}


@pytest.fixture
def version(spray: SprayRig) -> ServiceVersion:
    Season.objects.create(name="First frost", month=10, day=15)
    other = service_for(spray.pump("A"), ("days", 30), name="look")
    service_for(spray.components["gun"], ("after", 3, {"after": other.service}), name="clean")
    return service_for(
        spray.pump("A"), ("strokes", 10_000), ("days", 365), tolerance_percent=Decimal(10)
    )


def sent(page: Page, form: int, **typed: Any) -> int:
    data = {**filled(page.shown, form=form), **typed}
    return page.client.post(page.url, data).status_code


@pytest.mark.parametrize(
    "name", ["new_service_of", "change_service", "copy_service", "retire_service"]
)
def test_no_value_of_any_field_breaks_the_form(
    desk: Client, version: ServiceVersion, name: str
) -> None:
    about = version.service.kind_id if name == "new_service_of" else version.service.pk
    page = Page(desk, f"equipment:{name}", about)
    # Who typed it is not typed: another person's is sent back with 409 before the form is read.
    fields = [field for field in filled(page.shown) if field != "typed_by"]
    for value in HOSTILE:
        # All at once, and each alone beside sound ones, where it is read and not passed by.
        assert sent(page, -1, **dict.fromkeys(fields, value)) in SOUND
    for number, field in enumerate(fields):
        value = HOSTILE[number % len(HOSTILE)]
        status = sent(page, -1, **{field: value})
        assert status in SOUND, (field, value[:20], status)
        if status == 302:
            # Done, or done before: the page as it stands now.
            Service.objects.update(is_retired=False)
            page = Page(desk, f"equipment:{name}", about)


def test_no_day_of_the_year_breaks_the_page_of_seasons(
    desk: Client, version: ServiceVersion
) -> None:
    page = Page(desk, "equipment:seasons")
    for about in ("new", str(Season.objects.get().pk), "9" * 30):
        for number, value in enumerate(HOSTILE * 3):
            field = ("name", "day", "month")[number % 3]
            typed = {"season": about, "name": "Thaw", "day": "1", "month": "4", field: value}
            status = page.client.post(page.url, {**page.hidden, **typed}).status_code
            assert status in SOUND | {404}, (about, field, value[:20], status)
    for season in Season.objects.all():
        assert 1 <= season.month <= 12
        assert 1 <= season.day <= 31
