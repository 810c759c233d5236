"""Photos of faces: kept in the file storage under their hash, named by one row a sending."""

import re
from collections.abc import Iterable
from datetime import datetime
from typing import Final
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from equipment.models import FacePhoto, Rig
from equipment.pictures import Picture

DIGEST: Final = re.compile(r"[0-9a-f]{64}")


def store_picture(picture: Picture) -> str:
    """Put a picture into the file storage, once; return its hash. Raises OSError."""
    for name, content in (
        (file_of(picture.digest), picture.content),
        (file_of(picture.digest, is_small=True), picture.small),
    ):
        if not default_storage.exists(name):
            default_storage.save(name, ContentFile(content))
    return picture.digest


def is_stored(digest: str) -> bool:
    """Whether there is a picture of that hash. Any text may be asked about."""
    return bool(DIGEST.fullmatch(digest)) and default_storage.exists(file_of(digest))


def file_of(digest: str, *, is_small: bool = False) -> str:
    """The name of a picture in the file storage."""
    return f"faces/{digest[:2]}/{digest}{'-small' if is_small else ''}.jpg"


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
