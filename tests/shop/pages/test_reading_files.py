"""The readings of a rig taken away as a file."""

import csv
from collections.abc import Callable
from decimal import Decimal
from io import BytesIO, StringIO
from uuid import uuid4

import pytest
from django.http import HttpResponse
from django.test import Client
from openpyxl import load_workbook

from equipment.models import Reading
from equipment.services import NewReading, create_counter, reverse_reading
from shop.models import Role
from tests.equipment.factories import START, ZONE, SprayRig, day, spray_rig

pytestmark = pytest.mark.django_db


@pytest.fixture
def spray(db: None) -> SprayRig:
    made = spray_rig(number=4)
    made.read(day(1), hours=8, a=1_000)
    made.read(day(2), a=NewReading(made.counters["a"], Decimal(50), "reset"))
    wrong = made.read(day(3), hours=50)[0]
    reverse_reading(
        reading=wrong,
        author=made.author,
        at=day(4),
        reason="=9 was meant",
        request_id=uuid4(),
        zone=ZONE,
    )
    return made


@pytest.fixture
def client(client_as: Callable[..., Client]) -> Client:
    return client_as(Role.OWNER)


def rows_of(answer: HttpResponse) -> list[dict[str, str]]:
    text = b"".join(answer.streaming_content).decode("utf-8-sig")  # type: ignore[attr-defined]
    return list(csv.DictReader(StringIO(text)))


def test_says_source_author_total_and_at_least(spray: SprayRig, client: Client) -> None:
    answer = client.get("/rigs/4/readings.csv")
    assert answer["Content-Disposition"] == 'attachment; filename="readings-rig-04.csv"'
    rows = rows_of(answer)
    assert len(rows) == 4
    reset = rows[2]
    assert (reset["Counter"], reset["Day"], reset["Time"]) == ("A strokes", "2026-01-07", "06:00")
    assert (reset["Shows"], reset["Unit"]) == ("50.000", "strokes")
    assert (reset["What happened"], reset["Counted in all"], reset["At least"]) == (
        "was reset",
        "1050.000",
        "yes",
    )
    assert (reset["Source"], reset["Author"]) == ("a person", spray.author.name)
    assert rows[0]["At least"] == ""


def test_one_taken_back_is_there_and_says_why_and_no_formula(
    spray: SprayRig, client: Client
) -> None:
    wrong = rows_of(client.get("/rigs/4/readings.csv"))[3]
    assert (wrong["Shows"], wrong["Taken back"]) == ("50.000", "yes")
    assert (wrong["Counted in all"], wrong["Note"]) == ("", "'=9 was meant")


def test_only_of_this_rig_and_what_sits_in_it(spray: SprayRig, client: Client) -> None:
    other = spray_rig(number=5)
    other.read(day(1), hours=1)
    meter = create_counter(
        component=spray.pump("A"), name="Meter", counts="gallons", side="A", started_at=START,
        zone=ZONE,
    )  # fmt: skip
    spray.read(day(5), meter=NewReading(meter, Decimal(12)))
    rows = rows_of(client.get("/rigs/4/readings.csv"))
    assert len(rows) == 5
    assert (rows[4]["Counter"], rows[4]["Travels with"]) == ("Meter", "4-pump A")


def test_as_a_workbook_with_numbers_as_numbers(spray: SprayRig, client: Client) -> None:
    sheet = load_workbook(BytesIO(client.get("/rigs/4/readings.xlsx").content)).active
    assert sheet is not None
    assert [cell.value for cell in sheet[2]][:2] == ["04 Trailer 4", "Generator hours"]
    assert sheet[2][5].value == 8


def test_another_kind_and_another_rig(spray: SprayRig, client: Client) -> None:
    assert client.get("/rigs/4/readings.pdf").status_code == 404
    assert client.get("/rigs/77/readings.csv").status_code == 404


def test_takes_the_same_queries_however_many(
    spray: SprayRig, client: Client, django_assert_max_num_queries: Callable[..., object]
) -> None:
    for number in range(5, 25):
        spray.read(day(number), hours=number * 5)
    assert Reading.objects.count() > 20
    with django_assert_max_num_queries(5):  # type: ignore[attr-defined]
        rows_of(client.get("/rigs/4/readings.csv"))
