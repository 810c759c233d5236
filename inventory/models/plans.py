"""What is promised, and how much should lie here."""

from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class ReservationQuerySet(models.QuerySet["Reservation"]):
    def of_source(self, source_kind: str, source_number: int) -> Self:
        return self.filter(source_kind=source_kind, source_number=source_number)

    def of_others(self, source_kind: str, source_number: int) -> Self:
        """What was promised to anything but this source."""
        return self.exclude(source_kind=source_kind, source_number=source_number)

    def for_list(self) -> Self:
        return self.select_related("part", "location", "author").order_by(
            "location__code", "part__number", "pk"
        )

    def at(self, part: Any, location: Any) -> Self:
        return self.filter(part=part, location=location)


class Reservation(models.Model):
    """A promise, per part and place. It binds nothing: taking it for another asks first."""

    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="promises")
    location = models.ForeignKey(
        "inventory.Location", on_delete=models.PROTECT, related_name="promises"
    )
    quantity_steps = models.PositiveBigIntegerField()
    source_kind = models.CharField(max_length=20)
    source_number = models.BigIntegerField()
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="promises"
    )
    created_at = models.DateTimeField()

    objects = ReservationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity_steps__gt=0),
                name="reservation_promises_something",
                violation_error_message="A reservation promises more than nothing.",
            ),
            models.UniqueConstraint(
                fields=["part", "location", "source_kind", "source_number"],
                name="one_reservation_per_part_place_and_source",
            ),
        ]
        indexes = [
            models.Index(fields=["source_kind", "source_number"], name="reservation_source"),
        ]

    def __str__(self) -> str:
        return f"{self.source_kind} {self.source_number}: {self.quantity_steps} steps"


class StockPolicy(models.Model):
    """Buy when it falls to the point, up to the level. No place means the shop as a whole."""

    part = models.ForeignKey("inventory.Part", on_delete=models.CASCADE, related_name="policies")
    location = models.ForeignKey(
        "inventory.Location",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="policies",
    )
    reorder_point_steps = models.PositiveBigIntegerField()
    order_up_to_steps = models.PositiveBigIntegerField()
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    reason = models.TextField(blank=True, default="")

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["part"],
                condition=Q(location__isnull=True),
                name="one_shop_policy_per_part",
            ),
            models.UniqueConstraint(
                fields=["part", "location"],
                condition=Q(location__isnull=False),
                name="one_policy_per_part_and_place",
            ),
            models.CheckConstraint(
                condition=Q(order_up_to_steps__gte=F("reorder_point_steps")),
                name="order_up_to_not_below_reorder_point",
                violation_error_message="Order up to at least the reorder point.",
            ),
        ]

    def __str__(self) -> str:
        return f"part {self.part_id}: at {self.reorder_point_steps} up to {self.order_up_to_steps}"
