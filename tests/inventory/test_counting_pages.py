"""The pages of counts, walked as those who count and those who approve."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client

from inventory.models import Balance, Count, RobbedKit
from inventory.services import prove
from tests.inventory.factories import BinFactory, PartFactory, kit_of, received

pytestmark = pytest.mark.django_db


def begun(client: Client, place: object, kind: str = "cycle") -> Count:
    sent = {"location": place.pk, "kind": kind, "request_id": uuid4()}  # type: ignore[attr-defined]
    answer = client.post("/counts/", sent)
    assert answer.status_code == 302, answer.content.decode()
    return Count.objects.latest("pk")


def test_a_count_goes_from_blind_entry_to_approval(client_as: Callable[..., Client]) -> None:
    part, place = PartFactory(number="P-1"), BinFactory(code="K-03")
    received(part, place, 73, 7_300)
    crew, boss = client_as("technician"), client_as("manager")
    count = begun(crew, place)
    url = f"/counts/{count.number}/"
    page = crew.get(url).content.decode()
    assert "P-1" in page
    assert "73" not in page.split("<main")[1].split("csrf")[0]  # blind
    for quantity in ("-1", "1.5", "x"):
        sent = {"number": "P-1", "quantity": quantity, "request_id": uuid4(), "do": "enter"}
        answer = crew.post(url, sent)
        assert answer.status_code == 422
        assert 'class="field wrong"' in answer.content.decode()
        assert f'value="{quantity}"' in answer.content.decode()
    assert (
        "There is no part Q-9"
        in crew.post(
            url, {"number": "Q-9", "quantity": "1", "request_id": uuid4(), "do": "enter"}
        ).content.decode()
    )
    assert not count.lines.exists()
    assert crew.post(url, {"do": "finish"}).status_code == 422
    sent = {"number": "P-1", "quantity": "999", "request_id": uuid4(), "do": "enter"}
    assert "is that right?" in crew.post(url, sent).content.decode()
    assert crew.post(url, {**sent, "quantity": "70"}).status_code == 302
    assert crew.post(url, {"do": "finish"}).status_code == 302
    assert crew.post(f"{url}settle/", {"do": "approve"}).status_code == 403
    page = boss.get(url).content.decode()
    assert "−3 pieces" in page
    seen = Count.objects.get().counted_at.isoformat()  # type: ignore[union-attr]
    assert boss.post(f"{url}settle/", {"do": "approve", "seen": "x"}).status_code == 422
    assert boss.post(f"{url}settle/", {"do": "approve", "seen": seen}).status_code == 302
    assert Balance.objects.get().quantity_steps == 70
    assert prove() == []


def test_another_persons_count_is_told_beside_the_place(client_as: Callable[..., Client]) -> None:
    place = BinFactory(code="K-03")
    begun(client_as("technician"), place)
    sent = {"location": place.pk, "kind": "cycle", "request_id": uuid4()}
    answer = client_as("manager").post("/counts/", sent)
    assert answer.status_code == 422
    assert "is counting K-03 already" in answer.content.decode()


def test_a_drawer_is_checked_on_one_page_and_a_robbed_kit_found(
    client_as: Callable[..., Client],
) -> None:
    kit, (seal, _) = kit_of(seal=2, spring=1)
    drawer = BinFactory(drawer=True)
    loose = PartFactory()
    received(kit, drawer, 2, 1_000)
    received(loose, drawer, 5, 500)
    client = client_as("technician")
    check = begun(client, drawer, "drawer")
    url = f"/counts/{check.number}/"
    assert "Something is missing from" in client.get(url).content.decode()
    sent = {"do": "robbed", "kit": kit.pk, "missing": [seal.pk], "request_id": uuid4()}
    assert client.post(url, sent).status_code == 302
    assert client.post(url, sent).status_code == 302
    assert RobbedKit.objects.get().kit == kit
    assert client.post(url, {"do": f"set {loose.pk} 4"}).status_code == 302
    assert client.post(url, {"do": f"set {loose.pk} -4"}).status_code == 422
    assert client.post(url, {"do": "rest"}).status_code == 302
    assert client.post(url, {"do": "finish"}).status_code == 302
    counted = dict(check.lines.values_list("part", "counted_steps"))
    assert counted == {kit.pk: 1, loose.pk: 4}
    assert prove() == []
