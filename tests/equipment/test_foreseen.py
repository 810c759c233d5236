"""What a page is told of its counters for a time without us: it asks where we would, and no more.

The oracle of a page is `unusual` and `impossible`, which decide on arrival.
"""

from datetime import datetime, timedelta
from decimal import Decimal

import pytest

from equipment.models import Counter
from equipment.services import NewReading, create_counter
from equipment.services.expecting import Foreseen, foreseen_of, impossible, unusual
from tests.equipment.factories import ZONE, SprayRig, day, spray_rig

pytestmark = pytest.mark.django_db

STARTS = day(30)
MOMENTS = [STARTS + timedelta(days=each) for each in (0.5, 1, 2, 4, 8, 16)]


@pytest.fixture
def rig(db: None) -> SprayRig:
    """Three weeks of 10 hours and 400 strokes a day."""
    made = spray_rig()
    made.read(day(10), hours=100, a=4000, b=4000)
    made.read(day(20), hours=200, a=8000, b=8000)
    for counter in made.counters.values():
        counter.refresh_from_db()
    return made


def asked(counter: Counter, value: Decimal, at: datetime) -> bool:
    """Whether the shop would ask about such a reading, or refuse it."""
    new = [NewReading(counter, value)]
    return bool(unusual(new, at=at) or impossible(new, at=at))


def stretches(counter: Counter) -> list[tuple[datetime, Foreseen]]:
    """Each stretch with its beginning."""
    told = foreseen_of([counter], moments=MOMENTS)[counter.pk]
    return list(zip([STARTS, *MOMENTS], told, strict=False))


@pytest.mark.parametrize("name", ["hours", "a"])
def test_whatever_the_page_asks_about_the_shop_asks_about(rig: SprayRig, name: str) -> None:
    counter = rig.counters[name]
    for begins, part in stretches(counter):
        assert part.high is not None
        for at in (begins, begins + (part.until - begins) / 2, part.until):
            assert asked(counter, part.high + counter.display_step, at), (part, at)
            if part.low > counter.last_value:
                assert asked(counter, part.low - counter.display_step, at), (part, at)


@pytest.mark.parametrize("name", ["hours", "a"])
def test_ten_times_too_high_is_always_outside_and_a_usual_value_never(
    rig: SprayRig, name: str
) -> None:
    counter = rig.counters[name]
    for begins, part in stretches(counter):
        worked = Decimal((begins - day(0)) / (day(20) - day(0)))
        usual = (counter.last_value * worked).quantize(counter.display_step)
        assert part.high is not None
        assert part.low <= usual <= part.high, part
        assert not asked(counter, usual, begins)
        if begins < day(35):
            assert 10 * usual > part.high, part


def test_where_nothing_is_known_of_the_use_the_clock_alone_limits_hours(rig: SprayRig) -> None:
    """24 hours in a day (common sense); strokes whose pump has no limit have none."""
    new = {
        counts: create_counter(
            rig=rig.rig,
            name=f"new {counts}",
            counts=counts,
            side="",
            display_step=Decimal(1),
            first_value=Decimal(500),
            started_at=day(29),
            order=9,
            zone=ZONE,
        )
        for counts in (Counter.Counts.HOURS, Counter.Counts.STROKES)
    }
    told = foreseen_of(new.values(), moments=[day(30), day(31)])
    hours = told[new[Counter.Counts.HOURS].pk]
    assert [(each.low, each.high) for each in hours] == [(500, 525), (500, 549)]
    assert {each.high for each in told[new[Counter.Counts.STROKES].pk]} == {None}
    assert not asked(new[Counter.Counts.HOURS], Decimal(525), day(30))
    assert asked(new[Counter.Counts.HOURS], Decimal(526), day(30))


def test_a_counter_read_since_is_left_out_and_moments_come_in_order(rig: SprayRig) -> None:
    counter = rig.counters["a"]
    assert foreseen_of([counter], moments=[day(20), day(40)]) == {}
    with pytest.raises(ValueError, match="order of time"):
        foreseen_of([counter], moments=[day(40), day(30)])
