"""Importing parts with their reorder points, what is in kits, and the stock on the shelf."""

from collections import defaultdict
from collections.abc import Sequence
from functools import partial
from typing import Any, Final

from inventory import services
from inventory.costing import receipt_value_cents
from inventory.models import Location
from inventory.quantities import to_cents, to_steps
from inventory.services import KitLineSpec
from shop.importing import finding
from shop.importing.cells import (
    Cell,
    CellRefused,
    day,
    long_text,
    number,
    one_of,
    text,
    whole_number,
    yes_or_no,
)
from shop.importing.columns import Column, Kind, Record, RowRefused, Run, attempt, row_by_row
from shop.services.drawers import give_drawer

PART_NUMBER: Final = Column(
    "Part number", "number", text(40), "Your own number.", "SK-210", is_needed=True
)


def money(cell: Cell) -> int:
    """Read an amount of money. [cents]"""
    try:
        return to_cents(number(cell))
    except ValueError as refused:
        raise CellRefused(str(refused)) from refused


def steps_per_unit(cell: Cell) -> int:
    """Read the smallest amount of a part as the steps that one unit has: 1, 0.1, 0.01 …"""
    smallest = number(cell)
    for steps in (1, 10, 100, 1000):
        if smallest * steps == 1:
            return steps
    raise CellRefused("Write 1 for what comes whole, or 0.1, 0.01 or 0.001.")


def _add_part(kind: Kind, run: Run, record: Record) -> None:
    part = services.create_part(
        number=record["number"],
        name=record["name"],
        unit_name=record["unit_name"],
        steps_per_unit=record["steps_per_unit"],
        is_kit=record["is_kit"],
        category=record["category"],
        notes=record["notes"],
        usual_cost_cents=record["usual_cost"],
        author=run.author,
        at=run.now,
    )
    point, level = record["reorder_point"], record["order_up_to"]
    if point is None and level is None:
        return
    if point is None or level is None:
        raise RowRefused(
            "A reorder point and an order-up-to go together.",
            kind.column("order_up_to" if level is None else "reorder_point").heading,
        )
    services.set_policy(
        part=part,
        reorder_point_steps=to_steps(point, steps_per_unit=part.steps_per_unit),
        order_up_to_steps=to_steps(level, steps_per_unit=part.steps_per_unit),
        author=run.author,
        at=run.now,
        reason="Imported",
    )


PARTS: Final = Kind(
    "parts",
    "Parts",
    "One row for each part or kit. What lies on the shelf comes in a file of its own.",
    (
        PART_NUMBER,
        Column("Part name", "name", text(120), "In words.", "Packing kit, A side", is_needed=True),
        Column("Unit", "unit_name", text(20), "piece, gal, ft …", "piece", otherwise="piece"),
        Column(
            "Smallest amount", "steps_per_unit", steps_per_unit,
            "1 for what comes whole; 0.01 for what is measured to the hundredth.", "1", otherwise=1,
        ),
        Column("Kit (yes/no)", "is_kit", yes_or_no, "Holds other parts.", "no", otherwise=False),
        Column("Category", "category", text(40), "A word of your own.", "seals"),
        Column("Usual cost", "usual_cost", money, "Of one unit.", "48.50", otherwise=0),
        Column(
            "Reorder point", "reorder_point", number, "Buy when so many are left.", "2",
            otherwise=None,
        ),
        Column("Order up to", "order_up_to", number, "Buy up to so many.", "4", otherwise=None),
        Column("Notes", "notes", long_text, "Anything else."),
    ),
    row_by_row(_add_part),
)  # fmt: skip


# --- what is in kits --------------------------------------------------------------------------


def import_kit_lines(kind: Kind, run: Run, records: Sequence[Record]) -> None:
    """Say what is in each kit of the file, in place of what was said before."""
    kits: dict[str, list[Record]] = defaultdict(list)
    for record in records:
        kits[record["kit"].casefold()].append(record)
    for lines in kits.values():
        good = [line for line in lines if _is_good_line(kind, run, line)]
        if len(good) == len(lines):
            attempt(kind, run, lines[0].row, partial(_fill, kind, run, lines))


def _fill(kind: Kind, run: Run, lines: Sequence[Record]) -> None:
    kit = finding.part(run, lines[0]["kit"], kind.column("kit").heading)
    if kit.lines.exists():
        run.adds(f"New lines in place of those of {kit.number}", lines[0].row)
    services.set_kit_lines(
        kit=kit,
        lines=[_line(kind, run, line) for line in lines],
        author=run.author,
        at=run.now,
    )


def _line(kind: Kind, run: Run, record: Record) -> KitLineSpec:
    part = finding.part(run, record["number"], kind.column("number").heading)
    steps = _steps(kind, record, part)
    return KitLineSpec(part=part, quantity_steps=steps)


def _is_good_line(kind: Kind, run: Run, record: Record) -> bool:
    before = len(run.problems)
    attempt(kind, run, record.row, partial(_line, kind, run, record))
    return len(run.problems) == before


def _steps(kind: Kind, record: Record, part: Any) -> int:
    try:
        steps = to_steps(record["quantity"], steps_per_unit=part.steps_per_unit)
    except ValueError as refused:
        raise RowRefused(str(refused), kind.column("quantity").heading) from refused
    if not steps:
        raise RowRefused("Give a quantity above zero.", kind.column("quantity").heading)
    return steps


KIT_LINES: Final = Kind(
    "kit-lines",
    "What is in kits",
    "One row for each part of a kit. Kits and parts must be there already.",
    (
        Column("Kit number", "kit", text(40), "The kit's part number.", "GK-1", is_needed=True),
        PART_NUMBER,
        Column("Quantity", "quantity", number, "In one kit.", "2", is_needed=True),
    ),
    import_kit_lines,
)


# --- opening stock ----------------------------------------------------------------------------

PLACES: Final = {
    "": Location.Kind.BIN.value,
    "bin": Location.Kind.BIN.value,
    "rig drawer": Location.Kind.DRAWER.value,
    "drawer": Location.Kind.DRAWER.value,
    "quarantine": Location.Kind.QUARANTINE.value,
}


def _take_in(kind: Kind, run: Run, record: Record) -> None:
    part = finding.part(run, record["number"], kind.column("number").heading)
    steps = _steps(kind, record, part)
    unit_cost = part.usual_cost_cents if record["cost"] is None else record["cost"]
    services.receive(
        part=part,
        location=_place(kind, run, record),
        quantity_steps=steps,
        value_cents=receipt_value_cents(
            quantity_steps=steps,
            steps_per_unit=part.steps_per_unit,
            unit_cost_cents=unit_cost,
        ),
        lot_code=record["lot"],
        cured_on=record["cured_on"],
        expires_on=record["expires_on"],
        author=run.author,
        at=run.now,
        request_id=run.request_id(record.row),
        reason="Opening stock",
        source_kind="opening",
        source_text="Imported",
    )


def _place(kind: Kind, run: Run, record: Record) -> Location:
    code, what = record["place"], record["place_kind"]
    there = Location.objects.filter(code__iexact=code).first()
    if what == Location.Kind.DRAWER:
        heading = kind.column("rig").heading
        if record["rig"] is None:
            raise RowRefused("A rig drawer needs the number of its rig.", heading)
        rig = finding.rig(run, record["rig"], heading)
        drawer = give_drawer(
            rig=rig, code=there.code if there else code, author=run.author, at=run.now
        )
        if there is None:
            run.adds(f"Drawer {drawer.code} of rig {rig.number}", record.row)
        return drawer
    if record["rig"] is not None:
        raise RowRefused(
            "Only a rig drawer rides on a rig: write “rig drawer” here, or leave the rig out.",
            kind.column("place_kind").heading,
        )
    if there is None:
        there = services.create_location(code=code, kind=what, author=run.author, at=run.now)
        run.adds(f"Place {there.code} ({there.get_kind_display().lower()})", record.row)
    elif there.kind != what:
        raise RowRefused(
            f"{there.code} is a {there.get_kind_display().lower()}.",
            kind.column("place_kind").heading,
        )
    return there


STOCK: Final = Kind(
    "stock",
    "Opening stock",
    "One row for each part, place and lot. New places are added.",
    (
        PART_NUMBER,
        Column("Place", "place", text(40), "The code of it.", "K-03", is_needed=True),
        Column(
            "Kind of place", "place_kind", one_of(PLACES), "bin, rig drawer or quarantine.", "bin",
            otherwise=Location.Kind.BIN.value,
        ),
        Column(
            "Rig number", "rig", whole_number(1, 9999), "Only for a rig drawer.", "",
            otherwise=None,
        ),
        Column("Quantity", "quantity", number, "In the part's unit.", "3", is_needed=True),
        Column(
            "Cost of one", "cost", money, "What it cost. Empty: its usual cost.", "48.50",
            otherwise=None,
        ),
        Column("Lot", "lot", text(60), "As printed on the package.", "", otherwise="opening"),
        Column("Cured on", "cured_on", day, "Rubber parts.", "", otherwise=None),
        Column("Use by", "expires_on", day, "Empty: keeps for ever.", "", otherwise=None),
    ),
    row_by_row(_take_in),
)  # fmt: skip
