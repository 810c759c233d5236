"""Who we buy from, what was ordered, what came, and old parts that are owed back."""

from typing import Self

from django.conf import settings
from django.db import models
from django.db.models import F, Q, Sum
from django.db.models.functions import Greatest

from inventory.models.append_only import AppendOnly


class Supplier(models.Model):
    """Somebody we buy from."""

    name = models.CharField(max_length=120, unique=True)
    contact = models.TextField("how to reach them", blank=True, default="")
    our_account = models.CharField("our account with them", max_length=60, blank=True, default="")
    #: How often an order is put together for them; 0: whenever something is needed.
    review_days = models.PositiveSmallIntegerField("order every so many days", default=0)
    least_order_cents = models.PositiveBigIntegerField("least order", default=0)
    retired = models.BooleanField(default=False)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(name=""),
                name="supplier_has_a_name",
                violation_error_message="A supplier needs a name.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class SupplierPart(models.Model):
    """A part as one supplier sells it: in packs of so much, at prices that fall with the number."""

    supplier = models.ForeignKey(Supplier, on_delete=models.CASCADE, related_name="parts")
    part = models.ForeignKey(
        "inventory.Part", on_delete=models.CASCADE, related_name="supplier_parts"
    )
    their_number = models.CharField("their number", max_length=60, blank=True, default="")
    #: What one pack holds; their prices are of a pack.
    pack_steps = models.PositiveBigIntegerField(default=1)
    least_packs = models.PositiveIntegerField("least number of packs", default=1)
    #: What they say; what it took is learnt from receipts.
    lead_time_days = models.PositiveSmallIntegerField("lead time in days", default=7)
    #: What they pay back for each old part returned; 0: none is owed.
    core_cents = models.PositiveBigIntegerField("credit for an old part", default=0)
    preferred = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "part"],
                name="a_supplier_sells_a_part_once",
                violation_error_message="This supplier has the part already.",
            ),
            models.UniqueConstraint(
                fields=["part"],
                condition=Q(preferred=True),
                name="one_preferred_supplier_of_a_part",
            ),
            models.CheckConstraint(
                condition=Q(pack_steps__gt=0),
                name="pack_of_a_supplier_holds_something",
                violation_error_message="A pack holds more than nothing.",
            ),
            models.CheckConstraint(
                condition=Q(least_packs__gt=0),
                name="least_packs_is_at_least_one",
                violation_error_message="The least is one pack.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} from {self.supplier}"


class PriceBreak(models.Model):
    """From so many packs on, one pack costs this much."""

    supplier_part = models.ForeignKey(
        SupplierPart, on_delete=models.CASCADE, related_name="price_breaks"
    )
    from_packs = models.PositiveIntegerField(default=1)
    pack_price_cents = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["from_packs"]
        constraints = [
            models.UniqueConstraint(
                fields=["supplier_part", "from_packs"],
                name="one_price_from_a_number_of_packs",
                violation_error_message="There is a price from this number on already.",
            ),
            models.CheckConstraint(
                condition=Q(from_packs__gt=0),
                name="price_from_at_least_one_pack",
                violation_error_message="A price starts at one pack or more.",
            ),
        ]

    def __str__(self) -> str:
        return f"from {self.from_packs} packs: {self.pack_price_cents} cents"


class PurchaseOrder(models.Model):
    """An order to one supplier: a draft until it is sent, closed when nothing more will come."""

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        SENT = "sent", "Sent"
        PARTLY = "partly", "Partly received"
        CLOSED = "closed", "Closed"

    number = models.PositiveIntegerField(unique=True)
    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=8, choices=State.choices, default=State.DRAFT)
    note = models.TextField(blank=True, default="")
    request_id = models.UUIDField(unique=True)
    drafted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    drafted_at = models.DateTimeField()
    sent_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    sent_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True)
    closed_because = models.TextField(blank=True, default="")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["draft", "sent", "partly", "closed"]),
                name="order_is_in_a_known_state",
                violation_error_message="An order is a draft, sent, partly received or closed.",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["draft", "closed"]) | Q(sent_at__isnull=False),
                name="order_under_way_was_sent",
                violation_error_message="An order under way says when it was sent.",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | Q(closed_at__isnull=False),
                name="order_closed_says_when",
                violation_error_message="A closed order says when it was closed.",
            ),
        ]
        indexes = [models.Index(fields=["state", "-number"], name="order_by_state")]

    def __str__(self) -> str:
        return f"order {self.number}"

    #: States in which something may still come.
    UNDER_WAY = (State.SENT, State.PARTLY)


class PurchaseOrderLineQuerySet(models.QuerySet["PurchaseOrderLine"]):
    def to_come(self) -> Self:
        """Lines of orders under way of which something is still to come: adds to_come_steps."""
        whole = F("packs") * F("pack_steps")
        rest = Greatest(whole - F("received_steps") - F("cancelled_steps"), 0)
        return (
            self.filter(order__state__in=PurchaseOrder.UNDER_WAY)
            .annotate(to_come_steps=models.ExpressionWrapper(rest, models.BigIntegerField()))
            .filter(to_come_steps__gt=0)
        )

    def on_order(self) -> dict[int, int]:
        """By part, what is still to come. [steps]"""
        rows = self.to_come().order_by().values("part")
        return dict(rows.annotate(total=Sum("to_come_steps")).values_list("part", "total"))


class PurchaseOrderLine(models.Model):
    """So many packs of a part, at the price they had when the order was sent."""

    order = models.ForeignKey(PurchaseOrder, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="order_lines")
    their_number = models.CharField(max_length=60, blank=True, default="")
    packs = models.PositiveIntegerField()
    pack_steps = models.PositiveBigIntegerField()
    pack_price_cents = models.PositiveBigIntegerField(default=0)
    #: The day they promised, or the lead time after sending.
    expected_on = models.DateField(null=True)
    #: May pass what was ordered: a supplier may send more.
    received_steps = models.PositiveBigIntegerField(default=0)
    #: What will not come any more.
    cancelled_steps = models.PositiveBigIntegerField(default=0)

    objects = PurchaseOrderLineQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["order", "part"],
                name="an_order_names_a_part_once",
                violation_error_message="This part is in the order already.",
            ),
            models.CheckConstraint(
                condition=Q(packs__gt=0, pack_steps__gt=0),
                name="order_line_asks_for_something",
                violation_error_message="Order at least one pack.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order}: {self.packs} packs of {self.part}"

    @property
    def quantity_steps(self) -> int:
        return self.packs * self.pack_steps

    @property
    def price_cents(self) -> int:
        return self.packs * self.pack_price_cents


class Receipt(AppendOnly):
    """One delivery, known by the supplier's packing slip: entered twice, it is refused."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="receipts")
    packing_slip = models.CharField("packing slip", max_length=60)
    received_at = models.DateTimeField()
    #: Carriage, duty and the like, shared over the lines by their worth.
    freight_cents = models.PositiveBigIntegerField("freight", default=0)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    request_id = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "packing_slip"],
                name="a_packing_slip_is_received_once",
                violation_error_message="This packing slip was received before.",
            ),
            models.CheckConstraint(
                condition=~Q(packing_slip=""),
                name="receipt_names_its_packing_slip",
                violation_error_message="Give the number of the packing slip.",
            ),
        ]

    def __str__(self) -> str:
        return f"packing slip {self.packing_slip} of {self.supplier}"


class ReceiptLine(AppendOnly):
    """The lot that a delivery brought, what of it the goods cost, and what it was ordered by."""

    receipt = models.ForeignKey(Receipt, on_delete=models.PROTECT, related_name="lines")
    lot = models.OneToOneField(
        "inventory.Lot", on_delete=models.PROTECT, related_name="receipt_line"
    )
    order_line = models.ForeignKey(
        PurchaseOrderLine, on_delete=models.PROTECT, null=True, related_name="receipt_lines"
    )
    #: Without its share of the freight, which the lot's value holds.
    goods_cents = models.PositiveBigIntegerField()

    def __str__(self) -> str:
        return f"{self.lot} by {self.receipt}"


class Core(models.Model):
    """Old parts that a supplier pays for when they get them back."""

    supplier = models.ForeignKey(Supplier, on_delete=models.PROTECT, related_name="cores")
    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="cores")
    receipt_line = models.ForeignKey(
        ReceiptLine, on_delete=models.PROTECT, null=True, related_name="cores"
    )
    quantity_steps = models.PositiveBigIntegerField()
    credit_cents = models.PositiveBigIntegerField()
    owed_since = models.DateField()
    #: The last day on which they take it.
    back_by = models.DateField(null=True, blank=True)
    sent_back_on = models.DateField(null=True, blank=True)
    credited_on = models.DateField(null=True, blank=True)
    credited_cents = models.PositiveBigIntegerField(null=True, blank=True)
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity_steps__gt=0),
                name="core_is_of_something",
                violation_error_message="An old part is more than nothing.",
            ),
            models.CheckConstraint(
                condition=Q(credited_on__isnull=True, credited_cents__isnull=True)
                | Q(credited_on__isnull=False, credited_cents__isnull=False),
                name="core_credit_has_its_day",
                violation_error_message="A credit has its day and its amount.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part} owed to {self.supplier}"
