"""A round sheet keyed in: a week of one rig on one page."""

from collections.abc import Iterator
from decimal import Decimal

import pytest
import time_machine
from django.test import Client

from equipment.models import DrumLevel, Reading
from tests.equipment.factories import SprayRig, day
from tests.equipment.pages.browsing import Page, html_of, keeps, queries_of, said, text_of
from tests.equipment.pages.test_readings import in_force

pytestmark = pytest.mark.django_db

MON, TUE, WED = "2026-01-12", "2026-01-13", "2026-01-14"


@pytest.fixture
def page(desk: Client, spray: SprayRig) -> Iterator[Page]:
    """Looked at on Friday 16 January at noon; the week begins on Monday the 12th."""
    with time_machine.travel(day(11, hour=6), tick=False):
        yield Page(desk, "equipment:paper_week", 4)


def cell(spray: SprayRig, name: str, when: str, field: str = "") -> str:
    return f"c{spray.counters[name].pk}-{when}{field}"


class TestKept:
    def test_several_days_and_counters_at_once_by_the_day(
        self, page: Page, spray: SprayRig
    ) -> None:
        answer = page.send(
            **{
                cell(spray, "a", MON): "4,000",
                cell(spray, "a", WED): "5200",
                cell(spray, "hours", TUE): "44.5",
            }
        )
        assert answer["Location"] == "/rigs/4/readings/"
        assert said(answer) == "3 readings kept from the round sheet."
        assert in_force(spray, "a") == [3_000, 4_000, 5_200]
        last = Reading.objects.of(spray.counters["a"]).last()
        assert last is not None
        assert (last.is_day_only, last.source, last.total) == (True, "paper", Decimal(5_200))
        assert "from a round sheet on paper" in text_of(page.client.get("/rigs/4/readings/"))

    def test_sent_twice_it_counts_once(self, page: Page, spray: SprayRig) -> None:
        for _ in range(2):
            answer = page.send(**{cell(spray, "a", MON): "4000", f"a_left-{MON}": "30"})
            assert answer.status_code == 302
        assert in_force(spray, "a") == [3_000, 4_000]
        assert DrumLevel.objects.count() == 1

    def test_drums_too(self, page: Page, spray: SprayRig) -> None:
        answer = page.send(
            **{
                f"a_left-{MON}": "12",
                f"a_left-{TUE}": "50",
                f"a_new-{TUE}": "55",
                f"b_left-{TUE}": "40.5",
            }
        )
        assert said(answer) == "3 drum levels kept from the round sheet."
        levels = DrumLevel.objects.order_by("at", "side").values_list("side", "left", "new_drum")
        assert list(levels) == [("A", 12, None), ("A", 50, 55), ("B", Decimal("40.5"), None)]

    def test_another_week(self, page: Page, spray: SprayRig) -> None:
        assert "/rigs/4/paper/?from=2026-01-05" in html_of(page.shown)
        page.url += "?from=2026-01-05"
        shown = page.client.get(page.url)
        assert "Mon 5 Jan – Sun 11 Jan" in text_of(shown)
        # What was read in that week stands under its box: 3,000 on 7 January at 06:00.
        assert '<small class="written">06:00 3,000</small>' in html_of(shown)
        assert page.send(**{cell(spray, "a", "2026-01-08"): "3100"}).status_code == 302
        assert in_force(spray, "a") == [3_000, 3_100]


class TestRefused:
    def test_beside_the_cell_and_nothing_is_lost(self, page: Page, spray: SprayRig) -> None:
        typed = {
            cell(spray, "a", MON): "4000",
            cell(spray, "a", TUE): "3900",
            cell(spray, "b", MON): "3400",
            cell(spray, "hours", MON): "900",
            f"b_left-{MON}": "20",
        }
        answer = page.send(**typed)
        assert answer.status_code == 422
        html, read = html_of(answer), text_of(answer)
        assert "Nothing is kept yet: see what is marked in the grid." in read
        assert "Lower than the last reading, 4,000. Was the counter reset?" in read
        assert "more than the clock allows" in read
        assert f'id="id_{cell(spray, "a", TUE)}_error"' in html
        assert f'id="id_{cell(spray, "hours", MON)}_error"' in html
        assert f'id="id_{cell(spray, "b", MON)}_error"' not in html
        assert all(keeps(answer, name, value) for name, value in typed.items())
        assert in_force(spray, "a") == [3_000]
        assert not DrumLevel.objects.exists()

    def test_it_was_reset_is_chosen_in_the_cell_that_asks(
        self, page: Page, spray: SprayRig
    ) -> None:
        typed = {cell(spray, "a", MON): "4000", cell(spray, "a", TUE): "150"}
        asked = html_of(page.send(**typed))
        assert asked.count("<select") == 1
        assert f'name="{cell(spray, "a", TUE, "-step")}"' in asked
        answer = page.send(**typed, **{cell(spray, "a", TUE, "-step"): "reset"})
        assert answer.status_code == 302
        last = Reading.objects.of(spray.counters["a"]).last()
        assert last is not None
        assert (last.step, last.total, last.is_at_least) == ("reset", 4_150, True)

    def test_drums_that_rose(self, page: Page, spray: SprayRig) -> None:
        answer = page.send(
            **{f"a_left-{MON}": "10", f"a_left-{TUE}": "50", cell(spray, "a", MON): "4000"}
        )
        assert answer.status_code == 422
        assert f'id="id_a_new-{TUE}_error"' in html_of(answer)
        assert in_force(spray, "a") == [3_000]
        assert not DrumLevel.objects.exists()

    @pytest.mark.parametrize(
        ("name", "typed", "words"),
        [
            ("a_left-2026-01-17", "5", "That day has not come yet."),
            (f"a_new-{MON}", "55", "What is left in it?"),
            (f"b_left-{MON}", "half", "Write a number"),
            (f"b_left-{MON}", "3000", "Gallons from 0 to 2,000"),
        ],
    )
    def test_what_cannot_be(self, page: Page, name: str, typed: str, words: str) -> None:
        answer = page.send(**{name: typed})
        assert answer.status_code == 422
        assert words in text_of(answer)
        assert keeps(answer, name, typed)

    def test_a_day_to_come_of_a_counter(self, page: Page, spray: SprayRig) -> None:
        answer = page.send(**{cell(spray, "a", "2026-01-17"): "9000"})
        assert "That day has not come yet." in text_of(answer)
        assert in_force(spray, "a") == [3_000]

    def test_an_empty_sheet(self, page: Page) -> None:
        answer = page.send()
        assert answer.status_code == 422
        assert "Type at least one figure of the sheet." in text_of(answer)

    @pytest.mark.parametrize("when", ["x", "9999-12-31", "0001-01-01", "2026-02-30", "a\x00b"])
    def test_no_week_of_ours(self, desk: Client, spray: SprayRig, when: str) -> None:
        assert desk.get("/rigs/4/paper/", {"from": when}).status_code == 404


def test_looking_costs_few_queries(page: Page, desk: Client) -> None:
    assert queries_of(desk, page.url) <= 9


def test_it_is_the_managers(phone: Client, spray: SprayRig) -> None:
    assert phone.get("/rigs/4/paper/").status_code == 403
