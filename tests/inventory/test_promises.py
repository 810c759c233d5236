"""Promises: whole kits first, then their lines, and the rest is short."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Location, Part, Reservation
from inventory.services import (
    IssueLine,
    KitLineSpec,
    Need,
    NothingToMove,
    ReserveResult,
    issue,
    promised_elsewhere,
    release,
    reserve,
    set_kit_lines,
)
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    kit_of,
    received,
    who_and_when,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def shelf() -> Location:
    return BinFactory(code="K-03")


@pytest.fixture
def drawer() -> Location:
    return BinFactory(drawer=True, code="04-D2")


def ask(
    needs: list[tuple[Part, int]], places: list[Location], *, sheet: int = 412
) -> ReserveResult:
    return reserve(
        needs=[Need(part, steps) for part, steps in needs],
        places=places,
        source_kind="sheet",
        source_number=sheet,
        author=PersonFactory(),
        at=AT,
    )


def held(result: ReserveResult) -> list[tuple[str, str, int, bool]]:
    return [
        (each.part.number, each.location.code, each.quantity_steps, each.as_kit)
        for each in result.held
    ]


def short(result: ReserveResult) -> list[tuple[str, int, str]]:
    return [(each.part.number, each.quantity_steps, each.for_part.number) for each in result.short]


def test_the_preferred_place_gives_first(shelf: Location, drawer: Location) -> None:
    part = PartFactory(number="PK-2")
    received(part, shelf, 5)
    received(part, drawer, 2)
    result = ask([(part, 4)], [drawer, shelf])
    assert held(result) == [("PK-2", "04-D2", 2, False), ("PK-2", "K-03", 2, False)]
    assert short(result) == []
    assert Reservation.objects.of_source("sheet", 412).count() == 2


def test_a_whole_kit_is_held_and_else_its_lines(shelf: Location, drawer: Location) -> None:
    kit, (seal, spring) = kit_of(seal=2, spring=1)
    received(kit, drawer, 1)
    received(seal, shelf, 3)
    received(spring, shelf, 9)
    result = ask([(kit, 3)], [drawer, shelf])
    assert held(result) == [
        (kit.number, "04-D2", 1, True),
        ("seal", "K-03", 3, False),
        ("spring", "K-03", 2, False),
    ]
    assert short(result) == [("seal", 1, kit.number)]
    assert {each.for_part for each in result.held} == {kit}


def test_a_kit_in_a_kit_is_held_whole_where_it_can_be(shelf: Location) -> None:
    inner, (seal,) = kit_of(seal=2)
    outer = PartFactory(kit=True, number="GK-1")
    set_kit_lines(kit=outer, lines=[KitLineSpec(inner, 2)], author=PersonFactory(), at=AT)
    received(inner, shelf, 1)
    received(seal, shelf, 1)
    result = ask([(outer, 1)], [shelf])
    assert held(result) == [(inner.number, "K-03", 1, True), ("seal", "K-03", 1, False)]
    assert short(result) == [("seal", 1, "GK-1")]


def test_a_kit_nobody_has_said_the_lines_of_is_short_itself(shelf: Location) -> None:
    kit = PartFactory(kit=True, number="GK-1")
    assert short(ask([(kit, 2)], [shelf])) == [("GK-1", 2, "GK-1")]


def test_one_part_for_two_needs_is_given_out_once(shelf: Location) -> None:
    kit, (seal,) = kit_of(seal=2)
    received(seal, shelf, 3)
    result = ask([(kit, 1), (seal, 2)], [shelf])
    assert short(result) == [("seal", 1, "seal")]
    assert Reservation.objects.get().quantity_steps == 3


def test_what_others_were_promised_is_not_free(shelf: Location) -> None:
    part = PartFactory(number="PK-2")
    received(part, shelf, 3)
    ask([(part, 2)], [shelf], sheet=411)
    result = ask([(part, 2)], [shelf], sheet=412)
    assert held(result) == [("PK-2", "K-03", 1, False)]
    assert short(result) == [("PK-2", 1, "PK-2")]
    others = promised_elsewhere(part=part, location=shelf, source_kind="sheet", source_number=412)
    assert others == 2


def test_what_has_expired_is_not_free(shelf: Location) -> None:
    part = PartFactory(number="PK-2")
    received(part, shelf, 3, expires_on=date(2026, 3, 1))
    received(part, shelf, 1, expires_on=date(2026, 3, 2))
    assert short(ask([(part, 2)], [shelf])) == [("PK-2", 1, "PK-2")]


def test_asked_again_it_replaces_what_was_promised(shelf: Location) -> None:
    part = PartFactory()
    received(part, shelf, 3)
    first = ask([(part, 3)], [shelf])
    assert ask([(part, 3)], [shelf]) == first
    ask([(part, 1)], [shelf])
    assert Reservation.objects.get().quantity_steps == 1


def test_released_it_is_free_again(shelf: Location) -> None:
    part = PartFactory()
    received(part, shelf, 3)
    ask([(part, 3)], [shelf], sheet=411)
    assert release(source_kind="sheet", source_number=411) == 1
    assert short(ask([(part, 3)], [shelf], sheet=412)) == []
    assert promised_elsewhere(part=part, location=shelf, source_kind="s", source_number=0) == 3


def test_a_promise_binds_nothing(shelf: Location) -> None:
    part = PartFactory()
    received(part, shelf, 3)
    ask([(part, 3)], [shelf])
    assert issue(lines=[IssueLine(part, shelf, 3)], **who_and_when())
    assert short(ask([(part, 1)], [shelf], sheet=413)) == [(part.number, 1, part.number)]
    assert Part.objects.with_stock(today=AT.date()).get(pk=part.pk).available_steps == -3


def test_nothing_cannot_be_promised(shelf: Location) -> None:
    with pytest.raises(NothingToMove):
        ask([(PartFactory(), 0)], [shelf])


def test_many_needs_cost_no_more_statements_than_few(shelf: Location) -> None:
    counts = []
    for size in (3, 30):
        needs = []
        for _ in range(size):
            part = PartFactory()
            received(part, shelf, 2)
            needs.append((part, 1))
        with CaptureQueriesContext(connection) as few:
            ask(needs, [shelf], sheet=size)
        counts.append(len(few))
    assert counts[0] == counts[1]
