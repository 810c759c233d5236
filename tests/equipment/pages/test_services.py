"""Services: the list, one with its versions, changed by publishing."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Caution, Check, Due, Service, ServiceVersion
from equipment.services import CheckPlan
from tests.equipment.factories import SprayRig, service_for
from tests.equipment.pages.browsing import Page, keeps, queries_of, said, text_of

pytestmark = pytest.mark.django_db

LIST = reverse("equipment:services")


@pytest.fixture
def packing(spray: SprayRig) -> ServiceVersion:
    caution = Caution.objects.create(
        code="SC02", hazard="Stored fluid pressure", text="Bleed it.", source="29 CFR 1910.147"
    )
    return service_for(
        spray.pump("A"),
        ("strokes", 10_000),
        ("days", 365),
        name="packing",
        tolerance_percent=Decimal(10),
        source="maker's manual, page 12",
        checks=[
            CheckPlan(text="Rod smooth"),
            CheckPlan(text="Drift", kind=Check.Kind.VALUE, unit="psi", high=Decimal(50)),
        ],
        cautions=[caution],
    )


def url_of(version: ServiceVersion) -> str:
    return reverse("equipment:service", args=[version.service.pk])


def typed_of(page: Page, **changed: Any) -> dict[str, Any]:
    return {
        "every_strokes": "10000",
        "every_days": "365",
        "tolerance_percent": "10",
        "renews": "floating",
        "skill": "technician",
        **changed,
    }


class TestReading:
    def test_the_list_says_how_often(self, owner_client: Client, packing: ServiceVersion) -> None:
        read = text_of(owner_client.get(LIST))
        assert "packing Proportioning pump 10,000 strokes or 365 d 10 % technician" in read
        assert "New service" not in read

    def test_one_says_checks_limits_cautions_and_source(
        self, phone: Client, packing: ServiceVersion
    ) -> None:
        read = text_of(phone.get(url_of(packing)))
        assert "10,000 strokes or 365 days" in read
        assert "Drift measured value, at most 50 psi" in read
        assert "Stored fluid pressure" in read
        assert "maker's manual, page 12" in read
        assert "The maker’s instructions and local codes go first." in read
        assert "Change it" not in read

    def test_narrows_to_a_kind_and_to_retired(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        gun = spray.components["gun"].type.kind_id
        assert "packing" not in text_of(desk.get(f"{LIST}?kind={gun}"))
        assert "packing" not in text_of(desk.get(f"{LIST}?show=retired"))

    @pytest.mark.parametrize("column", ["name", "kind", "-name", "-kind"])
    def test_sorts(self, desk: Client, packing: ServiceVersion, column: str) -> None:
        assert desk.get(f"{LIST}?sort={column}").status_code == 200

    def test_as_many_queries_with_thirty_as_with_three(self, desk: Client, spray: SprayRig) -> None:
        def more(since: int, until: int) -> None:
            for number in range(since, until):
                service_for(spray.pump("A"), ("strokes", 10_000), name=f"S{number}")

        more(0, 3)
        few = queries_of(desk, LIST)
        more(3, 30)
        assert queries_of(desk, LIST) == few


class TestChanging:
    def test_publishes_a_version_with_the_same_checks(
        self, desk: Client, packing: ServiceVersion
    ) -> None:
        page = Page(desk, "equipment:change_service", packing.service.pk)
        assert keeps(page.shown, "every_strokes", "10000")
        answer = page.send(**typed_of(page, every_strokes="8,000", every_days=""))
        assert said(answer) == "Version 2 counts from now on."
        current = packing.service.versions.get(is_current=True)
        assert [(each.measure, each.interval) for each in current.triggers.all()] == [
            ("strokes", 8_000)
        ]
        assert [check.text for check in current.checks.order_by("order")] == [
            "Rod smooth", "Drift",
        ]  # fmt: skip
        assert current.cautions.count() == 1
        assert {due.interval for due in Due.objects.all()} == {8_000}
        assert "2, current : 8,000 strokes" in text_of(desk.get(url_of(packing))).replace(
            "current:", "current :"
        )

    def test_sent_twice_it_is_published_once(self, desk: Client, packing: ServiceVersion) -> None:
        page = Page(desk, "equipment:change_service", packing.service.pk)
        page.send(**typed_of(page, every_strokes="8000"))
        answer = page.send(**typed_of(page, every_strokes="8000"))
        assert answer.status_code == 422
        assert "Version 2 was published meanwhile, by A. Manager." in text_of(answer)
        assert packing.service.versions.count() == 2

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"every_strokes": "0"}, "Give a number above zero."),
            ({"every_strokes": "lots"}, "Write a number"),
            ({"every_days": "30.5"}, "At most 0 decimals."),
            ({"tolerance_percent": "120"}, "A tolerance lies between 0 and 100 per cent."),
            ({"is_hard_limit": "on"}, "A limit set by law has no tolerance."),
        ],
    )
    def test_refused_in_words(
        self, desk: Client, packing: ServiceVersion, typed: dict[str, str], words: str
    ) -> None:
        page = Page(desk, "equipment:change_service", packing.service.pk)
        answer = page.send(**typed_of(page, **typed))
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert packing.service.versions.count() == 1

    def test_retired(self, desk: Client, packing: ServiceVersion) -> None:
        page = Page(desk, "equipment:retire_service", packing.service.pk)
        assert page.send().status_code == 302
        assert "packing" in text_of(desk.get(f"{LIST}?show=retired"))
        assert not Due.objects.exists()
        assert page.send().status_code == 302


class TestNew:
    def test_with_checks_by_line(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:new_service")
        kind = spray.components["gun"].type.kind
        sent = typed_of(page, name="tip", kind=str(kind.pk), checks="Tip clean\n\nNo drip\n")
        assert page.send(**sent).status_code == 302
        version = ServiceVersion.objects.get(service__name="tip")
        assert [check.text for check in version.checks.order_by("order")] == [
            "Tip clean", "No drip",
        ]  # fmt: skip
        again = page.send(**sent)
        assert again.status_code == 422
        assert "This kind of component has a service of that name." in text_of(again)
        assert Service.objects.count() == 1
