"""What phones sent: every entry as it arrived, and those that wait for a manager.

A phone keeps what is entered without signal and sends it later: on a sheet, or of a rig (its
daily round, what was found beside it). What could be taken is an `Arrival`; what could not is kept
whole as `Unsettled`, until a manager posts it or sets it aside (`Settlement`). All three are only
added to, so that a sheet can still say who entered what and when, by which clock.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from equipment.models import Rig
from shop.models.sheets import Entry, ServiceSheet

#: On a sheet or of a rig, never both, never neither.
OF_ONE = Q(sheet__isnull=False, rig__isnull=True) | Q(sheet__isnull=True, rig__isnull=False)


class FromPhone(Entry):
    """One entry as a phone made it, with its moment by our clock."""

    #: The browser that made it; one person may use several, several may use one.
    phone = models.UUIDField()
    kind = models.CharField(max_length=12)
    #: What was said, by the names of the fields of its kind.
    payload = models.JSONField()
    #: How far the phone's clock was behind ours, ahead of it where negative. [s]
    clock_error_seconds = models.BigIntegerField()

    sheet: ServiceSheet | None
    rig: Rig | None

    class Meta(Entry.Meta):
        abstract = True

    def __str__(self) -> str:
        return f"{self.of}: {self.kind}"

    @property
    def of(self) -> ServiceSheet | Rig:
        """What it was entered on: a sheet, or the round of a rig."""
        of = self.sheet or self.rig
        assert of is not None, "the database holds that it is of one of them"
        return of


class Arrival(FromPhone):
    """An entry that was taken when it came."""

    sheet = models.ForeignKey(
        ServiceSheet, models.PROTECT, null=True, blank=True, related_name="arrivals"
    )
    rig = models.ForeignKey(Rig, models.PROTECT, null=True, blank=True, related_name="arrivals")

    class Meta:
        indexes = [
            models.Index(fields=["sheet", "phone", "at"], name="shop_arrival_of_a_phone"),
            models.Index(fields=["rig", "phone", "at"], name="shop_arrival_of_a_rig"),
        ]
        constraints = [
            models.CheckConstraint(condition=OF_ONE, name="an_arrival_is_of_a_sheet_or_a_rig"),
        ]


class UnsettledQuerySet(models.QuerySet["Unsettled"]):
    def open(self) -> "UnsettledQuerySet":
        return self.filter(settlement__isnull=True)

    def for_list(self) -> "UnsettledQuerySet":
        return self.select_related(
            "sheet__rig", "sheet__component__type", "rig", "author", "settlement__author"
        ).order_by("at", "pk")


class Unsettled(FromPhone):
    """An entry that could not be taken when it came, and why."""

    sheet = models.ForeignKey(
        ServiceSheet, models.PROTECT, null=True, blank=True, related_name="unsettled"
    )
    rig = models.ForeignKey(Rig, models.PROTECT, null=True, blank=True, related_name="unsettled")
    reason = models.CharField(max_length=500)

    objects = UnsettledQuerySet.as_manager()

    class Meta:
        indexes = [
            models.Index(fields=["sheet", "phone", "at"], name="shop_unsettled_of_a_phone"),
            models.Index(fields=["rig", "phone", "at"], name="shop_unsettled_of_a_rig"),
        ]
        constraints = [
            models.CheckConstraint(condition=~Q(reason=""), name="what_waits_says_why"),
            models.CheckConstraint(condition=OF_ONE, name="what_waits_is_of_a_sheet_or_a_rig"),
        ]


class Settlement(models.Model):
    """What a manager did with an entry that waited."""

    class How(models.TextChoices):
        POSTED = "posted", gettext_lazy("posted")
        SET_ASIDE = "set_aside", gettext_lazy("set aside")

    unsettled = models.OneToOneField(Unsettled, models.PROTECT, related_name="settlement")
    how = models.CharField(max_length=9, choices=How)
    note = models.CharField("reason", max_length=300, blank=True)
    #: What was posted where it is not what was sent.
    payload = models.JSONField(null=True, blank=True)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(how="posted") | (Q(how="set_aside") & ~Q(note="")),
                name="what_is_set_aside_says_why",
                violation_error_message="Say why it is set aside.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.unsettled}: {self.get_how_display()}"
