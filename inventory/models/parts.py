"""Parts and kits. A kit is a part with lines."""

from datetime import date
from typing import Any, Self

from django.conf import settings
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from inventory.costing import receipt_value_cents
from inventory.shelf_life import StorageGroup, use_by


def _sum_of(rows: models.QuerySet[Any], column: str = "quantity_steps") -> Coalesce:
    """The sum of a column over the rows of the outer part: integers, never null."""
    total = (
        rows.filter(part=OuterRef("pk"))
        .order_by()
        .values("part")
        .annotate(total=Sum(column))
        .values("total")
    )
    return Coalesce(
        Subquery(total, output_field=models.BigIntegerField()),
        Value(0),
        output_field=models.BigIntegerField(),
    )


class PartQuerySet(models.QuerySet["Part"]):
    def in_use(self) -> Self:
        """Parts that may still be bought and picked."""
        return self.filter(retired=False)

    def kits(self) -> Self:
        return self.filter(is_kit=True)

    def search(self, text: str) -> Self:
        """Parts whose number or name holds every word of the text, whatever its case."""
        found = self
        for word in text.casefold().split():
            found = found.filter(search_key__contains=word)
        return found

    def with_stock(self, *, today: date) -> Self:
        """Adds five whole numbers of steps.

        on_hand_steps: in the shop's bins. usable_steps: of it, what is not past its use-by day,
        which is what buying looks at; the rest is `Part.expired_steps`. in_drawers_steps: in the
        rigs' drawers. reserved_steps: promised from the shop's bins. available_steps: usable less
        reserved (below zero when a count found less than was promised).
        Trays and quarantine count in none of them.
        """
        from inventory.models.ledger import Balance
        from inventory.models.places import Location
        from inventory.models.plans import Reservation

        in_bins = Q(location__kind=Location.Kind.BIN)
        in_drawers = Q(location__kind=Location.Kind.DRAWER)
        return self.annotate(
            on_hand_steps=_sum_of(Balance.objects.filter(in_bins)),
            usable_steps=_sum_of(Balance.objects.filter(in_bins, lot__expires_on__gte=today)),
            in_drawers_steps=_sum_of(Balance.objects.filter(in_drawers)),
            reserved_steps=_sum_of(Reservation.objects.filter(in_bins)),
        ).annotate(available_steps=F("usable_steps") - F("reserved_steps"))

    def with_policy(self) -> Self:
        """Adds the shop's reorder_point_steps and order_up_to_steps (0 where none was set)."""
        from inventory.models.plans import StockPolicy

        policy = StockPolicy.objects.filter(part=OuterRef("pk"), location__isnull=True)
        return self.annotate(
            reorder_point_steps=Coalesce(Subquery(policy.values("reorder_point_steps")[:1]), 0),
            order_up_to_steps=Coalesce(Subquery(policy.values("order_up_to_steps")[:1]), 0),
        )

    def with_on_order(self) -> Self:
        """Adds on_order_steps: what is still to come of orders that were sent."""
        from inventory.models.buying import PurchaseOrderLine

        return self.annotate(
            on_order_steps=_sum_of(PurchaseOrderLine.objects.to_come(), "to_come_steps")
        )

    def at_reorder_point(self, *, today: date) -> Self:
        """Parts in use with a policy for the shop whose stock fell to its point.

        What is usable and what is on order count together: what was ordered is not bought twice.
        Of a part that another has taken the place of, that one is bought.
        """
        return (
            self.in_use()
            .filter(superseded_by__isnull=True)
            .with_stock(today=today)
            .with_on_order()
            .with_policy()
            .filter(
                policies__location__isnull=True,
                policies__reorder_point_steps__gte=F("usable_steps") + F("on_order_steps"),
            )
        )

    def next_to_reorder_point(self, *, today: date) -> Self:
        """Parts in use above their reorder point, the closest to it first."""
        return (
            self.in_use()
            .filter(superseded_by__isnull=True)
            .with_stock(today=today)
            .with_on_order()
            .with_policy()
            .alias(position_steps=F("usable_steps") + F("on_order_steps"))
            .filter(order_up_to_steps__gt=0, position_steps__gt=F("reorder_point_steps"))
            .order_by(
                (F("position_steps") - F("reorder_point_steps")) * 1000 / F("steps_per_unit"),
                "number",
            )
        )

    def with_value(self) -> Self:
        """Adds value_cents: what is left of the part's lots is worth, wherever it lies."""
        from inventory.models.places import Lot

        return self.annotate(value_cents=_sum_of(Lot.objects.all(), "value_left_cents"))

    def for_parts_list(self, *, today: date) -> Self:
        """Everything the parts list shows, in one query."""
        return self.with_stock(today=today).with_policy().with_value()


class Part(models.Model):
    """A thing we stock, in whole steps of its unit (1 piece; 0.01 gal where 100 steps make one)."""

    number = models.CharField("part number", max_length=40, unique=True)
    name = models.CharField(max_length=120)
    unit_name = models.CharField("unit", max_length=20, default="piece")
    steps_per_unit = models.PositiveIntegerField(default=1)
    is_kit = models.BooleanField("kit", default=False)
    category = models.CharField(max_length=40, blank=True, default="")
    notes = models.TextField(blank=True, default="")
    retired = models.BooleanField(default=False)
    #: What is bought in its place now; what is left of it is still used.
    superseded_by = models.ForeignKey(
        "self", on_delete=models.PROTECT, null=True, blank=True, related_name="supersedes"
    )
    #: What one unit usually costs: for needs not yet bought and stock found without a price.
    usual_cost_cents = models.PositiveBigIntegerField(default=0)
    #: Of a rubber: how long it keeps from its cure date (inventory/shelf_life.py).
    storage_group = models.CharField(
        max_length=1,
        choices=[(group.value, f"Group {group}") for group in StorageGroup],
        blank=True,
        default="",
    )
    #: Of what else does not keep: how long, from the day it was made. 0: it keeps.
    keeps_months = models.PositiveSmallIntegerField(default=0)
    search_key = models.CharField(max_length=330, editable=False, db_index=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    changed_at = models.DateTimeField()

    objects = PartQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(steps_per_unit__gte=1),
                name="part_has_at_least_one_step_per_unit",
                violation_error_message="A unit has at least one step.",
            ),
            models.CheckConstraint(
                condition=Q(is_kit=False) | Q(steps_per_unit=1),
                name="kits_come_whole",
                violation_error_message="Kits come whole.",
            ),
            models.CheckConstraint(
                condition=Q(storage_group__in=["", "A", "B", "C"]),
                name="part_storage_group_is_known",
                violation_error_message="A storage group is A, B or C.",
            ),
            models.CheckConstraint(
                condition=~Q(number=""),
                name="part_has_a_number",
                violation_error_message="A part needs a number.",
            ),
            models.CheckConstraint(
                condition=~Q(superseded_by=F("pk")),
                name="part_does_not_supersede_itself",
                violation_error_message="A part cannot take its own place.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.name}"

    def save(self, **kwargs: Any) -> None:
        self.search_key = self.search_key_for(number=self.number, name=self.name)
        if (fields := kwargs.get("update_fields")) is not None:
            kwargs["update_fields"] = {*fields, "search_key"}
        super().save(**kwargs)

    @staticmethod
    def search_key_for(*, number: str, name: str) -> str:
        """What a search looks in. Whoever writes rows past `save()` fills it with this."""
        return f"{number} {name}".casefold()[:330]

    @property
    def ages(self) -> bool:
        """Whether it may be used only for so long."""
        return bool(self.storage_group or self.keeps_months)

    @property
    def expired_steps(self) -> int:
        """Of a part read `with_stock`: what lies in the shop's bins past its use-by day. [steps]"""
        return self.on_hand_steps - self.usable_steps  # type: ignore[attr-defined]

    def use_by(self, made_on: date) -> date | None:
        """The last day for what was cured or made on a day; None where it keeps."""
        group = StorageGroup(self.storage_group) if self.storage_group else None
        return use_by(made_on, group=group, keeps_months=self.keeps_months)

    def cost_of(self, quantity_steps: int) -> int:
        """What this quantity usually costs. [cents, rounded half up]"""
        return receipt_value_cents(
            quantity_steps=quantity_steps,
            steps_per_unit=self.steps_per_unit,
            unit_cost_cents=self.usual_cost_cents,
        )


class KitLine(models.Model):
    """So much of a part lies in one kit."""

    kit = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="in_kits")
    quantity_steps = models.PositiveBigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kit", "part"],
                name="one_line_per_part_of_a_kit",
                violation_error_message="This part is in the kit already.",
            ),
            models.CheckConstraint(
                condition=Q(quantity_steps__gt=0),
                name="kit_line_holds_something",
                violation_error_message="A kit line holds more than nothing.",
            ),
            models.CheckConstraint(
                condition=~Q(kit=F("part")),
                name="kit_does_not_contain_itself",
                violation_error_message="A kit cannot contain itself.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kit.number}: {self.quantity_steps} steps of {self.part.number}"


class KitAlternate(models.Model):
    """So much of another part does instead of a kit's line; the lowest rank is taken first."""

    line = models.ForeignKey(KitLine, on_delete=models.CASCADE, related_name="alternates")
    part = models.ForeignKey(Part, on_delete=models.PROTECT, related_name="alternate_in")
    quantity_steps = models.PositiveBigIntegerField()
    rank = models.PositiveSmallIntegerField(default=1)

    class Meta:
        ordering = ["rank", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["line", "part"],
                name="one_alternate_of_a_line_per_part",
                violation_error_message="This part is an alternate of the line already.",
            ),
            models.CheckConstraint(
                condition=Q(quantity_steps__gt=0),
                name="alternate_holds_something",
                violation_error_message="An alternate is more than nothing.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} instead in {self.line}"


class Pack(models.Model):
    """A package that a part comes or is handled in: a pail of so many steps, exactly."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="packs")
    name = models.CharField(max_length=20)
    quantity_steps = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["quantity_steps", "name"]
        constraints = [
            models.UniqueConstraint(
                fields=["part", "name"],
                name="one_pack_of_a_name_per_part",
                violation_error_message="There is a pack of this name already.",
            ),
            models.CheckConstraint(
                condition=~Q(name=""),
                name="pack_has_a_name",
                violation_error_message="A pack needs a name.",
            ),
            models.CheckConstraint(
                condition=Q(quantity_steps__gt=0),
                name="pack_holds_something",
                violation_error_message="A pack holds more than nothing.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} of {self.part}"


class PartCode(models.Model):
    """What is printed on a maker's package, for a scanner; ours are the part's number."""

    part = models.ForeignKey(Part, on_delete=models.CASCADE, related_name="codes")
    code = models.CharField(max_length=120, unique=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(code=""),
                name="part_code_says_something",
                violation_error_message="Scan or type the code.",
            ),
        ]

    def __str__(self) -> str:
        return self.code
