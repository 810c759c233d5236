"""Components: the list, one with its line of time, new ones, services done elsewhere."""

import re
from datetime import date
from decimal import Decimal
from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Component, ComponentType, Counter, Reading, Renewal
from equipment.services import NewReading, exchange_component, open_finding, record_renewal
from tests.equipment.factories import ZONE, SprayRig, day, service_for, shelf_component
from tests.equipment.pages.browsing import Page, html_of, keeps, queries_of, said, text_of

pytestmark = pytest.mark.django_db

LIST = reverse("equipment:components")


def page_of(component: Component) -> str:
    return reverse("equipment:component", args=[component.tag])


@pytest.fixture
def spare(spray: SprayRig) -> Component:
    return shelf_component(spray.pump("A").type.kind, tag="PU-77", serial="S-9")


class TestList:
    def test_says_where_each_is_and_how_long_it_lived(
        self, owner_client: Client, spray: SprayRig, spare: Component
    ) -> None:
        read = text_of(owner_client.get(LIST))
        assert "4-pump A Proportioning pump A" in read
        assert "04 Trailer 4 Proportioning pump A" in read
        assert "3,000 strokes" in read
        assert "PU-77 Proportioning pump" in read
        assert "on the shelf" in read

    @pytest.mark.parametrize(
        ("query", "there", "gone"),
        [
            ("?show=shelf", "PU-77", "4-gun"),
            ("?show=fitted", "4-gun", "PU-77"),
            ("?q=s-9", "PU-77", "4-gun"),
            ("?show=retired", "No component is found so.", "4-gun"),
        ],
    )
    def test_finds(self, desk: Client, spare: Component, query: str, there: str, gone: str) -> None:
        read = text_of(desk.get(LIST + query))
        assert there in read
        assert gone not in read

    def test_one_kind(self, desk: Client, spray: SprayRig, spare: Component) -> None:
        read = text_of(desk.get(f"{LIST}?kind={spray.components['gun'].type.kind_id}"))
        assert "4-gun" in read
        assert "PU-77" not in read

    @pytest.mark.parametrize("column", ["tag", "type", "where", "serial"])
    def test_sorts_both_ways(self, desk: Client, spare: Component, column: str) -> None:
        assert desk.get(f"{LIST}?sort={column}").status_code == 200
        assert desk.get(f"{LIST}?sort=-{column}").status_code == 200

    def test_a_filter_that_is_none_is_refused(self, desk: Client, spray: SprayRig) -> None:
        assert desk.get(f"{LIST}?show=lost").status_code == 422

    def test_as_many_queries_with_thirty_as_with_three(self, desk: Client, spray: SprayRig) -> None:
        few = queries_of(desk, LIST)
        for number in range(27):
            shelf_component(spray.pump("A").type.kind, tag=f"PX-{number}")
        assert queries_of(desk, LIST) == few


class TestPage:
    def test_says_where_it_sits_what_drives_it_and_what_falls_due(
        self, owner_client: Client, spray: SprayRig
    ) -> None:
        service_for(spray.pump("A"), ("strokes", 10_000), name="packing")
        read = text_of(owner_client.get(page_of(spray.pump("A"))))
        assert "Where 04 Trailer 4, Proportioning pump A" in read
        assert "3,000 strokes by A strokes, read 7 Jan" in read
        assert "packing" in read
        assert "3,000 of 10,000 strokes" in read
        assert "Undo" not in read

    def test_a_life_that_was_not_seen_whole_is_at_least(
        self, desk: Client, spray: SprayRig
    ) -> None:
        strokes = NewReading(spray.counters["a"], Decimal(50), Reading.Step.RESET)
        spray.read(day(3), a=strokes)
        read = text_of(desk.get(page_of(spray.pump("A"))))
        assert "at least 3,050 strokes" in read
        assert "A strokes: was reset" in read
        assert "the last value was not seen" in read

    def test_one_line_of_time_newest_on_top(
        self, desk: Client, spray: SprayRig, spare: Component
    ) -> None:
        pump = spray.pump("A")
        version = service_for(pump, ("strokes", 10_000), name="packing")
        record_renewal(
            version=version,
            component=pump,
            done_at=day(1),
            author=spray.author,
            recorded_at=day(2),
            zone=ZONE,
            source_kind="sheet",
            source_number=412,
        )
        open_finding(
            component=pump,
            text="Rod scored",
            author=spray.author,
            at=day(2, hour=1),
            request_id=uuid4(),
        )
        exchange_component(
            position=spray.positions["pump A"],
            component_in=spare,
            at=day(2, hour=3),
            author=spray.author,
            zone=ZONE,
            reason="weeps",
        )
        shown = desk.get(page_of(pump))
        read = text_of(shown)
        line = [
            "Taken out of rig 04 Trailer 4, Proportioning pump A",
            "Found work",
            "packing done, sheet 0412",
            "Fitted in rig 04 Trailer 4, Proportioning pump A",
            "In service",
        ]
        line_of_time = read[read.index("What happened") :]
        places = [line_of_time.index(words) for words in line]
        assert places == sorted(places)
        assert 'href="/sheets/412/"' in html_of(shown)
        assert "on the shelf" in read
        assert f"component={pump.tag.replace(' ', '%20')}" in html_of(shown)
        assert "some of this life is estimated" in text_of(desk.get(page_of(spare))) or (
            "some of this life is estimated" in read
        )

    def test_a_long_life_shows_its_newest_part_first(self, desk: Client, spray: SprayRig) -> None:
        for number in range(70):
            open_finding(
                component=spray.pump("A"),
                text=f"Fault {number}",
                author=spray.author,
                at=day(1),
                request_id=uuid4(),
            )
        url = page_of(spray.pump("A"))
        assert "Show everything since" in text_of(desk.get(url))
        whole = text_of(desk.get(f"{url}?time=all"))
        assert "Show everything since" not in whole
        assert "In service" in whole

    def test_no_such_component(self, desk: Client, spray: SprayRig) -> None:
        assert desk.get(reverse("equipment:component", args=["PU-99"])).status_code == 404


class TestNew:
    FIELDS = {"tag": "GN-118", "in_service_on": "2025-11-01", "opening_hours": "1,400"}

    def test_of_a_type_that_is_there_counts_once(self, desk: Client, spray: SprayRig) -> None:
        page = Page(desk, "equipment:new_component")
        sent = {**self.FIELDS, "type": str(spray.components["generator"].type_id)}
        answer = page.send(**sent)
        assert answer["Location"] == "/components/GN-118/"
        made = Component.objects.get(tag="GN-118")
        assert (made.opening_hours, made.in_service_on) == (1_400, date(2025, 11, 1))
        again = page.send(**sent)
        assert again.status_code == 422
        assert "Another component has this tag." in text_of(again)
        assert keeps(again, "opening_hours", "1,400")

    def test_of_a_new_type(self, desk: Client, spray: SprayRig) -> None:
        kind = spray.pump("A").type.kind
        Page(desk, "equipment:new_component").send(
            **self.FIELDS, kind=str(kind.pk), type_name="Long pump", displacement_in3="46.2"
        )
        made = ComponentType.objects.get(name="Long pump")
        assert (made.kind, made.displacement_in3) == (kind, Decimal("46.2"))

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"tag": "GN 118"}, "Letters, digits and dashes"),
            ({"tag": "new"}, "Letters, digits and dashes"),
            ({}, "Choose a type, or name a new one below."),
            ({"type_name": "Set"}, "Choose the kind of the new type."),
            ({"in_service_on": "2026-02-01"}, "That day has not come yet."),
            ({"opening_hours": "-3"}, "This cannot be below zero."),
        ],
    )
    def test_refused_in_words(
        self, desk: Client, spray: SprayRig, typed: dict[str, str], words: str
    ) -> None:
        answer = Page(desk, "equipment:new_component").send(**self.FIELDS | typed)
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert not Component.objects.filter(tag="GN-118").exists()

    def test_a_counter_that_travels_with_it(self, desk: Client, spare: Component) -> None:
        page = Page(desk, "equipment:new_component_counter", spare.tag)
        sent = {"name": "Its strokes", "counts": "strokes", "display_step": "1"}
        assert page.send(**sent).status_code == 422
        answer = page.send(**sent, first_value="120", is_resettable="on")
        assert answer["Location"] == "/components/PU-77/"
        counter = Counter.objects.get(component=spare)
        assert (counter.last_value, counter.rig) == (120, None)
        again = page.send(**sent, first_value="120")
        assert again.status_code == 422
        assert "has a counter of this name already" in text_of(again)


class TestRetiring:
    def test_from_the_shelf(self, desk: Client, spare: Component) -> None:
        page = Page(desk, "equipment:retire_component", spare.tag)
        assert page.send().status_code == 302
        assert "retired" in text_of(desk.get(page_of(spare)))

    def test_not_while_it_is_fitted(self, desk: Client, spray: SprayRig) -> None:
        answer = Page(desk, "equipment:retire_component", spray.pump("A").tag).send()
        assert answer.status_code == 422
        assert "Take it out there first." in text_of(answer)


class TestServiceDoneElsewhere:
    def test_said_twice_it_counts_once(self, desk: Client, spray: SprayRig) -> None:
        version = service_for(spray.pump("A"), ("strokes", 10_000), name="packing")
        page = Page(desk, "equipment:renew", spray.pump("A").tag)
        sent = {
            "version": str(version.pk),
            "day": "2026-01-07",
            "time": "06:00",
            "reason": "done by the dealer",
        }
        for _ in range(2):
            answer = page.send(**sent)
        assert said(answer).endswith("packing counts from then on.")
        renewal = Renewal.objects.get()
        assert (renewal.done_at, renewal.reason) == (day(2), "done by the dealer")
        due = spray.pump("A").due_rows.get()
        assert due.since == 0

    def test_not_tomorrow(self, desk: Client, spray: SprayRig) -> None:
        version = service_for(spray.pump("A"), ("strokes", 10_000), name="packing")
        answer = Page(desk, "equipment:renew", spray.pump("A").tag).send(
            version=str(version.pk), day="2026-01-09", time="06:00", reason="dealer"
        )
        assert answer.status_code == 422
        assert "That time has not come yet." in text_of(answer)
        assert keeps(answer, "day", "2026-01-09")

    @pytest.mark.parametrize("typed", ["0001-01-01", "9999-12-31"])
    def test_not_on_a_day_that_is_none_elsewhere(
        self, desk: Client, spray: SprayRig, typed: str
    ) -> None:
        """In the evening of the last day, UTC has run out of years."""
        version = service_for(spray.pump("A"), ("strokes", 10_000), name="packing")
        answer = Page(desk, "equipment:renew", spray.pump("A").tag).send(
            version=str(version.pk), day=typed, time="23:30", reason="dealer"
        )
        assert answer.status_code == 422
        assert "Check the year." in text_of(answer)
        assert keeps(answer, "day", typed)

    def test_undone_with_a_reason(self, desk: Client, spray: SprayRig) -> None:
        pump = spray.pump("A")
        renewal = record_renewal(
            version=service_for(pump, ("strokes", 10_000), name="packing"),
            component=pump,
            done_at=day(1),
            author=spray.author,
            recorded_at=day(2),
            zone=ZONE,
        )
        page = Page(desk, "equipment:undo_renewal", renewal.pk)
        assert page.send(reason="").status_code == 422
        assert page.send(reason="other pump").status_code == 302
        again = page.send(reason="other pump")
        assert again.status_code == 422
        assert "undone already" in text_of(again)
        assert "undone by A. Manager: other pump" in text_of(desk.get(page_of(pump)))
        assert not Renewal.objects.in_force().exists()


class TestLineOfTime:
    def test_tells_the_whole_life_in_one_sentence(self, desk: Client, spray: SprayRig) -> None:
        pump = spray.pump("A")
        spare = shelf_component(pump.type.kind, tag="PU-77", opening_strokes=Decimal(1200))
        spray.read(day(4), a=NewReading(spray.counters["a"], Decimal(10), "reset"))
        exchange_component(
            position=spray.positions["pump A"],
            component_in=spare,
            at=day(5),
            author=spray.author,
            zone=ZONE,
        )
        # Not read at the change, nor since: that much is known before the next reading comes.
        assert "some use estimated; life at least" in html_of(desk.get(page_of(pump)))
        spray.read(day(6), a=110)
        drawn = re.findall(r'aria-label="([^"]+; life [^"]+)"', html_of(desk.get(page_of(pump))))
        assert len(drawn) == 2  # one for a desk, one for a phone
        assert drawn[0] == drawn[1]
        for words in (
            "rig 04 Proportioning pump A 5 Jan",
            "not fitted now",
            "1 reset not all seen",
            "some use estimated",
            "life at least 3,060 strokes.",
        ):
            assert words in drawn[0], words
        (told, _) = re.findall(
            r'aria-label="([^"]+; life [^"]+)"', html_of(desk.get(page_of(spare)))
        )
        assert "1,200 strokes before it came" in told
        assert "life at least" not in told

    def test_takes_as_many_queries_for_a_long_life_as_for_a_short_one(
        self, desk: Client, spray: SprayRig
    ) -> None:
        gun = spray.components["gun"]
        short = queries_of(desk, page_of(gun))
        for number in range(4, 10):
            for coming in (None, gun):
                exchange_component(
                    position=spray.positions["gun"],
                    component_in=coming,
                    at=day(number),
                    author=spray.author,
                    zone=ZONE,
                )
            spray.read(day(number, hour=1), a=3000 + number, b=3100 + number)
        assert queries_of(desk, page_of(gun)) == short
