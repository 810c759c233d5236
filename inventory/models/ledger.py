"""The ledger: movements that are only added, and the balances kept beside them."""

from datetime import datetime
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import Case, F, Q, Sum, When, Window
from django.utils.translation import gettext_lazy

from inventory.models.append_only import AppendOnly, AppendOnlyQuerySet


class MovementQuerySet(AppendOnlyQuerySet["Movement"]):
    def of_source(self, source_kind: str, source_number: int) -> Self:
        """What was moved for one sheet, receipt or count."""
        return self.filter(source_kind=source_kind, source_number=source_number)

    def of_request(self, request_id: Any) -> Self:
        """The rows one request wrote, in its order."""
        return self.filter(request_id=request_id).order_by("line_no")

    def spent(self) -> Self:
        """Issues, what was put back of them, the reversals of both, and what a late invoice
        changed about an issue: what spend adds up.

        The spend is the negative of the sum of their values.
        """
        kinds = (Movement.Kind.ISSUE, Movement.Kind.RETURN)
        return self.filter(
            Q(kind__in=kinds)
            | Q(reverses__kind__in=kinds)
            | Q(about__kind=Movement.Kind.ISSUE)
            | Q(reverses__about__kind=Movement.Kind.ISSUE)
        )

    def used_since(self, at: datetime) -> dict[int, int]:
        """By part, what was issued since a moment less what came back of it. [steps]"""
        rows = self.spent().filter(at__gte=at).order_by().values("part")
        return {
            part: -total
            for part, total in rows.annotate(total=Sum("quantity_steps")).values_list(
                "part", "total"
            )
        }

    def for_ledger(self, part: Any = None) -> Self:
        """Everything the ledger page shows, newest first, in one query; of one part if given."""
        rows = self if part is None else self.filter(part=part)
        return rows.select_related(
            "part", "location", "lot", "author", "reverses", "reversed_by"
        ).order_by("-pk")

    def with_on_hand_after(self) -> Self:
        """Adds on_hand_after_steps: what lay in the shop's bins once the movement was done.

        It counts up from the first movement, so filter by part, and page with `pk__lt`: rows that
        are left out at the older end would be missing from it.
        """
        in_bins = Case(When(location__kind="bin", then=F("quantity_steps")), default=0)
        return self.annotate(
            on_hand_after_steps=Window(
                Sum(in_bins, output_field=models.BigIntegerField()),
                partition_by=F("part"),
                order_by=F("pk").asc(),
            )
        )


class Movement(AppendOnly):
    """One line of the ledger. A transfer is two lines without value: value lives with the lot."""

    class Kind(models.TextChoices):
        RECEIPT = "receipt", gettext_lazy("Receipt")
        ISSUE = "issue", gettext_lazy("Issue")
        RETURN = "return", gettext_lazy("Put back")
        TRANSFER = "transfer", gettext_lazy("Transfer")
        COUNT = "count", gettext_lazy("Count")
        SCRAP = "scrap", gettext_lazy("Scrap")
        ADJUSTMENT = "adjustment", gettext_lazy("Adjustment")
        BREAK = "break", gettext_lazy("Kit broken")
        MAKE = "make", gettext_lazy("Kit made")
        COST = "cost", gettext_lazy("Cost change")
        REVERSAL = "reversal", gettext_lazy("Reversal")

    kind = models.CharField(max_length=12, choices=Kind.choices)
    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="movements")
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="movements")
    location = models.ForeignKey(
        "inventory.Location", on_delete=models.PROTECT, related_name="movements"
    )
    quantity_steps = models.BigIntegerField()
    value_cents = models.BigIntegerField()
    #: When it happened; `recorded_at` is when we were told.
    at = models.DateTimeField()
    recorded_at = models.DateTimeField(auto_now_add=True)
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="movements"
    )
    reason = models.TextField(blank=True, default="")
    #: What it was for, as a plain kind and number: "sheet" 412. This app knows no more of it.
    source_kind = models.CharField(max_length=20, default="hand")
    source_number = models.BigIntegerField(default=0)
    source_text = models.CharField(max_length=120, blank=True, default="")
    request_id = models.UUIDField()
    line_no = models.PositiveIntegerField()
    reverses = models.OneToOneField(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )

    #: Of a change of cost: the receipt whose invoice differs (or the line that laid a kit's parts
    #: out, or made the kit), or the line that took some of the lot and bears its share.
    about = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="cost_changes"
    )

    objects = MovementQuerySet.as_manager()  # type: ignore[misc]  # narrower than the base's

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["request_id", "line_no"],
                name="request_counts_once",
                violation_error_message="This was sent before and counted.",
            ),
            models.CheckConstraint(
                condition=~Q(quantity_steps=0) | Q(kind="cost") | Q(kind="reversal"),
                name="movement_moves_something",
                violation_error_message="A movement moves something, or changes a cost.",
            ),
            models.CheckConstraint(
                condition=Q(kind="reversal", reverses__isnull=False)
                | (~Q(kind="reversal") & Q(reverses__isnull=True)),
                name="reversal_names_what_it_reverses",
                violation_error_message="A reversal names the movement it reverses.",
            ),
            models.CheckConstraint(
                condition=~Q(kind="transfer") | Q(value_cents=0),
                name="transfer_carries_no_value",
                violation_error_message="A transfer carries no value of its own.",
            ),
            models.CheckConstraint(
                condition=Q(about__isnull=True) | Q(kind="cost"),
                name="only_a_cost_change_is_about_another",
                violation_error_message="Only a change of cost is about another movement.",
            ),
        ]
        indexes = [
            # A part's history, newest first, paged by key.
            models.Index(fields=["part", "-id"], name="movement_part_history"),
            # What a sheet or receipt moved; spend per sheet.
            models.Index(fields=["source_kind", "source_number"], name="movement_source"),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.pk}"


class BalanceQuerySet(models.QuerySet["Balance"]):
    def there(self) -> Self:
        """Balances that hold something."""
        return self.filter(quantity_steps__gt=0)

    def that_age(self) -> Self:
        """What lies in bins and drawers and may be used only for so long, soonest first."""
        from inventory.models.places import FAR_DATE, Location

        return (
            self.there()
            .filter(
                lot__expires_on__lt=FAR_DATE,
                location__kind__in=(Location.Kind.BIN, Location.Kind.DRAWER),
            )
            .select_related("part", "lot", "location")
            .order_by("lot__expires_on", "part__number", "location__code", "pk")
        )

    def for_place(self, location: Any) -> Self:
        """Everything the page of a place shows, in one query."""
        return (
            self.there()
            .filter(location=location)
            .select_related("part", "lot")
            .order_by("part__number", "lot__expires_on", "lot_id")
        )


class Balance(models.Model):
    """How much of a lot lies in a place. Kept with the ledger, under the lot's lock."""

    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="balances")
    location = models.ForeignKey(
        "inventory.Location", on_delete=models.PROTECT, related_name="balances"
    )
    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="balances")
    quantity_steps = models.BigIntegerField()

    objects = BalanceQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["part", "location", "lot"], name="one_balance_per_part_place_and_lot"
            ),
            models.CheckConstraint(
                condition=Q(quantity_steps__gte=0),
                name="balance_never_negative",
                violation_error_message="Not enough on hand.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.quantity_steps} steps of lot {self.lot_id} in {self.location_id}"
