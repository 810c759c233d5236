"""Where stock lies, and the lots it came in."""

from datetime import date
from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import Q

#: Stands for "never" in columns that lists sort by: the two databases sort nulls differently.
FAR_DATE = date(9999, 12, 31)


class LocationQuerySet(models.QuerySet["Location"]):
    def in_use(self) -> Self:
        return self.filter(retired=False)

    def shop_bins(self) -> Self:
        """The shelves of the shop: what buying looks at."""
        return self.filter(kind=Location.Kind.BIN)

    def drawers(self) -> Self:
        """Drawers that ride on rigs."""
        return self.filter(kind=Location.Kind.DRAWER)

    def trays(self) -> Self:
        """Trays that hold what was picked for one sheet."""
        return self.filter(kind=Location.Kind.TRAY)

    def to_put_into(self) -> Self:
        """Where somebody may put something by hand, by code: trays are filled by their sheets."""
        return self.in_use().exclude(kind=Location.Kind.TRAY).order_by("code")

    def for_places_list(self) -> Self:
        """Everything the list of places shows, in one query: adds parts_count."""
        filled = Q(balances__quantity_steps__gt=0)
        return self.annotate(
            parts_count=models.Count("balances__part", filter=filled, distinct=True)
        )


class Location(models.Model):
    class Kind(models.TextChoices):
        BIN = "bin", "Bin"
        DRAWER = "drawer", "Rig drawer"
        TRAY = "tray", "Tray"
        QUARANTINE = "quarantine", "Quarantine"

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120, blank=True, default="")
    kind = models.CharField(max_length=12, choices=Kind.choices, default=Kind.BIN)
    retired = models.BooleanField(default=False)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    changed_at = models.DateTimeField()

    objects = LocationQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["bin", "drawer", "tray", "quarantine"]),
                name="location_is_of_a_known_kind",
                violation_error_message="A place is a bin, a rig drawer, a tray or quarantine.",
            ),
            models.CheckConstraint(
                condition=~Q(code=""),
                name="location_has_a_code",
                violation_error_message="A place needs a code.",
            ),
        ]

    def __str__(self) -> str:
        return self.code

    @property
    def holds_what_was_picked(self) -> bool:
        """Trays and quarantine hold what a person put there on purpose, in date or not."""
        return self.kind in (self.Kind.TRAY, self.Kind.QUARANTINE)

    @property
    def is_taken_along(self) -> bool:
        """What lies in a tray or drawer goes out to be used: nothing expired unless meant."""
        return self.kind in (self.Kind.TRAY, self.Kind.DRAWER)


class Lot(models.Model):
    """One receipt line: one cure date, one expiry, one cost. The cost travels with the lot."""

    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="lots")
    code = models.CharField("lot", max_length=60)
    received_at = models.DateTimeField()
    quantity_received_steps = models.PositiveBigIntegerField()
    value_received_cents = models.PositiveBigIntegerField()
    cured_on = models.DateField(null=True, blank=True)
    expires_on = models.DateField(default=FAR_DATE)
    quantity_left_steps = models.BigIntegerField()
    value_left_cents = models.BigIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity_left_steps__gte=0),
                name="lot_quantity_never_negative",
                violation_error_message="Not enough left of this lot.",
            ),
            models.CheckConstraint(
                condition=Q(value_left_cents__gte=0),
                name="lot_value_never_negative",
                violation_error_message="A lot is never worth less than nothing.",
            ),
            models.CheckConstraint(
                condition=Q(quantity_left_steps__gt=0) | Q(value_left_cents=0),
                name="lot_used_up_is_worth_nothing",
                violation_error_message="A lot that is used up is worth nothing.",
            ),
        ]
        indexes = [
            # Picking reads what is left of a part, first expiry, then first in.
            models.Index(
                fields=["part", "expires_on", "received_at"],
                condition=Q(quantity_left_steps__gt=0),
                name="lot_left_of_part",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part.number} lot {self.code}"

    @property
    def expires(self) -> bool:
        return self.expires_on != FAR_DATE
