"""What people said about a position: what came out, what went in, and what was said wrongly."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from equipment.models.rigs import Component, Position


class ExchangeQuerySet(models.QuerySet["Exchange"]):
    def in_force(self) -> "ExchangeQuerySet":
        return self.filter(undoes__isnull=True, undone_by__isnull=True)


class Exchange(models.Model):
    """One thing that happened at a position. Only added to: undone by a row that names it.

    `Installation` holds what follows from these rows: what sat where, and for how long. When a row
    is undone its installations go, and what they had ended goes on.
    """

    position = models.ForeignKey(Position, models.PROTECT, related_name="exchanges")
    at = models.DateTimeField()
    #: Of a stay entered afterwards: when it had ended.
    until = models.DateTimeField(null=True, blank=True)
    component_out = models.ForeignKey(
        Component, models.PROTECT, null=True, blank=True, related_name="+"
    )
    component_in = models.ForeignKey(
        Component, models.PROTECT, null=True, blank=True, related_name="exchanges_in"
    )
    #: The component had no side before it went in here.
    gave_side = models.BooleanField(default=False)
    reason = models.CharField(max_length=200, blank=True)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    #: A phone may send twice, it counts once.
    request_id = models.UUIDField()
    undoes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="undone_by"
    )

    objects = ExchangeQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["request_id"], name="an_exchange_sent_twice_counts_once"
            ),
            models.CheckConstraint(
                condition=Q(component_out__isnull=False) | Q(component_in__isnull=False),
                name="an_exchange_moves_something",
            ),
            models.CheckConstraint(
                condition=Q(until__isnull=True) | Q(until__gt=F("at")),
                name="a_stay_ends_after_it_begins",
                violation_error_message="It came out before it went in.",
            ),
        ]
        indexes = [models.Index(fields=["position", "at"])]

    def __str__(self) -> str:
        return f"{self.component_out or 'nothing'} out, {self.component_in or 'nothing'} in"
