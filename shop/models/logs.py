"""Shift logs that were sent in and are being looked at; kept for good they are `ShiftLog`."""

from django.conf import settings
from django.db import models

from equipment.models import LogLayout, Rig, ShiftLog


class ComingLog(models.Model):
    """One file of a sending, from its upload until somebody says that it may be read.

    Several files are looked at one after the other, each on its own card, so what was answered
    about one is kept here between two requests, and holds for its neighbours of the same form.
    """

    sending = models.UUIDField()
    place = models.PositiveSmallIntegerField()
    rig = models.ForeignKey(Rig, models.CASCADE, related_name="+")
    name = models.CharField("file name", max_length=200)
    #: Empty where it was refused before it was opened; gone once it was read.
    file = models.FileField(max_length=200, blank=True)
    refusal = models.CharField(max_length=300, blank=True)
    #: Which files have the same headings: what is answered about one holds for all of them.
    form = models.CharField(max_length=64, blank=True)
    answers = models.JSONField(default=dict, blank=True)
    layout = models.ForeignKey(LogLayout, models.SET_NULL, null=True, blank=True, related_name="+")
    log = models.ForeignKey(ShiftLog, models.SET_NULL, null=True, blank=True, related_name="+")
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["sending", "place"], name="one_coming_log_per_place_in_a_sending"
            ),
        ]

    def __str__(self) -> str:
        return self.name
