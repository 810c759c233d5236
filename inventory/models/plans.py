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
    #: Fixed by a manager; else it follows the advice.
    by_hand = models.BooleanField(default=True)
    #: When a number fixed by hand is looked at again.
    review_on = models.DateField(null=True, blank=True)

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


class StockAdvice(models.Model):
    """What the due forecast, wear and lead times advise for a part, with every figure it came from.

    Reckoned anew at the turn of the day; no place means the shop as a whole.
    """

    part = models.ForeignKey("inventory.Part", on_delete=models.CASCADE, related_name="advice")
    location = models.ForeignKey(
        "inventory.Location",
        on_delete=models.CASCADE,
        null=True,
        blank=True,
        related_name="advice",
    )
    reorder_point_steps = models.PositiveBigIntegerField()
    order_up_to_steps = models.PositiveBigIntegerField()
    #: Of its part, by what a year's use costs: A, B or C (inventory/classes.py).
    value_class = models.CharField(max_length=1, default="C")
    #: All that the page shows and the number can be recomputed from.
    figures = models.JSONField()
    reckoned_on = models.DateField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["part"],
                condition=Q(location__isnull=True),
                name="one_advice_for_the_shop_per_part",
            ),
            models.UniqueConstraint(
                fields=["part", "location"],
                condition=Q(location__isnull=False),
                name="one_advice_per_part_and_place",
            ),
            models.CheckConstraint(
                condition=Q(order_up_to_steps__gte=F("reorder_point_steps")),
                name="advice_orders_up_to_its_point_at_least",
                violation_error_message="Order up to at least the reorder point.",
            ),
            models.CheckConstraint(
                condition=Q(value_class__in=["A", "B", "C"]),
                name="advice_is_of_a_known_class",
                violation_error_message="A value class is A, B or C.",
            ),
        ]

    def __str__(self) -> str:
        return f"part {self.part_id}: buy at {self.reorder_point_steps}"


class StockClass(models.Model):
    """What a manager asks for of a value class; a class without a row keeps its defaults."""

    letter = models.CharField(max_length=1, primary_key=True)
    #: The chance that nothing is short before the next order can arrive.
    target_percent = models.DecimalField(max_digits=5, decimal_places=2)
    count_every_days = models.PositiveSmallIntegerField()
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(letter__in=["A", "B", "C"]),
                name="stock_class_is_known",
                violation_error_message="A value class is A, B or C.",
            ),
            models.CheckConstraint(
                condition=Q(target_percent__gte=50, target_percent__lt=100),
                name="stock_class_target_in_range",
                violation_error_message="Give a chance of 50 %% or more, and below 100 %%.",
            ),
            models.CheckConstraint(
                condition=Q(count_every_days__gt=0),
                name="stock_class_is_counted_sometime",
                violation_error_message="Count at least once in so many days.",
            ),
        ]

    def __str__(self) -> str:
        return self.letter
