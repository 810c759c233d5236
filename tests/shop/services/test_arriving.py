"""Entries from phones: each once, in order, under who made it and when, and nothing dropped."""

from collections.abc import Callable
from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django.core import signing
from django.db import OperationalError

from equipment.models import Finding
from inventory.models import Location, Movement
from inventory.services import Need, prove, reserve
from shop.models import (
    Arrival,
    PartEntry,
    Person,
    ReadingEntry,
    Role,
    ServiceSheet,
    SheetStep,
    StepEntry,
    Unsettled,
)
from shop.services import working
from shop.services.arriving import (
    KINDS,
    NotOurs,
    NotTaken,
    Outcome,
    pen_of,
    pens,
    read_pen,
    snapshot,
)
from shop.services.arriving.kinds import Kind
from tests.inventory.factories import received
from tests.races import all_meet_in, at_once, without_row_locks
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=5)
A_MINUTE = timedelta(minutes=1)


@pytest.fixture
def phone(hands: Hands, technician: Person) -> Phone:
    return Phone(technician, hands.sheet)


@pytest.fixture
def opened(phone: Phone) -> Phone:
    """A phone whose sheet has its checks open."""
    assert {each.state for each in phone.send(*phone.before_the_checks())} == {"taken"}
    return phone


def check(phone: Phone, title: str) -> SheetStep:
    return phone.sheet.steps.select_related("entry").get(section="check", title=title)


def states(outcomes: list[Outcome]) -> list[str]:
    return [each.state for each in outcomes]


def a_day(phone: Phone, world: SheetWorld) -> list[dict[str, Any]]:
    """Entries of every kind, as they are made along a sheet."""
    oil, volts = check(phone, "Oil and filter changed"), check(phone, "Volts at rated load")
    seal = check(phone, "Side seal")
    row = phone.sheet.parts.get(part=world.filter_part)
    made = [
        *phone.before_the_checks(),
        phone.entry("take"),
        phone.answer(oil),
        phone.answer(volts, "value", value="240.5"),
        phone.answer(seal, "choice", choice="good"),
        phone.entry("used", row=row.pk, used="1"),
        phone.entry("add", part="seal", quantity="1"),
        phone.entry("used", part="seal", used="1"),
        phone.entry("reading", counter=world.fleet.counters["hours"].pk, value="215"),
        phone.entry("found", text="hose rubs on the frame", is_grave=True, line=1),
    ]
    for number, each in enumerate(made):
        each["at"] = (NOW + number * A_MINUTE).isoformat()
    return made


# --- each kind, once, in order ---------------------------------------------------------------


def test_a_sheet_without_signal_arrives_whole(phone: Phone, world: SheetWorld) -> None:
    made = a_day(phone, world)
    assert set(states(phone.send(*made, now=LATER))) == {"taken"}
    sheet = ServiceSheet.objects.get(pk=phone.sheet.pk)
    assert (sheet.state, sheet.started_at, sheet.technician) == ("under_way", NOW, phone.who)
    assert check(phone, "Volts at rated load").entry.value == Decimal("240.5")
    assert check(phone, "Side seal").entry.choice == "good"
    used = dict(sheet.parts.values_list("part__number", "used_steps"))
    assert (used["F-09"], used[world.seal.number]) == (1, 1)
    assert ReadingEntry.objects.get().value == 215
    found = Finding.objects.get()
    assert (found.text, found.is_grave, found.opened_by) == (
        "hose rubs on the frame",
        True,
        phone.who,
    )
    arrivals = list(Arrival.objects.order_by("pk"))
    assert [str(each.event_id) for each in arrivals] == [each["event_id"] for each in made]
    assert [each.at for each in arrivals] == [NOW + n * A_MINUTE for n in range(len(made))]
    assert {each.recorded_at for each in arrivals} == {LATER}
    assert prove() == []


def test_sent_twice_it_counts_once(phone: Phone, world: SheetWorld) -> None:
    made = a_day(phone, world)
    phone.send(*made, now=LATER)
    before = rows_of_every_table()
    again = phone.send(*made, now=LATER + A_MINUTE)
    assert set(states(again)) == {"taken"}
    assert rows_of_every_table() == before
    assert prove() == []


def test_in_two_batches_that_overlap_it_counts_once(phone: Phone, world: SheetWorld) -> None:
    made = a_day(phone, world)
    phone.send(*made[:7], now=LATER)
    phone.send(*made[3:], now=LATER + A_MINUTE)
    assert Arrival.objects.count() == len(made)
    assert StepEntry.objects.count() == len(phone.before_the_checks()) + 3
    assert [each.at for each in Arrival.objects.order_by("pk")] == [
        NOW + n * A_MINUTE for n in range(len(made))
    ]


def test_twice_in_one_batch_it_counts_once(opened: Phone) -> None:
    oil = opened.answer(check(opened, "Oil and filter changed"))
    assert states(opened.send(oil, oil)) == ["taken", "taken"]
    assert check(opened, "Oil and filter changed").entries.count() == 1


def test_twin_without_its_id_an_entry_sent_twice_counts_twice(
    phone: Phone, world: SheetWorld
) -> None:
    """The key taken away: a new one at each sending."""
    phone.send(phone.entry("take"), phone.entry("add", part="seal", quantity="1"))
    with_key = Movement.objects.count()
    add = phone.entry("found", text="hose rubs")
    phone.send(add)
    phone.send({**add, "event_id": str(uuid4())})
    assert Finding.objects.count() == 2
    assert Movement.objects.count() == with_key


@pytest.mark.django_db(transaction=True)
def test_sent_by_eight_connections_at_once_it_counts_once(phone: Phone, world: SheetWorld) -> None:
    made = a_day(phone, world)
    results = at_once(*[lambda: phone.send(*made, now=LATER)] * 8)
    assert [set(states(each)) for each in results] == [{"taken"}] * 8
    assert Arrival.objects.count() == len(made)
    assert StepEntry.objects.count() == len(phone.before_the_checks()) + 3
    assert (PartEntry.objects.count(), ReadingEntry.objects.count()) == (2, 1)
    assert (Finding.objects.count(), Unsettled.objects.count()) == (1, 0)
    assert Movement.objects.filter(part=world.seal, kind="transfer").count() == 2
    assert prove() == []


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_twin_without_the_lock_on_the_sheet_the_same_entry_is_tried_twice(
    opened: Phone, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Then only the unique key is left, and the second breaks on it."""
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, working, "_checked")
    oil = opened.answer(check(opened, "Oil and filter changed"))
    results = at_once(lambda: opened.send(oil), lambda: opened.send(oil))
    assert sorted(states(results[0] + results[1])) == ["taken", "taken"]
    assert check(opened, "Oil and filter changed").entries.count() == 1
    assert "broke" in caplog.text


def test_an_entry_refused_in_the_middle_does_not_hold_back_the_others(opened: Phone) -> None:
    oil, volts = check(opened, "Oil and filter changed"), check(opened, "Volts at rated load")
    outcomes = opened.send(
        opened.answer(oil),
        opened.answer(volts, "value", value="300"),
        opened.answer(check(opened, "Side seal"), "choice", choice="replaced"),
    )
    assert states(outcomes) == ["taken", "waiting", "taken"]
    assert outcomes[1].words == "The value is out of limit. Say what you did about it."
    assert Unsettled.objects.get().payload["value"] == "300"


def test_one_that_breaks_us_is_kept_and_does_not_hold_back_the_others(
    opened: Phone, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(_: object) -> str:
        raise KeyError("a fault of ours")

    monkeypatch.setitem(KINDS, "found", Kind(KINDS["found"].fields, broken))
    oil = check(opened, "Oil and filter changed")
    outcomes = opened.send(opened.entry("found", text="rubs"), opened.answer(oil))
    assert states(outcomes) == ["waiting", "taken"]
    assert "a fault of ours" in caplog.text
    assert Unsettled.objects.get().payload["text"] == "rubs"


def test_when_the_database_fails_the_rest_comes_again(
    opened: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not kept as unsettled: nothing is wrong with the entry."""
    oil, seal = check(opened, "Oil and filter changed"), check(opened, "Side seal")
    made = [opened.answer(oil), opened.answer(seal, "choice", choice="good")]
    inside = working.answer_step

    def fails(**given: Any) -> StepEntry:
        if given["step"] == seal:
            raise OperationalError("the server is away")
        return inside(**given)

    with monkeypatch.context() as patch:
        patch.setattr(working, "answer_step", fails)
        with pytest.raises(OperationalError):
            opened.send(*made)
    assert check(opened, "Oil and filter changed").entry is not None
    assert not Unsettled.objects.exists()
    assert states(opened.send(*made)) == ["taken", "taken"]
    assert oil.entries.count() == 1


def test_a_failure_after_the_work_leaves_neither_work_nor_arrival(
    opened: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = rows_of_every_table()
    made = opened.entry("found", text="rubs")

    def dies(**_: object) -> None:
        raise OperationalError("the power went")

    with monkeypatch.context() as patch:
        patch.setattr(Arrival.objects, "create", dies)
        with pytest.raises(OperationalError):
            opened.send(made)
    assert rows_of_every_table() == before
    assert states(opened.send(made)) == ["taken"]


# --- live or not -----------------------------------------------------------------------------


def test_live_what_is_refused_goes_back_and_nothing_is_stored(opened: Phone) -> None:
    volts = check(opened, "Volts at rated load")
    before = rows_of_every_table()
    [outcome] = opened.send({**opened.answer(volts, "value", value="300"), "live": True})
    assert outcome == Outcome(
        "refused", "The value is out of limit. Say what you did about it.", "remedy"
    )
    assert rows_of_every_table() == before


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"answer": "value", "value": ""}, "value"),
        ({"answer": "value", "value": "many"}, "value"),
        ({"answer": "value", "value": "1e9"}, "value"),
        ({"answer": "value", "value": "240.12345"}, "value"),
        ({"answer": "na"}, "note"),
        ({"answer": "done"}, "answer"),
        ({"answer": "value", "value": "260", "remedy": "prayed"}, "remedy"),
        ({"answer": "value", "value": "260", "remedy": "stop"}, "finding_text"),
        ({"answer": "value", "value": "240", "step": 2**63 - 1}, "step"),
    ],
)
def test_words_stand_beside_the_field_they_are_about(
    opened: Phone, said: dict[str, Any], field: str
) -> None:
    volts = check(opened, "Volts at rated load")
    [outcome] = opened.send({**opened.entry("answer", step=volts.pk), "live": True, **said})
    assert (outcome.state, outcome.field) == ("refused", field)
    assert outcome.words


def test_an_odd_reading_is_asked_about_once(opened: Phone, world: SheetWorld) -> None:
    """Side A made 4,000 strokes in ten days; ninety thousand in ten more are a slip."""
    strokes = world.fleet.counters["a"].pk
    odd = {**opened.entry("reading", counter=strokes, value="98000"), "live": True}
    [asked] = opened.send(odd)
    assert (asked.state, asked.field) == ("refused", "sure")
    assert asked.words.startswith("More than usual: 90,000 strokes since")
    assert states(opened.send({**odd, "sure": "9800"})) == ["refused"]
    assert states(opened.send({**odd, "sure": "98000"})) == ["taken"]


def test_an_odd_reading_that_nobody_can_be_asked_about_waits(
    opened: Phone, world: SheetWorld
) -> None:
    odd = opened.entry("reading", counter=world.fleet.counters["a"].pk, value="98000")
    assert states(opened.send(odd)) == ["waiting"]
    assert not ReadingEntry.objects.exists()


def test_a_face_that_went_down_is_asked_about_beside_what_happened_to_it(
    opened: Phone, world: SheetWorld
) -> None:
    hours = world.fleet.counters["hours"].pk
    low = {**opened.entry("reading", counter=hours, value="12"), "live": True}
    [asked] = opened.send(low)
    assert (asked.state, asked.field) == ("refused", "step")
    assert states(opened.send({**low, "step": "reset", "before_reset": "210"})) == ["taken"]


def test_more_than_lies_there_is_refused_beside_the_part(opened: Phone, world: SheetWorld) -> None:
    add = {**opened.entry("add", part=world.seal.number, quantity="9"), "live": True}
    [outcome] = opened.send(add)
    assert outcome.state == "refused"
    assert not Movement.objects.filter(request_id=add["event_id"]).exists()


def test_a_part_promised_to_another_sheet_is_asked_about(
    phone: Phone, world: SheetWorld, technician: Person
) -> None:
    received(world.seal, world.bin, 1, 900)
    reserve(
        needs=[Need(part=world.seal, quantity_steps=2)],
        places=[world.bin, world.drawer],
        source_kind="sheet",
        source_number=999,
        author=technician,
        at=NOW,
    )
    add = {**phone.entry("add", part=world.seal.number, quantity="1"), "live": True}
    [asked] = phone.send(add)
    assert (asked.state, asked.field) == ("refused", "sure")
    assert "promised to others" in asked.words
    [taken] = phone.send({**add, "sure": "yes"})
    assert taken.state == "taken"


def test_a_part_comes_from_the_place_said(phone: Phone, world: SheetWorld) -> None:
    received(world.seal, world.bin, 1, 900)
    add = phone.entry("add", part=world.seal.number, quantity="1", place=world.drawer.code.lower())
    assert states(phone.send(add)) == ["taken"]
    gone = Movement.objects.get(request_id=add["event_id"], quantity_steps__lt=0)
    assert gone.location == Location.objects.get(pk=world.drawer.pk)


# --- who ---------------------------------------------------------------------------------------


def test_an_entry_is_its_authors_whoever_sends_it(opened: Phone, world: SheetWorld) -> None:
    other = Phone(world.manager, opened.sheet, id=opened.id)
    other.join()
    oil, seal = check(opened, "Oil and filter changed"), check(opened, "Side seal")
    other.send(opened.answer(oil), other.answer(seal, "choice", choice="good"))
    assert check(opened, "Oil and filter changed").entry.author == opened.who
    assert check(opened, "Side seal").entry.author == world.manager


def forged(person: Person) -> str:
    return signing.dumps({"p": person.pk, "h": "0"}, key="not ours", salt=pens.SALT)


@pytest.mark.parametrize(
    "pen",
    [
        forged,
        lambda person: "",
        lambda person: "a:b:c",
        lambda person: pen_of(person)[:-1],
        lambda person: pen_of(person).replace(":", ""),
        lambda person: signing.dumps({"p": person.pk, "h": "0"}, salt="another"),
        lambda person: signing.dumps({"p": 2**40, "h": "0"}, salt=pens.SALT),
        lambda person: signing.dumps({"p": "x\x00", "h": "0"}, salt=pens.SALT),
        lambda person: signing.dumps([1], salt=pens.SALT),
        lambda person: signing.dumps(None, salt=pens.SALT),
    ],
)
def test_a_pen_that_is_not_ours_stores_nothing(opened: Phone, pen: Callable[[Person], str]) -> None:
    before = rows_of_every_table()
    text = pen(opened.who)
    with pytest.raises(NotOurs):
        read_pen(text, at=NOW)
    entry = {**opened.answer(check(opened, "Oil and filter changed")), "pen": text}
    [outcome] = opened.send(entry)
    assert (outcome.state, outcome.field) == ("refused", "pen")
    assert rows_of_every_table() == before


def test_twin_with_our_key_the_forged_pen_writes(opened: Phone) -> None:
    """The signature is what stops it: the same words signed by us are believed."""
    entry = opened.answer(check(opened, "Oil and filter changed"))
    assert states(opened.send({**entry, "pen": pen_of(opened.who)})) == ["taken"]


def _off(person: Person) -> None:
    person.is_active = False


def _new_password(person: Person) -> None:
    person.set_password("another quiet word")


def _owner(person: Person) -> None:
    person.role = Role.OWNER


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (_off, "may no longer sign in"),
        (_new_password, "another password"),
        (_owner, "no longer works on sheets"),
    ],
)
def test_a_pen_that_no_longer_holds_keeps_its_entry_waiting(
    opened: Phone, change: Callable[[Person], None], said: str
) -> None:
    entry = {**opened.answer(check(opened, "Oil and filter changed")), "live": True}
    change(opened.who)
    opened.who.save()
    [outcome] = opened.send(entry)
    assert outcome.state == "waiting"
    assert said in outcome.words
    kept = Unsettled.objects.get()
    assert (kept.author, kept.kind, kept.at) == (opened.who, "answer", NOW)
    assert check(opened, "Oil and filter changed").entry is None


@pytest.mark.parametrize(("days", "state"), [(59, "taken"), (61, "waiting")])
def test_a_pen_keeps_for_sixty_days(opened: Phone, days: int, state: str) -> None:
    with time_machine.travel(NOW - timedelta(days=days), tick=False):
        pen = pen_of(opened.who)
    entry = {**opened.answer(check(opened, "Oil and filter changed")), "pen": pen}
    assert states(opened.send(entry)) == [state]


# --- when --------------------------------------------------------------------------------------


@pytest.mark.parametrize("days", [-1, -400, 1, 400])
def test_a_clock_that_is_wrong_is_put_right(hands: Hands, days: int) -> None:
    phone = Phone(hands.who, hands.sheet, clock=timedelta(days=days))
    caution = hands.steps("caution")[0]
    phone.send(phone.answer(caution, at=NOW + A_MINUTE), now=LATER)
    entry = StepEntry.objects.get()
    assert (entry.at, entry.recorded_at) == (NOW + A_MINUTE, LATER)
    assert Arrival.objects.get().clock_error_seconds == -days * 86_400


def test_no_entry_is_later_than_it_came_nor_older_than_its_sheet(hands: Hands) -> None:
    """The phone's clock was put right between the entries and the sending."""
    phone = Phone(hands.who, hands.sheet)
    first, second = hands.steps("caution")[:2]
    ancient = {**phone.answer(first), "at": "0001-01-01T00:00:00+00:00"}
    future = {**phone.answer(second), "at": "9999-12-31T23:59:59+00:00"}
    phone.send(ancient, future, now=LATER)
    assert list(Arrival.objects.order_by("pk").values_list("at", flat=True)) == [
        hands.sheet.drafted_at,
        LATER,
    ]


def test_entries_of_a_phone_stay_in_their_order_across_batches(hands: Hands) -> None:
    phone = Phone(hands.who, hands.sheet)
    first, second, third = phone.before_the_checks()[:3]
    first["at"] = (NOW + 10 * A_MINUTE).isoformat()
    second["at"] = NOW.isoformat()
    third["at"] = (NOW + 2 * A_MINUTE).isoformat()
    phone.send(first, second, now=LATER)
    phone.send(third, now=LATER)
    assert set(Arrival.objects.values_list("at", flat=True)) == {NOW + 10 * A_MINUTE}


# --- a sheet that changed meanwhile --------------------------------------------------------------


def test_on_a_void_sheet_all_is_kept_and_found_work_is_opened(
    opened: Phone, world: SheetWorld
) -> None:
    oil = opened.answer(check(opened, "Oil and filter changed"))
    reading = opened.entry("reading", counter=world.fleet.counters["hours"].pk, value="215")
    found = opened.entry("found", text="hose rubs")
    ServiceSheet.objects.filter(pk=opened.sheet.pk).update(
        state="void", voided_by=world.manager, voided_at=NOW
    )
    outcomes = opened.send(oil, opened.entry("take"), reading, found, now=LATER)
    assert states(outcomes) == ["waiting", "waiting", "waiting", "taken"]
    assert "is void" in outcomes[0].words
    assert [each.kind for each in Unsettled.objects.order_by("pk")] == ["answer", "take", "reading"]
    assert Finding.objects.get().rig == world.fleet.rig
    again = opened.send(oil, now=LATER)
    assert states(again) == ["waiting"]
    assert Unsettled.objects.count() == 3


def test_on_a_signed_sheet_what_came_late_waits(done: Hands, world: SheetWorld) -> None:
    phone = Phone(world.manager, done.sheet)
    late = phone.answer(done.check("Side seal"), "choice", choice="replaced")
    done.sign()
    [outcome] = phone.send(late, now=LATER)
    assert outcome.state == "waiting"
    assert "is signed" in outcome.words
    assert done.check("Side seal").entry.choice == "good"


def test_live_on_a_signed_sheet_it_is_refused(done: Hands) -> None:
    phone = Phone(done.who, done.sheet)
    live = {**phone.answer(done.check("Side seal"), "choice", choice="replaced"), "live": True}
    done.sign()
    assert states(phone.send(live, now=LATER)) == ["refused"]
    assert not Unsettled.objects.exists()


def test_checks_entered_before_the_cautions_wait(phone: Phone) -> None:
    [outcome] = phone.send(phone.answer(check(phone, "Oil and filter changed")))
    assert outcome.state == "waiting"
    assert "The checks open when" in outcome.words


# --- two answers to one step ---------------------------------------------------------------------


def rivals(phone: Phone, title: str, shop: Any) -> tuple[str, list[str]]:
    """What is in force of a step, and what else was said of it."""
    step = snapshot(phone.sheet, zone=shop.zone)["steps"][str(check(phone, title).pk)]
    return step["choice"], [each["text"] for each in step["rivals"]]


@pytest.fixture
def other(opened: Phone, world: SheetWorld) -> Phone:
    phone = Phone(world.manager, opened.sheet)
    phone.join()
    return phone


SEAL = "Side seal"


def choose(phone: Phone, choice: str, seen: str = "", minutes: int = 0) -> dict[str, Any]:
    at = NOW + minutes * A_MINUTE
    return phone.answer(check(phone, SEAL), "choice", choice=choice, seen=seen, at=at)


def test_two_who_did_not_see_each_other_are_both_kept(
    opened: Phone, other: Phone, shop: Any
) -> None:
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    other.send(choose(other, "replaced", minutes=2), now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", ["good"])


def test_the_newest_is_in_force_also_where_the_older_came_last(
    opened: Phone, other: Phone, shop: Any
) -> None:
    other.send(choose(other, "replaced", minutes=2), now=LATER)
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", ["good"])


def test_a_person_picks_one(opened: Phone, other: Phone, shop: Any) -> None:
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    second = choose(other, "replaced", minutes=2)
    other.send(second, now=LATER)
    opened.send(choose(opened, "good", seen=second["event_id"], minutes=3), now=LATER)
    assert rivals(opened, SEAL, shop) == ("good", [])
    assert check(opened, SEAL).entries.count() == 3


def test_three_phones_three_answers(opened: Phone, other: Phone, shop: Any) -> None:
    third = Phone(opened.who, opened.sheet)
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    other.send(choose(other, "replaced", minutes=3), now=LATER)
    third.send(
        third.answer(check(third, SEAL), "na", note="no gun on it", at=NOW + 2 * A_MINUTE),
        now=LATER,
    )
    assert rivals(opened, SEAL, shop) == ("replaced", ["good", "not applicable: no gun on it"])


def test_the_same_answer_twice_is_no_rival(opened: Phone, other: Phone, shop: Any) -> None:
    opened.send(choose(opened, "good", minutes=1), now=LATER)
    other.send(choose(other, "good", minutes=2), now=LATER)
    assert rivals(opened, SEAL, shop) == ("good", [])


def test_who_saw_it_changes_it_and_is_no_rival(opened: Phone, other: Phone, shop: Any) -> None:
    first = choose(opened, "good", minutes=1)
    opened.send(first, now=LATER)
    other.send(choose(other, "replaced", seen=first["event_id"], minutes=2), now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", [])


def test_a_phone_that_changes_its_own_answer_is_no_rival(opened: Phone, shop: Any) -> None:
    first = choose(opened, "good", minutes=1)
    second = choose(opened, "replaced", seen=first["event_id"], minutes=2)
    opened.send(first, second, now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", [])


def test_nobody_takes_back_what_they_have_not_seen(opened: Phone, other: Phone, shop: Any) -> None:
    mine = choose(opened, "good", minutes=1)
    opened.send(mine, now=LATER)
    other.send(choose(other, "replaced", seen=mine["event_id"], minutes=2), now=LATER)
    undo = opened.answer(
        check(opened, SEAL), "cleared", seen=mine["event_id"], at=NOW + 3 * A_MINUTE
    )
    opened.send(undo, now=LATER)
    assert rivals(opened, SEAL, shop) == ("replaced", ["taken back"])


def test_twin_without_what_was_seen_the_first_answer_is_silently_gone(
    opened: Phone, other: Phone, shop: Any
) -> None:
    """The page's own way in, where the person sees what is in force: the newest simply counts."""
    given = {"recorded_at": NOW, "at": NOW, "answer": "choice"}
    step = check(opened, SEAL)
    for author, choice in ((opened.who, "good"), (other.who, "replaced")):
        working.answer_step(step=step, event_id=uuid4(), author=author, choice=choice, **given)
    assert rivals(opened, SEAL, shop) == ("replaced", [])


def test_the_newest_reading_and_the_newest_use_count_whichever_came_last(
    opened: Phone, world: SheetWorld
) -> None:
    row = opened.sheet.parts.get(part=world.filter_part)
    hours = world.fleet.counters["hours"].pk
    for kind, said in (
        ("used", [{"row": row.pk, "used": "1"}, {"row": row.pk, "used": "0"}]),
        ("reading", [{"counter": hours, "value": "215"}, {"counter": hours, "value": "212"}]),
    ):
        newer, older = said
        Phone(world.manager, opened.sheet).send(
            opened.entry(kind, at=NOW + 2 * A_MINUTE, **newer), now=LATER
        )
        opened.send(opened.entry(kind, at=NOW + A_MINUTE, **older), now=LATER)
    row.refresh_from_db()
    assert row.used_steps == 1
    assert [each.value for each in ReadingEntry.objects.filter(is_in_force=True)] == [215]


# --- how it stands -------------------------------------------------------------------------------


def test_the_snapshot_says_all_of_it(phone: Phone, world: SheetWorld, shop: Any) -> None:
    made = a_day(phone, world)
    phone.send(*made, phone.answer(check(phone, SEAL), "na", at=LATER), now=LATER)
    told = snapshot(ServiceSheet.objects.get(pk=phone.sheet.pk), zone=shop.zone)
    volts = told["steps"][str(check(phone, "Volts at rated load").pk)]
    assert (volts["answer"], volts["value"], volts["by"]) == ("value", "240.5", phone.who.name)
    assert (told["number"], told["state"]) == (phone.sheet.number, "under_way")
    parts = {each["number"]: (each["used"], each["taken"]) for each in told["parts"].values()}
    assert parts["F-09"] == ("1", "1")
    hours = told["readings"][str(world.fleet.counters["hours"].pk)]
    assert (hours["value"], hours["step"]) == ("215", "continued")
    assert [each["text"] for each in told["found"]] == ["hose rubs on the frame"]
    assert told["hands"] == [phone.who.name]
    assert [each["words"] for each in told["unsettled"]] == ["Say why it does not apply."]
    assert told["as_of"] == LATER.isoformat()


def test_the_snapshot_reads_the_same_however_many_entries(
    phone: Phone, world: SheetWorld, shop: Any, django_assert_max_num_queries: Any
) -> None:
    phone.send(*a_day(phone, world), now=LATER)
    with django_assert_max_num_queries(20):
        snapshot(phone.sheet, zone=shop.zone)


def test_the_reason_of_what_waits_fits_its_column(
    opened: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuses(_: object) -> str:
        raise NotTaken("x" * 2_000)

    monkeypatch.setitem(KINDS, "found", Kind(KINDS["found"].fields, refuses))
    assert states(opened.send(opened.entry("found", text="rubs"))) == ["waiting"]


def test_a_batch_goes_on_where_the_last_left_off_by_phone(hands: Hands, world: SheetWorld) -> None:
    """Another phone's late entry is not pushed behind this one's."""
    mine, theirs = Phone(hands.who, hands.sheet), Phone(world.manager, hands.sheet)
    first, second = hands.steps("caution")[:2]
    mine.send(mine.answer(first, at=NOW + 30 * A_MINUTE), now=LATER)
    theirs.send(theirs.answer(second, at=NOW + A_MINUTE), now=LATER)
    assert Arrival.objects.get(phone=theirs.id).at == NOW + A_MINUTE


def test_a_cleanliness_code_arrives_as_it_was_typed(opened: Phone) -> None:
    volts = check(opened, "Volts at rated load")
    SheetStep.objects.filter(pk=volts.pk).update(unit="ISO 4406", low=None, high=Decimal(201815))
    counts, dirty, no_code = (
        opened.answer(volts, "value", value="3500 500 60"),
        opened.answer(volts, "value", value="19/16/16", remedy="put_right"),
        opened.entry("answer", step=volts.pk, answer="value", value="57") | {"live": True},
    )
    taken, also, refused = opened.send(counts, dirty, no_code)
    assert (taken.state, also.state) == ("taken", "taken")
    assert (refused.state, refused.field) == ("refused", "value")
    assert "like 18/16/13" in refused.words
    told = snapshot(opened.sheet, zone=ZoneInfo("UTC"))["steps"][str(volts.pk)]
    assert (told["value"], told["out"]) == ("19/16/16", True)
