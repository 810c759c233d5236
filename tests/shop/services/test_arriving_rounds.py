"""A daily round from a phone: once, under who walked it, for the day on which it was walked."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import IntegrityError, transaction

from equipment.models import Finding, Reading, Round, RoundAnswer, RoundItem
from equipment.services import NewAnswer, record_round
from shop.models import Arrival, Person, Settlement, Unsettled
from shop.services.arriving import Outcome, post, post_all, set_aside
from tests.races import at_once
from tests.shop.phones import Phone
from tests.shop.services.conftest import rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)
SETTLED_AT = NOW + timedelta(days=1)
Items = dict[str, RoundItem]


@pytest.fixture
def items(world: SheetWorld) -> Items:
    """Two checks of every spray day and one of every week."""
    return {
        name: RoundItem.objects.create(
            code=f"R{number}",
            kind=world.fleet.components[component].type.kind,
            text=f"Look at the {name}",
            every=every,
        )
        for number, (name, component, every) in enumerate(
            (("oil", "generator", "day"), ("seal", "gun", "day"), ("wet cup", "pump A", "week"))
        )
    }


@pytest.fixture
def phone(world: SheetWorld, technician: Person) -> Phone:
    return Phone(technician, world.draft(), rig=world.fleet.rig)


@pytest.fixture
def walked(phone: Phone, items: Items, world: SheetWorld) -> Callable[..., dict[str, Any]]:
    def walked(
        *,
        by: Phone = phone,
        wrong: str = "",
        hours: str = "",
        strokes: str = "",
        sure: str = "",
        **said: Any,
    ) -> dict[str, Any]:
        """A round as a phone makes it: in order, but for the check that is named."""
        answers = [
            {"item": item.pk, "answer": "wrong", "note": "milky", "is_grave": True}
            if name == wrong
            else {"item": item.pk, "answer": "right"}
            for name, item in items.items()
        ]
        counter = world.fleet.counters["hours"].pk
        readings = [{"counter": counter, "value": hours}] if hours else []
        if strokes:
            counter = world.fleet.counters["a"].pk
            readings += [{"counter": counter, "value": strokes, "sure": sure}]
        return by.entry("round", **{"answers": answers, "readings": readings, **said})

    return walked


def day_of(at: datetime, world: SheetWorld) -> Any:
    return at.astimezone(world.shop.zone).date()


def test_it_counts_once_however_often_it_is_sent(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld
) -> None:
    made = walked(wrong="oil", hours="215")
    [first] = phone.send(made, now=LATER)
    assert first == Outcome(
        "taken", "The round is kept: 2 in order, 1 not right, now found work. 1 reading kept."
    )
    before = rows_of_every_table()
    for _ in range(2):
        assert {each.state for each in phone.send(made, made, now=LATER)} == {"taken"}
    assert rows_of_every_table() == before
    there = Round.objects.get()
    assert (there.rig, there.author, there.day) == (phone.rig, phone.who, day_of(NOW, world))
    assert there.recorded_at == NOW  # when it was walked
    found = Finding.objects.get()
    assert (found.text, found.is_grave, found.opened_at) == ("Look at the oil: milky", True, NOW)
    read = Reading.objects.get(value=215)
    assert (read.at, read.recorded_at, read.author) == (NOW, LATER, phone.who)
    arrival = Arrival.objects.get()
    assert (arrival.sheet, arrival.rig, arrival.author) == (None, phone.rig, phone.who)


def test_twin_without_its_id_a_round_sent_twice_waits_as_another(
    phone: Phone, walked: Callable[..., dict[str, Any]]
) -> None:
    made = walked(wrong="oil")
    again = {**made, "event_id": str(uuid4())}
    assert [each.state for each in phone.send(made, again, now=LATER)] == ["taken", "waiting"]


@pytest.mark.parametrize("days", [-1, 1])
def test_a_clock_that_is_wrong_by_a_day_is_put_right(
    phone: Phone, world: SheetWorld, walked: Callable[..., dict[str, Any]], days: int
) -> None:
    phone.clock = off = timedelta(days=days)
    made = walked(began=(NOW - timedelta(minutes=4) + off).isoformat())
    assert phone.send(made, now=LATER)[0].state == "taken"
    there = Round.objects.get()
    assert (there.day, there.recorded_at) == (day_of(NOW, world), NOW)
    assert Arrival.objects.get().clock_error_seconds == -off.total_seconds()


def test_a_round_walked_over_midnight_is_of_the_day_on_which_it_began(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld
) -> None:
    local = NOW.astimezone(world.shop.zone)
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    after = (midnight + timedelta(minutes=5)).astimezone(UTC)
    before = midnight - timedelta(minutes=5)
    made = walked(began=before.isoformat(), at=after)
    assert phone.send(made, now=after + timedelta(hours=3))[0].state == "taken"
    assert Round.objects.get().day == local.date()


@pytest.mark.parametrize("hours", [-30, 7, 24 * 9])
def test_a_page_that_lay_open_says_nothing_of_the_day(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld, hours: int
) -> None:
    made = walked(began=(NOW - timedelta(hours=hours)).isoformat())
    assert phone.send(made, now=LATER)[0].state == "taken"
    assert Round.objects.get().day == day_of(NOW, world)


def test_a_reading_that_contradicts_another_waits_and_the_round_counts(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld
) -> None:
    [outcome] = phone.send(walked(hours="12"), now=LATER)
    assert outcome.state == "taken"
    assert outcome.words.endswith("1 reading waits for a manager.")
    assert Round.objects.get().answers.count() == 3
    row = Unsettled.objects.get()
    assert (row.rig, row.sheet, row.kind, row.author) == (phone.rig, None, "reading", phone.who)
    assert "reset" in row.reason
    assert not Reading.objects.filter(value=12).exists()

    settled = post(
        unsettled=row,
        changes={"step": "reset"},
        author=world.manager,
        at=SETTLED_AT,
        zone=world.shop.zone,
    )
    read = Reading.objects.get(value=12)
    assert (read.at, read.step, read.author) == (NOW, "reset", world.manager)
    assert settled.how == "posted"


def test_an_odd_reading_waits_unless_it_was_meant(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld
) -> None:
    assert phone.send(walked(strokes="98000"), now=LATER)[0].words.endswith("waits for a manager.")
    assert "Is it right?" in Unsettled.objects.get().reason
    posted, left = post_all(
        of=world.fleet.rig, author=world.manager, at=SETTLED_AT, zone=world.shop.zone
    )
    assert (posted, left) == (1, [])
    assert Reading.objects.get(value=98000).author == phone.who


def test_one_that_was_meant_is_taken(phone: Phone, walked: Callable[..., dict[str, Any]]) -> None:
    assert phone.send(walked(strokes="98000", sure="98000"), now=LATER)[0].state == "taken"
    assert Reading.objects.filter(value=98000).exists()
    assert not Unsettled.objects.exists()


def test_live_it_is_both_or_neither(phone: Phone, walked: Callable[..., dict[str, Any]]) -> None:
    before = rows_of_every_table()
    for made in (
        walked(hours="12", live=True),
        walked(strokes="98000", live=True),
        walked(hours="twelve", live=True),
        walked(live=True, answers=[]),
    ):
        [outcome] = phone.send(made)
        assert outcome.state == "refused"
        assert outcome.words
    assert rows_of_every_table() == before
    assert phone.send(walked(hours="215", live=True))[0].state == "taken"


def test_what_an_old_page_did_not_ask_stays_open(
    phone: Phone, items: Items, walked: Callable[..., dict[str, Any]]
) -> None:
    """Its page was taken along before the wet cup was asked for."""
    answers = [{"item": items[name].pk, "answer": "right"} for name in ("oil", "seal")]
    live = walked(answers=answers, live=True)
    assert phone.send(live)[0].state == "refused"
    assert phone.send({**live, "live": False}, now=LATER)[0].state == "taken"
    assert set(RoundAnswer.objects.values_list("item", flat=True)) == {
        items["oil"].pk,
        items["seal"].pk,
    }


def test_two_walked_it_and_the_second_waits_whole(
    phone: Phone,
    items: Items,
    walked: Callable[..., dict[str, Any]],
    world: SheetWorld,
    manager: Person,
) -> None:
    record_round(
        rig=world.fleet.rig,
        day=day_of(NOW, world),
        answers=[NewAnswer(item, "right") for item in items.values()],
        author=manager,
        at=NOW,
        request_id=uuid4(),
    )
    [outcome] = phone.send(walked(wrong="oil", hours="215"), now=LATER)
    assert (outcome.state, outcome.words) == (
        "waiting",
        f"The round of this day was recorded already, by {manager}.",
    )
    row = Unsettled.objects.get()
    assert not Finding.objects.exists()

    # Posted all the same: what the second saw is true of the rig, and its found work is theirs.
    post(unsettled=row, changes={}, author=manager, at=SETTLED_AT, zone=world.shop.zone)
    assert Round.objects.get().author == manager
    assert Finding.objects.get().opened_by == phone.who
    assert Reading.objects.get(value=215).author == phone.who
    assert Settlement.objects.get().how == "posted"


def test_what_waits_of_a_round_may_be_set_aside(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld
) -> None:
    phone.send(walked(hours="12"), now=LATER)
    row = Unsettled.objects.get()
    set_aside(unsettled=row, note="misread", author=world.manager, at=SETTLED_AT)
    assert not Unsettled.objects.open().exists()
    [again] = phone.send({**phone.entry("reading"), "event_id": str(row.event_id)}, now=SETTLED_AT)
    assert again.words == f"{world.manager.name} set it aside: misread"


def test_a_phone_that_changes_hands_sends_under_who_walked_it(
    phone: Phone, walked: Callable[..., dict[str, Any]], manager: Person, world: SheetWorld
) -> None:
    theirs = walked()
    other = Phone(manager, phone.sheet, id=phone.id, rig=phone.rig)
    day_after = NOW + timedelta(days=1)
    own = walked(by=other, at=day_after)
    assert {each.state for each in phone.send(theirs, own, now=day_after)} == {"taken"}
    assert [row.author for row in Round.objects.order_by("day")] == [phone.who, manager]


def test_a_pen_that_no_longer_holds_keeps_its_round(
    phone: Phone, walked: Callable[..., dict[str, Any]]
) -> None:
    Person.objects.filter(pk=phone.who.pk).update(is_active=False)
    made = walked(wrong="oil")
    assert phone.send(made, now=LATER)[0].state == "waiting"
    row = Unsettled.objects.get()
    assert (row.rig, row.kind) == (phone.rig, "round")
    assert row.payload["answers"][0]["note"] == "milky"


@pytest.mark.parametrize("kind", ["sign", "answer", "take"])
def test_what_belongs_on_a_sheet_is_no_part_of_a_round(phone: Phone, kind: str) -> None:
    assert phone.send(phone.entry(kind))[0].field == "kind"
    assert not Unsettled.objects.exists()


def test_a_round_belongs_to_a_rig(phone: Phone, walked: Callable[..., dict[str, Any]]) -> None:
    phone.rig = None
    assert phone.send(walked())[0].field == "kind"


@pytest.mark.parametrize(
    "answers",
    [
        [{"item": 999_999, "answer": "right"}],
        [{"item": None, "answer": "right"}],
        [{"item": 1, "answer": "perhaps"}],
        ["right"],
        {"item": 1},
        "right",
        [{"item": "x", "answer": "right"}],
    ],
)
@pytest.mark.parametrize("is_live", [True, False])
def test_answers_to_no_check_record_nothing(
    phone: Phone, walked: Callable[..., dict[str, Any]], answers: Any, is_live: bool
) -> None:
    [outcome] = phone.send(walked(answers=answers, live=is_live), now=LATER)
    assert outcome.state in ("refused", "waiting")
    assert outcome.words
    assert not Round.objects.exists()


def test_one_that_is_not_right_says_what(
    phone: Phone, items: Items, walked: Callable[..., dict[str, Any]]
) -> None:
    answers = [{"item": each.pk, "answer": "wrong"} for each in items.values()]
    [outcome] = phone.send(walked(answers=answers, live=True))
    assert "Say what is not right." in outcome.words


def test_a_counter_that_was_read_twice_has_the_last_value(
    phone: Phone, walked: Callable[..., dict[str, Any]], world: SheetWorld
) -> None:
    counter = world.fleet.counters["hours"].pk
    readings = [{"counter": counter, "value": value} for value in ("214", "215")]
    assert phone.send(walked(readings=readings), now=LATER)[0].state == "taken"
    assert Reading.objects.filter(value__in=[214, 215]).get().value == Decimal(215)


def test_what_is_kept_of_a_phone_is_of_a_sheet_or_of_a_rig(
    phone: Phone, walked: Callable[..., dict[str, Any]]
) -> None:
    phone.send(walked(hours="12"), now=LATER)
    for row in (Arrival.objects.get(), Unsettled.objects.get()):
        for of in ({"rig": None}, {"sheet": phone.sheet}):
            broken = type(row)(
                **{
                    field.attname: getattr(row, field.attname)
                    for field in row._meta.concrete_fields
                    if not field.primary_key
                }
            )
            broken.event_id = uuid4()
            for name, value in of.items():
                setattr(broken, name, value)
            with pytest.raises(IntegrityError), transaction.atomic():
                broken.save()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_sent_by_eight_connections_at_once_it_counts_once(
    phone: Phone, walked: Callable[..., dict[str, Any]]
) -> None:
    made = walked(wrong="oil", hours="215")
    results = at_once(*[lambda: phone.send(made, now=LATER)] * 8)
    assert [each[0].state for each in results] == ["taken"] * 8
    assert (Round.objects.count(), Arrival.objects.count()) == (1, 1)
    assert Finding.objects.count() == 1
