"""Parts, kits, places and policies: what stock is made of."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction
from django.db.models import Q

from inventory.models import KitAlternate, KitLine, Location, Movement, Part, StockPolicy
from inventory.quantities import to_units
from inventory.services.posting import NothingToMove, StockRefused, refuse_long
from inventory.shelf_life import StorageGroup


class NumberTaken(StockRefused):
    """A part number or place code that is there already."""

    def __init__(self, what: str) -> None:
        self.what = what
        super().__init__(f"{what} is there already.")


class PartHasMoved(StockRefused):
    """The unit of a part, and whether it is a kit, stay as they are once it has moved."""

    def __init__(self, part: Part) -> None:
        self.part = part
        super().__init__(
            f"{part.number} has moved: its unit, its steps and whether it is a kit stay as "
            "they are. Make a new part instead."
        )


class KitContainsItself(StockRefused):
    """A kit that would, perhaps through other kits, contain itself."""

    def __init__(self, path: Sequence[str]) -> None:
        self.path = tuple(path)
        super().__init__(f"A kit cannot contain itself: {' → '.join(path)}.")


class SupersedesItself(StockRefused):
    """A part that would, perhaps through others, be bought in place of itself."""

    def __init__(self, path: Sequence[str]) -> None:
        self.path = tuple(path)
        super().__init__(f"A part cannot take its own place: {' → '.join(path)}.")


@dataclass(frozen=True, slots=True)
class AlternateSpec:
    """So much of a part, > 0 [steps], does instead of a line; the lowest rank (>= 1) goes first."""

    part: Part
    quantity_steps: int
    rank: int = 1


@dataclass(frozen=True, slots=True)
class KitLineSpec:
    """So much of a part in one kit, > 0. [steps]

    alternates: what does instead; None keeps those that the part's line has now.
    """

    part: Part
    quantity_steps: int
    alternates: tuple[AlternateSpec, ...] | None = None


def create_part(
    *,
    number: str,
    name: str,
    author: AbstractBaseUser,
    at: datetime,
    unit_name: str = "piece",
    steps_per_unit: int = 1,
    is_kit: bool = False,
    category: str = "",
    notes: str = "",
    usual_cost_cents: int = 0,
    storage_group: str = "",
    keeps_months: int = 0,
) -> Part:
    """Add a part. The number is the key: there is no second one. Raises NumberTaken, StockRefused.

    steps_per_unit: 1 for what comes whole; 10, 100, … for what is measured; 1 for kits.
    storage_group: "A", "B" or "C" of a rubber. keeps_months: of what else ages, 0 to MOST_MONTHS.
    """
    part = Part(
        number=number,
        name=name,
        unit_name=unit_name,
        steps_per_unit=steps_per_unit,
        is_kit=is_kit,
        category=category,
        notes=notes,
        usual_cost_cents=usual_cost_cents,
        storage_group=storage_group,
        keeps_months=keeps_months,
    )
    return _save_part(part, author=author, at=at)


#: What is fixed once the part has moved, and all that `change_part` may set.
FIXED_ONCE_MOVED = ("unit_name", "steps_per_unit", "is_kit")
PART_FIELDS = frozenset(
    {
        *("number", "name", "category", "notes", "retired", "usual_cost_cents"),
        *("storage_group", "keeps_months", "superseded_by", *FIXED_ONCE_MOVED),
    }
)
#: The longest that anything is said to keep: beyond it, it keeps.
MOST_MONTHS = 600


def change_part(*, part: Part, author: AbstractBaseUser, at: datetime, **changes: Any) -> Part:
    """Change the named fields of a part (see PART_FIELDS) and return it.

    superseded_by: the part bought in its place now, counted in the same unit, or None.
    Raises PartHasMoved, NumberTaken, SupersedesItself, StockRefused; TypeError for any other field.
    """
    if unknown := changes.keys() - PART_FIELDS:
        raise TypeError(f"A part has no {', '.join(sorted(unknown))} to change.")
    with transaction.atomic():
        successor = changes.get("superseded_by")
        if successor is not None:
            _lock_what_follows(part.pk, successor.pk)
        part = Part.objects.select_for_update().get(pk=part.pk)
        if any(
            name in changes and changes[name] != getattr(part, name) for name in FIXED_ONCE_MOVED
        ):
            if Movement.objects.filter(part=part).exists():
                raise PartHasMoved(part)
            if "is_kit" in changes and not changes["is_kit"] and part.lines.exists():
                raise StockRefused(f"{part.number} has kit lines: take them out first.")
        for name, value in changes.items():
            setattr(part, name, value)
        if successor is not None:
            _refuse_circle_of_successors(part, successor)
        return _save_part(part, author=author, at=at)


def set_kit_lines(
    *, kit: Part, lines: Sequence[KitLineSpec], author: AbstractBaseUser, at: datetime
) -> list[KitLine]:
    """Say what is in a kit and what does instead, in place of what was said before.

    Kits on the shelf keep their cost; bought whole and broken from now on, they give the new lines.
    Raises KitContainsItself, also where the circle goes through an alternate or a part bought in
    another's place; NothingToMove, StockRefused.
    """
    if not kit.is_kit:
        raise StockRefused(f"{kit} is not a kit.")
    parts = [line.part.pk for line in lines]
    if len(set(parts)) != len(parts):
        raise StockRefused("A part stands in a kit once: add its quantities up.")
    for line in lines:
        for part, steps in _named(line, line.alternates or ()):
            if steps <= 0:
                raise NothingToMove(part)
        others = [line.part.pk, *(each.part.pk for each in line.alternates or ())]
        if len(set(others)) != len(others):
            raise StockRefused(f"What does instead of {line.part} is another part, named once.")
    with transaction.atomic():
        # All kits are locked: two changes at once could each be sound and together make a circle.
        list(Part.objects.kits().select_for_update().order_by("pk").values_list("pk"))
        kept: dict[int, tuple[AlternateSpec, ...]] = {}
        for row in KitAlternate.objects.filter(line__kit=kit).select_related("line", "part"):
            spec = AlternateSpec(row.part, row.quantity_steps, row.rank)
            kept[row.line.part_id] = (*kept.get(row.line.part_id, ()), spec)
        alternates = [
            kept.get(line.part.pk, ()) if line.alternates is None else line.alternates
            for line in lines
        ]
        leads_to = _leads_to(but=kit)
        for line, instead in zip(lines, alternates, strict=True):
            for part, _ in _named(line, instead):
                if path := _path(leads_to, start=part.pk, goal=kit.pk):
                    raise KitContainsItself([kit.number, *_numbers(path)])
        kit.lines.all().delete()
        Part.objects.filter(pk=kit.pk).update(changed_by=author.pk, changed_at=at)
        made = KitLine.objects.bulk_create(
            KitLine(kit=kit, part=line.part, quantity_steps=line.quantity_steps) for line in lines
        )
        KitAlternate.objects.bulk_create(
            KitAlternate(
                line=line, part=each.part, quantity_steps=each.quantity_steps, rank=each.rank
            )
            for line, instead in zip(made, alternates, strict=True)
            for each in instead
        )
        return made


def create_location(
    *,
    code: str,
    author: AbstractBaseUser,
    at: datetime,
    name: str = "",
    kind: str = Location.Kind.BIN,
) -> Location:
    """Add a place. Raises NumberTaken."""
    place = Location(
        code=code.strip(), name=name.strip(), kind=kind, changed_by_id=author.pk, changed_at=at
    )
    refuse_long(Location, code=place.code, name=place.name)
    if not place.code:
        raise StockRefused("A place needs a code.")
    try:
        with transaction.atomic():
            place.save()
    except IntegrityError as taken:
        if Location.objects.filter(code=place.code).exists():
            raise NumberTaken(f"Place {place.code}") from taken
        raise
    return place


def retire_location(*, location: Location, author: AbstractBaseUser, at: datetime) -> Location:
    """Close an empty place: nothing is put there any more. Raises StockRefused when not empty."""
    with transaction.atomic():
        location = Location.objects.select_for_update().get(pk=location.pk)
        if location.balances.filter(quantity_steps__gt=0).exists():
            raise StockRefused(f"{location} is not empty.")
        location.retired = True
        location.changed_by_id = author.pk
        location.changed_at = at
        location.save(update_fields=["retired", "changed_by", "changed_at"])
    return location


def set_policy(
    *,
    part: Part,
    reorder_point_steps: int,
    order_up_to_steps: int,
    author: AbstractBaseUser,
    at: datetime,
    location: Location | None = None,
    reason: str = "",
    review_on: date | None = None,
) -> StockPolicy:
    """Set by hand when to buy a part and up to how much; for one place, or for the whole shop.

    0 <= reorder_point_steps <= order_up_to_steps. review_on: when to look at it again.
    Raises StockRefused.
    """
    if reorder_point_steps < 0:
        raise StockRefused("A reorder point cannot be below zero.")
    if order_up_to_steps < reorder_point_steps:
        raise StockRefused("Order up to at least the reorder point.")
    policy, _ = StockPolicy.objects.update_or_create(
        part=part,
        location=location,
        defaults={
            "reorder_point_steps": reorder_point_steps,
            "order_up_to_steps": order_up_to_steps,
            "set_by_id": author.pk,
            "set_at": at,
            "reason": reason,
            "by_hand": True,
            "review_on": review_on,
        },
    )
    return policy


def _save_part(part: Part, *, author: AbstractBaseUser, at: datetime) -> Part:
    part.number = part.number.strip()
    part.name = part.name.strip()
    refuse_long(
        Part,
        number=part.number,
        name=part.name,
        unit_name=part.unit_name,
        category=part.category,
    )
    if not part.number:
        raise StockRefused("A part needs a number.")
    if part.usual_cost_cents < 0:
        raise StockRefused("What a part costs cannot be below zero.")
    if part.is_kit and part.steps_per_unit != 1:
        raise StockRefused("Kits come whole.")
    if part.storage_group not in ("", *StorageGroup):
        raise StockRefused("A storage group is A, B or C.")
    if not 0 <= part.keeps_months <= MOST_MONTHS:
        raise StockRefused(f"Give how long it keeps in months, at most {MOST_MONTHS}.")
    try:
        to_units(1, part.steps_per_unit)
    except ValueError as indivisible:
        raise StockRefused(str(indivisible)) from indivisible
    part.changed_by_id = author.pk
    part.changed_at = at
    try:
        with transaction.atomic():
            part.save()
    except IntegrityError as taken:
        if Part.objects.filter(number=part.number).exclude(pk=part.pk).exists():
            raise NumberTaken(f"Part {part.number}") from taken
        raise
    return part


def _named(line: KitLineSpec, instead: Sequence[AlternateSpec]) -> list[tuple[Part, int]]:
    return [
        (line.part, line.quantity_steps),
        *((each.part, each.quantity_steps) for each in instead),
    ]


def _lock_what_follows(part: int, successor: int) -> None:
    """Lock kits and whatever has a successor: two changes at once could make a circle together."""
    rows = Part.objects.filter(
        Q(is_kit=True) | Q(superseded_by__isnull=False) | Q(pk__in=(part, successor))
    )
    list(rows.select_for_update().order_by("pk").values_list("pk"))


def _refuse_circle_of_successors(part: Part, successor: Part) -> None:
    if (part.unit_name, part.steps_per_unit) != (successor.unit_name, successor.steps_per_unit):
        raise StockRefused(
            f"{successor} is counted in another unit than {part.number}: it cannot take its place."
        )
    if path := _path(_leads_to(), start=successor.pk, goal=part.pk):
        raise SupersedesItself([part.number, *_numbers(path)])


def _leads_to(*, but: Part | None = None) -> dict[int, list[int]]:
    """By part, what stands in it or for it: lines, alternates, what is bought in its place.

    but: a kit whose lines and alternates are about to be said anew.
    """
    lines, alternates = KitLine.objects.all(), KitAlternate.objects.all()
    if but is not None:
        lines, alternates = lines.exclude(kit=but), alternates.exclude(line__kit=but)
    found: dict[int, list[int]] = {}
    for pairs in (
        lines.values_list("kit_id", "part_id"),
        alternates.values_list("line__kit_id", "part_id"),
        Part.objects.filter(superseded_by__isnull=False).values_list("pk", "superseded_by_id"),
    ):
        for outer, inner in pairs:
            found.setdefault(outer, []).append(inner)
    return found


def _numbers(path: Sequence[int]) -> list[str]:
    known = dict(Part.objects.filter(pk__in=path).values_list("pk", "number"))
    return [known[pk] for pk in path]


def _path(inside: dict[int, list[int]], *, start: int, goal: int) -> list[int]:
    """The way from a part down through the kits to the goal, or nothing."""
    ways = [[start]]
    seen = {start}
    while ways:
        way = ways.pop()
        if way[-1] == goal:
            return way
        for inner in inside.get(way[-1], ()):
            if inner not in seen:
                seen.add(inner)
                ways.append([*way, inner])
    return []
