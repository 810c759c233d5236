"""Importing rigs, their counters, and the components fitted in them or lying on the shelf."""

from decimal import Decimal
from typing import Final

from equipment import services
from equipment.models import Component, ComponentKind, ComponentType, Counter, Position, Rig, Side
from equipment.services.rigs import TAG_WORDS, is_tag
from shop.importing import finding
from shop.importing.cells import day, number, one_of, text, whole_number, yes_or_no
from shop.importing.columns import Column, Kind, Record, RowRefused, Run, row_by_row

RIG_NUMBER: Final = Column(
    "Rig number", "number", whole_number(1, 9999), "1 to 9999.", "4", is_needed=True
)
SIDES: Final = {"": "", "a": Side.A.value, "b": Side.B.value, "none": "", "both": "", "-": ""}


def _add_rig(kind: Kind, run: Run, record: Record) -> None:
    rig = services.create_rig(
        number=record["number"],
        name=record["name"],
        description=record["description"],
        at=run.now,
    )
    if record["laid_up"]:
        services.lay_up_rig(rig=rig, today=run.now.astimezone(run.zone).date(), zone=run.zone)


RIGS: Final = Kind(
    "rigs",
    "Rigs",
    "One row for each rig.",
    (
        RIG_NUMBER,
        Column("Rig name", "name", text(60), "What people call it.", "Kestrel", is_needed=True),
        Column("Description", "description", text(120), "Trailer or truck, make, size.", "Trailer"),
        Column("Laid up (yes/no)", "laid_up", yes_or_no, "Not in use.", "no", otherwise=False),
    ),
    row_by_row(_add_rig),
)


# --- counters ---------------------------------------------------------------------------------

COUNTS: Final = {
    "hours": Counter.Counts.HOURS.value,
    "strokes": Counter.Counts.STROKES.value,
    "cycles": Counter.Counts.CYCLES.value,
    "gallons": Counter.Counts.GALLONS.value,
    "gallons of both sides": Counter.Counts.GALLONS_BOTH.value,
}


def _add_counter(kind: Kind, run: Run, record: Record) -> None:
    rig = finding.rig(run, record["number"], RIG_NUMBER.heading)
    of_kind = None
    if record["kind"]:
        heading = kind.column("kind").heading
        of_kind = finding.kind_of_component(record["kind"], heading)
        if of_kind is None:
            raise RowRefused(f"There is no kind “{record['kind']}”.", heading)
    began = finding.not_yet(record["started_at"], run, kind.column("started_at").heading)
    services.create_counter(
        rig=rig,
        name=record["name"],
        counts=record["counts"],
        side=record["side"],
        kind=of_kind,
        display_step=record["display_step"],
        rollover=record["rollover"],
        is_resettable=record["is_resettable"],
        max_per_minute=record["max_per_minute"],
        first_value=record["first_value"],
        started_at=finding.start_of(began, run),
        order=rig.counters.count(),
        zone=run.zone,
    )


COUNTERS: Final = Kind(
    "counters",
    "Counters",
    "One row for each counter of a rig: what people read off.",
    (
        RIG_NUMBER,
        Column(
            "Counter", "name", text(40), "Its name on the rig.", "Generator hours", is_needed=True
        ),
        Column(
            "Counts", "counts", one_of(COUNTS), f"One of: {', '.join(COUNTS)}. A cycle is a stroke "
            "there and back.", "hours", is_needed=True,
        ),
        Column(
            "Began on", "started_at", day,
            "The day from which readings are kept: on or before the first reading.",
            "2025-09-01", is_needed=True,
        ),
        Column(
            "Showed then", "first_value", number, "What the face showed on that day.", "1204",
            otherwise=Decimal(0),
        ),
        Column(
            "Side (A/B)", "side", one_of(SIDES),
            "The pump that it counts. Empty: read from the name, or both.", "", otherwise=None,
        ),
        Column(
            "Kind", "kind", text(60),
            "The kind of component whose hours it counts. Empty: read from the name, or the rig.",
            "generator",
        ),
        Column(
            "Smallest step", "display_step", number, "1, or 0.1 where the face shows tenths.",
            "0.1", otherwise=Decimal(1),
        ),
        Column(
            "Starts again at", "rollover", number,
            "100000 for a face of five digits that starts again at zero. Empty: it does not.", "",
            otherwise=None,
        ),
        Column(
            "Can be reset (yes/no)", "is_resettable", yes_or_no, "Empty: yes.", "no",
            otherwise=True,
        ),
        Column(
            "Most per minute", "max_per_minute", number,
            "More than this is refused as impossible. Empty: no limit, but the clock's for hours.",
            "", otherwise=None,
        ),
    ),
    row_by_row(_add_counter),
)  # fmt: skip


# --- components -------------------------------------------------------------------------------


def _add_component(kind: Kind, run: Run, record: Record) -> None:
    if not is_tag(record["tag"]):
        raise RowRefused(TAG_WORDS, kind.column("tag").heading)
    in_service = finding.not_yet(record["in_service_on"], run, kind.column("in_service_on").heading)
    component = services.create_component(
        type=_type(kind, run, record),
        tag=record["tag"],
        serial=record["serial"],
        side=record["side"],
        opening_hours=record["opening_hours"],
        opening_strokes=record["opening_strokes"],
        opening_gallons=record["opening_gallons"],
        in_service_on=in_service,
        at=run.now,
        zone=run.zone,
    )
    if record["number"] is None:
        if record["order"] is not None or record["fitted_on"] is not None:
            raise RowRefused(
                "A place and a day of fitting need a rig number.", kind.column("number").heading
            )
        return
    if record["order"] is None:
        raise RowRefused("Say at which place of the rig it sits.", kind.column("order").heading)
    rig = finding.rig(run, record["number"], kind.column("number").heading)
    fitted_on = finding.not_yet(
        record["fitted_on"] or in_service, run, kind.column("fitted_on").heading
    )
    services.install_component(
        component=component,
        position=_position(kind, run, record, rig, component),
        at=finding.start_of(fitted_on, run),
        author=run.author,
        zone=run.zone,
        reason="Imported",
    )


def _type(kind: Kind, run: Run, record: Record) -> ComponentType:
    found = finding.kind_of_component(record["kind"], kind.column("kind").heading)
    if found is None:
        found = services.create_kind(name=record["kind"])
        run.adds(f"Kind {found.name}", record.row)
    made = ComponentType.objects.filter(name__iexact=record["type"]).first()
    if made is None:
        made = services.create_type(
            kind=found,
            name=record["type"],
            displacement_in3=record["displacement_in3"],
            max_strokes_per_minute=record["max_strokes_per_minute"],
        )
        run.adds(f"Type {made.name}", record.row)
        return made
    if made.kind_id != found.pk:
        raise RowRefused(f"{made.name} is a {made.kind.name}.", kind.column("type").heading)
    for key in ("displacement_in3", "max_strokes_per_minute"):
        said, kept = record[key], getattr(made, key)
        if said is not None and said != kept:
            kept_text = "nothing" if kept is None else f"{kept.normalize():f}"
            raise RowRefused(
                f"Type {made.name} has {kept_text} here already.", kind.column(key).heading
            )
    return made


def _position(kind: Kind, run: Run, record: Record, rig: Rig, component: Component) -> Position:
    wanted: ComponentKind = component.type.kind
    there = Position.objects.select_related("kind").filter(rig=rig, order=record["order"]).first()
    if there is None:
        there = services.add_position(
            rig=rig, order=record["order"], kind=wanted, side=record["side"]
        )
        run.adds(f"Place {there} in rig {rig.number}", record.row)
    elif (there.kind_id, there.side) != (wanted.pk, record["side"]):
        raise RowRefused(
            f"Place {there.order} of rig {rig.number} is for a {there.label}.",
            kind.column("order").heading,
        )
    return there


COMPONENTS: Final = Kind(
    "components",
    "Components",
    "One row for each component, fitted or on the shelf. New kinds, types and places are added.",
    (
        Column("Tag", "tag", text(20), "Your own tag for it.", "P-041", is_needed=True),
        Column("Kind", "kind", text(60), "What it is.", "pump", is_needed=True),
        Column(
            "Type", "type", text(80), "What all of its make have in common.", "Pump, 2:1 long stem",
            is_needed=True,
        ),
        Column(
            "Side (A/B)", "side", one_of(SIDES), "The material that it carries, if one.", "A",
        ),
        Column("Serial number", "serial", text(60), "The maker's.", "77-1042"),
        Column("In service since", "in_service_on", day, "A day.", "2025-03-11", is_needed=True),
        Column(
            "Hours before", "opening_hours", number, "Life it had before its first counter here.",
            "", otherwise=Decimal(0),
        ),
        Column("Strokes before", "opening_strokes", number, "The same.", "", otherwise=Decimal(0)),
        Column("Gallons before", "opening_gallons", number, "The same.", "", otherwise=Decimal(0)),
        Column(
            "Rig number", "number", whole_number(1, 9999), "Empty: on the shelf.", "4",
            otherwise=None,
        ),
        Column(
            "Place in the rig", "order", whole_number(1, 999),
            "Counted along the flow, from the generator to the gun.", "5", otherwise=None,
        ),
        Column(
            "Fitted on", "fitted_on", day, "Empty: since it is in service.", "2025-03-11",
            otherwise=None,
        ),
        Column(
            "Displacement", "displacement_in3", number,
            "Of one counted stroke, in cubic inches; pumps only, of the type.", "4.1",
            otherwise=None,
        ),
        Column(
            "Most strokes a minute", "max_strokes_per_minute", number, "Pumps only, of the type.",
            "70", otherwise=None,
        ),
    ),
    row_by_row(_add_component),
)  # fmt: skip
