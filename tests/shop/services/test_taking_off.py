"""What was added to a sheet by mistake is taken off again; both stand in the ledger."""

from uuid import uuid4

import pytest

from inventory.models import Balance, Location, Movement
from inventory.services import prove
from shop.models import PartEntry, SheetPart, Unsettled
from shop.services.arriving.settling import post_all
from shop.services.refusals import SheetRefused
from shop.services.sheet_parts import add_part, enter_used, in_tray
from shop.services.taking_off import take_off_part
from tests.inventory.factories import received
from tests.shop.phones import Phone
from tests.shop.services.conftest import Hands
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def there(part: object, place: Location) -> int:
    return sum(
        Balance.objects.filter(part=part, location=place).values_list("quantity_steps", flat=True)
    )


def added(hands: Hands, world: SheetWorld) -> SheetPart:
    """A seal from the drawer of the rig, that nobody planned."""
    return add_part(
        sheet=hands.sheet,
        part=world.seal,
        location=world.drawer,
        quantity_steps=1,
        author=hands.who,
        at=NOW,
        request_id=uuid4(),
    )


def test_it_lies_where_it_was_and_the_ledger_tells_both(hands: Hands, world: SheetWorld) -> None:
    row = added(hands, world)
    request = uuid4()
    for _ in range(2):  # sent twice, it counts once
        take_off_part(row=row, author=hands.who, at=NOW, recorded_at=NOW, request_id=request)
    hands.fresh()
    assert in_tray(hands.sheet) == {}
    assert there(world.seal, world.drawer) == 1
    assert not SheetPart.objects.filter(pk=row.pk).exists()
    rows = Movement.objects.filter(source_kind="sheet", part=world.seal).order_by("pk")
    assert [(each.location.code, each.quantity_steps) for each in rows] == [
        ("01-D1", -1),
        ("tray-0001", 1),
        ("tray-0001", -1),
        ("01-D1", 1),
    ]
    assert prove() == []


def test_under_another_id_there_is_nothing_left_to_take_off(
    hands: Hands, world: SheetWorld
) -> None:
    """The twin of the request's id: what keeps it from going twice is then that it has gone."""
    row = added(hands, world)
    for _ in range(2):
        take_off_part(row=row, author=hands.who, at=NOW, recorded_at=NOW, request_id=uuid4())
    assert there(world.seal, world.drawer) == 1


def test_what_was_said_to_be_used_stays_written_down_and_is_put_right(
    hands: Hands, world: SheetWorld
) -> None:
    row = added(hands, world)
    who = {"author": hands.who, "at": NOW, "recorded_at": NOW}
    enter_used(sheet_part=row, used_steps=1, event_id=uuid4(), **who)
    take_off_part(row=row, request_id=uuid4(), **who)
    said = PartEntry.objects.filter(sheet_part=row).order_by("pk")
    assert list(said.values_list("used_steps", flat=True)) == [1, 0]
    row.refresh_from_db()
    assert row.used_steps == 0


def test_what_is_planned_is_not_taken_off(hands: Hands, world: SheetWorld) -> None:
    hands.take()
    row = hands.sheet.parts.get(part=world.filter_part)
    with pytest.raises(SheetRefused, match="oil filter is planned: say that none was used"):
        take_off_part(row=row, author=hands.who, at=NOW, recorded_at=NOW, request_id=uuid4())
    assert in_tray(hands.fresh())[world.filter_part.pk] == 1


def test_from_a_phone_the_entry_that_added_it_goes_and_what_was_planned_stays(
    hands: Hands, phone: Phone, world: SheetWorld
) -> None:
    """One more filter than planned, and off again: the planned one keeps its place."""
    received(world.filter_part, world.drawer, 1, 1900)
    hands.take()
    one = phone.entry("add", part="F-09", quantity="1", place="01-D1")
    off = phone.entry("take_off", event=one["event_id"], part="F-09")
    again = phone.entry("take_off", event=one["event_id"], part="F-09")
    assert [each.state for each in phone.send(one, off, off, again)] == ["taken"] * 4
    assert in_tray(hands.fresh())[world.filter_part.pk] == 1
    assert there(world.filter_part, world.drawer) == 1
    assert SheetPart.objects.get(sheet=hands.sheet, part=world.filter_part).planned_steps == 1
    hands.open_the_checks()
    hands.do_the_checks()
    hands.use(**{"F-09": 0})
    hands.sign()
    # Not used: back to the bin that it came from, not to where the other one came from.
    assert there(world.filter_part, world.drawer) == 1
    assert there(world.filter_part, world.bin) == 1
    assert prove() == []


def test_what_waits_is_taken_off_when_it_is_posted(
    phone: Phone, hands: Hands, world: SheetWorld
) -> None:
    """Neither can be taken: both wait, in the order made, and a manager posts both."""
    one = phone.entry("add", part="seal", quantity="2", place="01-D1")
    off = phone.entry("take_off", event=one["event_id"], part="seal")
    assert [each.state for each in phone.send(one, off)] == ["waiting"] * 2
    assert [row.kind for row in Unsettled.objects.order_by("pk")] == ["add", "take_off"]
    received(world.seal, world.drawer, 1, 900)
    posted, refused = post_all(of=hands.fresh(), author=world.manager, at=NOW, zone=world.shop.zone)
    assert (posted, refused) == (2, [])
    assert there(world.seal, world.drawer) == 2
    assert in_tray(hands.fresh()) == {}


@pytest.mark.parametrize(
    "said",
    [{"row": 987654}, {"event": "no id"}, {"event": "3f6f5a0e-0000-4000-8000-000000000000"}],
)
def test_what_is_not_there_is_refused(phone: Phone, said: dict[str, object]) -> None:
    entry = {**phone.entry("take_off", **said), "live": True}
    (outcome,) = phone.send(entry)
    assert outcome.state == "refused"
    assert "part" in outcome.words
