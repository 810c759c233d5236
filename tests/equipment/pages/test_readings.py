"""The page on which all counters of a rig are read, and the one that takes a reading back."""

from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import Finding, Reading
from equipment.services import create_counter, open_finding
from tests.equipment.factories import START, ZONE, SprayRig, day, service_for
from tests.equipment.pages.browsing import Page, html_of, keeps, queries_of, said, text_of

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
        assert "A strokes last 3,000 strokes, 7 Jan 06:00" in read

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
        assert "180 hours in 1.2 days is more than the clock allows (30)." in text_of(answer)
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
