"""The page that puts a service off and takes that off again."""

from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Due, Postponement, ServiceVersion
from equipment.services import record_renewal, seen_of
from tests.equipment.factories import ZONE, SprayRig, day, service_for
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def version(spray: SprayRig) -> ServiceVersion:
    return service_for(spray.pump("A"), ("days", 5))


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as("manager")


def url(spray: SprayRig, version: ServiceVersion) -> str:
    return reverse("equipment:put_off", args=[spray.pump("A").tag, version.service_id])


def due_date(spray: SprayRig) -> date:
    return Due.objects.get(component=spray.pump("A")).due_date


def sent(spray: SprayRig, version: ServiceVersion, **changes: Any) -> dict[str, Any]:
    """What the page sends; today is 8 January 2026."""
    seen = seen_of(spray.pump("A"), version.service)
    return {
        "until": "2026-01-20",
        "reason": "waiting for the seal",
        "request_id": str(uuid4()),
        "seen": f"{seen.version}.{seen.renewal}.{seen.postponement}",
        **changes,
    }


def test_put_off_everybody_reads_until_when_by_whom_and_why(
    client: Client, client_as: Callable[..., Client], spray: SprayRig, version: ServiceVersion
) -> None:
    answer = client.post(f"{url(spray, version)}?back=/due/%3Frig%3D4", sent(spray, version))

    assert (answer.status_code, answer["Location"]) == (302, "/due/?rig=4")
    row = Postponement.objects.get()
    said = f"put off to 20 Jan by {row.author}: waiting for the seal"
    for page in (f"/components/{spray.pump('A').tag}/", "/due/?before=all"):
        assert said in text_of(client.get(page))
        by_technician = text_of(client_as("technician").get(page))
        assert said in by_technician
        assert "change that" not in by_technician
        assert "take that off" not in by_technician


def test_sent_twice_it_counts_once(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    data = sent(spray, version)

    answers = [client.post(url(spray, version), data) for _ in range(2)]

    assert [answer.status_code for answer in answers] == [302, 302]
    assert Postponement.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"until": "2026-01-08"}, "Put it off to a day after today."),
        ({"until": "2026-02-30"}, "Write the day like"),
        ({"until": ""}, "This is needed."),
        ({"reason": "  "}, "This is needed."),
        ({"until": "2027-02-01"}, "more than a year ahead"),
        ({"seen": "x"}, "The page came incomplete."),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_what_was_typed_stays(
    client: Client, spray: SprayRig, version: ServiceVersion, changes: dict[str, str], words: str
) -> None:
    data = sent(spray, version, **changes)

    answer = client.post(url(spray, version), data)

    assert answer.status_code == 422
    assert words in text_of(answer)
    form = answer.context["form"]
    assert (form["until"].value(), form["reason"].value()) == (data["until"], data["reason"])
    assert not Postponement.objects.exists()


def test_far_ahead_the_same_day_sent_again_is_the_answer(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    asked = client.post(url(spray, version), sent(spray, version, until="2027-02-01"))
    sure = asked.context["form"]["sure"].value()

    assert (
        client.post(
            url(spray, version), sent(spray, version, until="2027-03-01", sure=sure)
        ).status_code
        == 422
    )
    assert (
        client.post(
            url(spray, version), sent(spray, version, until="2027-02-01", sure=sure)
        ).status_code
        == 302
    )


def test_a_limit_of_law_is_never_put_off(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    ServiceVersion.objects.filter(pk=version.pk).update(is_hard_limit=True)

    looked = client.get(url(spray, version))
    answer = client.post(url(spray, version), sent(spray, version))

    assert (looked.status_code, answer.status_code) == (200, 422)
    for said in (looked, answer):
        assert "has a limit set by law. It cannot be put off." in text_of(said)
    for page in ("/due/?before=all", f"/components/{spray.pump('A').tag}/"):
        assert url(spray, version) not in client.get(page).content.decode()


def test_done_since_the_page_was_opened_it_is_asked_about_once(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    data = sent(spray, version)
    record_renewal(
        version=version,
        component=spray.pump("A"),
        done_at=day(2, hour=1),
        author=spray.author,
        recorded_at=day(2, hour=1),
        request_id=uuid4(),
        zone=ZONE,
    )

    answer = client.post(url(spray, version), data)

    assert answer.status_code == 422
    assert "since you opened this page" in text_of(answer)
    assert not Postponement.objects.exists()
    again = data | {"seen": answer.context["form"]["seen"].value()}
    assert client.post(url(spray, version), again).status_code == 302


def test_two_who_put_it_off_at_once_the_second_is_told(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    both = [sent(spray, version), sent(spray, version, until="2026-02-02")]

    assert [client.post(url(spray, version), data).status_code for data in both] == [302, 422]
    assert Postponement.objects.get().until.isoformat() == "2026-01-20"


def test_taken_off_its_own_day_stands_again(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    before = due_date(spray)
    client.post(url(spray, version), sent(spray, version))
    row = Postponement.objects.get()
    assert due_date(spray) == row.until != before
    assert "Take it off" in text_of(client.get(url(spray, version)))

    address = reverse("equipment:take_off_put_off", args=[row.pk])
    first, second = (client.post(address, follow=True) for _ in range(2))

    assert "falls due on its own day again" in text_of(first)
    assert "taken off already" in text_of(second)
    assert due_date(spray) == before


def test_it_leads_to_no_other_site(
    client: Client, spray: SprayRig, version: ServiceVersion
) -> None:
    answer = client.post(f"{url(spray, version)}?back=https://example.org/", sent(spray, version))

    assert answer["Location"] == f"{reverse('equipment:component', args=[spray.pump('A').tag])}#due"


def test_no_such_service_of_it(client: Client, spray: SprayRig, version: ServiceVersion) -> None:
    other = reverse("equipment:put_off", args=[spray.pump("A").tag, version.service_id + 99])

    assert client.get(other).status_code == 404
