"""The drawer of parts that rides on a rig."""

from datetime import datetime

from django.db import transaction

from equipment.models import Rig
from inventory.models import Location
from inventory.services import create_location
from shop.models import Person, RigDrawer


class DrawerRefused(ValueError):
    """A drawer that cannot ride there; its text is meant for the person."""


def give_drawer(*, rig: Rig, code: str, author: Person, at: datetime) -> Location:
    """Return the drawer of this code that rides on this rig; make it where there is none.

    Raises DrawerRefused where the rig has another drawer, or the place is something else.
    """
    with transaction.atomic():
        rides = RigDrawer.objects.select_related("location").filter(rig=rig).first()
        if rides is not None:
            if rides.location.code != code:
                raise DrawerRefused(f"The drawer of rig {rig.number} is {rides.location.code}.")
            return rides.location
        place = Location.objects.filter(code=code).first()
        if place is None:
            place = create_location(
                code=code,
                name=f"Drawer of rig {rig.number}",
                kind=Location.Kind.DRAWER,
                author=author,
                at=at,
            )
        elif place.kind != Location.Kind.DRAWER:
            raise DrawerRefused(
                f"{code} is no rig drawer but a {place.get_kind_display().lower()}."
            )
        elif RigDrawer.objects.filter(location=place).exists():
            raise DrawerRefused(f"{code} rides on another rig.")
        RigDrawer.objects.create(rig=rig, location=place)
        return place
