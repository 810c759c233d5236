"""The words of the due list are asked of the database and of a row: the same answer, every day."""

from datetime import date, timedelta
from itertools import product

import pytest

from equipment import due
from equipment.caldates import FAR_DATE
from equipment.models import Due
from tests.equipment.factories import START, PumpFactory, ServiceVersionFactory

pytestmark = pytest.mark.django_db

TODAY = date(2026, 3, 2)
WARNING_DAYS = 14


def test_the_words_in_the_query_are_those_of_the_row() -> None:
    pump = PumpFactory()
    near = [TODAY + timedelta(days=each) for each in (-30, -1, 0, 1, 13, 14, 15)]
    grid = [
        (first, late, is_due, is_over)
        for first, late, is_due, is_over in product(
            [*near, FAR_DATE], [*near, FAR_DATE], (False, True), (False, True)
        )
        if late >= first and (is_due or not is_over)
    ]
    Due.objects.bulk_create(
        Due(
            component=pump,
            version=ServiceVersionFactory(),
            kind=pump.type.kind,
            skill="technician",
            measure="hours",
            interval=100,
            read_on=TODAY,
            renewed_at=START,
            due_date=first,
            late_date=late,
            is_past_due=is_due,
            is_past_tolerance=is_over,
        )
        for first, late, is_due, is_over in grid
    )
    for today in (TODAY - timedelta(days=1), TODAY, TODAY + timedelta(days=14)):
        words = {
            row.pk: row.state(today=today, warning_days=WARNING_DAYS) for row in Due.objects.all()
        }
        assert set(words.values()) == {due.OVERDUE, due.DUE, due.SOON, due.CLEAR}

        def of(*wanted: str, words: dict[int, str] = words) -> set[int]:
            return {pk for pk, word in words.items() if word in wanted}

        def found(rows: object) -> set[int]:
            return set(rows.values_list("pk", flat=True))  # type: ignore[attr-defined]

        assert found(Due.objects.overdue(today)) == of(due.OVERDUE)
        assert found(Due.objects.due(today)) == of(due.OVERDUE, due.DUE)
        assert found(Due.objects.by(today, WARNING_DAYS)) == of(due.OVERDUE, due.DUE, due.SOON)


def test_the_due_list_is_one_query_for_any_number_of_rows(
    django_assert_num_queries: object,
) -> None:
    for _ in range(3):
        pump = PumpFactory()
        Due.objects.create(
            component=pump,
            version=ServiceVersionFactory(),
            kind=pump.type.kind,
            skill="technician",
            measure="hours",
            interval=100,
            read_on=TODAY,
            renewed_at=START,
            is_listed=True,
        )
    with django_assert_num_queries(1):  # type: ignore[operator]
        assert len([f"{row}" for row in Due.objects.for_due_list()]) == 3
