"""Odds, bands, folded services, postponements and picks on the due list."""

import io
import re
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from pypdf import PdfReader

from equipment.due import FAR_DATE
from equipment.models import Due, Postponement
from equipment.services.odds import odds_by
from shop import words
from shop.models import Shop
from tests.shop.pages import world
from tests.shop.pages.test_due import rows_of_csv, shown, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(world.AT, tick=False)


@pytest.fixture
def client(client_as: Any) -> Client:
    return client_as("manager")


def a_row(**values: Any) -> Due:
    """Falls due 12 Mar (9 – 16 Mar) on a rig that is back on 14 Mar; today is 2 Mar."""
    figures: dict[str, Any] = {
        "due_date": world.days(10),
        "due_10": world.days(7),
        "due_90": world.days(14),
        "late_date": world.days(20),
        "stay_on": world.days(12),
        "odds_due_permille": 634,
        "odds_due_most_permille": 634,
        "odds_late_permille": 121,
    }
    return world.make_due(world.fit(world.make_rig(4, name="Kestrel"), "Gun"), **(figures | values))


#: One day, known.
SURE = dict.fromkeys(("due_10", "due_90"), world.days(0))


def test_a_row_says_the_band_and_the_odds_with_their_day(client: Client) -> None:
    a_row()

    text = text_of(client.get("/due/"))

    assert "about 12 Mar 9 – 16 Mar" in text
    assert "63 % by 14 Mar" in text
    assert "past its tolerance: 12 % by 14 Mar" in text
    assert "breaking" not in text


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"odds_due_permille": 996, "odds_due_most_permille": 996}, "over 99 % by 14 Mar"),
        ({"odds_due_permille": 9, "odds_due_most_permille": 9}, "under 1 % by 14 Mar"),
        ({"odds_due_most_permille": 685}, "63 %, at most 69 % by 14 Mar"),
        ({"odds_due_most_permille": 684}, "63 % by 14 Mar"),
        ({"measure": "days", "odds_due_permille": 1000}, "certain by 14 Mar"),
        (
            {"measure": "months", "odds_due_permille": 0, "odds_due_most_permille": 0},
            "not by 14 Mar",
        ),
        ({"is_past_due": True}, "already due"),
        ({"measure": "days", "due_date": world.days(0), **SURE}, "already due"),
        # By its usual use alone nobody knows: the odds are told.
        ({"due_date": world.days(0), "due_10": world.days(-3)}, "63 % by 14 Mar"),
        ({"due_date": FAR_DATE, "due_10": FAR_DATE, "due_90": FAR_DATE}, "no date yet"),
        ({"stay_on": FAR_DATE, "odds_due_permille": 0}, "no next stay known"),
    ],
)
def test_odds_in_words(client: Client, row: dict[str, Any], said: str) -> None:
    a_row(**row)

    assert said in text_of(client.get("/due/?before=all"))


@pytest.mark.parametrize("measure", ["months", "season", "idle", "after", "job", "value"])
def test_every_trigger_has_its_words(client: Client, measure: str) -> None:
    a_row(measure=measure, interval=30, rate_per_day=None)
    world.make_due(world.fit(world.make_rig(7)), measure=measure, interval=30, rate_per_day=None)

    for query in ("?before=all", "?before=all&export=csv", "?before=all&by=2026-03-21"):
        assert client.get(f"/due/{query}").status_code == 200


@pytest.mark.parametrize("by", ["2026-03-09", "2026-03-12", "2026-03-13", "2026-03-21"])
def test_a_chosen_day_lives_in_the_address_with_live_odds(
    client: Client, shop: Shop, by: str
) -> None:
    row = a_row()
    world.make_clock(row)
    world.make_usage(row)
    day = date.fromisoformat(by)
    # "By the 9th" is before that day, as it is before a stay.
    odds = odds_by(Due.objects.filter(pk=row.pk), day=day - timedelta(days=1), zone=shop.zone)[
        row.pk
    ]
    assert 0.01 < odds.due < 0.99
    said = f"{words.odds_text(round(odds.due * 1000))} by {day.day} Mar"

    text = text_of(client.get(f"/due/?by={by}"))

    assert said in text
    if odds.late >= 0.01:
        late = words.odds_text(round(odds.late * 1000))
        assert f"past its tolerance: {late} by {day.day} Mar" in text
    cells = rows_of_csv(client.get(f"/due/?by={by}&export=csv"))[0]
    assert cells["Odds before"] == by
    assert f"{cells['Odds of falling due']} by" in said
    assert float(cells["Odds of falling due, %"]) == pytest.approx(odds.due * 100, abs=0.06)
    paper = PdfReader(io.BytesIO(client.get(f"/due/?by={by}&export=pdf").content))
    assert said in " ".join(paper.pages[0].extract_text().split())


def test_for_the_next_stay_itself_the_kept_odds_stand(client: Client) -> None:
    row = a_row()
    world.make_clock(row)

    assert "63 % by 14 Mar" in text_of(client.get("/due/?by=2026-03-14"))


@pytest.mark.parametrize(
    ("by", "said"), [("2026-03-12", "not by 12 Mar"), ("2026-03-13", "certain by 13 Mar")]
)
def test_a_day_of_the_calendar_is_certain_or_not(client: Client, by: str, said: str) -> None:
    sure = dict.fromkeys(("due_10", "due_90"), world.days(10))
    world.make_clock(a_row(measure="days", **sure))

    assert said in text_of(client.get(f"/due/?by={by}"))


def test_a_row_whose_use_is_unknown_is_neither_certain_nor_not(client: Client) -> None:
    unknown = dict.fromkeys(("due_date", "due_10", "due_90", "late_date"), FAR_DATE)
    row = a_row(**unknown, odds_due_permille=0, odds_late_permille=0)
    world.make_clock(row)

    for query in ("?before=all", "?before=all&by=2026-03-21"):
        text = text_of(client.get(f"/due/{query}"))
        assert re.search(r"no date yet no use is known.* no date yet", text)
        assert not re.search(r"\b(not|certain) by\b", text)


@pytest.mark.parametrize("by", ["2026-03-02", "2026-03-01", "0001-01-01"])
def test_a_day_that_has_gone_by_is_refused_in_words(client: Client, by: str) -> None:
    a_row()

    answer = client.get(f"/due/?by={by}")

    assert answer.status_code == 422
    assert "Ask about a day after today." in text_of(answer)


def test_a_bigger_service_stands_for_the_smaller_while_both_fall_due(client: Client) -> None:
    component = world.fit(world.make_rig(4), "Gun")
    small, big = world.make_service("Gun", "regrease"), world.make_service("Gun", "full rebuild")
    big.includes.add(small.service)
    bigger = world.make_due(component, big, due_date=world.days(9))
    smaller = world.make_due(component, small, due_date=world.days(1), bigger_date=world.days(9))

    month, near = client.get("/due/?before=month"), client.get("/due/?before=due")

    assert shown(month) == [bigger.pk]
    assert "includes regrease" in text_of(month)
    assert shown(near) == []
    assert [row["Includes"] for row in rows_of_csv(client.get("/due/?export=csv"))] == ["regrease"]
    Due.objects.filter(pk=smaller.pk).update(bigger_date=world.days(60))
    assert shown(client.get("/due/?before=month")) == [smaller.pk, bigger.pk]


def test_a_smaller_overdue_service_is_never_hidden_from_the_overdue(client: Client) -> None:
    component = world.fit(world.make_rig(4), "Gun")
    small = world.make_service("Gun", "regrease")
    late = world.make_overdue(component, small, bigger_date=world.days(0))

    assert shown(client.get("/due/?before=overdue")) == [late.pk]


def test_a_row_put_off_says_to_when_by_whom_and_why(client: Client) -> None:
    row = a_row(postponed_to=world.days(10))
    Postponement.objects.create(
        component=row.component,
        service=row.version.service,
        until=world.days(10),
        reason="waiting for the seal",
        author=world.author(),
        at=world.AT,
        request_id=uuid4(),
    )

    text = text_of(client.get("/due/"))

    assert f"put off to 12 Mar by {world.author()}: waiting for the seal" in text


def test_picks_survive_filters_sorts_and_pages(client: Client) -> None:
    here = a_row()
    far = world.make_due(
        here.component, world.make_service("Gun", "rebuild"), due_date=world.days(200)
    )

    page = client.get(f"/due/?sort=odds&due={here.pk}&due={far.pk}").content.decode()

    assert f'name="due" value="{here.pk}" checked' in page
    assert f'name="due" value="{far.pk}" checked' in page
    assert "Picked, not on this page" in page


@pytest.mark.parametrize("due", ["x", "-1", "9" * 40, "1 OR 1=1", "<script>"])
def test_a_pick_that_is_no_key_is_left(client: Client, due: str) -> None:
    response = client.get("/due/", {"due": due})

    assert response.status_code == 200
    assert "<script>" not in response.content.decode().split("</head>")[1].split("<main")[1]


@pytest.mark.parametrize(
    ("stay", "due", "word"),
    [
        (world.days(20), world.days(19), "ready with: Gun, Gun service (63 %)"),
        (world.days(20), world.days(20), "ready"),
        (FAR_DATE, world.days(14), "ready with: Gun, Gun service (about 16 Mar)"),
        (FAR_DATE, world.days(15), "ready"),
    ],
)
def test_the_list_of_a_rig_says_whether_it_is_ready(
    client: Client, stay: Any, due: Any, word: str
) -> None:
    rig = world.make_rig(4, name="Kestrel", stay_on=stay)
    version = world.make_service("Gun", "Gun service")
    gun = world.fit(rig, "Gun")
    world.make_due(gun, version, due_date=due, stay_on=stay, odds_due_permille=634)

    for headers in ({}, {"HX-Request": "true"}):
        assert client.get("/due/?rig=4", headers=headers).context["readiness"].text == word


def test_the_list_of_a_rig_held_by_found_work_says_why(client: Client, manager: Any) -> None:
    rig = world.make_rig(4, name="Kestrel")
    world.make_finding(rig, "hose cover split", is_grave=True)

    text = text_of(client.get("/due/?rig=4&before=all"))

    assert "04 Kestrel: held : hose cover split" in text
