"""The isolation points of a rig: what its sheets ask to be locked out and proved at zero."""

from equipment.models import Installation
from shop import isolation
from shop.isolation import Fitted, Point


def fitted_in(rig_id: int) -> list[Fitted]:
    """What sits in a rig now, in the order along it."""
    stays = (
        Installation.objects.filter(position__rig=rig_id, removed_at__isnull=True)
        .order_by("position__order")
        .values_list("position__kind__name", "position__side", "position__order")
    )
    return [Fitted(kind, side, order) for kind, side, order in stays]


def points_of(rig_id: int) -> tuple[Point, ...]:
    """The isolation points that a sheet of the rig goes by."""
    return isolation.starting_points(fitted_in(rig_id))
