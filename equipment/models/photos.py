"""Photos of what counters showed."""

from django.conf import settings
from django.db import models

from equipment.models.rigs import Rig


class FacePhoto(models.Model):
    """One photo of the faces of a rig, sent with its readings: they share a request id.

    Added only, like the readings. The picture itself lies in the file storage under its hash.
    """

    rig = models.ForeignKey(Rig, models.PROTECT, related_name="face_photos")
    #: SHA-256 of the picture that is kept, in hexadecimal.
    digest = models.CharField(max_length=64)
    request_id = models.UUIDField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["request_id"], name="one_photo_for_a_sending"),
        ]

    def __str__(self) -> str:
        return f"{self.rig} {self.digest[:12]}"
