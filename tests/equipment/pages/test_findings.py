"""Found work: written down on a rig, closed with a reason."""

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Finding
from equipment.services import open_finding
from tests.equipment.factories import SprayRig, day
from tests.equipment.pages.browsing import Page, html_of, said, text_of

pytestmark = pytest.mark.django_db


def found(spray: SprayRig, **fields: object) -> Finding:
    return open_finding(
        **{
            "rig": spray.rig,
            "text": "Cracked sight glass",
            "author": spray.author,
            "at": day(2),
            "request_id": uuid4(),
            **fields,
        }
    )


class TestNew:
    def test_on_a_component_and_grave_counts_once(self, phone: Client, spray: SprayRig) -> None:
        page = Page(phone, "equipment:new_finding", 4)
        gun = spray.components["gun"]
        for _ in range(2):
            answer = page.send(text="Safety lock worn", component=str(gun.pk), is_grave="on")
            assert answer.status_code == 302
        assert "The rig must not leave until it is put right." in said(answer)
        finding = Finding.objects.get()
        assert (finding.rig, finding.component, finding.is_grave) == (spray.rig, gun, True)
        assert finding.opened_by.name == "A. Technician"

    def test_on_the_rig_as_a_whole(self, phone: Client, spray: SprayRig) -> None:
        Page(phone, "equipment:new_finding", 4).send(text="Ramp bent", component="rig")
        finding = Finding.objects.get()
        assert (finding.component, finding.is_grave) == (None, False)

    def test_nothing_said_keeps_the_rest(self, phone: Client, spray: SprayRig) -> None:
        gun = spray.components["gun"]
        answer = Page(phone, "equipment:new_finding", 4).send(
            text="  ", component=str(gun.pk), is_grave="on"
        )
        assert answer.status_code == 422
        assert "This is needed." in text_of(answer)
        assert f'value="{gun.pk}" selected' in html_of(answer)
        assert "checked" in html_of(answer)

    def test_a_component_of_another_rig_is_no_choice(self, phone: Client, spray: SprayRig) -> None:
        answer = Page(phone, "equipment:new_finding", 4).send(text="Leak", component="99999")
        assert answer.status_code == 422
        assert not Finding.objects.exists()


class TestClosing:
    def test_says_who_found_it_and_wants_to_know_how(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:close_finding", found(spray).pk)
        assert "Found by S. Hand on 7 Jan" in text_of(page.shown)
        refused = page.send(closing=" ")
        assert refused.status_code == 422
        answer = page.send(closing="glass replaced")
        assert answer["Location"] == "/rigs/4/"
        finding = Finding.objects.get()
        assert (finding.closing, finding.closed_by.name) == ("glass replaced", "A. Manager")

    def test_sent_twice_it_is_closed_once(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:close_finding", found(spray).pk)
        page.send(closing="glass replaced")
        answer = page.send(closing="glass replaced again")
        assert answer.status_code == 422
        read = text_of(answer)
        assert "This found work is closed already." in read
        assert "Closed by A. Manager on 8 Jan: glass replaced" in read

    def test_of_a_component_on_the_shelf(self, desk: Client, spray: SprayRig) -> None:
        on_shelf = found(spray, rig=None, component=spray.pump("A"))
        spray.pump("A").installations.update(
            removed_at=day(2), removed_by=spray.author, removed_because="worn"
        )
        answer = Page(desk, "equipment:close_finding", on_shelf.pk).send(closing="new rod")
        assert answer["Location"] == reverse("equipment:component", args=[spray.pump("A").tag])

    def test_a_technician_closes_through_a_sheet(self, phone: Client, spray: SprayRig) -> None:
        url = reverse("equipment:close_finding", args=[found(spray).pk])
        assert phone.get(url).status_code == 403
