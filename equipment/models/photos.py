"""Photos: of what counters showed, and of found work."""

from django.conf import settings
from django.db import models

from equipment.models.rigs import Rig


class Photo(models.Model):
    """One photo, named by a row that is only added. The picture lies in the file storage under its
    hash, and is there once however many rows name it.
    """

    #: SHA-256 of the picture that is kept, in hexadecimal.
    digest = models.CharField(max_length=64)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        abstract = True


class FacePhoto(Photo):
    """One photo of the faces of a rig, sent with its readings: they share a request id."""

    rig = models.ForeignKey(Rig, models.PROTECT, related_name="face_photos")
    request_id = models.UUIDField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["request_id"], name="one_photo_for_a_sending"),
        ]

    def __str__(self) -> str:
        return f"{self.rig} {self.digest[:12]}"


class FindingPhoto(Photo):
    """One of the photos of some found work.

    It names the found work by the id under which that was reported, not by its row: a phone may
    bring the photo before the found work, or the found work may still wait for a manager.
    """

    #: `request_id` of the found work, whether it is here already or not.
    found_id = models.UUIDField()
    #: One per photo, made on the phone or the page: sent twice, it counts once.
    photo_id = models.UUIDField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["photo_id"], name="a_photo_sent_twice_counts_once"),
            models.UniqueConstraint(
                fields=["found_id", "digest"], name="found_work_shows_a_picture_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.found_id} {self.digest[:12]}"
