"""Photos of found work that phones send on their own, before its entry or long after."""

from datetime import datetime
from uuid import UUID

from django.utils.translation import gettext_lazy

from equipment.models import Finding, FindingPhoto, Rig
from equipment.pictures import Picture
from equipment.services.photos import attach_to_found, store_picture
from shop.models import Person, ServiceSheet, Unsettled
from shop.services import sheet_parts
from shop.services.arriving import Pen
from shop.services.arriving.keeping import of_one
from shop.services.refusals import SheetRefused


class OfAnother(SheetRefused):
    """The found work is that of another sheet or rig."""

    def __init__(self, of: ServiceSheet | Rig) -> None:
        super().__init__(
            gettext_lazy("That found work was not reported of this rig.")
            if isinstance(of, Rig)
            else gettext_lazy("That found work was not reported on this sheet.")
        )


class NotYet(SheetRefused):
    """The photo is not taken now; sent again behind its entry, it may be."""

    def __init__(self) -> None:
        super().__init__(
            gettext_lazy("The found work of this photo is not here yet. Send its entry first.")
        )


def take_photo(
    *,
    of: ServiceSheet | Rig,
    pen: Pen,
    event_id: UUID,
    picture: Picture,
    photo_id: UUID,
    at: datetime,
) -> FindingPhoto:
    """Keep a photo of the found work that was or will be reported by an entry. at: now.

    of: the sheet on which, or the rig of whose round, it was reported.
    A pen that holds may bring the photo first. One in doubt adds only to what its own person
    reported, here or waiting for a manager: nothing else comes in by it.
    The same photo_id again returns the same row. Raises OfAnother, NotYet, equipment's
    TooManyPhotos; OSError where it cannot be stored.
    """
    found = Finding.objects.filter(request_id=event_id).first()
    if found is not None and not _is_reported(found, of):
        raise OfAnother(of)
    if pen.doubt and not _is_own(event_id, found, of, pen.person):
        raise NotYet
    digest = store_picture(picture)
    return attach_to_found(
        found_id=event_id, digest=digest, author=pen.person, at=at, photo_id=photo_id
    )


def _is_reported(found: Finding, of: ServiceSheet | Rig) -> bool:
    if isinstance(of, Rig):
        return found.rig_id == of.pk
    return (found.source_kind, found.source_number) == (sheet_parts.SOURCE, of.number)


def _is_own(event_id: UUID, found: Finding | None, of: ServiceSheet | Rig, person: Person) -> bool:
    if found is not None:
        return found.opened_by_id == person.pk
    return Unsettled.objects.filter(event_id=event_id, author=person, **of_one(of)).exists()
