"""Services: the list by kind, one with its versions, what it applies to; retired, brought back."""

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from equipment.due import FAR_DATE
from equipment.models import Caution, Check, Due, Service, ServiceVersion
from equipment.services import CheckPlan, TriggerPlan, publish_version
from tests.equipment.factories import START, ZONE, SprayRig, service_for
from tests.equipment.pages.browsing import Page, html_of, queries_of, said, text_of

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


def url_of(version: ServiceVersion, name: str = "service") -> str:
    return reverse(f"equipment:{name}", args=[version.service.pk])


class TestReading:
    def test_the_list_says_how_often_by_kind_and_on_what_basis(
        self, owner_client: Client, packing: ServiceVersion
    ) -> None:
        read = text_of(owner_client.get(LIST))
        assert "The maker’s instructions and local codes go first." in read
        assert (
            "Proportioning pump Service Falls due Tolerance Done by Basis Last change packing "
            "every 10,000 strokes or every 365 days 10 % technician this shop's own maker's "
            "manual, page 12 5 Jan 2026 version 1, by" in read
        )
        assert "New service" not in read

    def test_one_says_checks_limits_cautions_and_source(
        self, phone: Client, packing: ServiceVersion
    ) -> None:
        read = text_of(phone.get(url_of(packing)))
        assert "every 10,000 strokes or every 365 days" in read
        assert "Drift measured value, at most 50 psi" in read
        assert "Stored fluid pressure Bleed it. 29 CFR 1910.147" in read
        assert "this shop's own maker's manual, page 12" in read
        assert "The maker’s instructions and local codes go first." in read
        for act in ("Change it", "Copy it", "Retire it"):
            assert act not in read

    def test_one_says_what_it_applies_to_and_when_that_falls_due(
        self, owner_client: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        read = text_of(owner_client.get(url_of(packing)))
        for side in "AB":
            due = Due.objects.get(component=spray.pump(side))
            when = f"{due.due_date.day} {due.due_date:%b %Y}"
            pump = spray.pump(side)
            position = f"Proportioning pump {side}"
            assert f"{pump} {pump.type.name} {spray.rig} {position} {when}" in read

    def test_how_sure_a_date_is_and_whether_it_is_past(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        rows = Due.objects.filter(component=spray.pump("A"))
        days = {"due_10": date(2026, 3, 1), "due_date": date(2026, 3, 4)}
        rows.update(**days, due_90=date(2026, 3, 9))
        assert "about 4 Mar 2026 1 Mar 2026 – 9 Mar 2026" in text_of(desk.get(url_of(packing)))
        rows.update(postponed_to=date(2026, 3, 4))
        assert "4 Mar 2026 put off to 4 Mar 2026" in text_of(desk.get(url_of(packing)))
        rows.update(postponed_to=None, due_date=date(2026, 1, 7))
        assert "was due 7 Jan 2026" in text_of(desk.get(url_of(packing)))
        rows.update(due_date=FAR_DATE)
        assert "no date yet" in text_of(desk.get(url_of(packing)))

    def test_one_of_a_rig_applies_there_only(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        packing.service.only_rigs.add(spray.rig)
        assert str(spray.pump("A")) in text_of(desk.get(url_of(packing)))
        assert f"In rig {spray.rig}" in text_of(desk.get(url_of(packing)))

    def test_bigger_and_smaller_name_each_other(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        overhaul = service_for(
            spray.pump("A"), ("days", 900), name="overhaul", includes=[packing.service]
        )
        assert "Done with it packing" in text_of(desk.get(url_of(overhaul)))
        assert "Done within overhaul" in text_of(desk.get(url_of(packing)))

    def test_versions_say_who_when_and_what_changed(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        publish_version(
            service=packing.service,
            author=spray.author,
            at=START + timedelta(days=1),
            zone=ZONE,
            triggers=[TriggerPlan("strokes", Decimal(8_000))],
            checks=[CheckPlan(text="Rod smooth")],
        )
        read = text_of(desk.get(url_of(packing)))
        assert f"Version 2, current {spray.author.name}" in read
        for change in (
            "By strokes: every 10,000 strokes → every 8,000 strokes",
            "By days: every 365 days → not counted",
            "Tolerance: 10 % → none",
            "Check “Drift”: measured value, at most 50 psi → not asked",
            "Caution “Stored fluid pressure”: yes → no",
        ):
            assert change in read, change

    def test_narrows_to_a_kind_and_to_retired(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        gun = spray.components["gun"].type.kind_id
        assert "packing" not in text_of(desk.get(f"{LIST}?kind={gun}"))
        assert "No service is like that." in text_of(desk.get(f"{LIST}?show=retired"))
        assert desk.get(f"{LIST}?kind=none").status_code == 422

    def test_as_many_queries_with_thirty_as_with_three(self, desk: Client, spray: SprayRig) -> None:
        def more(since: int, until: int) -> None:
            for number in range(since, until):
                service_for(spray.pump("A"), ("strokes", 10_000), name=f"S{number}")

        more(0, 3)
        few = queries_of(desk, LIST)
        more(3, 30)
        assert queries_of(desk, LIST) == few

    def test_as_many_queries_with_ten_versions_as_with_two(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        def more(number: int) -> None:
            for _ in range(number):
                publish_version(
                    service=packing.service,
                    author=spray.author,
                    at=START,
                    zone=ZONE,
                    triggers=[TriggerPlan("days", Decimal(30))],
                )

        more(1)
        few = queries_of(desk, url_of(packing))
        more(8)
        assert queries_of(desk, url_of(packing)) == few

    def test_nobody_reads_what_is_not_there(self, desk: Client) -> None:
        assert desk.get(reverse("equipment:service", args=[999])).status_code == 404


class TestRetiring:
    def test_its_due_rows_go_and_its_history_stays(
        self, desk: Client, packing: ServiceVersion
    ) -> None:
        page = Page(desk, "equipment:retire_service", packing.service.pk)
        refused = page.send(reason="")
        assert refused.status_code == 422
        assert "This is needed." in text_of(refused)
        assert Due.objects.exists()
        assert page.send(reason="the maker's new seal needs none").status_code == 302
        assert not Due.objects.exists()
        assert "packing" in text_of(desk.get(f"{LIST}?show=retired"))
        read = text_of(desk.get(url_of(packing)))
        assert "the maker's new seal needs none" in read
        assert "Version 1, current" in read
        assert "It applies to no component now." in read
        assert page.send(reason="again").status_code == 302

    def test_brought_back_it_falls_due_again(self, desk: Client, packing: ServiceVersion) -> None:
        before = set(Due.objects.values_list("component", "due_date"))
        Page(desk, "equipment:retire_service", packing.service.pk).send(reason="slip")
        assert "Bring it back" in text_of(desk.get(url_of(packing)))
        answer = Page(desk, "equipment:bring_back_service", packing.service.pk).send()
        assert said(answer).endswith("“packing” is in use again.")
        assert set(Due.objects.values_list("component", "due_date")) == before

    def test_not_beside_another_of_its_name(
        self, desk: Client, spray: SprayRig, packing: ServiceVersion
    ) -> None:
        Page(desk, "equipment:retire_service", packing.service.pk).send(reason="slip")
        service_for(spray.pump("A"), ("days", 90), name="packing")
        answer = Page(desk, "equipment:bring_back_service", packing.service.pk).send()
        assert answer.status_code == 422
        assert "This kind of component has a service of that name." in text_of(answer)
        assert Service.objects.get(pk=packing.service.pk).is_retired

    def test_no_script_and_no_style_of_its_own(self, desk: Client, packing: ServiceVersion) -> None:
        for name in ("service", "change_service", "compare_service"):
            html = html_of(desk.get(url_of(packing, name)))
            assert ' style="' not in html
            assert "onclick" not in html
