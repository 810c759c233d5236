"""One shift log in the database: its day, the readings it gives, what it asks, its layout."""

import io
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest

from equipment.models import (
    Counter,
    LogContradiction,
    Reading,
    ShiftDay,
)
from equipment.services import (
    create_counter,
    create_rig,
    exchange_component,
)
from equipment.services.rigs import create_component, create_type
from equipment.services.shiftlogs import (
    ASKS,
    KNOWN,
    READ,
    REFUSED,
    LayoutRefused,
    Outcome,
    day_of,
    keep_layout,
    layout_like,
    look_at,
    raw,
    retire_layout,
)
from equipment.services.shiftlogs import reading as reading_service
from equipment.services.shiftlogs.facts import of_the_face
from equipment.shiftlogs.blocks import Rules
from equipment.shiftlogs.layout import AnswerRefused
from tests.equipment.factories import START, ZONE, SprayRig, spray_rig
from tests.equipment.logs import (
    DAY,
    HEADINGS,
    MORNING,
    NOON,
    NOW,
    ROWS,
    climb,
    evening,
    everything,
    log_text,
    nothing_stored,
    open_ones,
    read,
    shown,
)

pytestmark = pytest.mark.django_db

How = LogContradiction.How


@pytest.fixture
def made() -> SprayRig:
    return spray_rig()


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
