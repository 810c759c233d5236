"""The operator's round, found work, bookings, and the command that rebuilds what is kept."""

from datetime import date, timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.management import CommandError, call_command
from django.db import IntegrityError, connection, transaction

from equipment.models import Due, Finding, JobBooking, Round, RoundItem
from equipment.services import (
    AlreadyClosed,
    AnswersRefused,
    BookingOverlaps,
    NewAnswer,
    RoundAlreadyRecorded,
    SayHow,
    book_job,
    cancel_booking,
    carry_finding,
    close_finding,
    items_for_round,
    lay_up_rig,
    missed_rounds,
    next_stay,
    open_finding,
    record_round,
)
from shop.models import Shop
from tests.equipment.factories import ZONE, SprayRig, day, service_for, spray_rig

pytestmark = pytest.mark.django_db

MONDAY = date(2026, 1, 12)


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


@pytest.fixture
def items(rig: SprayRig) -> dict[str, RoundItem]:
    pump, gun = rig.positions["pump A"].kind, rig.positions["gun"].kind
    rows = [
        ("R3", gun, "", "Clean the gun screens", "day"),
        ("R1", pump, "A", "Check the lubricant cup", "day"),
        ("R2", pump, "", "Clean the strainers", "week"),
    ]
    return {
        code: RoundItem.objects.create(code=code, kind=kind, side=side, text=text, every=every)
        for code, kind, side, text, every in rows
    }


def record(rig: SprayRig, on: date, request_id: Any = None, **answers: Any) -> Round:
    asked = items_for_round(rig=rig.rig, day=on)
    return record_round(
        rig=rig.rig,
        day=on,
        answers=[
            answers.get(item.code) or NewAnswer(item, "right")
            for item in asked
            if item.code not in answers or answers[item.code] is not None
        ],
        author=rig.author,
        at=day(7),
        request_id=request_id or uuid4(),
    )


# --- rounds -------------------------------------------------------------------------------------


def test_a_round_asks_along_the_rig_and_the_weekly_checks_once_a_week(
    rig: SprayRig, items: dict[str, RoundItem]
) -> None:
    assert [item.code for item in items_for_round(rig=rig.rig, day=MONDAY)] == ["R1", "R2", "R3"]
    record(rig, MONDAY)
    for later, expected in ((1, ["R1", "R3"]), (6, ["R1", "R3"]), (7, ["R1", "R2", "R3"])):
        asked = items_for_round(rig=rig.rig, day=MONDAY + timedelta(days=later))
        assert [item.code for item in asked] == expected


def test_a_kind_that_is_not_fitted_is_not_asked_for(
    rig: SprayRig, items: dict[str, RoundItem]
) -> None:
    items["R1"].side = "B"
    items["R1"].save()
    rig.positions["pump B"].installations.update(removed_at=day(1), removed_by=rig.author)
    assert "R1" not in [item.code for item in items_for_round(rig=rig.rig, day=MONDAY)]


def test_what_is_not_right_opens_found_work_on_the_component(
    rig: SprayRig, items: dict[str, RoundItem]
) -> None:
    made = record(rig, MONDAY, R3=NewAnswer(items["R3"], "wrong", "torn", is_grave=True))
    finding = Finding.objects.get()
    assert finding.text == "Clean the gun screens: torn"
    assert (finding.rig, finding.component) == (rig.rig, rig.components["gun"])
    assert (finding.source_kind, finding.source_number) == ("round", made.pk)
    assert list(Finding.objects.holding()) == [finding]


def test_a_round_sent_twice_counts_once_and_another_is_refused(
    rig: SprayRig, items: dict[str, RoundItem]
) -> None:
    request_id = uuid4()
    wrong = NewAnswer(items["R3"], "wrong", "torn")
    first = record(rig, MONDAY, request_id, R3=wrong)
    assert record(rig, MONDAY, request_id, R3=wrong) == first
    assert Finding.objects.count() == 1
    with pytest.raises(RoundAlreadyRecorded, match=r"recorded already, by S\. Hand"):
        record(rig, MONDAY)
    with pytest.raises(IntegrityError), transaction.atomic():
        Round.objects.create(
            rig=rig.rig, day=MONDAY, author=rig.author, recorded_at=day(7), request_id=uuid4()
        )


@pytest.mark.parametrize(
    ("jobs", "rounds", "missed"),
    [
        ([], [], []),
        ([(-3, -2)], [], [-3, -2]),
        ([(-3, 4)], [-2], [-3, -1]),
        # Today is not over, and what lies before the week is past asking.
        ([(-9, -6), (0, 2)], [], [-7, -6]),
        ([(-5, -5), (-3, -3)], [-5, -3], []),
    ],
)
def test_a_day_at_a_job_without_a_round_is_missed(
    rig: SprayRig, jobs: Any, rounds: Any, missed: Any
) -> None:
    today = MONDAY + timedelta(days=20)

    def on(days: int) -> date:
        return today + timedelta(days=days)

    for first, last in jobs:
        JobBooking.objects.create(
            rig=rig.rig, job="loft", first_day=on(first), last_day=on(last), author=rig.author
        )
    for each in rounds:
        record(rig, on(each))

    found = missed_rounds([rig.rig], today=today, zone=ZONE)

    assert found == ({rig.rig.pk: [on(each) for each in missed]} if missed else {})


def test_no_round_is_missed_before_the_rig_was_there(rig: SprayRig) -> None:
    first = rig.rig.created_at.astimezone(ZONE).date()
    JobBooking.objects.create(
        rig=rig.rig,
        job="loft",
        first_day=first - timedelta(days=3),
        last_day=first + timedelta(days=1),
        author=rig.author,
    )

    found = missed_rounds([rig.rig], today=first + timedelta(days=1), zone=ZONE)

    assert found == {rig.rig.pk: [first]}


def test_a_round_with_gaps_is_refused_check_by_check(
    rig: SprayRig, items: dict[str, RoundItem]
) -> None:
    with pytest.raises(AnswersRefused) as caught:
        record(rig, MONDAY, R1=None, R3=NewAnswer(items["R3"], "wrong", "  "))
    assert set(caught.value.errors) == {items["R1"].pk, items["R3"].pk}
    assert not Round.objects.exists()


# --- found work ---------------------------------------------------------------------------------


def find(rig: SprayRig, /, **fields: Any) -> Finding:
    return open_finding(
        **{
            "rig": rig.rig,
            "text": "Oil under the hydraulic unit",
            "author": rig.author,
            "at": day(1),
            "request_id": uuid4(),
            **fields,
        }
    )


def test_found_work_sent_twice_is_one(rig: SprayRig) -> None:
    request_id = uuid4()
    assert find(rig, request_id=request_id) == find(rig, request_id=request_id)
    assert find(rig) != find(rig, request_id=request_id)
    assert Finding.objects.count() == 2


@pytest.mark.parametrize("fields", [{"text": " "}, {"rig": None}])
def test_found_work_says_what_and_where(rig: SprayRig, fields: dict[str, Any]) -> None:
    with pytest.raises(ValidationError):
        find(rig, **fields)
    assert not Finding.objects.exists()


def test_grave_found_work_holds_the_rig_until_it_is_closed(rig: SprayRig) -> None:
    finding = find(rig, is_grave=True)
    assert Finding.objects.holding().exists()
    with pytest.raises(SayHow):
        close_finding(finding=finding, author=rig.author, at=day(2), closing=" ")
    assert carry_finding(finding=finding).times_carried == 1
    close_finding(finding=finding, author=rig.author, at=day(2), closing="fitting tightened")
    assert not Finding.objects.holding().exists()
    with pytest.raises(AlreadyClosed):
        close_finding(finding=finding, author=rig.author, at=day(3), closing="again")
    with pytest.raises(AlreadyClosed):
        carry_finding(finding=finding)


# --- bookings -----------------------------------------------------------------------------------


def book(rig: SprayRig, first: int, last: int, job: str = "Barn roof") -> JobBooking:
    return book_job(
        rig=rig.rig,
        job=job,
        first_day=MONDAY + timedelta(days=first),
        last_day=MONDAY + timedelta(days=last),
        author=rig.author,
        today=MONDAY,
        zone=ZONE,
    )


def test_the_next_stay_is_the_first_day_without_a_job(rig: SprayRig) -> None:
    assert next_stay(rig=rig.rig, today=MONDAY) == MONDAY
    book(rig, 1, 3)
    assert next_stay(rig=rig.rig, today=MONDAY) == MONDAY
    book(rig, 4, 5, "Shed")
    assert next_stay(rig=rig.rig, today=MONDAY + timedelta(days=2)) == MONDAY + timedelta(days=6)
    laid_up = lay_up_rig(rig=rig.rig, today=MONDAY, zone=ZONE)
    assert next_stay(rig=laid_up, today=MONDAY) is None


def test_a_rig_is_at_one_job_at_a_time(rig: SprayRig) -> None:
    first = book(rig, 1, 3)
    assert book(rig, 1, 3) == first
    with pytest.raises(BookingOverlaps, match="“Barn roof” from 13 Jan to 15 Jan"):
        book(rig, 3, 4, "Shed")
    with pytest.raises(ValidationError):
        book(rig, 9, 8)
    cancel_booking(booking=first, today=MONDAY, zone=ZONE)
    assert book(rig, 3, 4, "Shed")


# --- the command --------------------------------------------------------------------------------


def test_the_command_puts_right_what_differs_and_says_how_much(
    rig: SprayRig, shop: Shop, capsys: pytest.CaptureFixture[str]
) -> None:
    service_for(rig.pump("A"), ("strokes", 10_000))
    rig.read(day(10), a=1000)
    call_command("rebuild_due")
    assert "agree with what was entered" in capsys.readouterr().out
    with connection.cursor() as cursor:
        cursor.execute("UPDATE equipment_due SET since = 7")
        cursor.execute("DELETE FROM equipment_wear WHERE measure = 'gallons'")
    call_command("rebuild_due")
    # Two due rows, and the gallons of two pumps and the gun.
    assert capsys.readouterr().out.startswith("5 of ")
    assert Due.objects.get(component=rig.pump("A")).since == 1000


def test_the_command_needs_a_shop(db: None) -> None:
    with pytest.raises(CommandError, match="no shop yet"):
        call_command("rebuild_due")
