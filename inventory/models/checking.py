"""Looking whether what should lie there does: counts, drawer checks, robbed kits, lots kept on."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from inventory.models.append_only import AppendOnly


class Count(models.Model):
    """One walk along a place, counting blind; what differs is posted when a manager approves."""

    class Kind(models.TextChoices):
        CYCLE = "cycle", "Count"
        DRAWER = "drawer", "Drawer check"

    class State(models.TextChoices):
        OPEN = "open", "Counting"
        COUNTED = "counted", "To approve"
        POSTED = "posted", "Posted"
        DROPPED = "dropped", "Dropped"

    number = models.PositiveIntegerField(unique=True)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    location = models.ForeignKey(
        "inventory.Location", on_delete=models.PROTECT, related_name="counts"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    request_id = models.UUIDField(unique=True)
    started_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    started_at = models.DateTimeField()
    counted_at = models.DateTimeField(null=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    settled_at = models.DateTimeField(null=True)
    note = models.TextField(blank=True, default="")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["cycle", "drawer"]),
                name="count_is_of_a_known_kind",
                violation_error_message="A count is a count or a drawer check.",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["open", "counted", "posted", "dropped"]),
                name="count_is_in_a_known_state",
                violation_error_message="A count is open, to approve, posted or dropped.",
            ),
            models.CheckConstraint(
                condition=Q(state__in=["open", "counted"]) | Q(settled_at__isnull=False),
                name="count_settled_says_when",
                violation_error_message="A settled count says when.",
            ),
            models.UniqueConstraint(
                fields=["location"],
                condition=Q(state__in=["open", "counted"]),
                name="one_count_of_a_place_at_a_time",
                violation_error_message="Somebody is counting this place already.",
            ),
        ]
        indexes = [models.Index(fields=["location", "-started_at"], name="count_of_place")]

    def __str__(self) -> str:
        return f"count {self.number}"


class CountLine(models.Model):
    """What was seen of one part. What the books said is read, under the lot's lock, as it is
    entered: what moves in or out later is not a difference of the count."""

    count = models.ForeignKey(Count, on_delete=models.CASCADE, related_name="lines")
    part = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="+")
    counted_steps = models.PositiveBigIntegerField()
    books_steps = models.PositiveBigIntegerField()
    counted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    counted_at = models.DateTimeField()
    event_id = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["count", "part"], name="a_part_stands_once_in_a_count"),
        ]

    def __str__(self) -> str:
        return f"{self.count}: {self.part}"

    @property
    def difference_steps(self) -> int:
        """Found more than the books say: above zero."""
        return self.counted_steps - self.books_steps


class RobbedKit(models.Model):
    """A kit that something was taken from. It is broken into a tray of its own: the ledger holds
    its pieces there, so it never counts as whole; what is missing is its lines less the tray."""

    kit = models.ForeignKey("inventory.Part", on_delete=models.PROTECT, related_name="robbed")
    lies_in = models.ForeignKey(
        "inventory.Location", on_delete=models.PROTECT, related_name="robbed_kits"
    )
    tray = models.OneToOneField(
        "inventory.Location", on_delete=models.PROTECT, related_name="robbed_kit"
    )
    request_id = models.UUIDField(unique=True)
    found_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    found_at = models.DateTimeField()
    reason = models.TextField(blank=True, default="")
    #: Made whole, or what was left of it put back on the shelf.
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, null=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(lies_in=F("tray")),
                name="robbed_kit_has_a_tray_of_its_own",
                violation_error_message="A robbed kit has a tray of its own.",
            ),
        ]
        indexes = [
            models.Index(
                fields=["kit"], condition=Q(ended_at__isnull=True), name="robbed_kit_not_whole"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kit}, robbed, in {self.lies_in}"


class LotExtension(AppendOnly):
    """A lot that was looked at and may be used longer. The newest is the lot's use-by day."""

    lot = models.ForeignKey("inventory.Lot", on_delete=models.PROTECT, related_name="extensions")
    was = models.DateField()
    until = models.DateField()
    reason = models.TextField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    request_id = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(until__gt=F("was")),
                name="extension_is_later_than_it_was",
                violation_error_message="Give a day after the one it has now.",
            ),
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="extension_says_why",
                violation_error_message="Say what was looked at.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lot} until {self.until}"
