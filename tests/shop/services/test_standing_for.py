"""A bigger service stands for the smaller ones that it includes, on one line of a sheet."""

from typing import Any
from uuid import uuid4

import pytest
from django.urls import reverse

from equipment.models import Due, Renewal, ServiceVersion
from equipment.services import CheckPlan
from equipment.services.including import folded
from shop.models import Person, ServiceSheet, SignedCopy
from shop.services.drafting import hand_out, void_sheet
from shop.services.needs import set_need
from shop.services.open_lines import overlaps
from shop.services.refusals import OnAnotherSheet, OpenElsewhere
from tests.equipment.factories import service_for
from tests.inventory.factories import received
from tests.shop.services.conftest import Hands, rows_of_every_table
from tests.shop.worlds import NOW, SheetWorld, caution

pytestmark = pytest.mark.django_db


@pytest.fixture
def overhaul(world: SheetWorld) -> Due:
    """A bigger service of the gun, with one kit of its own, that includes the full rebuild; that
    includes the seals, which need a kit as well. One kit is on the shelf."""
    gun = world.fleet.components["gun"]
    seals = service_for(
        gun,
        ("gallons", 500),
        name="seals",
        author=world.manager,
        cautions=[caution("SC09", "Dust")],
    )
    version = world.rebuild.version
    version.includes.add(seals.service)
    bigger = service_for(
        gun,
        ("gallons", 1500),
        name="overhaul",
        author=world.manager,
        includes=[version.service],
        checks=[CheckPlan(text="Trigger")],
    )
    for service in (bigger.service, seals.service):
        set_need(service=service, part=world.kit, quantity_steps=1)
    return Due.objects.get(version=bigger)


def due(name: str) -> Due:
    return Due.objects.select_related("component__type", "version__service").get(
        version__service__name=name
    )


def lines(sheet: ServiceSheet) -> dict[str, list[str]]:
    return {line.title: line.covers for line in sheet.lines.order_by("order")}


def work(sheet: ServiceSheet, who: Person, manager: Person) -> Hands:
    hand_out(sheet=sheet, technician=who, author=manager, at=NOW)
    hands = Hands(ServiceSheet.objects.get(pk=sheet.pk), who)
    hands.take()
    hands.open_the_checks()
    hands.use()
    hands.fresh()
    return hands


def test_of_all_that_were_picked_the_biggest_has_a_line_and_says_the_rest(
    world: SheetWorld, overhaul: Due
) -> None:
    sheet = world.draft(due("seals"), world.rebuild, world.oil, overhaul)
    assert lines(sheet) == {"oil and filter": [], "overhaul": ["full rebuild", "seals"]}
    assert sheet.lines.get(version=overhaul.version).covers_text == (
        "part of it: full rebuild, seals"
    )
    # What is done with it has its dangers too.
    assert sheet.steps.filter(section="caution", title="Dust").exists()


def test_its_own_kit_is_for_all_of_them(world: SheetWorld, overhaul: Due) -> None:
    sheet = world.draft(due("seals"), world.rebuild, overhaul)
    planned = {row.part: (row.planned_steps, row.short_steps) for row in sheet.parts.all()}
    assert planned == {world.kit: (1, 0)}


def test_twin_not_included_each_has_its_line_and_its_kit(world: SheetWorld, overhaul: Due) -> None:
    overhaul.version.includes.clear()
    world.rebuild.version.includes.clear()
    received(world.kit, world.bin, 2, 42400)
    sheet = world.draft(due("seals"), world.rebuild, overhaul)
    assert lines(sheet) == {"full rebuild": [], "overhaul": [], "seals": []}
    assert [row.planned_steps for row in sheet.parts.all()] == [3]


def test_without_the_bigger_one_the_smaller_have_lines_of_their_own(
    world: SheetWorld, overhaul: Due
) -> None:
    """The biggest is left out of what is picked: what it stood for comes back."""
    assert lines(world.draft(due("seals"), world.rebuild)) == {"full rebuild": ["seals"]}


def test_what_it_stands_for_is_refused_on_a_second_sheet(world: SheetWorld, overhaul: Due) -> None:
    first = world.draft(overhaul)
    before = rows_of_every_table()
    with pytest.raises(
        OnAnotherSheet, match=f"seals, as part of “overhaul” is on sheet {first} already"
    ):
        world.draft(due("seals"), world.oil)
    assert rows_of_every_table() == before
    void_sheet(sheet=first, author=world.manager, at=NOW, reason="later", request_id=uuid4())
    assert lines(world.draft(due("seals"))) == {"seals": []}


def test_the_signature_renews_all_of_them_and_the_copy_says_so(
    world: SheetWorld, overhaul: Due, technician: Person
) -> None:
    hands = work(world.draft(due("seals"), overhaul), technician, world.manager)
    hands.answer(hands.check("Trigger"))
    # The library changed since the draft: what was renewed is what the line says.
    world.rebuild.version.includes.clear()
    sheet = hands.sign()
    renewed = Renewal.objects.filter(source_number=sheet.number).order_by("pk")
    assert [row.version.service.name for row in renewed] == ["overhaul", "full rebuild"]
    assert lines(sheet) == {"overhaul": ["full rebuild"]}
    assert "part of it: full rebuild" in str(SignedCopy.objects.get(sheet=sheet).document)


def test_left_undone_it_renews_none_of_them(
    world: SheetWorld, overhaul: Due, technician: Person
) -> None:
    hands = work(world.draft(due("seals"), overhaul), technician, world.manager)
    hands.sign(leave_undone=True)
    assert not Renewal.objects.exists()
    assert lines(world.draft(due("seals"))) == {"seals": []}


def test_of_two_that_include_each_other_one_stays(world: SheetWorld, overhaul: Due) -> None:
    """A circle that somebody made round the services."""
    seals = ServiceVersion.objects.get(service__name="seals")
    seals.includes.add(overhaul.version.service)
    dues = [due(name) for name in ("overhaul", "seals", "oil and filter")]
    left, _ = folded(dues)
    assert len(left) == 2
    assert left[-1].version.service.name == "oil and filter"


def test_the_pages_say_what_it_stands_for(
    world: SheetWorld, overhaul: Due, technician: Person, client_as: Any
) -> None:
    desk = client_as(world.manager)
    draft = desk.get(reverse("shop:draft_sheet"), {"rig": world.fleet.rig.number})
    assert "part of it: full rebuild, seals" in draft.content.decode()
    picked = [overhaul.pk, world.rebuild.pk, due("seals").pk]
    bar = desk.get(reverse("shop:due_picked"), {"due": picked}).context
    assert (bar["needed"], bar["here"], bar["cost_cents"]) == (
        1,
        1,
        world.kit.cost_of(1),
    )
    sheet = world.draft(overhaul)
    assert (
        "part of it: full rebuild, seals"
        in desk.get(reverse("shop:sheet", args=[sheet.number])).content.decode()
    )
    again = desk.get(reverse("shop:draft_sheet"), {"rig": world.fleet.rig.number})
    assert "overhaul (part of it: full rebuild, seals)" in again.content.decode()
    offered = {row["due"].version.service.name for row in again.context["near"]}
    assert offered == {"oil and filter"}
    phone = client_as(technician).get(reverse("shop:work", args=[sheet.number]))
    assert "part of it: full rebuild, seals" in phone.content.decode()


def test_a_bigger_one_asks_once_where_an_open_sheet_does_a_part_of_it(
    world: SheetWorld, overhaul: Due
) -> None:
    first = world.draft(due("seals"))
    before = rows_of_every_table()
    with pytest.raises(OpenElsewhere, match=f"Sheet {first} is open for this too: seals of 1-gun"):
        world.draft(overhaul)
    assert rows_of_every_table() == before
    assert lines(world.draft(overhaul, is_sure=True)) == {"overhaul": ["full rebuild", "seals"]}


def test_without_anything_shared_nothing_is_asked(world: SheetWorld, overhaul: Due) -> None:
    world.draft(world.oil)
    assert lines(world.draft(overhaul)) == {"overhaul": ["full rebuild", "seals"]}


def test_two_bigger_ones_share_what_both_include(world: SheetWorld, overhaul: Due) -> None:
    tune = service_for(
        overhaul.component,
        ("gallons", 800),
        name="tune",
        author=world.manager,
        includes=[due("seals").version.service],
    )
    sheet = world.draft(Due.objects.get(version=tune))
    (found,) = overlaps([overhaul])
    assert (found.sheet, found.services_text) == (sheet, "seals")


def test_whichever_is_signed_first_renews_it_and_the_other_does_so_again(
    world: SheetWorld, overhaul: Due, technician: Person
) -> None:
    received(world.kit, world.bin, 1, 21200)
    small, big = world.draft(due("seals")), world.draft(overhaul, is_sure=True)
    hands = work(big, technician, world.manager)
    hands.answer(hands.check("Trigger"))
    hands.sign()
    seals = Renewal.objects.filter(version__service__name="seals").order_by("pk")
    assert [row.source_number for row in seals] == [big.number]
    assert ServiceSheet.objects.get(pk=small.pk).is_open  # it still asks for them
    work(small, technician, world.manager).sign()
    assert [row.source_number for row in seals.all()] == [big.number, small.number]


def test_the_page_warns_beside_the_line_asks_once_and_keeps_what_was_typed(
    world: SheetWorld, overhaul: Due, client_as: Any
) -> None:
    first = world.draft(due("seals"))
    desk = client_as(world.manager)
    url = reverse("shop:draft_sheet")
    page = desk.get(url, {"rig": world.fleet.rig.number})
    warning = f'<a href="/sheets/{first.number}/">Sheet {first}</a> is open for this too: seals.'
    assert page.content.decode().count(warning) == 2  # the rebuild includes them as well
    fields = {
        "rig": world.fleet.rig.number,
        "due": [overhaul.pk],
        "planned_on": "2026-02-05",
        "note": "mind the whip",
        "request_id": str(uuid4()),
    }
    asked = desk.post(url, fields)
    assert asked.status_code == 422
    assert f"Sheet {first} is open for this too: seals of 1-gun." in asked.content.decode()
    assert "mind the whip" in asked.content.decode()
    assert ServiceSheet.objects.count() == 1
    assert desk.post(url, fields | {"sure": "on"}).status_code == 302
    assert ServiceSheet.objects.count() == 2


def test_what_is_drafted_as_a_part_of_another_is_said(
    world: SheetWorld, overhaul: Due, client_as: Any
) -> None:
    desk = client_as(world.manager)
    url = reverse("shop:draft_sheet")
    page = desk.get(url, {"rig": world.fleet.rig.number}).content.decode()
    assert "done with full rebuild, overhaul: picked together, they are one line" in page
    fields = {
        "rig": world.fleet.rig.number,
        "due": [overhaul.pk, due("seals").pk, world.oil.pk],
        "planned_on": "2026-02-05",
        "request_id": str(uuid4()),
    }
    there = desk.post(url, fields, follow=True).content.decode()
    gun = overhaul.component
    assert f"Part of “overhaul” of {gun}, on one line with it: seals." in there
    assert "part of it: full rebuild, seals" in there
