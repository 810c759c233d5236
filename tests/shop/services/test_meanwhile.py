"""What changed between the look at a page and the press of its button: told, never half-done."""

from collections.abc import Callable
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest

from equipment.models import Due, Finding
from equipment.services import close_finding, open_finding, remove_component, retire_service
from inventory.models import Balance, Location
from inventory.services import break_kit, create_location, prove, retire_location
from shop.models import Person
from shop.services.drafting import void_sheet
from shop.services.refusals import FoundWorkClosed, NotFitted, PartGone, SheetRefused
from shop.services.sheet_parts import enter_used, reserve_again
from tests.equipment.factories import ZONE
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld

pytestmark = pytest.mark.django_db


def leak(world: SheetWorld) -> Finding:
    return open_finding(
        rig=world.fleet.rig,
        text="leaks at the head",
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )


def close(world: SheetWorld, finding: Finding) -> None:
    close_finding(finding=finding, author=world.manager, at=NOW, closing="new seal")


def refuses(kind: type[Exception], match: str, act: Callable[[], Any]) -> None:
    before = rows_of_every_table()
    with pytest.raises(kind, match=match):
        act()
    assert rows_of_every_table() == before


def there(location: Location) -> dict[str, int]:
    rows = Balance.objects.there().filter(location=location).select_related("part")
    return {row.part.number: row.quantity_steps for row in rows}


def test_closed_found_work_is_not_drafted(world: SheetWorld) -> None:
    finding = leak(world)
    close(world, finding)
    stale = Finding(pk=finding.pk, rig=world.fleet.rig, text=finding.text)
    refuses(
        FoundWorkClosed,
        "leaks at the head” was closed meanwhile",
        lambda: world.draft(world.oil, findings=[stale]),
    )


def test_what_left_the_rig_since_the_page_was_read_is_not_drafted(world: SheetWorld) -> None:
    seen = Due.objects.select_related("component", "version__service").get(pk=world.rebuild.pk)
    gun = world.fleet.components["gun"]
    remove_component(component=gun, at=NOW, author=world.manager, zone=ZONE)
    refuses(NotFitted, f"{gun.tag} has moved", lambda: world.draft(seen))


def test_a_service_retired_since_the_page_was_read_is_not_drafted(world: SheetWorld) -> None:
    seen = Due.objects.select_related("version__service").get(pk=world.oil.pk)
    retire_service(service=seen.version.service, zone=ZONE)
    refuses(SheetRefused, "no longer asked for", lambda: world.draft(seen))


def test_found_work_closed_on_its_own_page_does_not_keep_a_sheet_from_being_signed(
    world: SheetWorld, technician: Person
) -> None:
    finding = leak(world)
    hands = Hands(world.draft(world.oil, findings=[finding]), technician)
    hands.take()
    hands.open_the_checks()
    hands.answer(hands.check("Oil and filter changed"))
    hands.answer(hands.check("Volts at rated load"), "value", value=Decimal(240))
    hands.answer(hands.check("leaks at the head"), "choice", choice="put right")
    hands.use()
    close(world, finding)
    sheet = hands.sign()
    finding.refresh_from_db()
    assert (finding.closing, finding.times_carried) == ("new seal", 0)
    assert sheet.lines.get(finding=finding).outcome == "done"


def test_a_part_that_left_the_sheet_is_told(hands: Hands) -> None:
    row = hands.sheet.parts.get(part__number="F-09")
    hands.sheet.parts.filter(pk=row.pk).delete()
    refuses(PartGone, "no longer on this sheet", lambda: use(hands, row, 1))


def test_less_than_nothing_is_not_used(hands: Hands) -> None:
    row = hands.sheet.parts.get(part__number="F-09")
    refuses(SheetRefused, "less than nothing", lambda: use(hands, row, -1))


def use(hands: Hands, row: Any, steps: int) -> None:
    given = {"author": hands.who, "at": NOW, "recorded_at": NOW}
    enter_used(sheet_part=row, used_steps=steps, event_id=uuid4(), **given)


def test_texts_longer_than_their_column_are_told_on_both_databases(
    done: Hands, world: SheetWorld
) -> None:
    step = done.check("Oil and filter changed")
    volts = done.check("Volts at rated load")
    outside = {"value": Decimal(300), "remedy": "found_work", "finding_text": "x" * 301}
    refuses(SheetRefused, "note is longer", lambda: done.answer(step, "na", note="x" * 301))
    refuses(SheetRefused, "text is longer", lambda: done.answer(volts, "value", **outside))
    refuses(SheetRefused, "signed as is longer", lambda: done.sign(signature="x" * 61))
    refuses(SheetRefused, "note is longer", lambda: world.draft(note="x" * 301))


def test_a_void_sheet_gives_back_what_was_taken_in_part(hands: Hands, world: SheetWorld) -> None:
    """A kit that was broken before the taking: its parts lie in the tray, not the kit."""
    who = {"author": world.manager, "at": NOW}
    break_kit(
        kit=world.kit,
        location=world.bin,
        to_location=world.bin,
        quantity=1,
        request_id=uuid4(),
        **who,
    )
    reserve_again(sheet=hands.fresh(), **who)
    hands.take()
    assert there(hands.fresh().tray) == {"F-09": 1, "seal": 2}  # type: ignore[arg-type]
    void_sheet(sheet=hands.sheet, reason="the rig left", request_id=uuid4(), **who)
    assert there(world.bin) == {"F-09": 1, "seal": 2}
    assert prove() == []


def test_what_is_not_used_of_a_closed_bin_goes_to_an_open_one(
    done: Hands, world: SheetWorld
) -> None:
    who = {"author": world.manager, "at": NOW}
    retire_location(location=world.bin, **who)
    create_location(code="Z-01", **who)
    done.use(**{"F-09": 0})
    done.sign()
    assert there(Location.objects.get(code="Z-01")) == {"F-09": 1}
    assert prove() == []


def test_a_kit_broken_in_the_tray_does_not_stay_there(done: Hands, world: SheetWorld) -> None:
    tray = done.fresh().tray
    assert tray is not None
    break_kit(
        kit=world.kit,
        location=tray,
        to_location=tray,
        quantity=1,
        author=world.manager,
        at=NOW,
        request_id=uuid4(),
    )
    done.use()
    done.sign()
    assert there(tray) == {}
    assert there(world.bin) == {"seal": 2}
    assert prove() == []
