"""Found work reported without a sheet: once, by anybody, on any rig."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client

from equipment.forms.rigs import MOST_TO_TAP
from equipment.models import Finding, Rig
from shop.models import Person, Role, Shop
from tests.inventory.pages.browsing import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(shop: Shop) -> Rig:
    return Rig.objects.create(number=4, name="Kestrel", created_at=shop.created_at)


def send(client: Client, **fields: Any) -> Any:
    given = {"rig": "4", "text": "rubs", "request_id": str(uuid4()), **fields}
    return client.post("/found/new/", given)


@pytest.mark.parametrize("role", Role.values)
def test_anybody_reports(client_as: Callable[..., Client], rig: Rig, role: str) -> None:
    assert send(client_as(role), is_grave="on").url == "/"
    made = Finding.objects.get()
    assert (made.rig, made.text, made.is_grave, made.opened_by.role) == (rig, "rubs", True, role)


def test_sent_twice_it_counts_once(client_as: Callable[..., Client], rig: Rig) -> None:
    once = str(uuid4())
    for _ in range(2):
        assert send(client_as(Role.TECHNICIAN), request_id=once).status_code == 302
    assert Finding.objects.count() == 1


def test_twin_under_another_id_it_counts_twice(client_as: Callable[..., Client], rig: Rig) -> None:
    for _ in range(2):
        send(client_as(Role.TECHNICIAN))
    assert Finding.objects.count() == 2


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"rig": ""}, "Choose the rig."),
        ({"rig": "5"}, "There is no rig of that number."),
        ({"rig": "²"}, "There is no rig of that number."),
        ({"text": " "}, "Say in a few words what you found."),
        ({"text": "x" * 301}, "301"),
    ],
)
def test_what_cannot_be_is_said_beside_it(
    client_as: Callable[..., Client], rig: Rig, fields: dict[str, str], said: str
) -> None:
    answer = send(client_as(Role.TECHNICIAN), **fields)
    assert answer.status_code == 422
    assert said in text_of(answer)
    assert not Finding.objects.exists()


@pytest.mark.parametrize(
    ("back", "leads"),
    [
        ("/sheets/3/", "/sheets/3/"),
        ("//elsewhere.example/", "/"),
        ("https://elsewhere.example/", "/"),
        ("javascript:alert(1)", "/"),
        ("", "/"),
    ],
)
def test_it_leads_back_to_a_page_of_ours_only(
    client_as: Callable[..., Client], rig: Rig, back: str, leads: str
) -> None:
    assert send(client_as(Role.TECHNICIAN), back=back).url == leads


def test_in_a_long_fleet_the_number_is_typed(client_as: Callable[..., Client], shop: Shop) -> None:
    Rig.objects.bulk_create(
        Rig(number=number, name=f"Rig {number}", created_at=shop.created_at)
        for number in range(1, MOST_TO_TAP + 2)
    )
    crew = client_as(Role.TECHNICIAN)
    page = crew.get("/found/new/").content.decode()
    assert 'type="radio"' not in page
    assert send(crew, rig=str(MOST_TO_TAP + 1)).status_code == 302
    assert Finding.objects.get().rig.number == MOST_TO_TAP + 1


def test_it_is_said_in_the_language_of_who_reports(
    client_as: Callable[..., Client], rig: Rig, technician: Person
) -> None:
    technician.language = "es"
    technician.save()
    client = client_as(technician)
    page = text_of(client.get("/found/new/"))
    for text in ("Qué está mal, y en qué equipo", "El equipo no debe salir", "Hasta 6 a la vez"):
        assert text in page, text
    refused = text_of(send(client, rig="5", text=" "))
    assert "No hay ningún equipo con ese número." in refused
    assert "Diga en pocas palabras qué encontró." in refused
    kept = client.get(send(client, is_grave="on").url)
    assert (
        "Quedó anotado el trabajo encontrado en el equipo 04 Kestrel. El equipo no debe salir hasta"
        " que se corrija."
    ) in text_of(kept)
    page = text_of(client.get("/rigs/4/found/"))
    assert "Trabajo encontrado en el equipo 04 Kestrel" in page
    assert "el equipo completo" in page
