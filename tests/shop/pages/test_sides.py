"""The page of both sides: what it says, what is sent from it, and where its signal shows."""

from datetime import timedelta
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import BroughtForward, Due, Finding, PumpDrive, SideAnswer, SideSignal
from equipment.services import set_pump_drive
from shop.models import Shop
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db

PAGE = "/rigs/1/sides/"
NOW = day(41)


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(NOW, tick=False)


@pytest.fixture
def rig() -> SprayRig:
    return spray_rig()


@pytest.fixture
def manager(client_as: Any) -> Client:
    return client_as("manager")


def spray(rig: SprayRig, *, drift: float, shifts: int = 40) -> None:
    a = b = 0
    drawn = np.exp(np.random.default_rng(3).standard_normal(shifts) * 0.006)
    drawn[-10:] *= 1 + drift
    for number, ratio in enumerate(drawn, start=1):
        a, b = a + round(1_500 * float(ratio)), b + 1_500
        rig.read(day(number), a=a, b=b)


@pytest.fixture
def slipping(rig: SprayRig) -> SprayRig:
    spray(rig, drift=0.05)
    return rig


def test_without_a_shift_it_says_what_makes_one(rig: SprayRig, manager: Client) -> None:
    page = text_of(manager.get(PAGE))
    assert "No shift to compare yet." in page
    assert "8 more shifts until the pair is watched" in page


def test_a_signal_names_the_side_and_what_to_look_at(slipping: SprayRig, manager: Client) -> None:
    answer = manager.get(PAGE)
    page = text_of(answer)
    assert "Pump A makes 5." in page
    assert "more strokes against pump B than this pair’s baseline, since" in page
    for word in ("Inlet check", "Outlet check", "Packing and piston seal", "Starved inlet"):
        assert word in page
    assert "Common practice, no source" in page
    assert "one false alarm in 600 shifts" in page
    assert "gives no odds that anything breaks" in page
    # One row of the table for each shift of the picture, and the picture says its sentence.
    assert len(answer.context["rows"]) == len(answer.context["picture"].points) == 40
    assert answer.context["sentence"] in answer.context["picture"].label
    assert [row["stands"] for row in answer.context["rows"][:3]] == ["past the limit"] * 3
    assert answer.context["rows"][-1]["stands"] == "makes the baseline"


def test_the_signal_shows_on_the_rig_and_today(slipping: SprayRig, manager: Client) -> None:
    assert "The sides have parted" in text_of(manager.get("/rigs/1/"))
    assert "Sides that have parted" in text_of(manager.get("/"))


def test_a_quiet_pair_shows_nowhere(rig: SprayRig, manager: Client) -> None:
    spray(rig, drift=0)
    assert "The pair runs as its own baseline says." in text_of(manager.get(PAGE))
    assert "have parted" not in text_of(manager.get("/rigs/1/")) + text_of(manager.get("/"))


def test_linked_pumps_are_said_to_stroke_alike(slipping: SprayRig, manager: Client) -> None:
    set_pump_drive(rig=slipping.rig, pump_drive=PumpDrive.LINKED, zone=ZONE)
    page = text_of(manager.get(PAGE))
    assert "Linked pumps stroke alike whatever leaks." in page
    assert "have parted" not in text_of(manager.get("/"))


def test_found_work_is_opened_in_one_tap(slipping: SprayRig, client_as: Any) -> None:
    technician = client_as("technician")
    sent = {"request_id": str(uuid4())}
    for _ in range(2):
        assert technician.post(reverse("shop:side_work", args=[1]), sent).status_code == 302
    finding = Finding.objects.get()
    assert finding.component == slipping.pump("A")
    assert "Look at pump A: inlet check, outlet check" in finding.text
    assert SideSignal.objects.get().state == SideSignal.State.ACTED
    assert "have parted" not in text_of(client_as("manager").get("/"))


def test_found_work_without_its_number_or_a_signal_is_not_opened(
    rig: SprayRig, manager: Client
) -> None:
    for sent in ({}, {"request_id": "x"}, {"request_id": str(uuid4())}):
        answer = manager.post(reverse("shop:side_work", args=[1]), sent, follow=True)
        assert answer.status_code == 200
    assert not Finding.objects.exists()


def test_nothing_is_wrong_needs_a_reason(slipping: SprayRig, manager: Client) -> None:
    address = reverse("shop:dismiss_side", args=[1])
    refused = manager.post(address, {"request_id": str(uuid4()), "reason": " "})
    assert refused.status_code == 422
    assert SideSignal.objects.exists()
    sent = {"request_id": str(uuid4()), "reason": "catch test right"}
    assert manager.post(address, sent).status_code == 302
    assert not SideSignal.objects.exists()
    assert "catch test right" in text_of(manager.get(PAGE))
    late = manager.post(address, {"request_id": str(uuid4()), "reason": "again"})
    assert late.status_code == 422
    assert "Nothing is signalled" in text_of(late)


def test_a_service_is_brought_forward_shown_and_taken_off(
    slipping: SprayRig, manager: Client
) -> None:
    service_for(slipping.pump("A"), ("days", 365), name="packing", is_rebuild=True)
    row = Due.objects.get(component=slipping.pump("A"))
    address = reverse("shop:side_forward", args=[1])
    form = manager.get(address).context["form"]
    assert form.initial["due"] == row
    wanted = {
        "request_id": str(uuid4()),
        "due": row.pk,
        "due_on": f"{NOW + timedelta(days=5):%Y-%m-%d}",
        "reason": "A slips",
    }
    gone = manager.post(address, wanted | {"due_on": "2026-01-01"})
    assert gone.status_code == 422
    assert "That day has gone by." in text_of(gone)
    assert manager.post(address, wanted).status_code == 302
    for page in ("/due/?before=all", "/rigs/1/", f"/components/{slipping.pump('A').tag}/"):
        assert "A slips" in text_of(manager.get(page)), page
    brought = BroughtForward.objects.get()
    off = reverse("shop:take_off_forward", args=[brought.pk])
    assert manager.post(off).status_code == 302
    assert "taken off already" in text_of(manager.post(off, follow=True))
    assert Due.objects.get(pk=row.pk).brought_because == ""
    assert SideAnswer.objects.get().brought == brought


def test_the_drive_is_said_on_the_rig_s_change_page(rig: SprayRig, manager: Client) -> None:
    address = reverse("equipment:change_rig", args=[1])
    sent = {"name": "Heron", "description": "", "pump_drive": "linked"}
    assert manager.post(address, sent).status_code == 302
    rig.rig.refresh_from_db()
    assert rig.rig.pump_drive == PumpDrive.LINKED
    assert manager.post(address, sent | {"pump_drive": "pedal"}).status_code == 422
