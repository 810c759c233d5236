"""Drum levels kept, refused, taken back and compared with what the counters counted."""

from datetime import datetime
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from equipment.models import DrumLevel
from equipment.services import NewReading, ReadingsRefused
from equipment.services.drums import (
    LevelRefused,
    LevelRose,
    LevelsRefused,
    NewLevel,
    comparisons,
    record_levels,
    reverse_level,
)
from equipment.services.quick import record_sending
from tests.equipment.factories import ZONE, SprayRig, day, spray_rig

pytestmark = pytest.mark.django_db

ERROR = Decimal(1)


@pytest.fixture
def spray(db: None) -> SprayRig:
    return spray_rig()


def dip(
    spray: SprayRig,
    number: int,
    side: str,
    left: object,
    new: object = None,
    *,
    request_id: UUID | None = None,
    **more: Any,
) -> DrumLevel:
    return record_levels(
        rig=spray.rig,
        levels=[NewLevel(side, Decimal(str(left)), None if new is None else Decimal(str(new)))],
        at=more.pop("at", day(number)),
        recorded_at=more.pop("recorded_at", day(400)),
        author=spray.author,
        request_id=request_id or uuid4(),
        zone=ZONE,
        **more,
    )[0]


class TestKept:
    def test_sent_twice_it_counts_once(self, spray: SprayRig) -> None:
        request_id = uuid4()
        first = dip(spray, 1, "A", 50, request_id=request_id)
        assert dip(spray, 1, "A", 50, request_id=request_id) == first
        assert DrumLevel.objects.count() == 1

    def test_twin_without_its_key_it_would_count_twice(self, spray: SprayRig) -> None:
        row = dip(spray, 1, "A", 50)
        with pytest.raises(IntegrityError), transaction.atomic():
            DrumLevel.objects.create(
                rig=row.rig,
                side="A",
                left=1,
                at=day(2),
                author=row.author,
                recorded_at=day(2),
                request_id=row.request_id,
            )

    def test_of_a_day_it_stands_at_its_end(self, spray: SprayRig) -> None:
        assert dip(spray, 1, "A", 50, is_day_only=True).at.astimezone(ZONE).hour == 23

    def test_it_is_only_added_to(self, spray: SprayRig) -> None:
        dip(spray, 1, "A", 50)
        with pytest.raises(DatabaseError, match="is only added to"), transaction.atomic():
            DrumLevel.objects.update(left=40)
        with pytest.raises(DatabaseError, match="is only added to"), transaction.atomic():
            DrumLevel.objects.all().delete()

    @pytest.mark.parametrize(
        ("wrong", "name"),
        [
            ({"side": "C"}, "drum_level_has_a_side"),
            ({"left": -1}, "drum_holds_zero_or_more"),
            ({"left": 60, "new_drum": 55}, "new_drum_holds_no_more"),
        ],
    )
    def test_the_database_refuses_what_cannot_be(
        self, spray: SprayRig, wrong: dict[str, Any], name: str
    ) -> None:
        fields = {"side": "A", "left": 10, **wrong}
        with pytest.raises(IntegrityError, match=name), transaction.atomic():
            DrumLevel.objects.create(
                rig=spray.rig,
                at=day(1),
                author=spray.author,
                recorded_at=day(1),
                request_id=uuid4(),
                **fields,
            )


class TestRefused:
    @pytest.mark.parametrize(
        ("left", "new", "said"),
        [
            ("-1", None, "Gallons from 0 to 2,000"),
            ("2001", None, "Gallons from 0 to 2,000"),
            ("Infinity", None, "Gallons from 0 to 2,000"),
            ("1.001", None, "with two decimals at most"),
            ("56", "55", "more left than a full drum holds"),
            ("0", "0", "holds more than nothing"),
        ],
    )
    def test_what_no_drum_holds(
        self, spray: SprayRig, left: str, new: str | None, said: str
    ) -> None:
        with pytest.raises(LevelsRefused, match=said):
            dip(spray, 1, "A", left, new)

    def test_more_than_before_asks_for_the_new_drum(self, spray: SprayRig) -> None:
        dip(spray, 1, "A", 10)
        with pytest.raises(LevelsRefused, match="Was a new drum put on") as refused:
            dip(spray, 2, "A", 50)
        assert isinstance(refused.value.errors["A"], LevelRose)
        assert dip(spray, 2, "A", 50, 55).is_new
        assert not dip(spray, 2, "B", 50).is_new

    def test_a_late_one_that_the_next_contradicts(self, spray: SprayRig) -> None:
        dip(spray, 3, "A", 40)
        with pytest.raises(LevelsRefused, match="The later dip shows 40 gal"):
            dip(spray, 2, "A", 10)

    def test_the_future_and_the_same_moment(self, spray: SprayRig) -> None:
        with pytest.raises(LevelsRefused, match="has not come yet"):
            dip(spray, 2, "A", 10, recorded_at=day(1))
        dip(spray, 1, "A", 10)
        with pytest.raises(LevelsRefused, match="Take it back first"):
            dip(spray, 1, "A", 9)


class TestTakenBack:
    def test_it_no_longer_counts_and_both_stay(self, spray: SprayRig) -> None:
        wrong = dip(spray, 1, "A", 5)
        request_id = uuid4()
        reason = {"author": spray.author, "at": day(2), "reason": "50", "request_id": request_id}
        made = reverse_level(level=wrong, **reason)  # type: ignore[arg-type]
        assert reverse_level(level=wrong, **reason) == made  # type: ignore[arg-type]
        assert DrumLevel.objects.in_force().count() == 0
        assert dip(spray, 1, "A", 50).left == 50
        with pytest.raises(LevelRefused, match="already"):
            reverse_level(level=wrong, **{**reason, "request_id": uuid4()})  # type: ignore[arg-type]


class TestCompared:
    """A stroke of these pumps is 0.1 gal: 23.1 in³ / 231 in³ a gallon."""

    def test_drums_against_the_strokes_of_the_same_time(self, spray: SprayRig) -> None:
        spray.read(day(1), a=1_000, b=1_000)
        spray.read(day(3), a=1_500, b=1_700)
        for number, a_left, b_left in ((1, 52, 55), (3, 3, 3)):
            dip(spray, number, "A", a_left)
            dip(spray, number, "B", b_left)
        found = comparisons(rig=spray.rig, error=ERROR)
        assert (found["A"].drums, found["A"].counters) == (49, 50)
        assert found["A"].is_within
        assert (found["B"].drums, found["B"].counters) == (52, 70)
        assert not found["B"].is_within

    def test_only_up_to_the_last_reading(self, spray: SprayRig) -> None:
        spray.read(day(1), a=1_000)
        spray.read(day(3), a=1_300)
        for number, left in ((1, 50), (3, 20), (5, 2)):
            dip(spray, number, "A", left)
        found = comparisons(rig=spray.rig, error=ERROR)["A"]
        assert (found.until, found.drums, found.counters) == (day(3), 30, 30)

    def test_no_further_back_than_a_month(self, spray: SprayRig) -> None:
        for number, strokes, left in ((1, 100, 55), (31, 200, 40), (62, 400, 21), (63, 410, 20)):
            spray.read(day(number), a=strokes)
            dip(spray, number, "A", left)
        found = comparisons(rig=spray.rig, error=ERROR)["A"]
        assert (found.since, found.drums, found.counters) == (day(62), 1, 1)

    def test_a_reset_that_hid_some_of_it_is_said(self, spray: SprayRig) -> None:
        spray.read(day(1), a=1_000)
        dip(spray, 1, "A", 50)
        spray.read(day(3), a=NewReading(spray.counters["a"], Decimal(100), "reset"))
        dip(spray, 3, "A", 20)
        found = comparisons(rig=spray.rig, error=ERROR)["A"]
        assert (found.counters, found.at_least, found.is_within) == (10, True, True)

    def test_one_dip_or_no_counter_says_nothing(self, spray: SprayRig) -> None:
        spray.read(day(1), a=1_000)
        dip(spray, 1, "A", 50)
        assert comparisons(rig=spray.rig, error=ERROR) == {}


class TestOneSending:
    def send(self, spray: SprayRig, at: datetime, a: int, left: int, **more: Any) -> Any:
        return record_sending(
            rig=spray.rig,
            readings=[NewReading(spray.counters["a"], Decimal(a))],
            levels=[NewLevel("A", Decimal(left))],
            digest=more.get("digest", ""),
            at=at,
            is_day_only=False,
            recorded_at=at,
            author=spray.author,
            request_id=more.get("request_id") or uuid4(),
            zone=ZONE,
            drum_error=ERROR,
        )

    def test_all_of_it_or_nothing(self, spray: SprayRig) -> None:
        self.send(spray, day(1), 1_000, 30)
        with pytest.raises(LevelsRefused):
            self.send(spray, day(2), 1_100, 50)
        with pytest.raises(ReadingsRefused):
            self.send(spray, day(2), 900, 20)
        spray.counters["a"].refresh_from_db()
        assert spray.counters["a"].last_value == 1_000
        assert DrumLevel.objects.get().left == 30

    def test_sent_twice_it_counts_once(self, spray: SprayRig) -> None:
        request_id = uuid4()
        for _ in range(2):
            self.send(spray, day(1), 1_000, 30, request_id=request_id, digest="0" * 64)
        assert DrumLevel.objects.count() == 1
        assert spray.rig.face_photos.count() == 1
