"""Pictures, kept once in the file storage under their hash; photos, named by a row each."""

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Final
from uuid import UUID, uuid5

from django.contrib.auth.base_user import AbstractBaseUser
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Q
from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from equipment.models import FacePhoto, Finding, FindingPhoto, Rig
from equipment.pictures import Picture

DIGEST: Final = re.compile(r"[0-9a-f]{64}")
FOLDER: Final = "pictures"
#: Where photos of faces lay before there were others; they are read from there still.
FORMER_FOLDER: Final = "faces"
#: Photos of one piece of found work. More say no more, and each is on every phone.
MOST_OF_FOUND_WORK: Final = 12


class TooManyPhotos(ValueError):
    def __init__(self) -> None:
        super().__init__(
            format_lazy(
                gettext_lazy("This found work has {most} photos, which is all it takes."),
                most=MOST_OF_FOUND_WORK,
            )
        )


def store_picture(picture: Picture) -> str:
    """Put a picture into the file storage, once; return its hash. Raises OSError."""
    if not is_stored(picture.digest):
        for name, content in (
            (_file_in(FOLDER, picture.digest, is_small=True), picture.small),
            (_file_in(FOLDER, picture.digest), picture.content),
        ):
            if not default_storage.exists(name):
                default_storage.save(name, ContentFile(content))
    return picture.digest


def is_stored(digest: str) -> bool:
    """Whether there is a picture of that hash. Any text may be asked about."""
    return bool(DIGEST.fullmatch(digest)) and default_storage.exists(file_of(digest))


def file_of(digest: str, *, is_small: bool = False) -> str:
    """The name of a picture in the file storage."""
    name = _file_in(FOLDER, digest, is_small=is_small)
    former = _file_in(FORMER_FOLDER, digest, is_small=is_small)
    if not default_storage.exists(name) and default_storage.exists(former):
        return former
    return name


def _file_in(folder: str, digest: str, *, is_small: bool = False) -> str:
    return f"{folder}/{digest[:2]}/{digest}{'-small' if is_small else ''}.jpg"


def attach_photo(
    *, rig: Rig, digest: str, author: AbstractBaseUser, at: datetime, request_id: UUID
) -> FacePhoto:
    """Name a stored picture as the photo of a sending of readings. at: now.

    The same request_id again returns the same row.
    """
    with transaction.atomic():
        return FacePhoto.objects.get_or_create(
            request_id=request_id,
            defaults={
                "rig": rig,
                "digest": digest,
                "author_id": author.pk,
                "recorded_at": at,
            },
        )[0]


def photos_of(request_ids: Iterable[UUID]) -> dict[UUID, str]:
    """The hash of the photo of each sending that has one. One query."""
    return dict(
        FacePhoto.objects.filter(request_id__in=set(request_ids)).values_list(
            "request_id", "digest"
        )
    )


def attach_to_found(
    *, found_id: UUID, digest: str, author: AbstractBaseUser, at: datetime, photo_id: UUID
) -> FindingPhoto:
    """Name a stored picture as a photo of found work. at: now.

    found_id: the request_id under which the found work was or will be reported.
    The same photo_id, or the same picture of the same found work, again returns the same row.
    Raises TooManyPhotos.
    """
    same = Q(photo_id=photo_id) | Q(found_id=found_id, digest=digest)
    with transaction.atomic():
        if earlier := FindingPhoto.objects.filter(same).first():
            return earlier
        if FindingPhoto.objects.filter(found_id=found_id).count() >= MOST_OF_FOUND_WORK:
            raise TooManyPhotos
        made = FindingPhoto(
            found_id=found_id,
            digest=digest,
            photo_id=photo_id,
            author_id=author.pk,
            recorded_at=at,
        )
        # Of two that come at once the later one is passed over, by either key.
        FindingPhoto.objects.bulk_create([made], ignore_conflicts=True)
        return FindingPhoto.objects.filter(same).order_by("pk")[0]


def attach_all_to_found(
    *, found_id: UUID, digests: Iterable[str], author: AbstractBaseUser, at: datetime
) -> list[FindingPhoto]:
    """Name several stored pictures as photos of found work, all or none. Raises TooManyPhotos."""
    with transaction.atomic():
        return [
            attach_to_found(
                found_id=found_id,
                digest=digest,
                author=author,
                at=at,
                photo_id=uuid5(found_id, digest),
            )
            for digest in digests
        ]


def photos_of_found(findings: Iterable[Finding]) -> dict[UUID, list[FindingPhoto]]:
    """The photos of each found work that has any, by its request_id, oldest first. One query."""
    wanted = {each.request_id for each in findings}
    found: dict[UUID, list[FindingPhoto]] = {}
    if wanted:
        rows = FindingPhoto.objects.filter(found_id__in=wanted).select_related("author")
        for row in rows.order_by("recorded_at", "pk"):
            found.setdefault(row.found_id, []).append(row)
    return found
