"""Stays entered late, exchanges undone, and each of them sent twice."""

from datetime import timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID, uuid4

import pytest

from equipment.models import Component, Exchange, Installation, WearSource
from equipment.services import (
    EndsBeforeItBegins,
    ExchangeUndone,
    LaterChange,
    NotYet,
    OverlapsAnother,
    RemovedBeforeFitted,
    SatThere,
    WearPlan,
    add_stay,
    create_type,
    exchange_component,
    install_component,
    rebuild_all,
    remove_component,
    undo_exchange,
)
from tests.equipment.factories import ZONE, SprayRig, day, shelf_component, spray_rig

pytestmark = pytest.mark.django_db


@pytest.fixture
def rig(db: None) -> SprayRig:
    return spray_rig()


@pytest.fixture
def spare(rig: SprayRig) -> Component:
    return shelf_component(rig.positions["gun"].kind, tag="G-04")


def stay(rig: SprayRig, component: Component, since: Any, until: Any, **more: Any) -> Installation:
    return add_stay(
        **{
            "position": rig.positions["gun"],
            "component": component,
            "at": since,
            "until": until,
            "author": rig.author,
            "recorded_at": day(60),
            "reason": "crew told it late",
            "request_id": uuid4(),
            "zone": ZONE,
            "was_out": True,
            **more,
        }
    )


def exchange(rig: SprayRig, place: str, component: Component | None, at: Any, **more: Any) -> Any:
    return exchange_component(
        position=rig.positions[place],
        component_in=component,
        at=at,
        author=rig.author,
        zone=ZONE,
        reason="worn",
        **more,
    )


def undo(rig: SprayRig, exchange: Exchange | None, **more: Any) -> Exchange:
    assert exchange is not None
    return undo_exchange(
        **{
            "exchange": exchange,
            "author": rig.author,
            "at": day(60),
            "reason": "wrong gun picked",
            "request_id": uuid4(),
            "zone": ZONE,
            **more,
        }
    )


def everything() -> dict[str, list[dict[str, Any]]]:
    """What sat where and what drove it, without the keys of the rows."""
    stays = [
        {name: value for name, value in row.items() if name not in ("id", "began_with_id")}
        for row in Installation.objects.order_by("component", "installed_at", "pk").values()
    ]
    sources = WearSource.objects.order_by("installation__component", "measure", "counter").values(
        "installation__component",
        "measure",
        "counter",
        "per_count",
        "began_at",
        "ended_at",
        "start_total",
        "end_total",
        "is_estimated",
    )
    lives = Component.objects.order_by("pk").values(
        "pk", "side", "wear__measure", "wear__life", "wear__is_estimated"
    )
    return {
        "stays": stays,
        "sources": list(sources),
        "lives": sorted(lives, key=str),
    }


def gallons(component: Component) -> Decimal:
    return component.wear.get(measure="gallons").life


# --- a stay in the past ---------------------------------------------------------------------------


def test_a_gun_that_was_in_from_tuesday_to_thursday_takes_its_share(
    rig: SprayRig, spare: Component
) -> None:
    rig.read(day(10), a=1000, b=1000)
    rig.read(day(20), a=2000, b=2000)
    made = stay(rig, spare, day(12), day(14))
    assert (made.installed_at, made.removed_at) == (day(12), day(14))
    # 200 gallons a 1,000 strokes of both: two tenths of the second 200 are the spare's.
    assert gallons(spare) == 40
    assert gallons(rig.components["gun"]) == 360
    assert spare.wear.get(measure="gallons").is_estimated
    fitted = Installation.objects.get(position=rig.positions["gun"], removed_at__isnull=True)
    assert (fitted.component, fitted.installed_at) == (rig.components["gun"], day(14))
    assert rebuild_all(zone=ZONE)[1] == 0


def test_what_sat_there_then_is_a_question(rig: SprayRig, spare: Component) -> None:
    before = everything()
    with pytest.raises(SatThere, match=r"1-gun sits in rig 01 Trailer 1, Spray gun since 5 Jan"):
        stay(rig, spare, day(12), day(14), was_out=False)
    assert everything() == before
    assert not Exchange.objects.filter(component_in=spare).exists()


def test_before_later_readings_and_a_later_exchange_elsewhere(
    rig: SprayRig, spare: Component
) -> None:
    other = spray_rig(author=rig.author, number=2)
    rig.read(day(30), a=3000, b=3000)
    exchange(other, "gun", spare, day(20))
    assert stay(rig, spare, day(12), day(14))
    assert gallons(spare) == 40
    # Up to the very moment at which it went in there, and no further.
    assert stay(rig, spare, day(15), day(20))
    with pytest.raises(OverlapsAnother, match="G-04 sits in rig 02 Trailer 2, Spray gun since"):
        stay(rig, spare, day(20), day(21))
    assert rebuild_all(zone=ZONE)[1] == 0


def test_a_stay_that_only_overlaps_another_is_refused(rig: SprayRig, spare: Component) -> None:
    third = shelf_component(rig.positions["gun"].kind, tag="G-05")
    stay(rig, spare, day(12), day(14))
    for since, until in ((11, 13), (13, 15), (11, 15)):
        with pytest.raises(OverlapsAnother, match=r"s[ai]ts? in rig 01 .* A position holds one"):
            stay(rig, third, day(since), day(until))
    assert stay(rig, third, day(14), day(15))


def test_an_empty_position_needs_no_question(rig: SprayRig, spare: Component) -> None:
    exchange(rig, "gun", None, day(10))
    assert stay(rig, spare, day(12), day(14), was_out=False)
    assert rig.components["gun"].installations.count() == 1


def test_a_pump_of_another_displacement_moved_more_only_while_it_was_in(rig: SprayRig) -> None:
    bigger = shelf_component(rig.positions["pump A"].kind, tag="PU-12")
    bigger.type = create_type(
        kind=bigger.type.kind, name="Pump, 46.2 in³", displacement_in3=Decimal("46.2")
    )
    bigger.save()
    rig.read(day(10), a=1000, b=1000)
    rig.read(day(20), a=2000, b=2000)
    stay(rig, bigger, day(10), day(15), position=rig.positions["pump A"])
    # The gun: 200 before; then 500 strokes at 0.2 + 0.1 gallons, then 500 at 0.1 + 0.1.
    assert gallons(rig.components["gun"]) == 200 + 150 + 100
    assert gallons(bigger) == 100
    assert bigger.side == ""  # the row in memory is old; the kept one has carried isocyanate
    bigger.refresh_from_db()
    assert bigger.side == "A"


def test_what_a_person_chose_goes_on_behind_the_gap(rig: SprayRig, spare: Component) -> None:
    third = shelf_component(rig.positions["gun"].kind, tag="G-05")
    exchange(rig, "gun", third, day(1), wear=[WearPlan("strokes", rig.counters["b"])])
    stay(rig, spare, day(12), day(14))
    rig.read(day(20), a=100, b=1900)
    # 95 strokes a day: 19 days of them, less two.
    assert third.wear.get(measure="strokes").life == (19 - 2) * 95
    assert rebuild_all(zone=ZONE)[1] == 0


@pytest.mark.parametrize(
    ("since", "until", "error"),
    [(14, 12, EndsBeforeItBegins), (14, 14, EndsBeforeItBegins), (59, 61, NotYet)],
)
def test_times_that_cannot_be(
    rig: SprayRig, spare: Component, since: int, until: int, error: type[Exception]
) -> None:
    with pytest.raises(error):
        stay(rig, spare, day(since), day(until))


# --- undoing --------------------------------------------------------------------------------------


def test_a_wrong_exchange_undone_leaves_everything_as_it_was(
    rig: SprayRig, spare: Component
) -> None:
    rig.read(day(10), a=1000, b=1000)
    before = everything()
    made = exchange(rig, "gun", spare, day(12))
    rig.read(day(20), a=2000, b=2000)
    assert gallons(spare) > 0
    row = undo(rig, made.began_with)
    after = everything()
    assert after["stays"] == before["stays"]
    assert gallons(rig.components["gun"]) == 400
    assert not spare.wear.exists()
    assert rebuild_all(zone=ZONE)[1] == 0
    # Both rows stay, with who and why.
    assert (row.undoes, row.reason) == (made.began_with, "wrong gun picked")
    assert Exchange.objects.filter(component_in=spare).count() == 2
    # And the right one goes in at that moment.
    third = shelf_component(rig.positions["gun"].kind, tag="G-05")
    exchange(rig, "gun", third, day(12))
    assert gallons(third) == 160


def test_undoing_a_stay_joins_what_it_had_parted(rig: SprayRig, spare: Component) -> None:
    rig.read(day(10), a=1000, b=1000)
    rig.read(day(20), a=2000, b=2000)
    before = everything()
    made = stay(rig, spare, day(12), day(14))
    undo(rig, made.began_with)
    assert everything() == before


def test_a_stay_is_undone_though_what_went_on_came_out_later(
    rig: SprayRig, spare: Component
) -> None:
    made = stay(rig, spare, day(12), day(14))
    exchange(rig, "gun", None, day(40))
    undo(rig, made.began_with)
    gun = rig.components["gun"].installations.get()
    assert (gun.installed_at, gun.removed_at) == (day(0), day(40))
    undo(rig, gun.ended_with)  # and so is that
    assert rig.components["gun"].installations.get().removed_at is None


def test_a_side_that_came_of_a_mistake_goes_with_it(rig: SprayRig) -> None:
    pump = shelf_component(rig.positions["pump A"].kind, tag="PU-77")
    made = exchange(rig, "pump A", pump, day(12))
    undo(rig, made.began_with)
    pump.refresh_from_db()
    assert pump.side == ""
    assert exchange(rig, "pump B", pump, day(13))


def test_what_hangs_on_it_is_undone_first(rig: SprayRig, spare: Component) -> None:
    other = spray_rig(author=rig.author, number=2)
    made = exchange(rig, "gun", spare, day(12))
    exchange(other, "gun", rig.components["gun"], day(14))
    before = everything()
    with pytest.raises(LaterChange, match=r"1-gun sits in rig 02 .* Undo that first"):
        undo(rig, made.began_with)
    exchange(rig, "gun", None, day(16))
    with pytest.raises(LaterChange, match=r"G-04 sat in rig 01 .* Undo that first"):
        undo(rig, made.began_with)
    assert len(everything()["stays"]) == len(before["stays"])


def test_it_is_undone_once(rig: SprayRig, spare: Component) -> None:
    made = exchange(rig, "gun", spare, day(12))
    row = undo(rig, made.began_with)
    for wrong in (made.began_with, row):
        with pytest.raises(ExchangeUndone):
            undo(rig, wrong)


# --- sent twice -----------------------------------------------------------------------------------


@pytest.mark.parametrize("what", ["exchange", "empty", "install", "remove", "stay", "undo"])
def test_sent_twice_it_counts_once_and_without_its_number_twice(
    rig: SprayRig, spare: Component, what: str
) -> None:
    act = acts(rig, spare)[what]
    number = uuid4()
    act(number)
    there = everything(), Exchange.objects.count()
    act(number)
    assert (everything(), Exchange.objects.count()) == there
    # The twin: another number is another thing, done or refused in words.
    with pytest.raises(ValueError, match=r".+"):
        act(uuid4())


def acts(rig: SprayRig, spare: Component) -> dict[str, Any]:
    """Each act, by what it is; all of them stand on a rig whose B pump is out."""
    out = remove_component(component=rig.pump("B"), at=day(2), author=rig.author, zone=ZONE)
    who = {"author": rig.author, "zone": ZONE}

    def again(number: UUID) -> Any:
        return undo(rig, out.ended_with, request_id=number)

    return {
        "exchange": lambda number: exchange(rig, "gun", spare, day(5), request_id=number),
        "empty": lambda number: exchange(rig, "gun", None, day(5), request_id=number),
        "install": lambda number: install_component(
            component=rig.pump("B"),
            position=rig.positions["pump B"],
            at=day(5),
            request_id=number,
            **who,
        ),
        "remove": lambda number: remove_component(
            component=rig.components["gun"], at=day(5), request_id=number, **who
        ),
        "stay": lambda number: stay(rig, spare, day(5), day(6), request_id=number),
        "undo": again,
    }


def test_an_exchange_cannot_be_dated_ahead(rig: SprayRig, spare: Component) -> None:
    with pytest.raises(NotYet):
        exchange(rig, "gun", spare, day(12), recorded_at=day(12) - timedelta(hours=1))
    with pytest.raises(RemovedBeforeFitted):
        exchange(rig, "gun", spare, day(-1))
