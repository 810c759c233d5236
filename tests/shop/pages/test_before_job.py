"""What a rig page answers before a job: what falls due, how likely, and are the kits here."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import time_machine

from equipment.due import FAR_DATE
from equipment.models import Due
from equipment.services.odds import odds_by
from shop import beforejob, kits, rigview, whereabouts, words
from shop.models import Role
from tests.shop.pages import world
from tests.shop.pages.test_due import text_of

pytestmark = pytest.mark.django_db

#: The rig leaves on 7 March for twelve days.
BACK = world.days(17)


@pytest.fixture
def rig(shop: Any) -> Any:
    made = world.make_rig(4, name="Kestrel")
    world.make_booking(made, 5, 16, "three-week job")
    return made


def due(rig: Any, name: str, odds: int = 0, late: int = 0, **values: Any) -> Any:
    component = world.fit(rig, "Gun")
    kept: dict[str, Any] = {
        "due_date": world.days(14),
        "due_10": world.days(12),
        "due_90": world.days(30),
        "stay_on": BACK,
        "odds_due_permille": odds,
        "odds_late_permille": late,
    } | values
    return world.make_due(component, world.make_service("Gun", name), **kept)


def on(day: date) -> dict[str, Any]:
    """The dates of a row that falls due on one day, known."""
    return dict.fromkeys(("due_date", "due_10", "due_90"), day)


def answer(rig: Any, shop: Any, *, asked: date | None = None) -> beforejob.BeforeJob:
    positions = rigview.positions_of(rig, today=world.TODAY)
    place = whereabouts.whereabouts(rig.bookings.all(), today=world.TODAY)
    return beforejob.before_job(
        [each for facts in positions for each in facts.dues],
        place,
        asked=asked,
        sheets={},
        today=world.TODAY,
        shop=shop,
    )


def test_rows_stand_by_odds_and_the_unlikely_are_only_counted(rig: Any, shop: Any) -> None:
    due(rig, "full rebuild", 634, 55)
    due(rig, "O-rings", 995, 300)
    due(rig, "side seals", 4)
    due(rig, "clean", is_past_due=True, due_date=world.days(-3), late_date=world.days(3))
    due(rig, "test", 1000, measure="days", late_date=world.days(20), **on(world.days(9)))

    found = answer(rig, shop)

    assert found.heading == "Before it leaves Sat 7 Mar for three-week job, back Thu 19 Mar"
    assert [(row.due.version.service.name, row.odds, row.late) for row in found.rows] == [
        ("clean", "already due", "under 1 %"),
        ("O-rings", "over 99 %", "30 %"),
        ("full rebuild", "63 %", "6 %"),
        ("test", "certain", "not"),
    ]
    assert [(group.caption, len(group.rows)) for group in found.groups] == [
        ("Already due", 1),
        ("By use", 2),
        ("By the calendar", 1),
    ]
    assert found.rest == 1
    assert found.summary == (
        "Before 19 Mar: 1 already due, 2 by use likelier than not, 1 by the calendar. "
        "All kits are here."
    )


def test_a_smaller_service_is_left_to_the_bigger_one(rig: Any, shop: Any) -> None:
    due(rig, "O-rings", 900, bigger_date=world.days(15))
    assert answer(rig, shop).rows == ()
    due(rig, "side seals", 900, bigger_date=world.days(18))
    assert len(answer(rig, shop).rows) == 1


def test_a_bigger_service_that_falls_due_on_the_day_it_is_back_stands_for_nothing_before(
    rig: Any, shop: Any
) -> None:
    due(rig, "rebuild", measure="days", due_date=BACK, due_10=BACK, due_90=BACK)
    due(rig, "O-rings", 900, bigger_date=BACK)
    names = [row.due.version.service.name for row in answer(rig, shop).rows]
    assert names == ["O-rings"]


def test_another_day_has_odds_of_its_own(rig: Any, shop: Any) -> None:
    row = due(rig, "full rebuild", 634)
    world.make_clock(row)
    world.make_usage(row)
    rows = {ahead: answer(rig, shop, asked=world.days(ahead)).rows for ahead in (1, 11, 13, 17, 31)}
    assert rows[1] == ()
    assert rows[17][0].odds == "63 %"
    for ahead in (11, 13, 31):
        day = world.days(ahead - 1)
        live = odds_by(Due.objects.filter(pk=row.pk), day=day, zone=shop.zone)[row.pk]
        assert rows[ahead][0].odds == words.odds_text(round(live.due * 1000))
        assert rows[ahead][0].late == words.odds_text(round(live.late * 1000))


def test_what_nothing_is_known_of_and_what_a_bigger_one_does_are_not_called_unlikely(
    rig: Any, shop: Any
) -> None:
    due(rig, "side seals", 4)
    due(rig, "O-rings", 900, bigger_date=world.days(15))
    due(rig, "rebuild", **on(FAR_DATE))
    found = answer(rig, shop)
    assert (found.rest, found.undated) == (1, 1)


def test_what_comes_round_sooner_than_the_rig_is_said(rig: Any, shop: Any) -> None:
    for name, interval in (("cord test", 8), ("belt", 30)):
        due(rig, name, 1000, measure="days", interval=interval, **on(world.days(9)))
    assert [row.again for row in answer(rig, shop).rows] == [
        "every 8 d, so again while it is away",
        "",
    ]


def test_where_the_kits_lie(rig: Any, shop: Any) -> None:
    row, part = due(rig, "full rebuild", 634), world.make_part("GK-1", name="gun kit")
    world.need(row.version, part, 2)
    world.stock(part, 1, world.make_place("C-03"))
    world.stock(part, 1, world.make_drawer(rig))
    kit = answer(rig, shop).rows[0].kit
    assert kit is not None
    assert (kit.word, kit.places_text) == ("here", "C-03 and drawer of rig 04")
    assert kits.where_text([kit]) == "gun kit: 1 piece in C-03, 1 piece in drawer of rig 04"


def test_put_off_past_the_job_it_is_not_due_before(rig: Any, shop: Any) -> None:
    day = world.days(20)
    due(rig, "full rebuild", due_date=day, due_10=day, due_90=day, postponed_to=day)
    assert answer(rig, shop).rows == ()


def test_what_no_kit_is_there_for_is_named(rig: Any, shop: Any) -> None:
    row = due(rig, "full rebuild", 634)
    world.need(row.version, world.make_part("GK-1", name="gun kit"))
    found = answer(rig, shop)
    assert "Short: gun kit." in found.summary
    assert found.rows[0].kit is not None
    assert found.rows[0].kit.is_short


def test_without_a_job_it_asks_about_the_days_ahead(shop: Any) -> None:
    rig = world.make_rig(4)
    world.make_clock(due(rig, "full rebuild", measure="days", **on(world.days(5))))
    found = answer(rig, shop)
    assert found.heading == "By Mon 16 Mar; no job is booked"
    assert [row.odds for row in found.rows] == ["certain"]


def test_the_page_asks_about_another_day_and_refuses_what_is_none(rig: Any, client_as: Any) -> None:
    row = due(rig, "full rebuild", 634, 55, tolerance=Decimal("0.1"))
    with time_machine.travel(world.AT, tick=False):
        client = client_as(Role.MANAGER)
        page = client.get("/rigs/4/")
        assert "Before it leaves Sat 7 Mar" in text_of(page)
        assert f'name="due" value="{row.pk}" checked' in " ".join(page.content.decode().split())
        assert "By Tue 17 Mar" in text_of(client.get("/rigs/4/?by=2026-03-17"))
        for wrong, said in (("2026-13-01", "That is no day."), ("2026-03-02", "after today")):
            refused = client.get("/rigs/4/", {"by": wrong})
            assert refused.status_code == 422
            assert said in text_of(refused)
            assert f'value="{wrong}"' in refused.content.decode()


@pytest.mark.parametrize(
    ("permille", "said"),
    [
        (0, "under 1 %"),
        (9, "under 1 %"),
        (10, "1 %"),
        (634, "63 %"),
        (990, "99 %"),
        (991, "over 99 %"),
        (1000, "over 99 %"),
    ],
)
def test_odds_are_a_figure_and_never_none_or_all(permille: int, said: str) -> None:
    assert words.odds_text(permille) == said
    assert words.odds_text(1000, certain=True) == "certain"
    assert words.odds_text(permille, already=True) == "already due"
