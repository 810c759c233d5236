"""What sat in a position: its history, a stay entered late, an exchange undone, one tap."""

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Component, Due, Exchange, Installation
from equipment.services import exchange_component, open_finding
from tests.equipment.factories import ZONE, SprayRig, day, service_for, shelf_component
from tests.equipment.pages.browsing import Page, html_of, keeps, said, text_of

pytestmark = pytest.mark.django_db

LATE = {"day": "2026-01-06", "time": "08:00", "until_day": "2026-01-07", "until_time": "08:00"}


@pytest.fixture
def spare(spray: SprayRig) -> Component:
    return shelf_component(spray.components["gun"].type.kind, tag="G-04")


@pytest.fixture
def stays(phone: Client, spray: SprayRig, spare: Component) -> Page:
    return Page(phone, "equipment:stays", 4, spray.positions["gun"].pk)


def gun_now(spray: SprayRig) -> Component | None:
    row = Installation.objects.filter(position=spray.positions["gun"], removed_at=None).first()
    return row.component if row else None


class TestStays:
    def test_asks_before_it_parts_what_sat_there(
        self, stays: Page, spray: SprayRig, spare: Component
    ) -> None:
        sent = {**LATE, "component": str(spare.pk), "reason": "crew's note"}
        asked = stays.send(**sent)
        assert asked.status_code == 422
        assert "Was it taken out for that time, and put back?" in text_of(asked)
        assert "Yes: 4-gun was out for that time, and was put back" in text_of(asked)
        assert keeps(asked, "until_time", "08:00")
        assert not spare.installations.exists()
        assert said(stays.send(**sent, was_out="on")).startswith("G-04 has its share")
        assert gun_now(spray) == spray.components["gun"]
        read = text_of(stays.client.get(stays.url)).split("Newest on top")[1]
        assert read.index("4-gun") < read.index("G-04")  # newest on top: the gun is in again
        assert "crew's note" in read

    def test_sent_twice_it_is_one_stay(self, stays: Page, spare: Component) -> None:
        sent = {**LATE, "component": str(spare.pk), "reason": "note", "was_out": "on"}
        for _ in range(2):
            assert stays.send(**sent).status_code == 302
        assert spare.installations.count() == 1

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"until_day": "2026-01-05"}, "It came out before it went in."),
            ({"until_day": "2030-01-05"}, "That day has not come yet."),
            ({"time": ""}, "This is needed."),
            ({"component": ""}, "This is needed."),
        ],
    )
    def test_refused_in_words(
        self, stays: Page, spare: Component, typed: dict[str, str], words: str
    ) -> None:
        sent = {**LATE, "component": str(spare.pk), "reason": "note", **typed}
        answer = stays.send(**sent)
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert not spare.installations.exists()

    def test_undone_by_a_manager_and_read_by_all(
        self, desk: Client, phone: Client, spray: SprayRig, spare: Component
    ) -> None:
        made = exchange_component(
            position=spray.positions["gun"],
            component_in=spare,
            at=day(2),
            author=spray.author,
            zone=ZONE,
            reason="tip clogged",
        )
        assert made is not None
        assert made.began_with is not None
        url = reverse("equipment:undo_exchange", args=[made.began_with.pk])
        shown = reverse("equipment:component", args=["G-04"])
        assert url in html_of(desk.get(shown))
        assert url not in html_of(phone.get(shown))
        page = Page(desk, "equipment:undo_exchange", made.began_with.pk)
        assert "G-04 never sat there. 4-gun never came out." in text_of(page.shown)
        for _ in range(2):
            assert page.send(reason="picked the wrong one").status_code == 302
        assert gun_now(spray) == spray.components["gun"]
        assert Exchange.objects.filter(undoes__isnull=False).count() == 1
        for address in (shown, reverse("equipment:stays", args=[4, made.position_id])):
            read = text_of(phone.get(address))
            assert "picked the wrong one" in read
            assert "undone by" in read

    def test_what_hangs_on_a_later_one_is_told(
        self, desk: Client, spray: SprayRig, spare: Component
    ) -> None:
        acts = [
            exchange_component(
                position=spray.positions["gun"],
                component_in=component,
                at=day(number),
                author=spray.author,
                zone=ZONE,
            )
            for number, component in ((1, spare), (2, None))
        ]
        assert acts[0] is not None
        assert acts[0].began_with is not None
        answer = Page(desk, "equipment:undo_exchange", acts[0].began_with.pk).send(reason="x")
        assert answer.status_code == 422
        assert "Undo that first." in text_of(answer)


class TestOneTap:
    @pytest.fixture
    def page(self, phone: Client, spray: SprayRig, spare: Component) -> Page:
        return Page(phone, "equipment:quick_change", 4, spray.positions["gun"].pk)

    def test_two_taps_from_the_rig(
        self, page: Page, phone: Client, spray: SprayRig, spare: Component
    ) -> None:
        kind = spray.components["gun"].type.kind
        assert page.url not in html_of(phone.get("/rigs/4/"))
        kind.icon = "gun"
        kind.save()
        rig = html_of(phone.get("/rigs/4/"))
        assert page.url in rig
        assert "Change Spray gun" in rig
        answer = page.send(component=str(spare.pk))
        assert said(answer).startswith("4-gun is out, G-04 is in: Spray gun.")
        assert gun_now(spray) == spare

    def test_a_finger_that_slips_changes_it_once(
        self, page: Page, spray: SprayRig, spare: Component
    ) -> None:
        third = shelf_component(spray.components["gun"].type.kind, tag="G-05")
        page.send(component=str(spare.pk))
        # The same again, and the one beside it, from a page that is old by now.
        for tapped in (spare, third):
            assert said(page.send(component=str(tapped.pk))).endswith("is in its place already.")
        assert gun_now(spray) == spare
        assert Exchange.objects.filter(component_in=spare).count() == 1

    def test_what_is_shared_out_later_is_marked_as_estimated(
        self, page: Page, spray: SprayRig, spare: Component
    ) -> None:
        page.send(component=str(spare.pk))
        spray.read(day(400), fresh=False, a=9000, b=9000)
        wear = spare.wear.get(measure="gallons")
        assert wear.is_estimated
        assert wear.life > 0

    def test_says_what_speaks_against_each(
        self, phone: Client, page: Page, spray: SprayRig, spare: Component
    ) -> None:
        service_for(spare, ("days", 1), name="Full rebuild")
        open_finding(
            component=spare,
            text="trigger sticks",
            is_grave=True,
            author=spray.author,
            at=day(1),
            request_id=uuid4(),
        )
        assert Due.objects.filter(component=spare).exists()
        read = text_of(phone.get(page.url))
        assert "must not spray: trigger sticks" in read
        assert "Full rebuild overdue" in read

    def test_none_on_the_shelf(self, phone: Client, page: Page, spare: Component) -> None:
        spare.is_retired = True
        spare.save()
        assert "None lies on the shelf." in text_of(phone.get(page.url))

    def test_what_came_out_last_stands_first(
        self, phone: Client, page: Page, spare: Component
    ) -> None:
        page.send(component=str(spare.pk))
        shelf_component(spare.type.kind, tag="A-00")
        read = text_of(phone.get(page.url))
        assert read.index("4-gun") < read.index("A-00")
        assert "was in this rig until" in read

    def test_one_that_is_gone_meanwhile(
        self, page: Page, spray: SprayRig, spare: Component
    ) -> None:
        spare.is_retired = True
        spare.save()
        answer = page.send(component=str(spare.pk))
        assert answer.status_code == 422
        assert "That one lies on the shelf no more. Look again." in text_of(answer)
