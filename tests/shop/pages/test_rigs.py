"""The rigs: the list with what keeps each from leaving, and the page of one."""

import re
from datetime import date, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import JobBooking, Round
from inventory.models import Part
from shop import rigview, whereabouts, words
from shop.models import Shop
from tests.shop.pages import world
from tests.shop.pages.test_due import queries_of, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _on_that_day(shop: Shop, time_machine: Any) -> None:
    time_machine.move_to(world.AT, tick=False)


@pytest.fixture
def client(client_as: Any) -> Client:
    return client_as("manager")


def names_of(response: Any) -> list[str]:
    return [row.record.name for row in response.context["table"].paginated_rows]


# --- where a rig is ----------------------------------------------------------------------------


def place(*spans: tuple[int, int]) -> whereabouts.Whereabouts:
    rows = [
        JobBooking(job=f"job {n}", first_day=world.days(first), last_day=world.days(last))
        for n, (first, last) in enumerate(spans)
    ]
    return whereabouts.whereabouts(rows, today=world.TODAY)


@pytest.mark.parametrize(
    ("spans", "where", "then", "stay"),
    [
        ([], "in the shop", "", ""),
        ([(-9, -1)], "in the shop", "", ""),
        ([(-2, 0)], "away at job 0 to Mon 2 Mar", "", "Tue 3 Mar"),
        ([(0, 0)], "away at job 0 to Mon 2 Mar", "", "Tue 3 Mar"),
        ([(5, 8)], "in the shop to Fri 6 Mar", "7 Mar – 10 Mar", "Wed 11 Mar"),
        ([(1, 1)], "in the shop to Mon 2 Mar", "3 Mar", "Wed 4 Mar"),
        # Two jobs without a free day between them are one absence.
        ([(3, 4), (-2, 2)], "away at job 1 to Wed 4 Mar", "5 Mar – 6 Mar", "Sat 7 Mar"),
        ([(-2, 2), (4, 9)], "away at job 0 to Wed 4 Mar", "6 Mar – 11 Mar", "Thu 5 Mar"),
    ],
)
def test_where_a_rig_is(spans: list[tuple[int, int]], where: str, then: str, stay: str) -> None:
    found = place(*spans)

    assert (found.where_text(), found.then_text(), found.stay_text()) == (where, then, stay)


def test_a_rig_comes_in_by_the_day_after_its_job() -> None:
    away = place((-2, 3))

    assert not away.comes_by(world.days(3))
    assert away.comes_by(world.days(4))
    assert place((2, 3)).comes_by(world.days(0))


# --- the list ----------------------------------------------------------------------------------


def test_each_rig_says_whether_it_is_ready_and_why_not(client: Client) -> None:
    ready, soon, held, up = (world.make_rig(n, name=f"R{n}") for n in (1, 2, 3, 4))
    for rig in (ready, soon, held, up):
        world.make_counter(rig)
    world.make_due(world.fit(ready), due_date=world.days(15))
    gun = world.fit(soon, "Gun")
    world.make_due(gun, world.make_service("Gun", "full rebuild"), due_date=world.days(10))
    world.make_due(gun, world.make_service("Gun", "side seals"), due_date=world.days(12))
    world.make_finding(held, "hose split", is_grave=True)
    up.is_laid_up = True
    up.save()

    page = client.get("/rigs/").content.decode()
    rows = [re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", row)) for row in page.split("<tr")[2:]]

    assert "ready" in rows[0]
    assert "due soon" in rows[1]
    assert "ready with: Gun, full rebuild (about 12 Mar); Gun, side seals (about 14 Mar)" in rows[1]
    assert "held hose split" in rows[2]
    assert "laid up" in rows[3]


def test_found_work_on_what_is_fitted_holds_its_rig(client: Client) -> None:
    rig = world.make_rig(1)
    hose = world.fit(rig, "Heated hose")
    finding = world.make_finding(rig, "burst", is_grave=True, component=hose)
    finding.rig = None
    finding.save()

    assert rigview.holds([rig]) == {rig.pk: [finding]}
    assert "burst" in text_of(client.get("/rigs/1/"))
    assert names_of(client.get("/rigs/?show=held")) == [rig.name]


def test_found_work_that_is_closed_or_not_grave_holds_nothing(client: Client) -> None:
    rig = world.make_rig(1)
    world.make_finding(rig, "scuffed")
    world.make_finding(rig, "mended", is_grave=True, closed_at=world.AT, closed_by=world.author())

    assert rigview.holds([rig]) == {}
    assert "must not leave" not in text_of(client.get("/rigs/1/"))


@pytest.mark.parametrize(
    ("read_days_ago", "words"),
    [(0, "today"), (14, "16 Feb"), (15, "not read 15 d"), (None, "never read")],
)
def test_a_rig_unread_for_too_long_says_so(
    client: Client, read_days_ago: int | None, words: str
) -> None:
    world.make_counter(world.make_rig(1), read_days_ago=read_days_ago)

    assert words in text_of(client.get("/rigs/"))


@pytest.mark.parametrize(
    ("query", "names"),
    [
        ("q=kes", ["Kestrel"]),
        ("q=04", ["Kestrel"]),
        ("q=TRAILER", ["Wren", "Kestrel"]),
        ("q=trailer+wren", ["Wren"]),
        ("q=БОЛЬШОЙ", ["Большой"]),
        ("q=nothing", []),
        ("show=laid_up", ["Большой"]),
        ("show=overdue", ["Wren"]),
        ("sort=-number", ["Большой", "Kestrel", "Wren"]),
        ("sort=name", ["Kestrel", "Wren", "Большой"]),
        ("sort=readiness", ["Wren", "Kestrel", "Большой"]),
        ("sort=-read", ["Kestrel", "Wren", "Большой"]),
    ],
)
def test_finding_and_sorting(client: Client, query: str, names: list[str]) -> None:
    wren = world.make_rig(2, name="Wren", description="16 ft trailer")
    kestrel = world.make_rig(4, name="Kestrel", description="20 ft Trailer")
    world.make_rig(112, name="Большой", is_laid_up=True)
    world.make_overdue(world.fit(wren))
    world.make_due(world.fit(kestrel), due_date=world.days(5))
    world.make_counter(wren, read_days_ago=3)
    world.make_counter(kestrel, read_days_ago=1)

    assert names_of(client.get(f"/rigs/?{query}")) == names


def test_an_empty_fleet_says_what_comes_first(client: Client, client_as: Any) -> None:
    assert "No rig is entered yet." in text_of(client.get("/rigs/"))
    assert "The manager adds them" in text_of(client_as("technician").get("/rigs/"))


def test_as_many_queries_at_thirty_rigs_as_at_three(client: Client) -> None:
    world.make_fleet(3)
    few = queries_of(client, "/rigs/")

    world.make_fleet(27, first=4)

    assert len(queries_of(client, "/rigs/")) == len(few)


# --- the page of one ---------------------------------------------------------------------------


@pytest.fixture
def kestrel() -> Any:
    rig = world.make_rig(4, name="Kestrel", description="20 ft trailer")
    world.make_due(
        world.fit(rig, "Generator"),
        world.make_service("Generator", "oil and filter"),
        due_date=world.days(18),
    )
    world.make_overdue(world.fit(rig, "Pump", "A"), world.make_service("Pump", "packing and seals"))
    return rig


def test_the_page_says_where_the_rig_is_and_when_it_was_read(client: Client, kestrel: Any) -> None:
    world.make_booking(kestrel, 5, 16, "three-week job")
    world.make_counter(kestrel, read_days_ago=0)

    response = client.get("/rigs/4/")

    cells = {cell[0]: str(cell[1]) for cell in response.context["cells"]}
    assert cells["Where"] == "In the shop to Fri 6 Mar"
    assert cells["Then away"] == "7 Mar – 18 Mar"
    assert cells["Next stay"] == "Thu 19 Mar"
    assert cells["Last read"] == '<span class="written nobreak">today 09:00</span>'
    assert "three-week job" in text_of(response)


def test_the_strip_stands_in_flow_order_and_says_its_figures(client: Client, kestrel: Any) -> None:
    world.make_kind("Dryer")
    kestrel.positions.create(order=3, kind=world.make_kind("Dryer"))

    response = client.get("/rigs/4/")

    strip = response.context["positions"]
    assert [(p.order, p.name, p.side, p.fitted) for p in strip] == [
        (1, "Generator", "", True),
        (2, "Pump", "A", True),
        (3, "Dryer", "", False),
    ]
    assert strip[0].tape.title == (
        "Generator, oil and filter: 182 of 250 hours since 22 Nov 2025; falls due about 20 Mar."
    )
    assert strip[0].date_text == "about 20 Mar"
    assert (strip[1].state, strip[1].band_text) == ("overdue", "61 h past")
    assert strip[1].at_text == "was due at 250 hours"
    text = text_of(response)
    assert "nothing fitted" in text
    assert "182 of 250 h" in text


def test_the_first_to_fall_hangs_on_the_strip_and_the_table_has_all(
    client: Client, kestrel: Any
) -> None:
    gun = world.fit(kestrel, "Gun")
    late = world.make_due(gun, world.make_service("Gun", "rebuild"), due_date=world.days(60))
    first = world.make_due(gun, world.make_service("Gun", "O-rings"), due_date=world.days(3))

    response = client.get("/rigs/4/")

    assert response.context["positions"][2].service == "O-rings"
    near = [row["due"] for row in response.context["near"]]
    later = [row["due"] for row in response.context["later"]]
    assert near[0].version.service.name == "packing and seals"
    assert first in near
    assert late in later


def test_included_services_are_notches_of_the_larger(kestrel: Any) -> None:
    """Of 5,000 gal 4,310 are used; every 500, last at 4,000: the next would come at 4,500."""
    gun = world.fit(kestrel, "Gun")
    big = world.make_due(
        gun, world.make_service("Gun", "rebuild"), since=4310, interval=5000, measure="gallons"
    )
    often = world.make_due(
        gun, world.make_service("Gun", "O-rings"), since=310, interval=500, measure="gallons"
    )

    apart = rigview.tape_of(big, today=world.TODAY, warning_days=14, beside=[big, often])
    big.version.includes.add(often.version.service)
    tape = rigview.tape_of(big, today=world.TODAY, warning_days=14, beside=[big, often])

    assert apart.notches == ()
    assert tape.notches == ((4000.0, True), (4500.0, False))


def test_a_component_never_read_has_a_tape_that_says_so(kestrel: Any) -> None:
    due = world.make_due(world.fit(kestrel, "Gun"), since=0, rate_per_day=None)

    assert rigview.tape_of(due, today=world.TODAY, warning_days=14).life is None


def test_the_hold_stands_on_top_of_the_page(client: Client, kestrel: Any) -> None:
    world.make_finding(kestrel, "separator passes oil", is_grave=True)

    page = client.get("/rigs/4/").content.decode()

    assert "Held: the rig must not leave" in page
    assert page.index("separator passes oil") < page.index("<h1>")


def test_twin_without_grave_work_there_is_no_hold(client: Client, kestrel: Any) -> None:
    world.make_finding(kestrel, "separator passes oil", is_grave=False)

    page = client.get("/rigs/4/").content.decode()

    assert "Held:" not in page
    assert "separator passes oil" in page


def test_rounds_of_the_last_days_and_those_missed(
    client: Client, kestrel: Any, technician: Any
) -> None:
    """Away on the last three days and today; a round on the day before yesterday."""
    kestrel.created_at = world.AT - timedelta(days=90)
    kestrel.save()
    world.make_booking(kestrel, -3, 2)
    Round.objects.create(
        rig=kestrel, day=world.days(-2), author=technician, recorded_at=world.AT, request_id=uuid4()
    )

    text = text_of(client.get("/rigs/4/"))

    assert "Sat 28 Feb done, A. Technician" in text
    assert "Sun 1 Mar missed , at a job" in text
    assert "Fri 27 Feb missed , at a job" in text
    assert "Mon 2 Mar not done yet" in text
    assert "Thu 26 Feb" not in text
    assert "Rounds missed: 27 Feb and 1 Mar : the rig was at a job." in text


def test_the_drawer_and_the_open_sheets(client: Client, kestrel: Any) -> None:
    drawer = world.make_drawer(kestrel)
    kit: Part = world.make_part("GK-1", name="gun kit")
    world.stock(kit, 1, drawer, expires_on=date(2028, 3, 31))
    world.stock(world.make_part("SS-1", name="side seals"), 2, drawer, expires_on=world.days(-1))
    world.make_sheet(412, kestrel.due_rows.first())

    text = text_of(client.get("/rigs/4/"))

    assert "gun kit 1 piece use by 31 Mar 2028" in text
    assert "side seals 2 pieces use by 1 Mar, past it" in text
    assert "Sheet 0412" in text
    assert "on sheet 0412" in text


def test_counters_show_what_was_read_and_when(client: Client, kestrel: Any) -> None:
    world.make_counter(kestrel, last_value="1182.400")
    world.make_counter(kestrel, name="Pump A", counts="strokes", read_days_ago=None)
    world.make_counter(
        kestrel, name="Heater", read_days_ago=2, last_is_day_only=True, last_value="7"
    )

    text = text_of(client.get("/rigs/4/"))

    assert "Rig hours 1,182.4 h read 1 Mar 09:00" in text
    assert "Pump A no reading yet" in text
    assert "Heater 7 h read 28 Feb " in text


def test_a_sheet_drafted_from_here_takes_what_is_due_and_on_no_sheet(
    client: Client, kestrel: Any
) -> None:
    taken = world.make_due(world.fit(kestrel, "Gun"), due_date=world.days(2))
    soon = world.make_due(world.fit(kestrel, "Dryer"), due_date=world.days(3))
    world.make_sheet(412, taken)

    picks = client.get("/rigs/4/").context["picks"]

    overdue = kestrel.due_rows.get(is_past_tolerance=True)
    assert picks == [overdue.pk, soon.pk]


@pytest.mark.parametrize(
    ("role", "may", "may_not"),
    [
        ("manager", ["Draft a sheet"], []),
        ("technician", [], ["Draft a sheet"]),
        ("owner", [], ["Draft a sheet", "Take a reading"]),
    ],
)
def test_buttons_are_for_those_who_may(
    client_as: Any, kestrel: Any, role: str, may: list[str], may_not: list[str]
) -> None:
    text = text_of(client_as(role).get("/rigs/4/"))

    for said in may:
        assert said in text
    for said in may_not:
        assert said not in text


def test_a_bare_rig_and_one_laid_up(client: Client) -> None:
    world.make_rig(1)
    up = world.make_rig(2, is_laid_up=True)
    world.make_overdue(world.fit(up))

    assert "Nothing is fitted in this rig yet." in text_of(client.get("/rigs/1/"))
    response = client.get("/rigs/2/")
    assert {cell[0]: cell[1] for cell in response.context["cells"]}["Where"] == "Laid up"
    assert response.context["positions"][0].state == "overdue"


def test_a_number_that_no_rig_has(client: Client) -> None:
    assert client.get("/rigs/77/").status_code == 404


def test_a_longer_rig_costs_no_more_queries(client: Client, kestrel: Any) -> None:
    world.make_finding(kestrel)
    few = queries_of(client, "/rigs/4/")

    for _ in range(14):
        component = world.fit(kestrel, "Gun")
        world.make_due(component, due_date=world.days(40))
        world.make_finding(kestrel, component=component)

    with CaptureQueriesContext(connection) as many:
        assert client.get("/rigs/4/").status_code == 200
    assert len(many) == len(few)


def test_a_tape_ends_where_a_date_is_unknown() -> None:
    rig = world.make_rig(4)
    due = world.make_due(world.fit(rig), rate_per_day=None, since=20)

    position = rigview.strip_of(
        rigview.positions_of(rig, today=world.TODAY),
        today=world.TODAY,
        warning_days=14,
        unread_days=14,
        next_stay=world.TODAY + timedelta(days=3),
        href=lambda component: "",
    )[0]

    assert position.tape is not None
    assert position.tape.due_in_days is None
    assert (position.state, position.date_text) == ("none", "no date yet")
    assert due.since == 20


def test_what_is_overdue_by_the_calendar_stands_before_what_is_due_by_its_reading() -> None:
    rig = world.make_rig(4)
    by_reading = world.make_due(
        world.fit(rig), due_date=world.days(-30), late_date=world.days(9), is_past_due=True
    )
    by_calendar = world.make_due(
        world.fit(rig), due_date=world.days(-20), late_date=world.days(-2), measure="days"
    )
    later = world.make_due(world.fit(rig), due_date=world.days(3))

    ordered = rigview.first_to_fall([later, by_reading, by_calendar], today=world.TODAY)

    assert ordered == [by_calendar, by_reading, later]


@pytest.mark.parametrize(
    ("since", "late", "is_past_due", "date_said", "note"),
    [
        # Not read far enough to be due: the date is a forecast, however long ago it was.
        (182, 9, False, "about 20 Feb", "by its usual use"),
        (256, 9, True, "20 Feb", "6 h into tolerance"),
        (Decimal("252.69"), 9, True, "20 Feb", "2.7 h into tolerance"),
        (Decimal("250.04"), 9, True, "20 Feb", ""),
        # 275 h is the end of tolerance: the reading has not got there, its usual use has.
        (256, -1, True, "20 Feb", "past tolerance since about 1 Mar"),
    ],
)
def test_a_due_date_says_whether_it_was_read_or_reckoned(
    since: Any, late: int, is_past_due: bool, date_said: str, note: str
) -> None:
    due = world.make_due(
        world.fit(world.make_rig(4)),
        since=since,
        due_date=world.days(-10),
        late_date=world.days(late),
        is_past_due=is_past_due,
    )

    assert words.date_text(due, today=world.TODAY) == date_said
    assert words.date_note(due, today=world.TODAY) == note
