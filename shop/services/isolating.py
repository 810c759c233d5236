"""The isolation points of a rig: what its sheets ask to be locked out and proved at zero."""

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from equipment.models import ComponentKind, Installation, Rig
from equipment.services import locks
from shop import isolation
from shop.isolation import Fitted, Point
from shop.models import IsolationPoint, Person

#: Said of what a manager wrote himself.
OWN_WORDS = isolation.source_noop("this shop's own")


class PointRefused(ValueError):
    """A change of a rig's points that cannot be made; the text is meant for the page."""


@dataclass(frozen=True, slots=True)
class PointFields:
    """What a manager says of a point, as `IsolationPoint`."""

    name: str
    energy: str
    isolate: str
    verify_by: str
    verify: str
    side: str = ""
    place: str = ""
    release: str = ""
    unit: str = ""
    kinds: tuple[ComponentKind, ...] = ()


def fitted_in(rig_id: int) -> list[Fitted]:
    """What sits in a rig now, in the order along it."""
    stays = (
        Installation.objects.filter(position__rig=rig_id, removed_at__isnull=True)
        .order_by("position__order")
        .values_list(
            "position__kind__name", "position__kind__flow", "position__side", "position__order"
        )
    )
    return [Fitted(kind, side, order, flow) for kind, flow, side, order in stays]


def standing(rig_id: int) -> list[IsolationPoint]:
    """The points that were made the rig's own, in their order."""
    points = IsolationPoint.objects.standing().filter(rig=rig_id).prefetch_related("kinds")
    return list(points.order_by("order", "pk"))


def points_of(rig_id: int) -> tuple[Point, ...]:
    """The isolation points that a sheet of the rig goes by.

    Its own; and for what is fitted without one, as on a rig that has none yet, those that it
    would begin with: until a manager answers, nothing goes without.
    """
    fitted = fitted_in(rig_id)
    own = tuple(_plain(each) for each in standing(rig_id))
    beginning = isolation.starting_points(fitted)
    if not own:
        return beginning
    open_kinds = set(_without(fitted, own))
    return own + tuple(each for each in beginning if not open_kinds.isdisjoint(each.kinds))


def questions(rig_id: int) -> list[str]:
    """Kinds of component that sit in the rig, carry energy and that no point of its own isolates.

    Empty too for a rig without points of its own: it goes by the beginning ones.
    """
    own = [_plain(each) for each in standing(rig_id)]
    return _without(fitted_in(rig_id), own) if own else []


def keep_beginning(*, rig: Rig, author: Person, at: datetime) -> int:
    """Make the points that a rig begins with its own, to be changed then; return how many.

    Names that it has already stay as they are, so that twice does nothing more.
    """
    with transaction.atomic():
        locks.lock_rigs([rig.pk])
        have = {(each.name, each.side) for each in standing(rig.pk)}
        kinds = {kind.name: kind for kind in ComponentKind.objects.all()}
        wanted = isolation.starting_points(fitted_in(rig.pk))
        made = 0
        for order, point in enumerate(wanted, 1):
            if (point.name, point.side) in have:
                continue
            row = IsolationPoint(
                rig=rig,
                order=order * 10,
                name=point.name,
                side=point.side,
                energy=point.energy,
                isolate=point.isolate,
                release=point.release,
                verify_by=point.verify_by,
                verify=point.verify,
                unit=point.unit,
                source=point.source,
                author=author,
                at=at,
            )
            _save(row, [kinds[name] for name in point.kinds if name in kinds])
            made += 1
        return made


def add_point(*, rig: Rig, fields: PointFields, author: Person, at: datetime) -> IsolationPoint:
    """Add a point to a rig. Raises ValidationError for a name that it has, or a gauge without unit.

    The first one of a rig brings those that it begins with.
    """
    with transaction.atomic():
        locks.lock_rigs([rig.pk])
        if not standing(rig.pk):
            keep_beginning(rig=rig, author=author, at=at)
        last = max((each.order for each in standing(rig.pk)), default=0)
        row = IsolationPoint(rig=rig, order=last + 10, author=author, at=at)
        return _save(_said(row, fields), fields.kinds)


def change_point(
    *, point: IsolationPoint, fields: PointFields, author: Person, at: datetime
) -> IsolationPoint:
    """Say a point anew: the old row ends, a new one follows it. Sent twice, it counts once.

    Raises ValidationError as `add_point`, and PointRefused where somebody changed it meanwhile.
    """
    with transaction.atomic():
        locks.lock_rigs([point.rig_id])
        old = IsolationPoint.objects.get(pk=point.pk)
        newer = IsolationPoint.objects.filter(follows=old).first()
        if newer is not None and _says(newer, fields) and newer.author_id == author.pk:
            return newer
        _refuse_ended(old)
        if _says(old, fields):
            return old
        _end(old, author, at)
        row = IsolationPoint(rig_id=old.rig_id, order=old.order, follows=old, author=author, at=at)
        return _save(_said(row, fields), fields.kinds)


def take_out_point(*, point: IsolationPoint, author: Person, at: datetime) -> None:
    """End a point that the rig no longer has. Raises PointRefused where it was changed or ended."""
    with transaction.atomic():
        locks.lock_rigs([point.rig_id])
        old = IsolationPoint.objects.get(pk=point.pk)
        _refuse_ended(old)
        _end(old, author, at)


def _refuse_ended(point: IsolationPoint) -> None:
    if point.ended_at is not None:
        raise PointRefused(f"{point.ended_by} changed “{point}” meanwhile. Look at the list again.")


def _end(point: IsolationPoint, author: Person, at: datetime) -> None:
    point.ended_by, point.ended_at = author, at
    point.save(update_fields=["ended_by", "ended_at"])


def _said(row: IsolationPoint, fields: PointFields) -> IsolationPoint:
    row.name, row.side, row.energy = fields.name, fields.side, fields.energy
    row.place, row.isolate, row.release = fields.place, fields.isolate, fields.release
    row.verify_by, row.verify, row.unit = fields.verify_by, fields.verify, fields.unit
    row.source = OWN_WORDS
    return row


def _save(row: IsolationPoint, kinds: Iterable[ComponentKind]) -> IsolationPoint:
    row.full_clean()
    row.save()
    row.kinds.set(kinds)
    return row


def _says(row: IsolationPoint, fields: PointFields) -> bool:
    return _fields(row) == fields


def _fields(row: IsolationPoint) -> PointFields:
    return PointFields(
        name=row.name,
        energy=row.energy,
        isolate=row.isolate,
        verify_by=row.verify_by,
        verify=row.verify,
        side=row.side,
        place=row.place,
        release=row.release,
        unit=row.unit,
        kinds=tuple(row.kinds.order_by("flow_order", "pk")),
    )


def _plain(row: IsolationPoint) -> Point:
    return Point(
        name=row.name,
        energy=row.energy,
        isolate=row.isolate,
        verify_by=row.verify_by,
        verify=row.verify,
        kinds=tuple(kind.name for kind in row.kinds.all()),
        side=row.side,
        place=row.place,
        release=row.release,
        unit=row.unit,
        source=row.source,
    )


def _without(fitted: Collection[Fitted], points: Iterable[Point]) -> list[str]:
    carrying = [each.kind for each in fitted if each.flow]
    return isolation.without_a_point(kinds=carrying, points=points)
