"""What a counter gains in a day of use, learnt from its own readings and the fleet's."""

from django.db import models
from django.db.models import Q

from equipment.models.counters import Counter
from equipment.usage.gamma import Rate


class UsageRate(models.Model):
    """A dated snapshot: worked out anew at the turn of the day, not with each reading.

    The fleet's readings are in it, so keeping it with each of them would touch every counter. It
    decides no date; floats are the numbers of the odds, never stock or money.
    """

    counter = models.OneToOneField(Counter, models.CASCADE, related_name="usage")
    as_of = models.DateField(db_index=True)
    #: The first day that the shop had not planned on that day (`absences.first_open_day`).
    open_from = models.DateField()
    #: How much of a booked day a day without a booking counts, 0 to 1.
    share = models.FloatField()
    #: The same of a day that nobody has planned yet, after the last booking.
    load = models.FloatField(default=1.0)
    #: Use-days of its own, and rigs of the kind that helped.
    own_days = models.FloatField()
    fleet_rigs = models.PositiveIntegerField()
    #: `usage.gamma.Rate`; null: no use is known, of it or of the fleet.
    shape = models.FloatField(null=True)
    #: Among days that nobody has planned yet, as `usage.learning.Learnt`.
    open_shape = models.FloatField(null=True)
    day_shape = models.FloatField(null=True)
    alpha = models.FloatField(null=True)
    beta = models.FloatField(null=True)
    #: In all days, booked or not: `usage.wiener.Drift`; null with fewer than two readings.
    drift_per_day = models.FloatField(null=True)
    variance_per_day = models.FloatField(null=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(share__gte=0, share__lte=1), name="the_share_of_a_free_day_is_up_to_one"
            ),
            models.CheckConstraint(
                condition=Q(load__gte=0), name="the_load_of_an_open_day_is_never_negative"
            ),
            models.CheckConstraint(
                condition=Q(
                    shape__isnull=True,
                    open_shape__isnull=True,
                    day_shape__isnull=True,
                    alpha__isnull=True,
                    beta__isnull=True,
                )
                | Q(shape__gt=0, open_shape__gt=0, day_shape__gt=0, alpha__gt=2, beta__gt=0),
                name="a_usage_rate_is_whole_or_unknown",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.counter}, {self.as_of}"

    @property
    def rate(self) -> Rate | None:
        """What is known of it; None where no use is."""
        if not (self.shape and self.day_shape and self.alpha and self.beta):
            return None
        return Rate(
            shape=self.shape,
            day_shape=self.day_shape,
            alpha=self.alpha,
            beta=self.beta,
            own_days=self.own_days,
            fleet_rigs=self.fleet_rigs,
        )
