"""The shop in which the journeys happen: as real as the clock of the browser, a month old today."""

import io
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile

from equipment.models import Caution, Finding, Known, Reading, RoundItem, Service
from equipment.pdfs import read_pdf
from equipment.pictures import shrink
from equipment.services import CheckPlan, open_finding
from equipment.services.drums import NewLevel, record_levels
from equipment.services.knowing import keep_known, print_on_sheets, store_pdf, take_off_known
from equipment.services.photos import attach_photo, attach_to_found, store_picture
from equipment.services.shiftlogs import read_log, source_of
from inventory.models import Part
from inventory.services import set_policy
from shop.models import Person, ServiceSheet, SheetStep, Shop
from shop.services.coming_logs import take_in
from shop.services.drafting import draft_sheet, hand_out
from shop.services.needs import set_need
from shop.services.sheet_parts import enter_used
from shop.services.working import answer_step
from tests.equipment.factories import SprayRig, service_for
from tests.equipment.papers import pdf_file
from tests.equipment.photographs import photo_file
from tests.inventory.factories import PartFactory, received
from tests.shop.worlds import SheetWorld, sheet_world


@dataclass
class JourneyWorld:
    """Rig 1 with an overdue oil change, a gun to rebuild, and packing that is nearly worn."""

    now: datetime
    sheets: SheetWorld
    packing_set: Part

    @property
    def fleet(self) -> SprayRig:
        return self.sheets.fleet


def journey_world(shop: Shop, manager: Person, *, now: datetime) -> JourneyWorld:
    """Build the shop through its services.

    Pump A has run 8,000 of 15,000 strokes and its packing set is not in stock. There are two oil
    filters, to be bought when one is left, and one whole kit for the gun.
    """
    sheets = sheet_world(shop, manager, at=now)
    packing = service_for(
        sheets.fleet.pump("A"),
        ("strokes", 15_000),
        name="packing",
        author=manager,
        labour_minutes=60,
        tolerance_percent=Decimal(10),
        cautions=list(Caution.objects.filter(code="SC02")),
        checks=[
            CheckPlan(text="Packing nut at its torque"),
            CheckPlan(text="Pressure lost in a minute", kind="value", unit="psi", high=Decimal(50)),
        ],
    )
    packing_set = PartFactory(number="PK-01", name="packing set")
    set_need(service=packing.service, part=packing_set, quantity_steps=1)
    received(sheets.filter_part, sheets.bin, 1, 1900, lot_code="L-2")
    set_policy(part=sheets.kit, reorder_point_steps=0, order_up_to_steps=2, author=manager, at=now)
    return JourneyWorld(now=now, sheets=sheets, packing_set=packing_set)


def draft(world: JourneyWorld, *, technician: Person | None = None) -> ServiceSheet:
    """A sheet for the oil and the gun, handed out where somebody is named."""
    sheet = world.sheets.draft(at=world.now, today=today(world), planned_on=today(world))
    if technician:
        hand_out(sheet=sheet, technician=technician, author=world.sheets.manager, at=world.now)
    return sheet


def draft_found_work(world: JourneyWorld, *, technician: Person) -> ServiceSheet:
    """Another sheet of the same rig, for found work, handed out."""
    given = {"author": world.sheets.manager, "at": world.now}
    rig = world.sheets.fleet.rig
    finding = open_finding(rig=rig, text="light out", request_id=uuid4(), **given)
    days = {"today": today(world), "planned_on": today(world)}
    sheet = draft_sheet(rig=rig, dues=[], findings=[finding], request_id=uuid4(), **days, **given)
    hand_out(sheet=sheet, technician=technician, **given)
    return sheet


def today(world: JourneyWorld) -> date:
    return world.now.astimezone(world.sheets.shop.zone).date()


def answer_everything(sheet: ServiceSheet, *, by: Person, at: datetime) -> None:
    """Every caution read, every gauge at zero, every check in order, and no part used."""
    answer_steps(sheet, by=by, at=at)
    for row in sheet.parts.all():
        enter_used(sheet_part=row, used_steps=0, event_id=uuid4(), author=by, at=at, recorded_at=at)


def answer_steps(sheet: ServiceSheet, *, by: Person, at: datetime) -> None:
    """All but what was used."""
    make_safe(sheet, by=by, at=at)
    _answer(sheet, SheetStep.Section.CHECK, by, at)
    _answer(sheet, SheetStep.Section.RETURN, by, at)


def answer_rest(sheet: ServiceSheet, *, by: Person, at: datetime) -> None:
    """What nobody answered yet of a sheet that is safe, and no part used."""
    for section in (SheetStep.Section.CHECK, SheetStep.Section.RETURN):
        _answer(sheet, section, by, at, entry__isnull=True)
    for row in sheet.parts.all():
        enter_used(sheet_part=row, used_steps=0, event_id=uuid4(), author=by, at=at, recorded_at=at)


def make_safe(sheet: ServiceSheet, *, by: Person, at: datetime) -> None:
    """Every caution read, every source locked out, every gauge at zero."""
    lock_out(sheet, by=by, at=at)
    _answer(sheet, SheetStep.Section.ZERO, by, at)


def lock_out(sheet: ServiceSheet, *, by: Person, at: datetime, **only: Any) -> None:
    """Every caution read, every source locked out, no gauge read yet. only: of some steps."""
    for section in (SheetStep.Section.CAUTION, SheetStep.Section.LOCKOUT):
        _answer(sheet, section, by, at, **only)


def _answer(sheet: ServiceSheet, section: str, by: Person, at: datetime, **only: Any) -> None:
    for step in sheet.steps.filter(section=section, **only).order_by("order"):
        answer_step(step=step, event_id=uuid4(), author=by, at=at, recorded_at=at, **fine(step))


def fine(step: SheetStep) -> dict[str, Any]:
    """An answer that nothing is wrong with."""
    if step.kind == SheetStep.Kind.TICK:
        return {"answer": "done"}
    if step.kind == SheetStep.Kind.CHOICE:
        return {"answer": "choice", "choice": step.choices[0]}
    limits = [each for each in (step.low, step.high) if each is not None]
    return {"answer": "value", "value": limits[0] if limits else Decimal(1)}


def add_round(world: JourneyWorld) -> None:
    """Two checks of every spray day and one of every week."""
    for code, name, text, every in (
        ("OC01", "generator", "Oil between the marks", RoundItem.Every.DAY),
        ("OC02", "gun", "Trigger lock holds", RoundItem.Every.DAY),
        ("OC03", "pump A", "Lubricant clear", RoundItem.Every.WEEK),
    ):
        kind = world.fleet.components[name].type.kind
        RoundItem.objects.create(code=code, kind=kind, text=text, every=every)


def add_photo(world: JourneyWorld) -> None:
    """A photo beside the last readings, and two of found work that holds the rig."""
    held = Finding.objects.holding().order_by("pk")[0]
    for width in (400, 640):
        attach_to_found(
            found_id=held.request_id,
            digest=store_picture(shrink(photo_file(size=(width, 360)))),
            author=world.sheets.manager,
            at=world.now,
            photo_id=uuid4(),
        )
    last = Reading.objects.order_by("-at")[0]
    attach_photo(
        rig=world.fleet.rig,
        digest=store_picture(shrink(photo_file())),
        author=world.sheets.manager,
        at=world.now,
        request_id=last.request_id,
    )


def add_knowledge(world: JourneyWorld) -> None:
    """About the gun a printed picture and a note that replaced another, about packing a file and
    notes that were taken off and not."""
    gun = world.fleet.components["gun"].type
    packing = Service.objects.get(name="packing")
    digest = store_picture(shrink(photo_file(size=(900, 600))))
    shown = known(
        world, gun, "Exploded view, seals numbered from the tip", "picture", digest=digest
    )
    print_on_sheets(known=shown, is_printed=True, author=world.sheets.manager, at=world.now)
    first = known(world, gun, "Side seals: torque to 10, see the sheet")
    known(world, gun, "Side seals: torque to 12, see the sheet", replaces=first)
    gone = known(world, packing, "Grease is on the upper shelf")
    take_off_known(
        known=gone, author=world.sheets.manager, at=world.now, reason="the shelf was moved"
    )
    known(world, packing, "Warm the packing in the hand first", document="Maker’s sheet 4")
    digest = store_pdf(read_pdf(pdf_file()))
    known(world, packing, "Torque table", "file", digest=digest, pages=2, page="page 2")


def known(world: JourneyWorld, about: Any, text: str, kind: str = "note", **more: Any) -> Known:
    """Something that the manager knows."""
    given = {"author": world.sheets.manager, "at": world.now, "request_id": uuid4()}
    return keep_known(about=about, kind=kind, text=text, **given, **more)


def add_drums(world: JourneyWorld) -> None:
    """Two dips of each drum, the second after a change of the A drum."""
    moments = sorted(set(Reading.objects.values_list("at", flat=True)))[-2:]
    for at, a_side, b_side in zip(
        moments,
        (NewLevel("A", Decimal(40)), NewLevel("A", Decimal(50), Decimal(2000))),
        (NewLevel("B", Decimal(450)), NewLevel("B", Decimal(44))),
        strict=True,
    ):
        record_levels(
            rig=world.fleet.rig,
            levels=[a_side, b_side],
            at=at,
            recorded_at=world.now,
            author=world.sheets.manager,
            request_id=uuid4(),
            zone=world.sheets.shop.zone,
        )


def log_of(day: date, *, headings: str = "Time,Iso strokes,Resin strokes,Hose °F,Iso psi") -> bytes:
    """A controller's log of two minutes, whose counters show far more than the rig's can."""
    lines = [headings]
    for row in range(25):
        clock = f"08:{row * 5 // 60:02d}:{row * 5 % 60:02d}"
        strokes = 700_000_000 + 10 * row
        lines.append(f"{day} {clock},{strokes},{strokes},118.5,1150")
    return "\n".join(lines).encode()


def add_logs(world: JourneyWorld, technician: Person) -> None:
    """A log that was read, and contradicts the readings; and a sending that asks something."""
    day = today(world) - timedelta(days=1)
    source = source_of(io.BytesIO(log_of(day)), "yesterday.csv")
    given: dict[str, Any] = {"author": technician, "at": world.now}
    zone, rules = world.sheets.shop.zone, world.sheets.shop.log_rules
    outcome = read_log(rig=world.fleet.rig, source=source, zone=zone, rules=rules, **given)
    assert outcome.contradictions, outcome
    asks = log_of(day, headings="Time,Iso count,Resin count,Hose °F,Iso psi")
    uploads = [
        SimpleUploadedFile("doubtful.csv", asks),
        SimpleUploadedFile("yesterday.csv", log_of(day)),
        SimpleUploadedFile("bare.csv", asks.partition(b"\n")[2]),
        SimpleUploadedFile("letter.txt", b"Dear shop, the pump leaks."),
    ]
    take_in(rig=world.fleet.rig, uploads=uploads, sending=uuid4(), layout=None, **given)
