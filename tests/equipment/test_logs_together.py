"""Several logs: of one day, withdrawn, sent twice, at once, in any order."""

import io
import itertools
import random
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.db import connection

from equipment.models import (
    LogContradiction,
    Reading,
    ShiftDay,
    ShiftLog,
    Wear,
)
from equipment.services.shiftlogs import (
    ASKS,
    KNOWN,
    READ,
    REFUSED,
    SettlingRefused,
    day_of,
    look_at_many,
    read_many,
    source_of,
)
from equipment.services.shiftlogs import reading as reading_service
from equipment.shiftlogs.blocks import Rules
from tests.equipment.factories import ZONE, SprayRig, spray_rig
from tests.equipment.logs import (
    HEADINGS,
    MORNING,
    NOON,
    NOW,
    ROWS,
    climb,
    evening,
    everything,
    files_kept,
    log_text,
    nothing_stored,
    open_ones,
    read,
    shown,
    withdraw,
)
from tests.races import all_meet_in, at_once, without_row_locks

pytestmark = pytest.mark.django_db

How = LogContradiction.How


@pytest.fixture
def made() -> SprayRig:
    return spray_rig()


# --- several files ------------------------------------------------------------------------------


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_two_files_of_a_day_are_one_day_in_either_order(
    made: SprayRig, order: tuple[int, int]
) -> None:
    for place in order:
        outcome = read(made, (MORNING, NOON)[place], name=f"{place}.csv")
    row = ShiftDay.objects.get()
    assert outcome.days == (day_of(row, ZONE),)
    assert row.logs.count() == 2
    # The six strokes between the files are of the day too.
    assert (row.strokes_a, row.rows) == (2 * 1797 + 6, 2 * ROWS)
    assert shown(made.counters["a"])[0] == ("12 07:00:00", 100, "log")
    assert shown(made.counters["a"])[-1] == ("12 12:49:55", 3700, "log")
    assert made.life("pump A", "strokes") == 3700
    assert LogContradiction.objects.count() == 0


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_a_reset_between_two_files_is_found_in_either_order(
    made: SprayRig, order: tuple[int, int]
) -> None:
    noon = log_text("2026-01-12 12:00:00", climb(30, ROWS), climb(2003, ROWS))
    for place in order:
        read(made, (MORNING, noon)[place], name=f"{place}.csv")
    row = ShiftDay.objects.get()
    assert (row.resets_a, row.is_at_least) == (1, True)
    wear = made.components["pump A"].wear.get(measure="strokes")
    assert (wear.life, wear.is_at_least) == (1897 + 30 + 1797, True)
    assert open_ones() == []


def test_overlapping_files_count_once(made: SprayRig) -> None:
    read(made, log_text("2026-01-12 07:00:00", climb(100, 400), climb(200, 400)), name="1.csv")
    late = log_text("2026-01-12 07:25:00", climb(1000, 300), climb(1100, 300))
    assert read(made, late, name="2.csv").status == READ
    row = ShiftDay.objects.get()
    assert (row.rows, row.strokes_a) == (ROWS, 1797)


def test_contradicting_files_are_asked_about_and_nothing_is_written(made: SprayRig) -> None:
    read(made, MORNING)
    before = everything()
    other = log_text("2026-01-12 07:00:00", climb(7000, ROWS), climb(200, ROWS))
    with nothing_stored():
        outcome = read(made, other, name="2.csv")
    assert outcome.status == ASKS
    assert [each.key for each in outcome.questions] == ["overlap"]
    assert everything() == before


def test_many_files_tell_their_days_as_all_of_them_leave_them(made: SprayRig) -> None:
    given = [
        source_of(io.BytesIO(content), name)
        for name, content in (("noon", NOON), ("none", b""), ("morning", MORNING))
    ]
    common: dict[str, Any] = {"rig": made.rig, "zone": ZONE, "rules": Rules()}
    looked = look_at_many(sources=given, now=NOW, **common)
    assert not ShiftLog.objects.exists()
    done = read_many(sources=given, author=made.author, at=NOW, **common)
    for outcomes in (looked, done):
        assert [each.status for each in outcomes] == [READ, REFUSED, READ]
        assert [each.days[0].strokes_a for each in outcomes if each.days] == [3600, 3600]
    again = look_at_many(sources=[given[0], given[0]], now=NOW, **common)
    assert [each.status for each in again] == [KNOWN, KNOWN]


def test_a_night_without_rows_belongs_to_the_file_that_tells_of_it(made: SprayRig) -> None:
    """Files of two days that share none stand alone: what was counted between is of neither."""
    read(made, MORNING, name="1.csv")
    read(made, log_text("2026-01-13 07:00:00", climb(5000, ROWS), climb(5000, ROWS)), name="2.csv")
    assert [row.strokes_a for row in ShiftDay.objects.order_by("date")] == [1797, 1797]
    assert made.life("pump A", "strokes") == 5000 + 1797


# --- withdrawing --------------------------------------------------------------------------------


def test_a_withdrawn_log_leaves_no_day_and_no_reading_but_its_file(made: SprayRig) -> None:
    evening(14, 6_000, made)
    log = read(made, MORNING).log
    with pytest.raises(SettlingRefused, match="Say why"):
        withdraw(log, made, reason=" ")
    with nothing_stored():
        gone = withdraw(log, made)
    assert (gone.is_withdrawn, gone.withdrawn_by) == (True, made.author)
    assert not ShiftDay.objects.exists()
    assert shown(made.counters["a"]) == [("14 18:00:00", 6_000, "person")]
    assert made.life("pump A", "strokes") == 6_000
    assert Reading.objects.filter(reverses__isnull=False, note__contains="wrong rig").count() == 4
    rows = everything()
    withdraw(log, made)
    assert everything() == rows


def test_what_was_withdrawn_may_be_read_again_even_for_another_rig(made: SprayRig) -> None:
    withdraw(read(made, MORNING).log, made)
    assert read(made, MORNING).status == READ
    assert len(shown(made.counters["a"])) == 2
    withdraw(ShiftLog.objects.in_force().get(), made)
    other = spray_rig(number=2, author=made.author)
    assert read(other, MORNING).status == READ
    assert len(shown(other.counters["a"])) == 2


def test_without_one_of_its_files_a_day_stands_as_the_other_tells_it(made: SprayRig) -> None:
    morning = read(made, MORNING, name="1.csv").log
    read(made, NOON, name="2.csv")
    withdraw(morning, made)
    row = ShiftDay.objects.get()
    assert (row.strokes_a, row.rows, row.logs.count()) == (1797, ROWS, 1)
    assert shown(made.counters["a"]) == [("12 12:00:00", 1903, "log"), ("12 12:49:55", 3700, "log")]


def test_a_log_that_other_readings_rest_on_is_not_withdrawn(made: SprayRig) -> None:
    evening(11, 5_000, made)
    reset = climb(5_100, 300) + climb(0, 300)
    log = read(made, log_text("2026-01-12 07:00:00", reset, climb(200, ROWS))).log
    evening(14, 2_000, made)
    rows = everything()
    with pytest.raises(SettlingRefused, match="2,000 on 14 Jan 2026, would then be lower"):
        withdraw(log, made)
    assert everything() == rows


def test_with_its_log_a_contradiction_goes(made: SprayRig) -> None:
    evening(11, 5_000, made)
    outcome = read(made, MORNING)
    withdraw(outcome.log, made)
    assert open_ones() == []
    assert LogContradiction.objects.get().how == How.GONE


# --- races --------------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_one_file_sent_by_four_at_once_is_read_once() -> None:
    made = spray_rig()
    before = files_kept()
    found = at_once(*[lambda: read(made, MORNING)] * 4)
    assert sorted(each.status for each in found) == [KNOWN, KNOWN, KNOWN, READ]
    assert ShiftLog.objects.count() == 1
    assert len(shown(made.counters["a"])) == 2
    assert len(files_kept() - before) == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgresql
def test_twin_without_the_look_at_its_hash_the_key_refuses_the_second(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = spray_rig()
    before = files_kept()
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, reading_service, "_log")
    found = at_once(*[lambda: read(made, MORNING)] * 2)
    assert sorted(each.status for each in found) == [KNOWN, READ]
    assert ShiftLog.objects.count() == 1
    assert len(files_kept() - before) == 1


def two_rigs() -> tuple[SprayRig, SprayRig]:
    first = spray_rig()
    return first, spray_rig(number=2, author=first.author)


@pytest.mark.django_db(transaction=True)
def test_one_file_for_two_rigs_at_once_is_read_for_one() -> None:
    rigs = two_rigs()
    before = files_kept()
    found = at_once(*[lambda made=made: read(made, MORNING) for made in rigs])
    assert sorted(each.status for each in found) == [READ, REFUSED]
    assert ShiftLog.objects.count() == 1
    assert len(files_kept() - before) == 1


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgresql
def test_twin_without_the_key_one_file_is_read_for_two_rigs(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rigs = two_rigs()
    all_meet_in(monkeypatch, reading_service, "_log")
    key = next(each for each in ShiftLog._meta.constraints if each.name == "a_log_is_read_once")
    with connection.schema_editor() as editor:
        editor.remove_constraint(ShiftLog, key)
    try:
        found = at_once(*[lambda made=made: read(made, MORNING) for made in rigs])
        assert [each.status for each in found] == [READ, READ]
    finally:
        ShiftDay.objects.all().delete()
        ShiftLog.objects.all().delete()
        with connection.schema_editor() as editor:
            editor.add_constraint(ShiftLog, key)


@pytest.mark.django_db(transaction=True)
def test_two_files_of_a_day_read_at_once_are_one_day() -> None:
    made = spray_rig()
    found = at_once(
        lambda: read(made, MORNING, name="1.csv"), lambda: read(made, NOON, name="2.csv")
    )
    assert [each.status for each in found] == [READ, READ]
    assert ShiftDay.objects.get().strokes_a == 3600
    assert made.life("pump A", "strokes") == 3700


@pytest.mark.django_db(transaction=True)
@pytest.mark.postgresql
def test_twin_without_the_lock_of_the_rig_a_day_loses_a_file(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made = spray_rig()
    without_row_locks(monkeypatch)
    all_meet_in(monkeypatch, reading_service, "keep_days")
    found = at_once(
        lambda: read(made, MORNING, name="1.csv"), lambda: read(made, NOON, name="2.csv")
    )
    whole = [each for each in found if not isinstance(each, Exception)]
    assert len(whole) < 2 or ShiftDay.objects.get().strokes_a != 3600


# --- properties ---------------------------------------------------------------------------------


def season_of(dice: random.Random) -> list[bytes]:
    """Three days of rows with resets and pauses, cut into files at any row, some overlapping."""
    rows: list[str] = []
    shows = {"a": 100, "b": 200}
    for number in range(3):
        at = datetime.fromisoformat(f"2026-01-{12 + number} 07:{dice.randrange(60):02d}:00")
        for _ in range(dice.randint(60, 120)):
            at += timedelta(seconds=5 if dice.random() < 0.95 else dice.randint(10, 900))
            for side in shows:
                shows[side] = 0 if dice.random() < 0.01 else shows[side] + dice.choice((0, 3, 4))
            rows.append(f"{at},{shows['a']},{shows['b']},120.5,118.0")
    cuts = sorted(dice.sample(range(20, len(rows) - 20), 2))
    files = []
    for start, end in itertools.pairwise([0, *cuts, len(rows)]):
        overlap = dice.choice((0, 0, 15))
        files.append("\n".join([HEADINGS, *rows[max(0, start - overlap) : end], ""]).encode())
    return files


@pytest.mark.parametrize("seed", range(8))
def test_in_any_order_and_sent_twice_the_same_days_and_lives(seed: int) -> None:
    """Files that share a day are one stream, however they were cut and in whatever order."""
    dice = random.Random(seed)
    files = season_of(dice)
    found = []
    for number, order in enumerate(([0, 1, 2], dice.sample(range(3), 3), [2, 2, 1, 0, 1]), start=1):
        made = spray_rig(number=number)
        for place in order:
            # Each rig has logs of its own: a line of talk above the headings, which is no row.
            content = f"log of rig {number}\n".encode() + files[place]
            outcome = read(made, content, name=f"{place}.csv", answers={"reset": "reset"})
            assert outcome.status in (READ, KNOWN), outcome
        days = [day_of(row, ZONE) for row in ShiftDay.objects.filter(rig=made.rig).order_by("date")]
        lives = [
            (wear.measure, wear.life, wear.is_at_least)
            for wear in Wear.objects.filter(
                component__in=made.components.values(), measure__in=["strokes", "gallons"]
            ).order_by("component__tag", "measure")
        ]
        found.append((days, lives, shown(made.counters["a"]), shown(made.counters["b"])))
    assert found[1] == found[0]
    assert found[2] == found[0]


@pytest.mark.parametrize("seed", range(12))
def test_a_spoilt_file_is_whole_asked_about_or_refused_and_never_half_a_day(
    made: SprayRig, seed: int
) -> None:
    dice = random.Random(seed)
    spoilt = bytearray(MORNING[: dice.randint(0, len(MORNING))])
    for _ in range(dice.randint(1, 40)):
        if spoilt:
            place = dice.randrange(len(spoilt))
            spoilt[place : place + dice.randint(0, 3)] = dice.randbytes(dice.randint(0, 3))
    before = everything()
    with nothing_stored():
        asked = read(made, bytes(spoilt))
        if asked.status == READ:
            withdraw(asked.log, made)
            default_storage.delete(str(asked.log and asked.log.file.name))
        else:
            assert asked.status in (ASKS, REFUSED)
            assert asked.reason or asked.questions
            assert everything() == before
