"""Spend: every cent of the ledger on one rig or on shop stock, its sheets, and the gallons."""

from collections.abc import Callable
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.db.models import Sum
from django.test import Client
from django.test.utils import CaptureQueriesContext

from equipment.models import Component, Rig
from equipment.services import exchange_component
from equipment.services.gallons import gallons_sprayed
from inventory.models import Location, Movement, Part
from inventory.services import IssueLine, issue, put_back, reverse
from shop import periods, spendwords
from shop.models import Person, ServiceSheet, Shop
from shop.periods import Period
from shop.services.spend import (
    RigSpend,
    has_books_on,
    sheets_behind,
    shelf_value,
    spend_per_rig,
)
from tests.equipment.factories import ZONE, day, shelf_component, spray_rig
from tests.inventory.factories import BinFactory, PartFactory, received

pytestmark = pytest.mark.django_db

SINCE, UNTIL = day(0), day(400)


class Books:
    """Rigs, a shelf, and sheets that used this and that."""

    def __init__(self, author: Person) -> None:
        self.author = author
        self.bin = BinFactory()
        self.part = PartFactory(number="S-01", steps_per_unit=10)
        self.other = PartFactory(number="S-02")
        received(self.part, self.bin, 1000, 33_333, at=day(0))
        received(self.other, self.bin, 100, 7_001, at=day(0))
        self.numbers = 0

    def used(
        self,
        rig: Rig | None,
        steps: int,
        *,
        part: Part | None = None,
        at: datetime | None = None,
        component: Component | None = None,
    ) -> ServiceSheet:
        """A signed sheet that used so much, charged to the rig or to shop stock."""
        self.numbers += 1
        at = at or day(20)
        sheet = ServiceSheet.objects.create(
            number=self.numbers,
            rig=None if component else rig,
            component=component,
            charged_rig=rig,
            state="signed",
            signed_by=self.author,
            signed_at=at,
            planned_on=at.date(),
            drafted_by=self.author,
            drafted_at=at,
            request_id=uuid4(),
        )
        issue(
            lines=[IssueLine(part or self.part, self.bin, steps)],
            source_kind="sheet",
            source_number=sheet.number,
            **self.hand(at),
        )
        return sheet

    def hand(self, at: datetime) -> dict[str, Any]:
        return {"author": self.author, "at": at, "request_id": uuid4()}


@pytest.fixture
def books(manager: Person) -> Books:
    return Books(manager)


def rig(number: int) -> Rig:
    return Rig.objects.create(number=number, name=f"Rig {number}", created_at=day(0))


def by_rig(since: datetime = SINCE, until: datetime = UNTIL) -> dict[int, int]:
    """Cents by rig number; 0: shop stock."""
    spends = spend_per_rig(since=since, until=until)
    return {each.rig.number if each.rig else 0: each.cents for each in spends}


def in_ledger() -> int:
    total = Movement.objects.filter(source_kind="sheet").aggregate(total=Sum("value_cents"))
    return -total["total"]


def test_every_cent_is_on_a_rig_or_on_shop_stock(books: Books, manager: Person) -> None:
    """Seven odd quantities of a lot whose cents do not divide, one put back, one reversed."""
    one, two = rig(1), rig(2)
    for payer, steps in ((one, 7), (two, 13), (one, 101), (None, 3), (two, 1), (one, 77)):
        component = None
        if payer is None:
            pump = spray_rig(author=manager, number=9).components["gun"]
            component = pump
        books.used(payer, steps, component=component)
    wrong = books.used(two, 29)
    back = books.used(one, 50, part=books.other)
    put_back(
        part=books.other,
        location=books.bin,
        quantity_steps=20,
        source_kind="sheet",
        source_number=back.number,
        **books.hand(day(25)),
    )
    reverse(
        movement=Movement.objects.get(source_number=wrong.number),
        reason="wrong sheet",
        **books.hand(day(26)),
    )
    spends = spend_per_rig(since=SINCE, until=UNTIL)
    assert sum(each.cents for each in spends) == in_ledger()
    for each in spends:
        behind = sheets_behind(rig=each.rig, since=SINCE, until=UNTIL)
        assert sum(sheet.cents for sheet in behind) == each.cents
        assert sum(line.cents for sheet in behind for line in sheet.lines) == each.cents
    assert by_rig()[0] == 100  # 3 of 1000 steps of a lot of 33,333 cents: 99.999, rounded
    # 30 of 100 pieces of 7,001 cents were kept: 50 cost 3,501 (3,500.5 up), 20 of 50 came back
    # at 1,400 (3,501 × 20 / 50 = 1,400.4).
    assert [(line.steps, line.cents) for line in _lines(one, back)] == [(30, 3501 - 1400)]
    assert _lines(two, wrong) == ()


def _lines(payer: Rig, sheet: ServiceSheet) -> tuple[Any, ...]:
    behind = sheets_behind(rig=payer, since=SINCE, until=UNTIL)
    return next((each.lines for each in behind if each.sheet == sheet), ())


def test_what_was_used_by_hand_is_no_spend_of_a_rig(books: Books) -> None:
    one = rig(1)
    issue(lines=[IssueLine(books.part, books.bin, 5)], **books.hand(day(20)))
    assert by_rig() == {one.number: 0}


def test_a_period_begins_at_its_first_moment_and_ends_before_its_last(books: Books) -> None:
    one = rig(1)
    for at in (day(10), day(20), day(30)):
        books.used(one, 100, at=at)
    assert by_rig(day(10), day(30)) == {1: by_rig()[1] * 2 // 3}
    assert by_rig(day(10) + timedelta(seconds=1), day(20)) == {1: 0}


def test_spend_is_dated_by_the_movement_and_not_by_the_sheet(books: Books) -> None:
    one = rig(1)
    sheet = books.used(one, 100, at=day(10))
    put_back(
        part=books.part,
        location=books.bin,
        quantity_steps=100,
        source_kind="sheet",
        source_number=sheet.number,
        **books.hand(day(50)),
    )
    assert by_rig(day(0), day(40))[1] == -by_rig(day(40), day(60))[1] > 0


def test_the_shelf_is_worth_what_lies_in_bins_and_drawers(books: Books) -> None:
    """A lot of 33,333 cents, a tenth of it in a tray: the rest is 29,999.7, rounded to 30,000."""
    from inventory.services import TransferLine, transfer

    assert shelf_value() == 33_333 + 7_001
    tray = BinFactory(kind=Location.Kind.TRAY)
    transfer(lines=[TransferLine(books.part, books.bin, tray, 100)], **books.hand(day(5)))
    assert shelf_value() == 30_000 + 7_001


# --- gallons ----------------------------------------------------------------------------------


def test_gallons_are_those_of_both_sides_over_the_period(manager: Person) -> None:
    """Strokes × displacement / 231 of each side, evenly between two readings.

    A: 4,000 strokes by day 10, 8,000 by day 20. Half of the second ten days: 2,000 strokes.
    """
    fleet = spray_rig(author=manager)
    fleet.read(day(10), a=4000, b=4400)
    fleet.read(day(20), a=8000, b=8800)
    moved = fleet.pump("A").type.displacement_in3
    assert moved is not None
    gallons = gallons_sprayed(rigs=[fleet.rig], since=day(10), until=day(15))[fleet.rig.pk]
    assert abs(gallons - (2000 + 2200) * moved / 231) < Decimal("0.001")
    assert gallons_sprayed(rigs=[fleet.rig], since=day(20), until=day(30)) == {fleet.rig.pk: 0}


def test_an_exchanged_pump_counts_once_with_its_own_displacement(manager: Person) -> None:
    fleet = spray_rig(author=manager)
    fleet.read(day(10), a=4000, b=0)
    spare = shelf_component(fleet.pump("A").type.kind, tag="spare")
    exchange_component(
        position=fleet.positions["pump A"],
        component_in=spare,
        at=day(10),
        author=manager,
        zone=ZONE,
    )
    fleet.read(day(20), a=8000, b=0)
    moved = spare.type.displacement_in3
    assert moved is not None
    gallons = gallons_sprayed(rigs=[fleet.rig], since=day(0), until=day(30))[fleet.rig.pk]
    assert abs(gallons - 8000 * moved / 231) < Decimal("0.001")


def test_a_reset_takes_nothing_from_the_gallons(manager: Person) -> None:
    from equipment.services import NewReading

    fleet = spray_rig(author=manager)
    fleet.read(day(10), a=4000, b=0)
    fleet.read(day(20), a=NewReading(fleet.counters["a"], Decimal(500), "reset", Decimal(4200)))
    moved = fleet.pump("A").type.displacement_in3
    assert moved is not None
    gallons = gallons_sprayed(rigs=[fleet.rig], since=day(0), until=day(30))[fleet.rig.pk]
    assert abs(gallons - 4700 * moved / 231) < Decimal("0.001")


# --- the sentence -----------------------------------------------------------------------------


def spent(number: int, cents: int, gallons: int, **went: int) -> RigSpend:
    name = f"Rig {number}"
    return RigSpend(
        Rig(pk=number, number=number, name=name), cents, Decimal(gallons), {number}, went
    )


WHEN = "In the last 12 months"


def test_the_sentence_says_what_the_figures_say() -> None:
    """$16,000 for 100,000 gal: 16.0 ¢; a year earlier $17,300 for 100,000: 17.3 ¢.

    Rig 5: $400 / 1,000 gal = 40 ¢ against $15,600 / 99,000 = 15.8: more than twice. Compressor
    $240 of the $400: 60 %. In dollars rig 1 cost more.
    """
    now = [
        spent(1, 1_560_000, 99_000, gun=1_560_000),
        spent(5, 40_000, 1_000, compressor=24_000, gun=16_000),
    ]
    before = [spent(1, 1_730_000, 100_000)]
    said = spendwords.sentence(WHEN, now, before)
    assert said.fleet == (
        "In the last 12 months parts cost 16.0 cents a gallon, down from 17.3 a year earlier."
    )
    assert said.rig is now[1]
    assert said.about == ", more than twice the rest of the fleet; most went into its compressor"
    assert said.most is now[0]


def test_the_dearest_in_all_is_named_only_where_it_is_another_rig() -> None:
    now = [spent(1, 30_000, 3_000), spent(5, 40_000, 1_000), spent(6, 20_000, 2_000)]
    said = spendwords.sentence(WHEN, [*now, RigSpend(None, 90_000)], [])
    assert (said.rig, said.most) == (now[1], None)


def test_a_comparison_with_less_than_all_its_days_says_so() -> None:
    said = spendwords.sentence(
        WHEN, [spent(1, 900, 200)], [spent(1, 800, 200)], is_all_before=False
    )
    assert said.fleet.endswith(", up from 4.0 a year earlier, as far back as the book goes.")


def test_no_cause_is_named_that_the_figures_do_not_show() -> None:
    now = [spent(1, 1_560_000, 99_000), spent(5, 40_000, 1_000, compressor=15_000, gun=14_000)]
    said = spendwords.sentence(WHEN, now, [])
    assert said.fleet == "In the last 12 months parts cost 16.0 cents a gallon."
    assert said.about == ", more than twice the rest of the fleet"


@pytest.mark.parametrize(
    ("now", "said"),
    [
        ([spent(1, 0, 500)], "No parts were used in this time."),
        ([], "No parts were used in this time."),
        (
            [spent(1, 900, 20)],
            "Parts were used; too few gallons were counted to say what a gallon costs.",
        ),
        (
            [spent(1, 900, 200), spent(2, 1000, 200)],
            "In the last 12 months parts cost 4.8 cents a gallon.",
        ),
    ],
)
def test_what_cannot_be_said_is_not_said(now: list[RigSpend], said: str) -> None:
    sentence = spendwords.sentence(WHEN, now, [])
    assert (sentence.fleet, sentence.rig, sentence.most) == (said, None, None)


@pytest.mark.parametrize(
    ("name", "first", "last", "said"),
    [
        ("12-months", date(2025, 2, 5), date(2026, 2, 4), "In the last 12 months"),
        ("this-year", date(2026, 1, 1), date(2026, 2, 4), "This year"),
        ("last-year", date(2025, 1, 1), date(2025, 12, 31), "Last year"),
        ("dates", date(2026, 1, 3), date(2026, 2, 1), "From 3 Jan to 1 Feb"),
        ("dates", date(2025, 1, 3), date(2025, 2, 1), "From 3 Jan 2025 to 1 Feb 2025"),
        ("dates", date(2025, 12, 3), date(2026, 2, 1), "From 3 Dec 2025 to 1 Feb 2026"),
    ],
)
def test_the_sentence_says_of_which_days_it_is(
    name: str, first: date, last: date, said: str
) -> None:
    assert spendwords.when_words(name, Period(first, last), today=date(2026, 2, 4)) == said


def test_the_books_begin_with_the_first_movement(books: Books) -> None:
    assert not has_books_on(date(1999, 1, 1), ZONE)
    books_begin = Movement.objects.order_by("at").values_list("at", flat=True)[0]
    first = books_begin.astimezone(ZONE).date()
    assert has_books_on(first, ZONE)
    assert not has_books_on(first - timedelta(days=1), ZONE)


# --- the days ---------------------------------------------------------------------------------


def test_periods_by_name() -> None:
    today = date(2028, 2, 29)
    assert periods.named("12-months", today=today) == Period(date(2027, 3, 1), today)
    assert periods.named("this-year", today=today) == Period(date(2028, 1, 1), today)
    assert periods.named("last-year", today=today) == Period(date(2027, 1, 1), date(2027, 12, 31))
    assert Period(date(2027, 3, 1), today).a_year_earlier() == Period(
        date(2026, 3, 1), date(2027, 2, 28)
    )


def test_a_period_is_midnight_to_midnight_in_the_shops_zone() -> None:
    """The day the clocks go forward in Chicago has 23 hours."""
    since, until = Period(date(2026, 3, 8), date(2026, 3, 8)).moments(ZoneInfo("America/Chicago"))
    assert until.timestamp() - since.timestamp() == 23 * 3600


# --- the pages --------------------------------------------------------------------------------


@pytest.fixture
def owners(client_as: Callable[..., Client]) -> Client:
    return client_as("owner")


ALL = {"period": "dates", "first": "2026-01-01", "last": "2027-12-31"}


def test_the_page_links_the_sheets_and_adds_up(owners: Client, books: Books) -> None:
    one, two = rig(1), rig(2)
    sheet = books.used(one, 100)
    books.used(two, 10)
    page = owners.get("/spend/", ALL).text
    assert 'href="/spend/1/?period=dates' in page
    assert f"${in_ledger() / 100:.2f}" in page
    page = owners.get("/spend/1/", ALL).text
    assert f'href="/sheets/{sheet.number}/"' in page
    assert f"${by_rig()[1] / 100:.2f}" in page
    assert "10.0" in page  # 100 steps of a tenth


def test_days_that_make_no_sense_are_refused_and_stay(owners: Client, shop: Shop) -> None:
    for given, said in (
        ({"first": "2026-02-01", "last": "2026-01-01"}, "The last day lies before the first."),
        ({"first": "2026-02-01"}, "Give both days"),
        ({"first": "31/31/31", "last": "2026-01-01"}, "Enter a valid date."),
        ({"first": "0001-01-01", "last": "2026-01-01"}, "Check the date."),
    ):
        for address in ("/spend/", "/spend/spend.csv"):
            answer = owners.get(address, {"period": "dates", **given})
            assert answer.status_code == 422
            assert said in answer.text
            assert given["first"] in answer.text


def test_the_file_holds_every_part_of_every_sheet(owners: Client, books: Books) -> None:
    books.used(rig(1), 100)
    books.used(
        None, 3, component=shelf_component(spray_rig(number=9).components["gun"].type.kind, tag="s")
    )
    answer = owners.get("/spend/spend.csv", ALL)
    content = b"".join(answer.streaming_content).decode("utf-8-sig")
    lines = content.splitlines()
    assert lines[0].startswith("Rig,Sheet,Signed on,Part number,Part,Quantity,Unit,")
    assert len(lines) == 3
    cents = sum(Decimal(line.rsplit(",", 1)[1]) for line in lines[1:])
    assert cents * 100 == in_ledger()
    assert owners.get("/spend/spend.exe", ALL).status_code == 404


def test_shop_stock_and_an_unknown_rig(owners: Client, books: Books) -> None:
    assert "Charged to shop stock" in owners.get("/spend/shop-stock/").text
    assert owners.get("/spend/77/").status_code == 404


def test_the_page_asks_as_often_for_thirty_rigs_as_for_three(
    owners: Client, books: Books, manager: Person
) -> None:
    def queries(address: str) -> int:
        with CaptureQueriesContext(
            connection,
        ) as asked:
            assert owners.get(address, ALL).status_code == 200
        return len(asked)

    def add(numbers: range) -> None:
        for number in numbers:
            books.used(spray_rig(author=manager, number=number).rig, 2)

    add(range(1, 4))
    owners.get("/spend/", ALL)
    few = queries("/spend/"), queries("/spend/2/")
    add(range(4, 31))
    assert (queries("/spend/"), queries("/spend/2/")) == few
