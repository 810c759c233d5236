"""Exchanging a component on one page."""

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Component, Installation, Reading
from equipment.services import remove_component
from tests.equipment.factories import ZONE, SprayRig, day, shelf_component
from tests.equipment.pages.browsing import Page, hidden_of, html_of, keeps, said, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def spare(spray: SprayRig) -> Component:
    return shelf_component(spray.pump("A").type.kind, tag="PU-77")


@pytest.fixture
def page(phone: Client, spray: SprayRig, spare: Component) -> Page:
    return Page(phone, "equipment:exchange", 4, spray.positions["pump A"].pk)


def fitted(spray: SprayRig) -> Component | None:
    row = Installation.objects.filter(
        position=spray.positions["pump A"], removed_at__isnull=True
    ).first()
    return row.component if row else None


def test_out_and_in_with_what_the_counters_show(
    page: Page, spray: SprayRig, spare: Component
) -> None:
    strokes = spray.counters["a"]
    sent = {"component_in": str(spare.pk), "reason": "weeps", f"c{strokes.pk}-value": "3400"}
    answer = page.send(**sent)
    assert said(answer) == "4-pump A is out, PU-77 is in: Proportioning pump A."
    assert fitted(spray) == spare
    assert Reading.objects.of(strokes).last().value == 3_400  # type: ignore[union-attr]
    assert spray.life("pump A", "strokes") == 3_400
    spare.refresh_from_db()
    assert spare.side == "A"
    row = spray.pump("A").installations.get()
    assert row.removed_because == "weeps"
    assert not row.wear_sources.filter(measure="strokes", is_estimated=True).exists()


def test_sent_twice_it_happens_once(page: Page, spray: SprayRig, spare: Component) -> None:
    sent = {"component_in": str(spare.pk), "reason": "weeps"}
    page.send(**sent)
    answer = page.send(**sent)
    assert answer.status_code == 302
    assert "PU-77 is in its place already." in said(answer)
    assert Installation.objects.filter(component=spare).count() == 1


def test_at_another_time(page: Page, spray: SprayRig, spare: Component) -> None:
    sent = {"component_in": str(spare.pk), "reason": "weeps", "day": "2026-01-07"}
    refused = page.send(**sent)
    assert refused.status_code == 422
    assert "Say about what time." in text_of(refused)
    assert keeps(refused, "day", "2026-01-07")
    assert page.send(**sent, time="18:00").status_code == 302
    assert Installation.objects.get(component=spare).installed_at == day(2, hour=12)


def test_left_empty(page: Page, spray: SprayRig) -> None:
    answer = page.send(component_in="", reason="to be rebuilt")
    assert said(answer) == "4-pump A is out; Proportioning pump A stays empty."
    assert fitted(spray) is None
    again = page.send(component_in="", reason="to be rebuilt")
    assert "Nothing is in its place already." in said(again)


def test_only_what_fits_is_offered(phone: Client, page: Page, spray: SprayRig) -> None:
    shelf_component(spray.pump("A").type.kind, tag="PU-B", side="B")
    shelf_component(spray.components["gun"].type.kind, tag="GU-9")
    offered = text_of(phone.get(page.url))
    assert "PU-77" in offered
    assert "PU-B" not in offered
    assert "GU-9" not in offered


def test_a_pump_of_the_other_side_is_refused(page: Page, spray: SprayRig) -> None:
    wrong = shelf_component(spray.pump("A").type.kind, tag="PU-B", side="B")
    answer = page.send(component_in=str(wrong.pk), reason="weeps")
    assert answer.status_code == 422
    assert fitted(spray) == spray.pump("A")


def test_before_it_went_in_is_refused_in_words_with_nothing_kept(
    page: Page, spray: SprayRig, spare: Component
) -> None:
    answer = page.send(component_in=str(spare.pk), reason="weeps", day="2026-01-04", time="08:00")
    assert answer.status_code == 422
    assert "cannot come out before that" in text_of(answer)
    assert "weeps" in html_of(answer)


def test_a_reading_that_cannot_be_stops_all_of_it(
    page: Page, spray: SprayRig, spare: Component
) -> None:
    name = f"c{spray.counters['a'].pk}-value"
    answer = page.send(**{"component_in": str(spare.pk), "reason": "weeps", name: "2000"})
    assert answer.status_code == 422
    assert "Was the counter reset?" in text_of(answer)
    assert keeps(answer, name, "2000")
    assert fitted(spray) == spray.pump("A")
    assert Reading.objects.of(spray.counters["a"]).count() == 1


def test_a_refused_exchange_keeps_no_reading(page: Page, spray: SprayRig, spare: Component) -> None:
    name = f"c{spray.counters['a'].pk}-value"
    before = {"day": "2026-01-05", "time": "06:00"}
    spray.pump("A").installations.update(installed_at=day(1))
    answer = page.send(**{"component_in": str(spare.pk), "reason": "x", name: "0", **before})
    assert answer.status_code == 422
    assert Reading.objects.of(spray.counters["a"]).count() == 1


def test_what_somebody_changed_meanwhile_is_looked_at_first(
    page: Page, spray: SprayRig, spare: Component
) -> None:
    remove_component(
        component=spray.pump("A"), at=day(3), author=spray.author, zone=ZONE, reason="out"
    )
    sent = {"component_in": str(spare.pk), "reason": "weeps"}
    answer = page.send(**sent)
    assert answer.status_code == 422
    assert "Nothing is fitted there now, not what stood here before." in text_of(answer)
    assert "seen" not in hidden_of(answer)  # an empty box: nothing was there to be seen
    assert page.send(**sent, seen="").status_code == 302
    assert fitted(spray) == spare


def test_a_position_of_another_rig_has_no_page(phone: Client, spray: SprayRig) -> None:
    assert phone.get(reverse("equipment:exchange", args=[4, 9_999])).status_code == 404


def test_a_counter_reads_decimal(page: Page, spray: SprayRig, spare: Component) -> None:
    name = f"c{spray.counters['hours'].pk}-value"
    page.send(**{"component_in": str(spare.pk), "reason": "weeps", name: "25.5"})
    last = Reading.objects.of(spray.counters["hours"]).last()
    assert last is not None
    assert last.value == Decimal("25.5")
