"""What does not come by the calendar: breakdowns, an exchanged pump, slips and their reversals."""

from datetime import datetime
from typing import Final, TypedDict

from equipment.models import Component, Due, Installation, Reading, Rig
from equipment.services import (
    Done,
    NewReading,
    exchange_component,
    open_finding,
    record_readings,
    record_renewals,
    reverse_reading,
)
from inventory.models import Movement
from inventory.services import adjust, count, put_back, reverse, scrap
from shop.demo import sheets, shelf
from shop.demo.seasons import Season
from shop.demo.story import Story
from shop.models import Person, ServiceSheet
from shop.services.drafting import void_sheet
from shop.services.sheet_parts import add_part

#: Rig 05's compressor: day → what was found, and what was taken for it.
BREAKDOWNS: Final = {
    -251: ("Compressor knocks, reed valve plate cracked", ("CO-506", "CO-505")),
    -118: ("Compressor runs hot, oil in the air", ("CO-504", "CO-505", "CO-504")),
}
EXCHANGED_FROM: Final = -97
BENCH_AFTER: Final = 12
SPARE_GUN_DAY: Final = -152
STOCK_DAY: Final = -45
SLIP_DAY: Final = -34


class Hands(TypedDict):
    """Who did it, and when."""

    author: Person
    at: datetime


def on(story: Story, offset: int, seasons: dict[int, Season]) -> None:
    """Whatever goes wrong, or is put right, on this day."""
    if offset in BREAKDOWNS:
        text, parts = BREAKDOWNS[offset]
        _breakdown(story, offset, text, parts)
    if offset >= EXCHANGED_FROM and seasons[7].job_on(offset) is None:
        _exchange_pump(story, offset)
    if offset == SPARE_GUN_DAY:
        _work_on_bench(story, offset, story.components["GUN-08"], None, "spare gun, made ready")
    if offset == STOCK_DAY:
        _slips_of_stock(story, offset)
    if offset == SLIP_DAY:
        _slip_of_a_reading(story, offset, seasons[1])


def _breakdown(story: Story, offset: int, text: str, parts: tuple[str, ...]) -> None:
    rig = story.rigs[5]
    finding = open_finding(
        rig=rig,
        component=fitted(rig, "compressor"),
        text=text,
        is_grave=True,
        author=story.technician,
        at=story.at(offset - 1, 15, 40),
        request_id=story.new_id(),
    )
    sheet = sheets.draft(story, offset, rig=rig, dues=[], findings=[finding], note="breakdown")
    work = sheets.give(story, sheet, offset, story.technician)
    sheets.prepare(work)
    for number in parts:
        plan = shelf.PLANS[number]
        add_part(
            sheet=work.sheet,
            part=story.parts[number],
            location=story.places[plan.place],
            quantity_steps=plan.steps,
            author=story.technician,
            at=work.tick(300),
            request_id=story.new_id(),
        )
    work.sheet.refresh_from_db()
    sheets.check(work)
    sheets.use_parts(work)
    sheets.sign(work)


def _exchange_pump(story: Story, offset: int) -> None:
    """Rig 07's pump A wept; the spare went in, and the old one was rebuilt on the bench."""
    position = story.positions[7, "pump A"]
    spare = story.components["PMP-15"]
    exchanged = Installation.objects.filter(component=spare).first()
    if exchanged is None:
        exchange_component(
            position=position,
            component_in=spare,
            at=story.at(offset, 9, 20),
            author=story.technician,
            zone=story.zone,
            reason="rod weeping on the A side",
        )
        _as_rebuilt(story, offset, spare)
        return
    came_in = (exchanged.installed_at.astimezone(story.zone).date() - story.today).days
    if offset == came_in + BENCH_AFTER:
        old = Installation.objects.get(position=position, removed_at__isnull=False).component
        _work_on_bench(story, offset, old, story.rigs[7], "rebuilt, goes on the shelf as spare")


def _as_rebuilt(story: Story, offset: int, component: Component) -> None:
    """The spare had been rebuilt before it went in."""
    rows = (
        Due.objects.filter(component=component)
        .select_related("version__service", "component")
        .order_by("pk")
    )
    at = story.at(offset, 9, 20)
    record_renewals(
        done=[Done(due.version, component) for due in rows],
        done_at=at,
        recorded_at=at,
        author=story.manager,
        zone=story.zone,
        reason="rebuilt before it was fitted",
    )


def _work_on_bench(
    story: Story, offset: int, component: Component, charged: Rig | None, note: str
) -> None:
    dues = list(
        Due.objects.filter(component=component, due_date__lte=story.day(offset + 60))
        .select_related("version__service", "component", "position")
        .order_by("pk")
    )
    sheet = sheets.draft(
        story, offset, component=component, dues=dues, charged_rig=charged, note=note
    )
    work = sheets.give(story, sheet, offset, story.electrician)
    sheets.prepare(work)
    sheets.check(work)
    sheets.use_parts(work)
    sheets.sign(work)


def _slips_of_stock(story: Story, offset: int) -> None:
    """A receipt typed twice and reversed, a count, a lot thrown away, a part put back."""
    plan = shelf.PLANS["CO-501"]
    shelf.take_in(story, plan, units=4, offset=offset, text="weekly order")
    typed_twice = Movement.objects.filter(part=story.parts["CO-501"]).latest("pk")
    hands: Hands = {"author": story.manager, "at": story.at(offset, 8, 10)}
    reverse(movement=typed_twice, reason="typed twice", request_id=story.new_id(), **hands)
    count(
        part=story.parts["GU-107"],
        location=story.places[shelf.PLANS["GU-107"].place],
        counted_steps=_there(story, "GU-107") - 1,
        request_id=story.new_id(),
        reason="shelf counted",
        **hands,
    )
    scrap(
        part=story.parts["OI-940"],
        location=story.places[shelf.PLANS["OI-940"].place],
        quantity_steps=5,
        request_id=story.new_id(),
        reason="drew water, milky",
        **hands,
    )
    adjust(
        part=story.parts["HO-411"],
        location=story.places[shelf.PLANS["HO-411"].place],
        quantity_steps=2,
        request_id=story.new_id(),
        reason="two rolls found in the van",
        **hands,
    )
    signed = ServiceSheet.objects.signed().filter(parts__part=story.parts["GU-105"])
    sheet = signed.latest("number")
    put_back(
        part=story.parts["GU-105"],
        location=story.places[shelf.PLANS["GU-105"].place],
        quantity_steps=1,
        source_kind="sheet",
        source_number=sheet.number,
        request_id=story.new_id(),
        reason="found unopened in the rig",
        **hands,
    )
    doubled = sheets.draft(
        story,
        offset,
        component=story.components["GUN-09"],
        dues=list(
            Due.objects.filter(component=story.components["GUN-09"])
            .select_related("version__service", "component", "position")
            .order_by("pk")[:1]
        ),
    )
    void_sheet(
        sheet=doubled, reason="drafted for the wrong gun", request_id=story.new_id(), **hands
    )


def _slip_of_a_reading(story: Story, offset: int, season: Season) -> None:
    """Two digits changed places; the manager took the reading back."""
    face = season.faces["Generator hours"]
    at = story.at(offset, 18, 5)
    wrong = record_readings(
        rig=story.rigs[1],
        readings=[NewReading(face.counter, face.shows // 1 + 6)],
        at=at,
        recorded_at=at,
        author=story.technician,
        request_id=story.new_id(),
        zone=story.zone,
    )[0]
    reverse_reading(
        reading=Reading.objects.get(pk=wrong.pk),
        author=story.manager,
        at=story.at(offset, 18, 40),
        reason="digits changed places",
        request_id=story.new_id(),
        zone=story.zone,
    )


def fitted(rig: Rig, kind: str, side: str = "") -> Component:
    """What sits in a rig's position of a kind."""
    return Component.objects.get(
        installations__position__rig=rig,
        installations__position__kind__name=kind,
        installations__position__side=side,
        installations__removed_at__isnull=True,
    )


def _there(story: Story, number: str) -> int:
    balances = story.parts[number].balances.filter(location=story.places[shelf.PLANS[number].place])
    return sum(balances.values_list("quantity_steps", flat=True))
