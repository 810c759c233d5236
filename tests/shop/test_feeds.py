"""What lies in a person's calendar, day by day."""

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from equipment.models import Due, Postponement, Skill
from shop import access, feeds
from shop.ical import Entry
from shop.models import CalendarFeed, Person, Shop
from shop.services.feeds import Choices, choices_of, make_feed
from tests.shop.pages.world import (
    AT,
    TODAY,
    author,
    days,
    fit,
    make_booking,
    make_due,
    make_fleet,
    make_overdue,
    make_rig,
    make_service,
    make_sheet,
)

pytestmark = pytest.mark.django_db

SITE = "https://shop.example"
ALL = Choices("all", True, "all")
Fetch = Callable[..., list[Entry]]


@pytest.fixture
def fetch(shop: Shop, manager: Person) -> Fetch:
    """The entries of a calendar, made for the asking."""

    def get(choices: Choices = ALL, *, person: Person | None = None, today: date = TODAY) -> Any:
        who = person or manager
        key = f"key {CalendarFeed.objects.count()}"
        feed = make_feed(person=who, key=key, choices=choices, at=AT)
        rigs = choices_of(feed).only_rigs
        return feeds.entries_of(feed, rigs=rigs, today=today, shop=shop, site=SITE)

    return get


def titles(entries: list[Entry]) -> list[str]:
    return [each.title for each in entries]


def forecast(due: Due, **values: Any) -> Due:
    Due.objects.filter(pk=due.pk).update(**values)
    return due


# --- services that fall due ------------------------------------------------------------------


def test_a_service_lies_on_the_day_it_falls_due(fetch: Fetch) -> None:
    rig = make_rig(4)
    due = make_due(fit(rig, side="A"), due_date=days(12), due_10=days(9), due_90=days(15))
    forecast(due, stay_on=days(14), odds_due_permille=630, odds_late_permille=120)
    (entry,) = fetch()
    assert entry.title == "Rig 04 falls due: Pump A, packing and seals"
    assert (entry.first, entry.last) == (days(12), days(12))
    assert entry.text.split("\n") == [
        "Pump A, packing and seals",
        "falls due about 14 Mar (11 – 17 Mar)",
        "odds of falling due: 63 % by 16 Mar, its next stay; past its tolerance: 12 % by 16 Mar",
        "182 of 250 h",
        "",
        f"{SITE}/components/PU-401/",
        f"{SITE}/due/?rig=4&before=all",
    ]
    assert entry.url == f"{SITE}/components/PU-401/"


def test_a_certain_day_needs_no_odds(fetch: Fetch) -> None:
    due = make_due(fit(make_rig(4)), due_date=days(12), measure="days")
    forecast(due, stay_on=days(14), odds_due_permille=1000, odds_late_permille=0)
    (entry,) = fetch()
    assert "falls due 14 Mar\n" in entry.text
    assert "odds" not in entry.text
    forecast(due, odds_late_permille=1000)
    (entry,) = fetch()
    assert "\npast its tolerance: certain by 16 Mar\n" in entry.text


def test_what_is_due_tells_the_odds_of_its_tolerance_until_that_is_past(fetch: Fetch) -> None:
    rig = make_rig(4)
    due = make_due(fit(rig), due_date=days(-2), late_date=days(9), since=260, is_past_due=True)
    forecast(due, stay_on=days(14), odds_due_permille=1000, odds_late_permille=420)
    (entry,) = fetch()
    assert "10 h into tolerance\npast its tolerance: 42 % by 16 Mar\n" in entry.text
    forecast(due, is_past_tolerance=True, late_date=days(-1), odds_late_permille=1000)
    (entry,) = fetch()
    assert "past its tolerance:" not in entry.text


def test_a_rig_that_is_away_keeps_its_day(fetch: Fetch) -> None:
    rig = make_rig(4)
    make_due(fit(rig), due_date=days(12))
    make_booking(rig, -3, 20)
    assert titles(fetch(Choices("all", False, "none"))) == [
        "Rig 04 falls due: Pump, packing and seals"
    ]


def test_services_of_one_rig_on_one_day_are_one_entry(fetch: Fetch) -> None:
    rig, other = make_rig(4), make_rig(7)
    for kind in ("Pump", "Gun", "Heated hose"):
        make_due(fit(rig, kind), due_date=days(12))
    make_due(fit(rig, "Dryer"), due_date=days(13))
    make_due(fit(other), due_date=days(12))
    found = fetch()
    assert titles(found) == [
        "Rig 04: 3 services fall due",
        "Rig 07 falls due: Pump, packing and seals",
        "Rig 04 falls due: Dryer, packing and seals",
    ]
    assert found[0].url == f"{SITE}/due/?rig=4&before=all"
    assert found[0].text.count("falls due") == 3


def test_what_is_due_lies_on_the_day_of_the_fetch_and_moves_with_it(fetch: Fetch) -> None:
    rig = make_rig(4)
    make_overdue(fit(rig))
    make_due(fit(rig, "Gun"), due_date=days(-2), late_date=days(10), since=260, is_past_due=True)
    make_due(fit(rig, "Dryer"), due_date=days(1), late_date=days(1))
    first, then = fetch()
    assert first.title == "Rig 04: 2 services are due, 1 of them overdue"
    assert (first.first, first.last) == (TODAY, TODAY)
    assert "overdue: was due 14 Feb, 61 h past" in first.text
    assert "due: was due 28 Feb, 10 h into tolerance" in first.text
    (later,) = fetch(today=days(3))
    assert later.title == "Rig 04: 3 services are due, 2 of them overdue"
    assert later.first == days(3)
    assert later.uid == first.uid != then.uid


@pytest.mark.parametrize(
    ("values", "title", "said"),
    [
        ({"due_date": days(-16)}, "Rig 04 overdue: Pump, packing and seals", "overdue: was due"),
        (
            {"due_date": TODAY, "late_date": days(5)},
            "Rig 04 due: Pump, packing and seals",
            "falls due today",
        ),
        (
            {"due_date": days(-1), "late_date": days(5)},
            "Rig 04 due: Pump, packing and seals",
            "due: was due about 1 Mar, by its usual use",
        ),
    ],
)
def test_a_single_service_says_how_it_stands(
    fetch: Fetch, values: dict[str, Any], title: str, said: str
) -> None:
    make_due(fit(make_rig(4)), **values)
    (entry,) = fetch()
    assert entry.title == title
    assert said in entry.text


def test_all_overdue_of_a_rig_say_so(fetch: Fetch) -> None:
    rig = make_rig(4)
    make_overdue(fit(rig))
    make_overdue(fit(rig, "Gun"))
    assert titles(fetch()) == ["Rig 04: 2 services are overdue"]


def test_a_day_is_named_by_the_same_name_at_each_fetch(fetch: Fetch, technician: Person) -> None:
    rig = make_rig(4)
    make_due(fit(rig), due_date=days(12))
    make_due(fit(rig, "Gun"), due_date=days(13))
    uids = [each.uid for each in fetch()]
    assert len(set(uids)) == 2
    assert [each.uid for each in fetch(today=days(2))] == uids
    assert set(uids).isdisjoint(each.uid for each in fetch(person=technician))


def test_it_looks_half_a_year_ahead(fetch: Fetch) -> None:
    rig = make_rig(4)
    make_due(fit(rig), due_date=days(180))
    make_due(fit(rig, "Gun"), due_date=days(181))
    make_due(fit(rig, "Dryer"))
    (entry,) = fetch()
    assert entry.first == days(180)


def test_a_smaller_service_is_left_to_the_bigger_of_the_same_time(fetch: Fetch) -> None:
    pump = fit(make_rig(4))
    before = make_due(pump, make_service(name="wet cup"), due_date=days(20))
    after = make_due(pump, make_service(name="glands"), due_date=days(40))
    make_due(pump, make_service(name="rebuild"), due_date=days(30))
    Due.objects.filter(pk__in=[before.pk, after.pk]).update(bigger_date=days(30))
    assert titles(fetch()) == [
        "Rig 04 falls due: Pump, wet cup",
        "Rig 04 falls due: Pump, rebuild",
    ]
    Due.objects.update(bigger_date=days(-1))
    assert titles(fetch(Choices("mine", False, "none")))[0] == "Rig 04 falls due: Pump, wet cup"
    assert fetch() == []


def test_put_off_says_by_whom_and_why(fetch: Fetch) -> None:
    pump = fit(make_rig(4))
    due = make_due(pump, due_date=days(20), postponed_to=days(20))
    Postponement.objects.create(
        component=pump,
        service=due.version.service,
        until=days(20),
        reason="waiting for the seal",
        author=author(),
        at=AT,
        request_id=uuid4(),
    )
    (entry,) = fetch()
    assert "put off to 22 Mar by A. Uthor: waiting for the seal" in entry.text
    assert "falls due 22 Mar\n" in entry.text


def test_an_old_figure_says_so(fetch: Fetch) -> None:
    make_due(fit(make_rig(4)), due_date=days(20), read_on=days(-23))
    (entry,) = fetch()
    assert "182 of 250 h, not read 23 d" in entry.text


def test_only_what_the_list_shows(fetch: Fetch) -> None:
    make_due(fit(make_rig(4, is_laid_up=True)), due_date=days(5))
    assert fetch() == []


def test_the_skills_of_a_person(technician: Person) -> None:
    assert set(feeds.skills_of(technician)) == {Skill.OPERATOR, Skill.TECHNICIAN}
    technician.is_electrician = True
    assert set(feeds.skills_of(technician)) == set(Skill) - {Skill.OUTSIDE}


def test_mine_are_those_i_may_do(fetch: Fetch, technician: Person) -> None:
    rig = make_rig(4)
    for day, skill in enumerate(Skill, 1):
        version = make_service(name=f"by {skill}", skill=skill)
        make_due(fit(rig), version, due_date=days(day))
    mine = Choices("mine", False, "none")
    assert titles(fetch(mine, person=technician)) == [
        "Rig 04 falls due: Pump, by operator",
        "Rig 04 falls due: Pump, by technician",
    ]
    technician.is_electrician = True
    technician.save()
    assert len(fetch(mine, person=technician)) == 3


def test_a_calendar_that_holds_no_more_says_so(
    fetch: Fetch, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(feeds, "MOST", 2)
    for number in (1, 2, 3):
        make_due(fit(make_rig(number)), due_date=days(number))
    found = fetch()
    assert titles(found)[2:] == ["More falls due from here on"]
    assert found[2].first == days(3)
    assert found[2].url == f"{SITE}/calendar/"
    Due.objects.filter(rig_number=3).delete()
    assert len(fetch()) == 2


# --- jobs, and the stays between them --------------------------------------------------------


def test_jobs_and_the_stays_between_them(fetch: Fetch) -> None:
    rig = make_rig(4)
    make_booking(rig, 2, 5, "barn, Lowfield")
    make_booking(rig, 6, 9, "loft")  # follows without a free day
    make_booking(rig, 12, 20, "roof")
    found = fetch()
    assert [(each.title, each.first, each.last) for each in found] == [
        ("Rig 04 away: barn, Lowfield", days(2), days(5)),
        ("Rig 04 away: loft", days(6), days(9)),
        ("Rig 04 away: roof", days(12), days(20)),
        ("Rig 04 in the shop", days(10), days(11)),
        ("Rig 04 comes in", days(21), days(21)),
    ]
    assert found[0].text.startswith(f"{rig} is away 4 – 7 Mar.")
    assert found[3].text.startswith(f"{rig} comes from loft.\nLeaves 14 Mar for roof.")
    assert found[0].url == f"{SITE}/rigs/4/"


def test_a_job_names_what_falls_due_on_it(fetch: Fetch, monkeypatch: pytest.MonkeyPatch) -> None:
    rig, other = make_rig(4), make_rig(7)
    make_due(fit(rig, "Gun"), due_date=days(3))
    make_due(fit(rig, "Dryer"), due_date=days(9))
    make_due(fit(other), due_date=days(3))
    make_booking(rig, 2, 5)
    (job, _) = fetch(Choices("all", True, "none"))[-2:]
    assert "Falls due while away:\nGun, packing and seals, about 5 Mar\n" in job.text
    assert "Dryer" not in job.text
    assert "Pump" not in job.text
    make_due(fit(rig, "Pump"), due_date=days(4))
    monkeypatch.setattr(feeds, "NAMED", 1)
    (job, _) = fetch(Choices("all", True, "none"))[-2:]
    assert "about 5 Mar\nand 1 more\n" in job.text


def test_a_month_of_jobs_is_looked_back_on(fetch: Fetch) -> None:
    rig = make_rig(4)
    make_booking(rig, -50, -31, "too old")
    make_booking(rig, -40, -30, "old")
    make_booking(rig, 180, 190, "far")
    make_booking(rig, 181, 190, "too far")
    make_booking(make_rig(7, is_laid_up=True), 1, 2, "laid up")
    away = [title for title in titles(fetch()) if "away" in title]
    assert away == ["Rig 04 away: old", "Rig 04 away: far"]


# --- sheets ----------------------------------------------------------------------------------


def test_open_sheets_lie_on_their_planned_day(fetch: Fetch, technician: Person) -> None:
    due = make_due(fit(make_rig(4), side="A"), due_date=days(200))
    make_sheet(
        12,
        due,
        planned_on=days(3),
        state="handed_out",
        technician=technician,
        is_waiting_for_parts=True,
    )
    make_sheet(13, planned_on=days(4), rig=due.rig, state="void", voided_by=author(), voided_at=AT)
    (entry,) = fetch()
    assert (entry.title, entry.first) == (f"Sheet 0012: rig {due.rig}", days(3))
    assert entry.text.split("\n") == [
        "planned for 5 Mar; handed out, A. Technician; waiting for parts",
        "Pump A, packing and seals",
        "",
        f"{SITE}/sheets/12/",
    ]


def test_an_open_sheet_whose_day_is_over_lies_on_today(fetch: Fetch) -> None:
    due = make_due(fit(make_rig(4)), due_date=days(200))
    make_sheet(12, due, planned_on=days(-3))
    (entry,) = fetch()
    assert entry.title == f"Sheet 0012 still open: rig {due.rig}"
    assert entry.first == TODAY
    assert entry.text.startswith("planned for 27 Feb; drafted\n")


def test_mine_are_the_sheets_handed_to_me(fetch: Fetch, technician: Person) -> None:
    rig = make_rig(4)
    make_sheet(12, rig=rig, technician=technician)
    make_sheet(13, rig=rig)
    mine = Choices("none", False, "mine")
    assert titles(fetch(mine, person=technician)) == [f"Sheet 0012: rig {rig}"]
    assert fetch(mine) == []


def test_a_sheet_for_the_bench_names_its_component(fetch: Fetch) -> None:
    pump = fit(make_rig(4))
    make_sheet(12, component=pump)
    assert titles(fetch()) == [f"Sheet 0012: {pump}"]


# --- for whom --------------------------------------------------------------------------------


@pytest.fixture
def two_rigs() -> tuple[Any, Any]:
    """Everything a calendar shows, on each of two rigs."""
    rigs = make_rig(4), make_rig(7)
    for rig in rigs:
        due = make_due(fit(rig), due_date=days(5))
        make_booking(rig, 2, 6)
        make_sheet(rig.number, due, charged_rig=rig)
    return rigs


def test_a_calendar_may_be_for_some_rigs(fetch: Fetch, two_rigs: tuple[Any, Any]) -> None:
    chosen = fetch(Choices("all", True, "all", two_rigs[1:]))
    assert len(chosen) == 4
    assert all("07" in each.title for each in chosen)
    assert len(fetch()) == 8


@pytest.mark.parametrize(
    ("choices", "kinds"),
    [
        (Choices("all", False, "none"), {"Due"}),
        (Choices("none", True, "none"), {"Jobs"}),
        (Choices("none", False, "all"), {"Sheets"}),
        (ALL, {"Due", "Jobs", "Sheets"}),
    ],
)
def test_a_calendar_has_what_was_chosen(
    fetch: Fetch, two_rigs: tuple[Any, Any], choices: Choices, kinds: set[str]
) -> None:
    assert {each.category for each in fetch(choices)} == kinds


@pytest.mark.parametrize(
    ("closed", "kind"), [("shop:due", "Due"), ("shop:jobs", "Jobs"), ("shop:sheets", "Sheets")]
)
def test_nobody_reads_there_what_the_pages_keep_from_them(
    fetch: Fetch,
    two_rigs: tuple[Any, Any],
    technician: Person,
    monkeypatch: pytest.MonkeyPatch,
    closed: str,
    kind: str,
) -> None:
    monkeypatch.setitem(access.ACCESS, closed, access.MANAGER)
    assert {each.category for each in fetch(person=technician)} == {"Due", "Jobs", "Sheets"} - {
        kind
    }
    assert kind in {each.category for each in fetch()}


def test_a_page_that_is_closed_to_somebody_is_not_named_to_them(
    fetch: Fetch,
    two_rigs: tuple[Any, Any],
    technician: Person,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for name in ("equipment:component", "shop:rig", "shop:sheet"):
        monkeypatch.setitem(access.ACCESS, name, access.MANAGER)
    found = fetch(person=technician)
    assert {each.url for each in found} == {
        "",
        f"{SITE}/due/?rig=4&before=all",
        f"{SITE}/due/?rig=7&before=all",
    }
    assert not any("/components/" in each.text for each in found)


def test_a_bigger_fleet_asks_the_database_no_more_often(fetch: Fetch) -> None:
    def asked() -> int:
        feed = make_feed(person=author(), key=f"{CalendarFeed.objects.count()}", choices=ALL, at=AT)
        shop = Shop.objects.get()
        with CaptureQueriesContext(connection) as queries:
            found = feeds.entries_of(feed, rigs=(), today=TODAY, shop=shop, site=SITE)
        assert {each.category for each in found} == {"Due", "Jobs", "Sheets"}
        return len(queries)

    make_fleet(2)
    few = asked()
    make_fleet(30, first=3)
    assert asked() == few <= 5


def test_no_day_is_before_the_first(fetch: Fetch) -> None:
    make_fleet(8)
    assert all(each.first <= each.last for each in fetch())
    assert all(each.last >= TODAY - timedelta(days=30) for each in fetch())
