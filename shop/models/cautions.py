"""Which safety texts somebody of the trade has read in another language."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment.models.constraints import all_or_none


class TextReading(models.Model):
    """Somebody of the trade who speaks a language read one safety text in it, beside the English.

    It speaks of these two texts alone: where either changes, its digest is another, and nobody has
    read it yet. A row is only added, and taken back once.
    """

    language = models.CharField(max_length=2)
    english = models.TextField()
    said = models.TextField()
    #: Of the language and both texts: `shop.services.safety_texts.digest_of`.
    digest = models.CharField(max_length=64)
    #: Who read it, and what he does; it may be nobody of the shop.
    reader = models.CharField(max_length=60)
    trade = models.CharField(max_length=60)
    read_on = models.DateField()
    recorded_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    taken_back_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    taken_back_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["digest"],
                condition=Q(taken_back_at__isnull=True),
                name="a_safety_text_is_read_once",
            ),
            models.CheckConstraint(
                condition=~Q(reader="") & ~Q(trade=""), name="a_text_reading_names_who_read"
            ),
            all_or_none(
                "taken_back_at", "taken_back_by", name="a_text_reading_taken_back_says_who_and_when"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.english[:40]} ({self.language}), read by {self.reader}"
