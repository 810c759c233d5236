"""The page on which all counters of a rig are read, and the one that takes a reading back."""

import re
from collections.abc import Iterator
from decimal import Decimal

import pytest
import time_machine
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import Finding, Reading
from equipment.services import NewReading, create_counter, open_finding
from equipment.services.expecting import unusual
from tests.conftest import BACKEND
from tests.equipment.factories import START, ZONE, SprayRig, day, service_for
from tests.equipment.pages.browsing import (
    Page,
    hidden_of,
    html_of,
    keeps,
    queries_of,
    said,
    text_of,
)

pytestmark = pytest.mark.django_db


def box(spray: SprayRig, name: str, field: str = "value") -> str:
    """The name of a counter's box on the page."""
    return f"c{spray.counters[name].pk}-{field}"


@pytest.fixture
def page(phone: Client, spray: SprayRig) -> Page:
    return Page(phone, "equipment:readings", 4)


def in_force(spray: SprayRig, name: str) -> list[Decimal]:
    return [row.value for row in Reading.objects.of(spray.counters[name])]


class TestTaking:
    def test_shows_each_counter_with_its_last_value_and_when(self, page: Page) -> None:
        read = text_of(page.shown)
        assert "Generator hours last 20 h, 7 Jan 06:00" in read
        assert "A strokes last 3,000, 7 Jan 06:00" in read

    def test_keeps_what_was_typed_and_passes_over_the_rest(
        self, page: Page, spray: SprayRig
    ) -> None:
        answer = page.send(**{box(spray, "hours"): "31.5", box(spray, "a"): "4,200"})
        assert answer.status_code == 302
        assert answer["Location"] == "/rigs/4/"
        assert said(answer) == "2 readings kept."
        assert in_force(spray, "hours") == [20, Decimal("31.5")]
        assert in_force(spray, "a") == [3_000, 4_200]
        assert in_force(spray, "b") == [3_100]

    def test_sent_twice_it_counts_once(self, page: Page, spray: SprayRig) -> None:
        for _ in range(2):
            answer = page.send(**{box(spray, "hours"): "31.5"})
            assert said(answer).endswith("1 reading kept.")
        assert in_force(spray, "hours") == [20, Decimal("31.5")]

    def test_says_what_falls_due_by_it(self, page: Page, spray: SprayRig) -> None:
        service_for(
            spray.components["generator"], ("hours", 30), name="oil change", tolerance_percent=10
        )
        answer = page.send(**{box(spray, "hours"): "31.5"})
        assert said(answer) == "1 reading kept. Now due: Generator, oil change."

    def test_says_nothing_of_what_was_due_before(self, page: Page, spray: SprayRig) -> None:
        service_for(spray.components["generator"], ("hours", 15), name="oil change")
        assert said(page.send(**{box(spray, "hours"): "31.5"})) == "1 reading kept."

    def test_an_earlier_time_or_only_the_day(self, page: Page, spray: SprayRig) -> None:
        page.send(**{box(spray, "hours"): "25", "day": "2026-01-07", "time": "18:00"})
        page.hidden["request_id"] = "5d2b1c34-8a5e-4f7f-9f4b-0d3e52f1a001"
        page.send(**{box(spray, "a"): "3500", "day": "2026-01-07"})
        hours = Reading.objects.of(spray.counters["hours"]).last()
        strokes = Reading.objects.of(spray.counters["a"]).last()
        assert hours is not None
        assert hours.at == day(2, hour=12)
        assert strokes is not None
        assert (strokes.value, strokes.is_day_only) == (3_500, True)


@pytest.fixture
def used(spray: SprayRig) -> Iterator[SprayRig]:
    """The rig three weeks on: on six days of seven 6 h and 1,000 strokes of each side."""
    hours, strokes = 20, 3_000
    for week in range(3):
        for number in range(6):
            hours, strokes = hours + 6, strokes + 1_000
            spray.read(day(3 + 7 * week + number), hours=hours, a=strokes, b=strokes + 100)
    # 12:00 in Chicago on Thursday 29 January, two days and six hours after the last reading.
    with time_machine.travel(day(24, hour=6), tick=False):
        yield spray


class TestExpected:
    @pytest.fixture
    def page(self, used: SprayRig, phone: Client) -> Page:
        return Page(phone, "equipment:readings", 4)

    def test_a_plausible_range_stands_beside_each(self, page: Page) -> None:
        read = text_of(page.shown)
        assert re.search(
            r"Generator hours last 128 h, 27 Jan 06:00 expect 128(\.\d)? to 1\d\d ", read
        )
        assert re.search(r"A strokes last 21,000, 27 Jan 06:00 expect 21,000 to \d\d,\d00 ", read)

    def test_none_where_too_little_is_known(self, spray: SprayRig, phone: Client) -> None:
        assert "expect" not in text_of(Page(phone, "equipment:readings", 4).shown)

    def test_inside_it_nothing_is_asked(self, page: Page, used: SprayRig) -> None:
        assert page.send(**{box(used, "a"): "22900"}).status_code == 302

    def test_more_than_usual_is_asked_about_once(self, page: Page, used: SprayRig) -> None:
        sent = {box(used, "a"): "39,000", box(used, "b"): "22900"}
        answer = page.send(**sent)
        assert answer.status_code == 422
        assert "More than usual: 18,000 strokes since Tuesday. Is it right?" in text_of(answer)
        assert "It is right, keep it" in text_of(answer)
        assert keeps(answer, box(used, "a"), "39,000")
        assert keeps(answer, box(used, "b"), "22900")
        assert in_force(used, "b")[-1] == 21_100
        again = used_form(answer)
        assert page.client.post(page.url, {**again, **sent}).status_code == 302
        assert in_force(used, "a")[-1] == 39_000

    def test_corrected_to_another_unusual_value_it_is_asked_again(
        self, page: Page, used: SprayRig
    ) -> None:
        first = used_form(page.send(**{box(used, "a"): "39000"}))
        answer = page.client.post(page.url, {**first, box(used, "a"): "49000"})
        assert answer.status_code == 422
        assert "More than usual: 28,000 strokes" in text_of(answer)

    def test_less_than_usual_after_long(self, page: Page, used: SprayRig, phone: Client) -> None:
        with time_machine.travel(day(60), tick=False):
            client = Client()
            client.force_login(used.author, backend=BACKEND)
            answer = Page(client, "equipment:readings", 4).send(**{box(used, "a"): "21,001"})
        assert "Less than usual: 1 strokes since 27 Jan. Is it right?" in text_of(answer)

    def test_what_cannot_be_is_told_beside_the_question(self, page: Page, used: SprayRig) -> None:
        answer = page.send(**{box(used, "a"): "39000", box(used, "hours"): "12"})
        read = text_of(answer)
        assert "Is it right?" in read
        assert "Lower than the last reading, 128. Was the counter reset?" in read
        assert "It is right, keep it" not in read

    def test_a_reset_that_shows_far_too_much_is_asked_about(
        self, page: Page, used: SprayRig
    ) -> None:
        sent = {box(used, "a"): "38000", box(used, "a", "step"): "reset"}
        assert "More than usual: 38,000 strokes" in text_of(page.send(**sent))
        few = {box(used, "a"): "3", box(used, "a", "step"): "reset"}
        assert page.send(**few).status_code == 302

    def test_a_late_reading_is_not_asked_about(self, page: Page, used: SprayRig) -> None:
        sent = {box(used, "a"): "20500", "day": "2026-01-26", "time": "12:00"}
        assert page.send(**sent).status_code == 302

    def test_the_usual_way_asks_nothing_of_the_database(self, page: Page, used: SprayRig) -> None:
        new = NewReading(used.counters["a"], Decimal(22_900))
        new.counter.refresh_from_db()
        with CaptureQueriesContext(connection) as seen:
            assert unusual([new], at=day(24, hour=6)) == {}
        assert len(seen) == 0


def used_form(answer: HttpResponse) -> dict[str, str]:
    """The hidden fields of a refused page, the question's own among them."""
    hidden = hidden_of(answer)
    assert any(name.endswith("-sure") and value for name, value in hidden.items())
    return hidden


class TestRefused:
    def test_lower_asks_in_place_and_keeps_everything_typed(
        self, page: Page, spray: SprayRig
    ) -> None:
        answer = page.send(**{box(spray, "hours"): "12", box(spray, "a"): "4200"})
        assert answer.status_code == 422
        read = text_of(answer)
        assert "Lower than the last reading, 20. Was the counter reset?" in read
        assert "It was reset" in read
        assert "Correct the value" in read
        assert keeps(answer, box(spray, "hours"), "12")
        assert keeps(answer, box(spray, "a"), "4200")
        assert in_force(spray, "a") == [3_000]

    def test_it_was_reset_with_and_without_the_last_value(
        self, page: Page, spray: SprayRig
    ) -> None:
        answer = page.send(
            **{
                box(spray, "hours"): "3",
                box(spray, "hours", "step"): "reset",
                box(spray, "hours", "before_reset"): "24",
                box(spray, "a"): "50",
                box(spray, "a", "step"): "reset",
            }
        )
        assert answer.status_code == 302
        hours = Reading.objects.of(spray.counters["hours"]).last()
        strokes = Reading.objects.of(spray.counters["a"]).last()
        assert hours is not None
        assert (hours.total, hours.is_at_least) == (27, False)
        assert strokes is not None
        assert (strokes.total, strokes.is_at_least) == (3_050, True)

    def test_a_last_value_below_what_was_read_is_said_beside_it(
        self, page: Page, spray: SprayRig
    ) -> None:
        answer = page.send(
            **{
                box(spray, "hours"): "3",
                box(spray, "hours", "step"): "reset",
                box(spray, "hours", "before_reset"): "18",
            }
        )
        assert answer.status_code == 422
        assert "the last value before the change cannot be 18" in text_of(answer)
        assert f'id="id_{box(spray, "hours", "before_reset")}_error"' in html_of(answer)
        assert keeps(answer, box(spray, "hours", "before_reset"), "18")

    def test_a_new_face_needs_what_it_began_with(self, page: Page, spray: SprayRig) -> None:
        sent = {box(spray, "hours"): "4", box(spray, "hours", "step"): "replaced"}
        answer = page.send(**sent)
        assert answer.status_code == 422
        assert "Say what the new face showed when it was fitted." in text_of(answer)
        assert page.send(**sent, **{box(spray, "hours", "face_start"): "1"}).status_code == 302
        assert in_force(spray, "hours") == [20, 4]

    def test_only_a_face_that_can_roll_over_is_asked_about_it(
        self, page: Page, spray: SprayRig, phone: Client
    ) -> None:
        assert "rolled over" not in text_of(page.shown)
        spray.counters["a"].rollover = Decimal(10_000)
        spray.counters["a"].save()
        page = Page(phone, "equipment:readings", 4)
        assert "It rolled over" in text_of(page.shown)
        sent = {box(spray, "a"): "40", box(spray, "a", "step"): "rollover"}
        assert page.send(**sent).status_code == 302
        row = Reading.objects.of(spray.counters["a"]).last()
        assert row is not None
        assert row.total == 10_040

    def test_faster_than_the_clock(self, page: Page, spray: SprayRig) -> None:
        answer = page.send(**{box(spray, "hours"): "200"})
        assert answer.status_code == 422
        assert "180 hours in 1.2 d is more than the clock allows (30)." in text_of(answer)
        assert keeps(answer, box(spray, "hours"), "200")

    @pytest.mark.parametrize(
        ("typed", "words"),
        [
            ({"day": "2026-01-09"}, "That day has not come yet."),
            ({"day": "2026-01-08", "time": "14:00"}, "That time has not come yet."),
            ({"day": "yesterday"}, "Write the day like 2026-03-02."),
        ],
    )
    def test_the_future_and_nonsense(
        self, page: Page, spray: SprayRig, typed: dict[str, str], words: str
    ) -> None:
        answer = page.send(**{box(spray, "hours"): "31", **typed})
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert keeps(answer, "day", typed["day"])
        assert in_force(spray, "hours") == [20]

    def test_none_typed(self, page: Page) -> None:
        answer = page.send()
        assert answer.status_code == 422
        assert "Type what at least one counter shows." in text_of(answer)

    @pytest.mark.parametrize("typed", ["twelve", "1e3", "-5", "1.2345", "9" * 12])
    def test_no_number(self, page: Page, spray: SprayRig, typed: str) -> None:
        answer = page.send(**{box(spray, "hours"): typed})
        assert answer.status_code == 422
        assert keeps(answer, box(spray, "hours"), typed)

    def test_a_page_without_its_number_is_sent_again_by_a_person(
        self, page: Page, spray: SprayRig
    ) -> None:
        page.hidden["request_id"] = "nonsense"
        answer = page.send(**{box(spray, "hours"): "31"})
        assert answer.status_code == 422
        assert "The page came incomplete. Send it again." in text_of(answer)
        assert keeps(answer, box(spray, "hours"), "31")


class TestTakingBack:
    @pytest.fixture
    def last(self, spray: SprayRig) -> Reading:
        row = Reading.objects.of(spray.counters["hours"]).last()
        assert row is not None
        return row

    def test_needs_a_reason_then_both_rows_stay(
        self, phone: Client, spray: SprayRig, last: Reading
    ) -> None:
        page = Page(phone, "equipment:reverse_reading", last.pk)
        assert "counts again" in text_of(page.shown) or "stands again at 0" in text_of(page.shown)
        refused = page.send(reason=" ")
        assert refused.status_code == 422
        assert "This is needed." in text_of(refused)
        assert page.send(reason="read the wrong face").status_code == 302
        assert page.send(reason="read the wrong face").status_code == 302
        assert in_force(spray, "hours") == []
        assert Reading.objects.filter(reverses=last).count() == 1
        read = text_of(phone.get(reverse("equipment:readings", args=[4])))
        assert "Taken back by A. Technician, 8 Jan: read the wrong face" in read

    def test_a_second_person_hears_who_did_it(
        self, phone: Client, desk: Client, last: Reading
    ) -> None:
        late = Page(desk, "equipment:reverse_reading", last.pk)
        Page(phone, "equipment:reverse_reading", last.pk).send(reason="wrong face")
        answer = late.send(reason="wrong face, too")
        assert answer.status_code == 422
        assert "taken back" in text_of(answer)
        assert "It was taken back by A. Technician" in text_of(
            desk.get(reverse("equipment:reverse_reading", args=[last.pk]))
        )

    def test_a_reversal_has_no_page(self, phone: Client, last: Reading) -> None:
        Page(phone, "equipment:reverse_reading", last.pk).send(reason="wrong face")
        reversal = Reading.objects.get(reverses=last)
        url = reverse("equipment:reverse_reading", args=[reversal.pk])
        assert phone.get(url).status_code == 404


class TestTheRest:
    def test_what_holds_the_rig_stands_on_top(self, phone: Client, spray: SprayRig) -> None:
        open_finding(
            component=spray.pump("A"),
            text="Rod seal weeps",
            is_grave=True,
            author=spray.author,
            at=day(3),
            request_id="5d2b1c34-8a5e-4f7f-9f4b-0d3e52f1a002",
        )
        read = text_of(phone.get(reverse("equipment:readings", args=[4])))
        assert "Held: the rig must not leave" in read
        assert "Rod seal weeps" in read
        assert Finding.objects.holding().count() == 1

    def test_no_such_rig(self, phone: Client) -> None:
        assert phone.get(reverse("equipment:readings", args=[77])).status_code == 404

    def test_as_many_queries_with_thirty_counters_as_with_three(
        self, phone: Client, spray: SprayRig
    ) -> None:
        url = reverse("equipment:readings", args=[4])
        few = queries_of(phone, url)
        for number in range(27):
            create_counter(
                rig=spray.rig,
                name=f"Extra {number}",
                counts="hours",
                started_at=START,
                zone=ZONE,
            )
        assert queries_of(phone, url) == few
