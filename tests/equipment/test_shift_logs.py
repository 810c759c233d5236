"""Shift logs in the database: days, readings beside those of people, and what contradicts them."""

import io
import itertools
import random
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.db import connection

from equipment.models import (
    Counter,
    LogContradiction,
    LogLayout,
    Reading,
    ShiftDay,
    ShiftLog,
    Wear,
)
from equipment.services import (
    NewReading,
    correct_reading,
    create_counter,
    create_rig,
    exchange_component,
    reverse_reading,
)
from equipment.services.rigs import create_component, create_type
from equipment.services.shiftlogs import (
    ASKS,
    KNOWN,
    READ,
    REFUSED,
    LayoutRefused,
    Outcome,
    SettlingRefused,
    day_of,
    keep_layout,
    layout_like,
    look_at,
    look_at_many,
    raw,
    read_many,
    retire_layout,
    settle_contradiction,
    source_of,
    withdraw_log,
)
from equipment.services.shiftlogs import reading as reading_service
from equipment.services.shiftlogs.facts import of_the_face
from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.layout import AnswerRefused
from tests.equipment.factories import START, ZONE, SprayRig, spray_rig
from tests.equipment.logs import (
    HEADINGS,
    NOW,
    climb,
    files_kept,
    log_text,
    nothing_stored,
    read,
    shown,
)
from tests.races import all_meet_in, at_once, without_row_locks

pytestmark = pytest.mark.django_db

How = LogContradiction.How
#: 50 minutes at a row each 5 seconds and 3 strokes a row: 36 a minute.
ROWS = 600
DAY = date(2026, 1, 12)
MORNING = log_text("2026-01-12 07:00:00", climb(100, ROWS), climb(200, ROWS))


@pytest.fixture
def made() -> SprayRig:
    return spray_rig()


def evening(number: int, value: int, made: SprayRig) -> Reading:
    """A person reads counter A at 18:00 on a day of January."""
    at = datetime(2026, 1, number, 18, 0, tzinfo=ZONE)
    return made.read(at, fresh=False, a=value)[0]


def open_ones() -> list[LogContradiction]:
    return list(LogContradiction.objects.open().order_by("at"))


def settle(each: LogContradiction, how: str, made: SprayRig, **given: Any) -> LogContradiction:
    return settle_contradiction(
        contradiction=each, how=how, author=made.author, at=NOW, zone=ZONE, **given
    )


def withdraw(log: ShiftLog | None, made: SprayRig, reason: str = "the wrong rig's") -> ShiftLog:
    assert log is not None
    return withdraw_log(
        log=log, author=made.author, at=NOW, reason=reason, zone=ZONE, rules=Rules()
    )


def everything() -> list[Any]:
    """All rows that a log can touch."""
    models = (ShiftLog, ShiftDay, LogContradiction, LogLayout, Reading, Wear, Counter)
    return [list(model.objects.order_by("pk").values()) for model in models]


# --- one log ------------------------------------------------------------------------------------


def test_a_log_gives_a_day_and_readings_from_which_lives_follow(made: SprayRig) -> None:
    outcome = read(made, MORNING)
    assert outcome.status == READ
    row = ShiftDay.objects.get()
    # 599 rises of 3 strokes of 0.1 gal on each side.
    assert (row.date, row.strokes_a, row.strokes_b) == (DAY, 1797, 1797)
    assert row.gallons == pytest.approx(2 * 179.7)
    assert row.run_hours == pytest.approx(599 * 5 / 3600)
    assert list(row.logs.all()) == [outcome.log]
    assert shown(made.counters["a"]) == [("12 07:00:00", 100, "log"), ("12 07:49:55", 1897, "log")]
    assert shown(made.counters["b"]) == [("12 07:00:00", 200, "log"), ("12 07:49:55", 1997, "log")]
    assert shown(made.counters["hours"]) == []
    assert made.life("pump A", "strokes") == 1897
    assert made.life("gun", "gallons") == Decimal("389.4")
    assert outcome.counters == (("strokes_a", "A strokes"), ("strokes_b", "B strokes"))


def test_the_day_comes_out_of_the_database_as_it_went_in(made: SprayRig) -> None:
    looked = look_at(
        rig=made.rig, source=io.BytesIO(MORNING), name="day.csv", now=NOW, zone=ZONE, rules=Rules()
    )
    read(made, MORNING)
    assert day_of(ShiftDay.objects.get(), ZONE) == looked.days[0]


def test_the_file_is_kept_whole_and_small_under_its_hash(made: SprayRig) -> None:
    log = read(made, MORNING, name="../evil\\day.csv").log
    assert log is not None
    assert log.name == "evil/day.csv"
    assert log.digest in str(log.file.name)
    assert log.file.size < len(MORNING) / 5
    with raw(log) as kept:
        assert kept.read() == MORNING


def test_a_look_writes_nothing(made: SprayRig) -> None:
    before = everything()
    with nothing_stored():
        outcome = look_at(
            rig=made.rig, source=io.BytesIO(MORNING), now=NOW, zone=ZONE, rules=Rules()
        )
    assert outcome.status == READ
    assert outcome.days[0].strokes_a == 1797
    assert everything() == before


def test_the_same_file_again_is_known_and_changes_nothing(made: SprayRig) -> None:
    first = read(made, MORNING)
    evening(20, 2500, made)
    before = everything()
    with nothing_stored():
        again = read(made, MORNING, name="renamed.csv", answers={"bad_rows": "refuse"})
    assert again.status == KNOWN
    assert "as “day.csv”" in again.reason
    assert again.days == first.days
    assert everything() == before


def test_the_same_file_for_another_rig_is_refused(made: SprayRig) -> None:
    read(made, MORNING)
    other = create_rig(number=2, name="Other", at=START)
    with nothing_stored():
        outcome = read(made, MORNING, rig=other)
    assert outcome.status == REFUSED
    assert "read as a log of rig 01 Trailer 1" in outcome.reason
    assert not other.shift_days.exists()


def test_a_failure_at_the_end_leaves_neither_rows_nor_a_file(
    made: SprayRig, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = everything()

    def broken(**_: Any) -> None:
        raise RuntimeError("the power went")

    monkeypatch.setattr(reading_service, "post", broken)
    with nothing_stored(), pytest.raises(RuntimeError):
        read(made, MORNING)
    assert everything() == before


def test_progress_is_told(made: SprayRig) -> None:
    told: list[tuple[str, float]] = []
    read(made, MORNING, progress=lambda what, share: told.append((what, share)))
    assert {what for what, _ in told} == {
        "Looking whether it was read before",
        "Reading the rows",
        "Keeping the file",
    }
    assert all(0 <= share <= 1 for _, share in told)


# --- what the log asks --------------------------------------------------------------------------

BAD = MORNING.replace(b"2026-01-12 07:10:00,460", b"2026-01-12 07:10:00,4x0", 1)


def test_bad_rows_are_left_out_with_consent_only(made: SprayRig) -> None:
    before = everything()
    with nothing_stored():
        asked = read(made, BAD)
        refused = read(made, BAD, answers={"bad_rows": "refuse"})
    assert asked.status == ASKS
    question = asked.questions[0]
    assert (question.key, [token for token, _ in question.choices]) == (
        "bad_rows",
        ["skip", "refuse"],
    )
    assert "line 122" in question.why
    assert asked.bad_rows_shown[0].line == 122
    assert refused.status == REFUSED
    with pytest.raises(AnswerRefused, match="Say skip or refuse"):
        read(made, BAD, answers={"bad_rows": "perhaps"})
    assert everything() == before
    done = read(made, BAD, answers={"bad_rows": "skip"})
    assert done.status == READ
    assert done.log is not None
    assert (done.log.rows, done.log.bad_rows) == (ROWS - 1, 1)
    # The rise over the row that is missing is counted.
    assert done.days[0].strokes_a == 1797


def test_a_word_that_may_mean_running_or_not_is_asked_about(made: SprayRig) -> None:
    def look(word: str, **given: Any) -> Outcome:
        states = ["Status", *["on"] * 300, *[word] * 200, *["off"] * 100]
        lines = zip(MORNING.decode().splitlines(), states, strict=True)
        content = io.BytesIO("\n".join(map(",".join, lines)).encode())
        return look_at(rig=made.rig, source=content, now=NOW, zone=ZONE, rules=Rules(), **given)

    known = look("off").layout
    asked = look("limp", layout=known)
    assert asked.status == ASKS
    assert [each.key for each in asked.questions] == ["columns"]
    assert "“limp”" in asked.questions[0].why
    # Counted as running, and without the column.
    for (token, _), rows in zip(asked.questions[0].choices, (500, 599), strict=True):
        done = look("limp", layout=known, answers={"columns": token})
        assert done.status == READ, done.reason
        assert done.days[0].run_hours == pytest.approx(rows * 5 / 3600)


def test_a_torn_last_line_is_normal(made: SprayRig) -> None:
    outcome = read(made, MORNING[:-12])
    assert outcome.status == READ
    assert (outcome.rows, outcome.bad_rows) == (ROWS - 1, 0)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (bytes(range(256)) * 40, ""),
        (b"Dear all,\nthe rig is fine.\n", ""),
        (HEADINGS.encode() + b"\n", ""),
    ],
)
def test_what_is_no_log_is_refused_in_words(made: SprayRig, content: bytes, words: str) -> None:
    before = everything()
    with nothing_stored():
        outcome = read(made, content)
    assert outcome.status == REFUSED
    assert words in outcome.reason.casefold()
    assert outcome.reason.endswith(".")
    assert everything() == before


# --- readings -----------------------------------------------------------------------------------


def test_what_the_log_and_a_person_read_counts_once(made: SprayRig) -> None:
    evening(12, 1897, made)
    read(made, MORNING)
    evening(13, 2000, made)
    assert made.life("pump A", "strokes") == 2000
    assert shown(made.counters["a"]) == [
        ("12 07:00:00", 100, "log"),
        ("12 07:49:55", 1897, "log"),
        ("12 18:00:00", 1897, "person"),
        ("13 18:00:00", 2000, "person"),
    ]


def test_a_reset_that_the_log_saw_is_counted_whole(made: SprayRig) -> None:
    a = climb(100, 300) + climb(0, 300)
    outcome = read(made, log_text("2026-01-12 07:00:00", a, climb(200, ROWS)))
    assert (outcome.days[0].resets_a, outcome.days[0].resets_b) == (1, 0)
    reset = Reading.objects.get(step=Reading.Step.RESET)
    assert (reset.value, reset.before_reset, reset.counter) == (0, 997, made.counters["a"])
    assert not made.components["pump A"].wear.get(measure="strokes").is_at_least
    assert made.life("pump A", "strokes") == 997 + 897


def test_a_reset_that_nobody_saw_makes_a_bound(made: SprayRig) -> None:
    first = log_text("2026-01-12 07:00:00", climb(100, 300), climb(200, 300))
    later = log_text("2026-01-12 09:00:00", climb(30, 300), climb(1097, 300))
    both = first + later.split(b"\n", 1)[1]
    outcome = read(made, both)
    assert outcome.days[0].is_at_least
    assert Reading.objects.get(step=Reading.Step.RESET).before_reset is None
    wear = made.components["pump A"].wear.get(measure="strokes")
    assert (wear.life, wear.is_at_least) == (997 + 927, True)


def test_a_rollover_is_no_reset(made: SprayRig) -> None:
    a = made.counters["a"]
    Counter.objects.filter(pk=a.pk).update(rollover=10_000, first_value=9_000, last_value=9_000)
    turning = [each % 10_000 for each in climb(9_100, ROWS)]
    outcome = read(made, log_text("2026-01-12 07:00:00", turning, climb(200, ROWS)))
    assert (outcome.days[0].resets_a, outcome.days[0].strokes_a) == (0, 1797)
    assert Reading.objects.get(step=Reading.Step.ROLLOVER).counter == a
    assert made.life("pump A", "strokes") == 9_100 + 1797 - 9_000


def test_a_counter_of_cycles_is_read_in_cycles(made: SprayRig) -> None:
    Counter.objects.filter(pk=made.counters["a"].pk).update(
        counts=Counter.Counts.CYCLES, max_per_minute=30
    )
    read(made, MORNING)
    assert shown(made.counters["a"]) == [("12 07:00:00", 50, "log"), ("12 07:49:55", 948, "log")]
    # The displacement is that of a counted stroke, here a cycle: half of it for a single one.
    row = ShiftDay.objects.get()
    assert (row.strokes_a, row.gallons_a) == (1797, pytest.approx(179.7 / 2))


@pytest.mark.parametrize(
    ("value", "counts", "step", "face"),
    [
        (101.0, Counter.Counts.CYCLES, "1", "50"),
        (101.0, Counter.Counts.STROKES, "1", "101"),
        (101.0, Counter.Counts.STROKES, "10", "100"),
        (12.299999999, Counter.Counts.HOURS, "0.1", "12.3"),
        (12.39, Counter.Counts.HOURS, "0.1", "12.3"),
    ],
)
def test_a_face_shows_whole_steps(value: float, counts: str, step: str, face: str) -> None:
    counter = Counter(counts=counts, display_step=Decimal(step))
    assert of_the_face(value, counter) == Decimal(face)


def test_an_hour_meter_is_read_only_where_the_match_is_sure(made: SprayRig) -> None:
    def hours(start: str, heading: str) -> bytes:
        begins = datetime.fromisoformat(start)
        rows = [
            f"{begins + timedelta(seconds=5 * n)},{n},{10 + n * 5 / 3600:.3f}" for n in range(900)
        ]
        return "\n".join([f"Time,A strokes,{heading}", *rows, ""]).encode()

    outcome = read(made, hours("2026-01-12 07:00:00", "Hour meter (h)"))
    assert outcome.status == READ
    assert shown(made.counters["hours"]) == []
    assert any("Hour meter" in note for note in outcome.notes)
    create_counter(
        rig=made.rig, name="Rig hours", counts=Counter.Counts.HOURS, display_step=Decimal("0.1"),
        max_per_minute=None, started_at=START, order=9, zone=ZONE,
    )  # fmt: skip
    Counter.objects.filter(name="Rig hours").update(first_value=9, last_value=9)
    read(made, hours("2026-01-13 07:00:00", "Rig Hours (h)"), name="next.csv")
    readings = Reading.objects.of(Counter.objects.get(name="Rig hours"))
    assert [row.value for row in readings] == [Decimal("10.0"), Decimal("11.2")]


def test_days_know_the_pump_of_their_time(made: SprayRig) -> None:
    kind = made.components["pump A"].type.kind
    larger = create_type(kind=kind, name="Twice as large", displacement_in3=Decimal("46.2"))
    spare = create_component(
        type=larger, tag="spare", at=START, zone=ZONE, in_service_on=date(2026, 1, 5)
    )
    exchange_component(
        position=made.positions["pump A"],
        component_in=spare,
        at=datetime(2026, 1, 13, 6, 0, tzinfo=ZONE),
        author=made.author,
        zone=ZONE,
        reason="worn",
    )
    two_days = (
        MORNING
        + log_text("2026-01-13 07:00:00", climb(1897, ROWS), climb(1997, ROWS)).split(b"\n", 1)[1]
    )
    outcome = read(made, two_days)
    assert [day.gallons_a for day in outcome.days] == [
        pytest.approx(179.7),
        pytest.approx(359.4),
    ]
    assert [day.gallons_b for day in outcome.days] == [pytest.approx(179.7)] * 2


def test_what_is_older_than_the_count_makes_a_day_and_no_reading(made: SprayRig) -> None:
    old = log_text("2026-01-02 07:00:00", climb(100, ROWS), climb(200, ROWS))
    outcome = read(made, old)
    assert (outcome.status, outcome.days[0].strokes_a) == (READ, 1797)
    assert not Reading.objects.exists()
    assert open_ones() == []
    kept = LogContradiction.objects.filter(how=How.TOO_OLD)
    assert {each.counter for each in kept} == {made.counters["a"], made.counters["b"]}
    assert "Counting began on 5 Jan 2026" in kept[0].words


def test_what_is_dated_ahead_is_kept_as_a_contradiction(made: SprayRig) -> None:
    outcome = read(made, MORNING, at=datetime(2026, 1, 12, 6, 0, tzinfo=ZONE))
    assert outcome.status == READ
    assert not Reading.objects.exists()
    assert {each.words for each in outcome.contradictions} == {
        "That time has not come yet. Check the date and time of the reading."
    }


def reset_by_hand(number: int, value: int, before: int | None, made: SprayRig) -> Reading:
    """A person reads counter A at 18:00, and tells that it was reset since the last time."""
    at = datetime(2026, 1, number, 18, 0, tzinfo=ZONE)
    new = NewReading(
        made.counters["a"],
        Decimal(value),
        Reading.Step.RESET,
        None if before is None else Decimal(before),
    )
    return made.read(at, fresh=False, a=new)[0]


@pytest.mark.parametrize("before", [997, 1_010, None])
def test_a_reset_told_by_a_person_and_seen_by_the_log_is_one(
    made: SprayRig, before: int | None
) -> None:
    """Two days are logged between the readings; the counter was reset on the first of them."""
    evening(11, 50, made)
    reset_by_hand(13, 2_700, before, made)
    seen = log_text("2026-01-12 07:00:00", climb(100, 300) + climb(0, 300), climb(200, ROWS))
    after = log_text("2026-01-13 07:00:00", climb(897, ROWS), climb(1997, ROWS))
    for name, content in (("2.csv", after), ("1.csv", seen)):
        assert read(made, content, name=name).status == READ
    assert open_ones() == []
    wear = made.components["pump A"].wear.get(measure="strokes")
    assert (wear.life, wear.is_at_least) == ((before or 997) + 2_700, before is None)
    assert ShiftDay.objects.get(date=DAY).resets_a == 1


def test_a_value_before_a_reset_that_the_log_denies_is_a_contradiction(made: SprayRig) -> None:
    evening(11, 50, made)
    reset_by_hand(12, 900, 500, made)
    seen = log_text("2026-01-12 07:00:00", climb(100, 300) + climb(0, 300), climb(200, ROWS))
    (each,) = read(made, seen).contradictions
    assert "The next reading, 900 on 12 Jan 2026" in each.words
    assert made.life("pump A", "strokes") == 500 + 900


# --- contradictions -----------------------------------------------------------------------------


def test_a_log_that_contradicts_a_person_keeps_its_day_and_makes_no_reading(
    made: SprayRig,
) -> None:
    there = evening(11, 5_000, made)
    outcome = read(made, MORNING)
    assert (outcome.status, outcome.days[0].strokes_a) == (READ, 1797)
    (each,) = outcome.contradictions
    assert (each.counter, each.date, each.value) == (made.counters["a"], DAY, 100)
    assert (each.log, each.against) == (outcome.log, there)
    assert "Was the counter reset?" in each.words
    assert shown(made.counters["a"]) == [("11 18:00:00", 5_000, "person")]
    assert len(shown(made.counters["b"])) == 2


@pytest.mark.parametrize(("before_reset", "life"), [(5_100, 5_100 + 1897), (None, 5_000 + 1897)])
def test_told_of_a_reset_the_readings_are_taken(
    made: SprayRig, before_reset: int | None, life: int
) -> None:
    evening(11, 5_000, made)
    (each,) = read(made, MORNING).contradictions
    before = None if before_reset is None else Decimal(before_reset)
    settled = settle(each, How.RESET, made, before_reset=before)
    assert (settled.how, settled.settled_by) == (How.RESET, made.author)
    wear = made.components["pump A"].wear.get(measure="strokes")
    assert (wear.life, wear.is_at_least) == (life, before_reset is None)
    rows = everything()
    settle(each, How.RESET, made, before_reset=before)
    assert everything() == rows
    with pytest.raises(SettlingRefused, match="meanwhile"):
        settle(each, How.LOG_WRONG, made)


def test_a_reset_that_cannot_be_is_refused_with_nothing_written(made: SprayRig) -> None:
    evening(11, 5_000, made)
    (each,) = read(made, MORNING).contradictions
    rows = everything()
    with pytest.raises(SettlingRefused, match="cannot be 4,000"):
        settle(each, How.RESET, made, before_reset=Decimal(4_000))
    assert everything() == rows


def test_one_settled_reset_settles_the_days_after_it(made: SprayRig) -> None:
    evening(11, 5_000, made)
    first = read(made, MORNING)
    read(made, log_text("2026-01-13 07:00:00", climb(1897, ROWS), climb(1997, ROWS)), name="2.csv")
    assert len(open_ones()) == 2
    settle(first.contradictions[0], How.RESET, made)
    assert open_ones() == []
    assert LogContradiction.objects.get(date=date(2026, 1, 13)).how == How.FITS
    assert made.life("pump A", "strokes") == 5_000 + 1897 + 1797


def test_a_log_that_is_wrong_is_left_out(made: SprayRig) -> None:
    evening(11, 5_000, made)
    (each,) = read(made, MORNING).contradictions
    settle(each, How.LOG_WRONG, made)
    assert open_ones() == []
    assert shown(made.counters["a"]) == [("11 18:00:00", 5_000, "person")]
    assert ShiftDay.objects.get().strokes_a == 1797


def test_of_another_counter_nothing_is_taken_any_more(made: SprayRig) -> None:
    read(made, log_text("2026-01-10 07:00:00", climb(0, ROWS), climb(0, ROWS)), name="1.csv")
    evening(11, 5_000, made)
    (each,) = read(
        made, log_text("2026-01-12 07:00:00", climb(10, ROWS), climb(2000, ROWS))
    ).contradictions
    settle(each, How.OTHER_COUNTER, made)
    assert shown(made.counters["a"]) == [("11 18:00:00", 5_000, "person")]
    again = read(
        made, log_text("2026-01-13 07:00:00", climb(5_100, ROWS), climb(4000, ROWS)), name="3.csv"
    )
    assert again.contradictions == ()
    assert len(shown(made.counters["a"])) == 1
    assert len(shown(made.counters["b"])) == 6


def take_back(wrong: Reading, made: SprayRig) -> None:
    reverse_reading(
        reading=wrong, author=made.author, at=NOW, reason="a slip", request_id=uuid4(), zone=ZONE
    )


def test_once_the_wrong_reading_is_taken_back_the_log_is_taken(made: SprayRig) -> None:
    wrong = evening(11, 5_000, made)
    (each,) = read(made, MORNING).contradictions
    with pytest.raises(SettlingRefused, match="Was the counter reset"):
        settle(each, How.FITS, made)
    take_back(wrong, made)
    assert LogContradiction.objects.get().how == How.FITS
    assert made.life("pump A", "strokes") == 1897


def test_once_the_wrong_reading_is_corrected_the_log_is_taken(made: SprayRig) -> None:
    wrong = evening(11, 5_000, made)
    read(made, MORNING)
    correct_reading(
        reading=wrong,
        new=NewReading(made.counters["a"], Decimal(50)),
        at=wrong.at,
        is_day_only=False,
        author=made.author,
        recorded_at=NOW,
        reason="a slip",
        request_id=uuid4(),
        zone=ZONE,
    )
    assert open_ones() == []
    assert made.life("pump A", "strokes") == 1897


def test_a_reading_of_a_log_that_a_person_took_back_does_not_come_again(made: SprayRig) -> None:
    read(made, MORNING, name="1.csv")
    take_back(Reading.objects.of(made.counters["a"]).last(), made)  # type: ignore[arg-type]
    read(made, NOON, name="2.csv")
    assert [at for at, _, _ in shown(made.counters["a"])] == ["12 07:00:00", "12 12:49:55"]


def test_a_log_far_above_the_counter_is_asked_about(made: SprayRig) -> None:
    """On the clock the pump could have made it, but it never makes that much."""
    Counter.objects.filter(pk=made.counters["a"].pk).update(max_per_minute=None)
    for number in range(6, 21):
        evening(number, 500 * number, made)
    far = log_text("2026-01-21 07:00:00", climb(400_000, ROWS), climb(200, ROWS))
    (each,) = read(made, far).contradictions
    assert each.words == (
        "That is 390,000 more than the reading before it, far more than was ever counted in a day. "
        "Is it the log of another rig?"
    )
    assert made.life("pump A", "strokes") == 10_000
    settle(each, How.SAME_COUNTER, made)
    assert open_ones() == []
    assert made.life("pump A", "strokes") == 401_797


def test_a_hard_day_after_an_idle_season_is_no_stranger(made: SprayRig) -> None:
    evening(6, 10, made)
    evening(30, 20, made)
    busy = log_text("2026-01-31 07:00:00", climb(1_500, ROWS), climb(200, ROWS))
    assert read(made, busy).contradictions == ()


def test_a_reading_between_the_rows_contradicts_the_whole_day(made: SprayRig) -> None:
    made.read(datetime(2026, 1, 12, 7, 20, tzinfo=ZONE), fresh=False, a=50)
    outcome = read(made, MORNING)
    (each,) = outcome.contradictions
    assert "The next reading, 50 on 12 Jan 2026" in each.words
    assert shown(made.counters["a"]) == [("12 07:20:00", 50, "person")]


# --- several files ------------------------------------------------------------------------------

NOON = log_text("2026-01-12 12:00:00", climb(1903, ROWS), climb(2003, ROWS))


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


# --- layouts ------------------------------------------------------------------------------------

CYCLES = MORNING.replace(b"A strokes,B strokes", b"Count A,Count B")


def test_a_layout_corrected_once_reads_the_next_file(made: SprayRig) -> None:
    asked = read(made, CYCLES)
    assert [each.key for each in asked.questions] == ["counts"]
    log = read(made, CYCLES, answers={"counts": "strokes"}).log
    assert log is not None
    kept = keep_layout(name=" New  controller ", log=log, author=made.author, at=NOW)
    assert kept.name == "New controller"
    assert keep_layout(name="New controller", log=log, author=made.author, at=NOW) == kept
    assert layout_like(log.kept) == kept
    later = CYCLES.replace(b"2026-01-12", b"2026-01-13")
    outcome = read(made, later, name="2.csv", layout=kept.kept, answers=kept.answers)
    assert (outcome.status, outcome.questions) == (READ, ())
    other = read(made, NOON, name="3.csv").log
    assert other is not None
    with pytest.raises(LayoutRefused, match="Another layout"):
        keep_layout(name="New controller", log=other, author=made.author, at=NOW)
    with pytest.raises(LayoutRefused, match="Give the layout a name"):
        keep_layout(name="  ", log=other, author=made.author, at=NOW)
    assert layout_like(other.kept) is None
    retire_layout(layout=kept)
    assert layout_like(log.kept) is None


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
