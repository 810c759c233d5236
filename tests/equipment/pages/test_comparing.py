"""Two versions, a service and the library, two services: what differs, side by side."""

from datetime import datetime
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Service, ServiceVersion
from equipment.services import (
    CheckPlan,
    TriggerPlan,
    check_plans,
    copy_service,
    publish_version,
    trigger_plans,
)
from equipment.services.library import current_version
from tests.copies import once
from tests.equipment.factories import START, ZONE, PersonFactory, SprayRig, service_for
from tests.equipment.pages.browsing import text_of
from tests.equipment.pages.conftest import two_days_in_by_the_library

pytestmark = pytest.mark.django_db


@pytest.fixture
def spray(db: None, noon: datetime) -> SprayRig:
    return once(two_days_in_by_the_library, key="by the library", author=PersonFactory())


@pytest.fixture
def loaded(spray: SprayRig) -> ServiceVersion:
    """The oil change of the library, made later by this shop."""
    version = current_version(kind="generator", name="oil and filter")
    return publish_version(
        service=version.service,
        author=spray.author,
        at=START,
        zone=ZONE,
        triggers=[TriggerPlan("hours", Decimal(300), first_at=Decimal(50))],
        checks=check_plans(version),
        cautions=version.cautions.all(),
        instructions=version.instructions,
        tolerance_percent=version.tolerance_percent,
        labour_minutes=version.labour_minutes,
        source="our own oil samples",
    )


def url_of(service: Service) -> str:
    return reverse("equipment:compare_service", args=[service.pk])


def test_with_the_library_it_came_from(phone: Client, loaded: ServiceVersion) -> None:
    """Row SI55: 250 h or 180 d, tolerance 10 %, 45 min."""
    read = text_of(phone.get(url_of(loaded.service)))
    assert "What the starting library “oil and filter”, version 2" in read
    for row in (
        "By hours every 250 hours first at 50 hours of life, then every 300 hours",
        "By days every 180 days not counted",
        "Basis common practice, no source this shop's own",
    ):
        assert row in read, row
    assert "The same in both:" in read
    assert "Tolerance 10 %" in read.split("The same in both:")[1]


def test_two_versions(desk: Client, loaded: ServiceVersion) -> None:
    url = url_of(loaded.service)
    read = text_of(desk.get(url, {"left": "version-1", "right": "version-2"}))
    assert "By days every 180 days not counted" in read
    same = text_of(desk.get(url, {"left": "version-1", "right": "version-1"}))
    assert "They ask for the same" in same
    as_loaded = text_of(desk.get(url, {"left": "version-1", "right": "library"}))
    assert "They ask for the same" in as_loaded


def test_two_services_of_a_kind(owner_client: Client, loaded: ServiceVersion) -> None:
    other = current_version(kind="generator", name="air filter").service
    read = text_of(owner_client.get(url_of(loaded.service), {"left": f"service-{other.pk}"}))
    assert "Name air filter oil and filter" in read
    assert "Check “Air filter changed” tick when done not asked" in read


def test_a_copy_with_what_it_was_copied_from(
    desk: Client, spray: SprayRig, loaded: ServiceVersion
) -> None:
    pump = service_for(spray.pump("A"), ("days", 30), name="wash", checks=[CheckPlan("Clean")])
    made = copy_service(
        service=pump.service,
        name="wash",
        kind=loaded.service.kind,
        author=spray.author,
        at=START,
        zone=ZONE,
    )
    assert trigger_plans(made) == trigger_plans(pump)
    read = text_of(desk.get(url_of(made.service)))
    assert "Kind Proportioning pump generator" in read
    assert "1 difference" in read


@pytest.mark.parametrize("wrong", ["version-9", "service-0", "library", "version-²", "x"])
def test_what_is_not_there_is_refused_beside_the_choice(
    desk: Client, spray: SprayRig, wrong: str
) -> None:
    own = service_for(spray.pump("A"), ("days", 30), name="wash").service
    answer = desk.get(url_of(own), {"left": wrong})
    assert answer.status_code == 422
    assert "That is not there to be compared." in text_of(answer)


def test_one_of_a_single_version_of_its_own(desk: Client, spray: SprayRig) -> None:
    own = service_for(spray.pump("A"), ("days", 30), name="wash").service
    assert "They ask for the same" in text_of(desk.get(url_of(own)))
    assert "Compare" not in text_of(desk.get(reverse("equipment:service", args=[own.pk])))
