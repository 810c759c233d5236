"""Entries from phones: each once and in order, and nothing dropped."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

import pytest
from django.db import OperationalError

from equipment.models import Finding
from inventory.models import Movement
from inventory.services import prove
from shop.models import (
    Arrival,
    PartEntry,
    ReadingEntry,
    ServiceSheet,
    SheetStep,
    StepEntry,
    Unsettled,
)
from shop.services import working
from shop.services.arriving import (
    KINDS,
    NotTaken,
    snapshot,
)
from shop.services.arriving.kinds import Kind
from tests.races import all_meet_in, at_once, without_row_locks
from tests.shop.phones import Phone, check, states
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db

SEAL = "Side seal"
LATER = NOW + timedelta(hours=5)
A_MINUTE = timedelta(minutes=1)


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
    all_meet_in(monkeypatch, working, "refuse_unfit")
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


# --- how it stands -------------------------------------------------------------------------------


def test_the_snapshot_says_all_of_it(phone: Phone, world: SheetWorld, shop: Any) -> None:
    made = a_day(phone, world)
    phone.send(*made, phone.answer(check(phone, SEAL), "na", at=LATER), now=LATER)
    told = snapshot(ServiceSheet.objects.get(pk=phone.sheet.pk), zone=shop.zone)
    volts = told["steps"][str(check(phone, "Volts at rated load").pk)]
    assert (volts["answer"], volts["values"]["us"], volts["by"]) == (
        "value",
        "240.5",
        phone.who.name,
    )
    assert (told["number"], told["state"]) == (phone.sheet.number, "under_way")
    parts = {each["number"]: (each["used"], each["taken"]) for each in told["parts"].values()}
    assert parts["F-09"] == ("1", "1")
    hours = told["readings"][str(world.fleet.counters["hours"].pk)]
    assert (hours["value"], hours["step"]) == ("215", "continued")
    assert [each["text"] for each in told["found"]] == ["hose rubs on the frame"]
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
        opened.answer(volts, "value", value="19/16/16", remedy="stop", finding_text="dirty"),
        opened.entry("answer", step=volts.pk, answer="value", value="57") | {"live": True},
    )
    taken, also, refused = opened.send(counts, dirty, no_code)
    assert (taken.state, also.state) == ("taken", "taken")
    assert (refused.state, refused.field) == ("refused", "value")
    assert "like 18/16/13" in refused.words
    told = snapshot(opened.sheet, zone=ZoneInfo("UTC"))["steps"][str(volts.pk)]
    assert (told["values"]["us"], told["out"]) == ("19/16/16", True)
