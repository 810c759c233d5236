"""A rig built up by hand, without a shell."""

import re
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import ComponentKind, Counter, Due, Rig
from equipment.services import (
    add_position,
    create_kind,
    create_rig,
    exchange_component,
    rebuild_all,
)
from equipment.services.assembling import USUAL_POSITIONS
from tests.equipment.factories import START, ZONE, SprayRig, day, service_for
from tests.equipment.pages.browsing import Page, html_of, keeps, queries_of, said, text_of

pytestmark = pytest.mark.django_db

SETUP = reverse("equipment:rig_setup", args=[4])
USUAL = {
    "number": "7",
    "name": "Heron",
    "is_usual": "on",
    "generator_hours": "1,182",
    "compressor_hours": "40.5",
    "a_strokes": "0",
    "b_strokes": "12",
}


@pytest.fixture
def kinds(db: None) -> None:
    for number, name in enumerate(dict(USUAL_POSITIONS), start=1):
        create_kind(name=name, flow_order=number * 10)


class TestNew:
    def test_with_the_usual_positions_and_counters(self, desk: Client, kinds: None) -> None:
        page = Page(desk, "equipment:new_rig")
        assert page.send(**USUAL)["Location"] == "/rigs/7/setup/"
        rig = Rig.objects.get(number=7)
        labels = [place.label for place in rig.positions.order_by("order")]
        assert labels[0] == "generator"
        assert labels[4:6] == ["pump A", "pump B"]
        assert labels[-1] == "gun"
        first = {counter.name: counter.first_value for counter in rig.counters.all()}
        assert first == {
            "Generator hours": 1_182,
            "Compressor hours": Decimal("40.5"),
            "A strokes": 0,
            "B strokes": 12,
        }
        assert rig.counters.get(name="A strokes").side == "A"
        assert rig.counters.get(name="Generator hours").kind == ComponentKind.objects.get(
            name="generator"
        )
        read = text_of(desk.get("/rigs/7/setup/"))
        assert "1 generator nothing fitted Remove 1 generator Fit generator" in read

    def test_sent_twice_it_is_there_once(self, desk: Client, kinds: None) -> None:
        page = Page(desk, "equipment:new_rig")
        page.send(**USUAL)
        answer = page.send(**USUAL)
        assert answer.status_code == 422
        assert "Another rig has this number." in text_of(answer)
        assert keeps(answer, "name", "Heron")
        assert Rig.objects.count() == 1
        assert Counter.objects.count() == 4

    def test_bare(self, desk: Client, kinds: None) -> None:
        Page(desk, "equipment:new_rig").send(number="7", name="Heron")
        rig = Rig.objects.get()
        assert (rig.positions.count(), rig.counters.count()) == (0, 0)
        assert "No position yet." in text_of(desk.get("/rigs/7/setup/"))

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"number": "0"}, "A rig number lies between 1 and 9999."),
            ({"number": "four"}, "Give a whole number."),
            ({"name": ""}, "This is needed."),
            ({"a_strokes": ""}, "Read the counter"),
        ],
    )
    def test_refused_in_words(
        self, desk: Client, kinds: None, typed: dict[str, str], words: str
    ) -> None:
        answer = Page(desk, "equipment:new_rig").send(**USUAL | typed)
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert not Rig.objects.exists()


class TestChange:
    def test_name_and_laid_up(self, desk: Client, spray: SprayRig) -> None:
        service_for(spray.pump("A"), ("strokes", 10_000))
        page = Page(desk, "equipment:change_rig", 4)
        page.send(name="Osprey", description="grey trailer", is_laid_up="on")
        spray.rig.refresh_from_db()
        assert (spray.rig.name, spray.rig.is_laid_up) == ("Osprey", True)
        assert not Due.objects.listed().exists()
        page.send(name="Osprey", description="grey trailer")
        assert Due.objects.listed().exists()

    def test_no_name_keeps_the_rest(self, desk: Client, spray: SprayRig) -> None:
        answer = Page(desk, "equipment:change_rig", 4).send(name="", description="grey")
        assert answer.status_code == 422
        assert keeps(answer, "description", "grey")


class TestSetup:
    def test_says_what_sits_where_and_links_to_exchanging_it(
        self, phone: Client, spray: SprayRig
    ) -> None:
        read = text_of(phone.get(SETUP))
        assert "2 Proportioning pump A 4-pump A" in read
        assert (
            "A strokes single strokes of side A, in steps of 1, at most 60 a minute "
            "Counted since 5 Jan: 3,000 strokes shows 3,000 strokes 7 Jan"
        ) in read
        assert "Retire A strokes" not in read  # a manager's business
        assert "Add a position" not in read

    def test_a_position(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:new_position", 4)
        assert keeps(page.shown, "order", "5")
        kind = spray.components["gun"].type.kind
        assert page.send(order="5", kind=str(kind.pk), side="").status_code == 302
        again = page.send(order="5", kind=str(kind.pk), side="")
        assert again.status_code == 422
        assert "The rig has a position at this place already." in text_of(again)
        assert spray.rig.positions.count() == 5

    def test_a_counter(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:new_counter", 4)
        sent = {"name": "Dryer hours", "counts": "hours", "first_value": "9990"}
        refused = page.send(**sent, display_step="1", rollover="9000")
        assert refused.status_code == 422
        assert "It starts again before it could show that." in text_of(refused)
        assert page.send(**sent, display_step="1", rollover="10000").status_code == 302
        counter = spray.rig.counters.get(name="Dryer hours")
        assert (counter.last_value, counter.rollover, counter.is_resettable) == (
            9_990, 10_000, False,
        )  # fmt: skip
        again = page.send(**sent, display_step="1")
        assert again.status_code == 422
        assert "The rig has a counter of this name already." in text_of(again)

    def test_as_many_queries_with_thirty_positions_as_with_four(
        self, desk: Client, spray: SprayRig
    ) -> None:
        few = queries_of(desk, SETUP)
        kind = spray.components["gun"].type.kind
        for order in range(5, 31):
            spray.rig.positions.create(order=order, kind=kind)
        assert queries_of(desk, SETUP) == few


def test_a_rig_that_is_not_there(desk: Client, db: None) -> None:
    create_rig(number=1, name="Only", at=START)
    assert desk.get(SETUP).status_code == 404


class TestRemoving:
    def test_a_position_that_was_never_used(self, desk: Client, spray: SprayRig) -> None:
        kind = spray.components["gun"].type.kind
        unused = add_position(rig=spray.rig, order=5, kind=kind)
        assert "Remove 5 Spray gun" in text_of(desk.get(SETUP))
        assert said(Page(desk, "equipment:remove_position", unused.pk).send()) == (
            "Spray gun is no position of this rig any more."
        )
        assert spray.rig.positions.count() == 4

    def test_one_in_which_something_sat_stays(self, desk: Client, spray: SprayRig) -> None:
        gun = spray.positions["gun"]
        exchange_component(
            position=gun, component_in=None, at=day(3), author=spray.author, zone=ZONE
        )
        assert "Remove" not in text_of(desk.get(SETUP))
        answer = Page(desk, "equipment:remove_position", gun.pk).send()
        assert answer.status_code == 422
        assert "Something sat in Spray gun once, so the position stays." in text_of(answer)
        assert spray.rig.positions.count() == 4


class TestChangingACounter:
    def test_how_its_face_counts(self, desk: Client, spray: SprayRig) -> None:
        hours = Counter.objects.get(pk=spray.counters["hours"].pk)
        was = hours.last_value
        page = Page(desk, "equipment:change_counter", hours.pk)
        assert "counts" not in re.findall(r'name="(\w+)"', html_of(page.shown))  # it was read
        sent = {"name": "Generator, h", "display_step": "1", "rollover": "10000"}
        assert page.send(**sent, is_resettable="on").status_code == 302
        hours.refresh_from_db()
        assert (hours.name, hours.display_step, hours.rollover) == ("Generator, h", 1, 10_000)
        assert (hours.counts, hours.side, hours.last_value) == ("hours", "", was)

    def test_a_face_too_small_for_what_was_read_is_refused(
        self, desk: Client, spray: SprayRig
    ) -> None:
        page = Page(desk, "equipment:change_counter", spray.counters["a"].pk)
        sent = {"name": "A strokes", "counts": "strokes", "display_step": "1"}
        answer = page.send(**sent, rollover="1000")
        assert answer.status_code == 422
        assert "This counter starts again at 1,000, so it cannot show 3,000." in text_of(answer)
        assert keeps(answer, "rollover", "1000")

    def test_strokes_taken_for_cycles(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:change_counter", spray.counters["a"].pk)
        sent = {"name": "A cycles", "counts": "cycles", "display_step": "1"}
        assert said(page.send(**sent)) == "Changed. Lives and due dates follow."
        assert spray.life("pump A", "strokes") == 6_000
        assert rebuild_all(zone=ZONE)[1] == 0

    def test_retired_its_readings_stay(self, desk: Client, spray: SprayRig) -> None:
        counter = spray.counters["a"]
        page = Page(desk, "equipment:retire_counter", counter.pk)
        assert said(page.send()) == "A strokes is retired. Its readings stay."
        assert spray.life("pump A", "strokes") == 3_000
        read = text_of(desk.get(SETUP))
        assert "Retired, with their readings kept: A strokes (3,000 strokes" in read
        assert desk.get(page.url).status_code == 404
