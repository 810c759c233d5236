"""What was left in the drums that feed a rig."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment.drums import Dip
from equipment.models.rigs import Rig


class DrumLevelQuerySet(models.QuerySet["DrumLevel"]):
    def in_force(self) -> "DrumLevelQuerySet":
        return self.filter(is_in_force=True)

    def of(self, rig: Rig, side: str) -> "DrumLevelQuerySet":
        """The levels of one side, in the order of their moments."""
        return self.in_force().filter(rig=rig, side=side).order_by("at", "pk")


class DrumLevel(models.Model):
    """Gallons left in the drum of one side, as somebody read them. Added only.

    A wrong one is taken back by a row that names it.
    """

    class DrumSide(models.TextChoices):
        A = "A", "A side"
        B = "B", "B side"

    rig = models.ForeignKey(Rig, models.PROTECT, related_name="drum_levels")
    side = models.CharField(max_length=1, choices=DrumSide)
    #: [US gal]
    left = models.DecimalField(max_digits=7, decimal_places=2)
    #: Full size of the drum put on since the level before; null: the same drum still. [US gal]
    new_drum = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)
    at = models.DateTimeField()
    is_day_only = models.BooleanField(default=False)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    request_id = models.UUIDField()
    note = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="reversal"
    )
    is_in_force = models.BooleanField(default=True)

    objects = DrumLevelQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["rig", "side", "request_id"], name="a_drum_level_sent_twice_counts_once"
            ),
            models.CheckConstraint(condition=Q(side__in=["A", "B"]), name="drum_level_has_a_side"),
            models.CheckConstraint(condition=Q(left__gte=0), name="drum_holds_zero_or_more"),
            models.CheckConstraint(
                condition=Q(new_drum__isnull=True)
                | Q(new_drum__gt=0, left__lte=models.F("new_drum")),
                name="new_drum_holds_no_more_than_its_size",
            ),
            models.CheckConstraint(
                condition=Q(reverses__isnull=True) | Q(is_in_force=False),
                name="a_reversal_is_no_drum_level_itself",
            ),
        ]
        indexes = [models.Index(fields=["rig", "side", "at"])]

    def __str__(self) -> str:
        return f"{self.rig} {self.side} {self.left}"

    @property
    def is_new(self) -> bool:
        """Whether a new drum was put on."""
        return self.new_drum is not None

    def dip(self) -> Dip:
        """The level as the mathematics knows it."""
        return Dip(at=self.at, left=Decimal(self.left), new_drum=self.new_drum)
