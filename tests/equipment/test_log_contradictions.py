"""What a log says beside what people read: counted once, or kept as a contradiction."""

from datetime import date, datetime
from decimal import Decimal
from uuid import uuid4

import pytest

from equipment.models import (
    Counter,
    LogContradiction,
    Reading,
    ShiftDay,
)
from equipment.services import (
    NewReading,
    correct_reading,
    reverse_reading,
)
from equipment.services.shiftlogs import (
    READ,
    SettlingRefused,
)
from tests.equipment.factories import ZONE, SprayRig, spray_rig
from tests.equipment.logs import (
    DAY,
    MORNING,
    NOON,
    NOW,
    ROWS,
    climb,
    evening,
    everything,
    log_text,
    open_ones,
    read,
    settle,
    shown,
)

pytestmark = pytest.mark.django_db

How = LogContradiction.How


@pytest.fixture
def made() -> SprayRig:
    return spray_rig()


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
