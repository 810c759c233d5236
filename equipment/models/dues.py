"""The due rows kept, what puts them off, and the measured values that they follow."""

from collections.abc import Iterable, Mapping
from datetime import date, datetime, timedelta
from typing import Self, TypeVar

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment import due
from equipment.models.care import Service, ServiceVersion, Skill, Trigger
from equipment.models.constraints import all_or_none
from equipment.models.rigs import ZERO, Component, ComponentKind, Position, Rig

FAR_DATE = due.FAR_DATE


class DueQuerySet(models.QuerySet["Due"]):
    """The words of the due list. Time passing changes no row: today is compared in the query."""

    @staticmethod
    def overdue_q(today):
        return Q(is_past_tolerance=True) | Q(late_date__lt=today)

    @staticmethod
    def due_q(today):
        return Q(is_past_due=True) | Q(due_date__lte=today)

    @staticmethod
    def soon_q(today, warning_days):
        return Q(due_date__lte=today + timedelta(days=warning_days))

    def listed(self) -> "DueQuerySet":
        """What the due list shows: fitted in a rig that works."""
        # Written so that it is compared: for "= True" Django names the bare column, and SQLite then
        # neither looks it up in the index nor reads the rows in its order.
        return self.filter(is_listed__in=[True])

    def overdue(self, today) -> "DueQuerySet":
        return self.filter(self.overdue_q(today))

    def due(self, today) -> "DueQuerySet":
        """At or past the due line, inside tolerance or beyond."""
        return self.filter(self.due_q(today) | self.overdue_q(today))

    def by(self, today, warning_days) -> "DueQuerySet":
        """Due soon, due or overdue."""
        return self.filter(
            self.soon_q(today, warning_days) | self.due_q(today) | self.overdue_q(today)
        )

    def for_due_list(self) -> "DueQuerySet":
        """Everything a row of the due list shows, in one query."""
        return self.listed().select_related(
            "rig", "position__kind", "component__type__kind", "version__service"
        )


class Due(models.Model):
    """Kept: when one service of one component falls due. Holds only what does not age."""

    component = models.ForeignKey(Component, models.CASCADE, related_name="due_rows")
    version = models.ForeignKey(ServiceVersion, models.CASCADE, related_name="due_rows")
    #: Flat copies of where the component sits, so that the list is one indexed query.
    rig = models.ForeignKey(Rig, models.CASCADE, null=True, blank=True, related_name="due_rows")
    position = models.ForeignKey(Position, models.CASCADE, null=True, blank=True, related_name="+")
    rig_number = models.PositiveIntegerField(default=0)
    kind = models.ForeignKey(ComponentKind, models.PROTECT, related_name="+")
    skill = models.CharField(max_length=12, choices=Skill)
    is_listed = models.BooleanField(default=False)

    #: The trigger likely to fall first.
    measure = models.CharField(max_length=8, choices=Trigger.Measure)
    interval = models.DecimalField(max_digits=12, decimal_places=3)
    since = models.DecimalField(max_digits=16, decimal_places=3, default=ZERO)
    is_at_least = models.BooleanField(default=False)
    rate_per_day = models.DecimalField(max_digits=20, decimal_places=6, null=True, blank=True)
    read_on = models.DateField()
    tolerance = models.DecimalField(max_digits=5, decimal_places=4, default=ZERO)
    early = models.DecimalField(max_digits=5, decimal_places=4, default=ZERO)

    renewed_at = models.DateTimeField()
    #: By these days it has fallen due with 10, 50 and 90 % chance; one day where it is certain.
    due_10 = models.DateField(default=FAR_DATE)
    due_date = models.DateField(default=FAR_DATE)
    due_90 = models.DateField(default=FAR_DATE)
    #: From here on it may be done and counts as done in time.
    window_from = models.DateField(default=FAR_DATE)
    #: The middle of the days on which its tolerance is used up.
    late_date = models.DateField(default=FAR_DATE)
    is_past_due = models.BooleanField(default=False)
    is_past_tolerance = models.BooleanField(default=False)
    #: Wanted by this day whatever the clocks say (BroughtForward), and why.
    brought_on = models.DateField(default=FAR_DATE)
    brought_because = models.CharField(max_length=200, blank=True)
    #: Put off to this day by a person (Postponement); the dates above stand no earlier.
    postponed_to = models.DateField(null=True, blank=True)

    #: The rig's next stay in the shop, as `Rig.stay_on`, and the odds before it. [tenths of 1 %]
    stay_on = models.DateField(default=FAR_DATE)
    odds_due_permille = models.PositiveSmallIntegerField(default=0)
    #: The same were its triggers on different counters not to move together: no lower.
    odds_due_most_permille = models.PositiveSmallIntegerField(default=0)
    odds_late_permille = models.PositiveSmallIntegerField(default=0)

    #: When a bigger service that includes this one falls due: it stands for both from then on.
    bigger_date = models.DateField(default=FAR_DATE)
    #: A copy of `Service.kit_cents`. [cents]
    kit_cents = models.PositiveBigIntegerField(default=0)

    objects = DueQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["component", "version"], name="one_due_row_per_component_and_service"
            ),
        ]
        indexes = [
            # The due list as it opens, and for one rig, kind or skill; the key breaks ties.
            models.Index(fields=["is_listed", "due_date", "id"]),
            models.Index(fields=["is_listed", "rig_number", "due_date", "id"]),
            models.Index(fields=["is_listed", "kind", "due_date", "id"]),
            models.Index(fields=["is_listed", "skill", "due_date", "id"]),
            models.Index(fields=["is_listed", "-odds_due_permille", "id"]),
            models.Index(fields=["is_listed", "-kit_cents", "id"]),
            # Each kind and skill in each order: sorting what a filter leaves took a hundred times
            # as long at 100,000 rows.
            *(
                models.Index(fields=["is_listed", filtered, *order, "id"])
                for filtered in ("kind", "skill")
                for order in (["rig_number", "due_date"], ["-odds_due_permille"], ["-kit_cents"])
            ),
            # What the turn of the day moves on.
            models.Index(fields=["stay_on"]),
        ]

    def __str__(self) -> str:
        return f"{self.version.service} on {self.component}: {self.due_date}"

    @property
    def next_stay(self) -> date | None:
        """`Rig.stay_on` as it is now; None on the bench."""
        return self.rig.stay_on if self.rig else None

    @property
    def rule(self) -> str:
        """Whether the first of its triggers counts or all of them."""
        return self.version.rule

    @property
    def service_id(self) -> int:
        return self.version.service_id

    def state(self, *, today, warning_days: int) -> str:
        """overdue, due, soon or clear: `equipment.due.state` on this row."""
        return due.state(
            due_date=self.due_date,
            late_date=self.late_date,
            is_past_due=self.is_past_due,
            is_past_tolerance=self.is_past_tolerance,
            today=today,
            warning_days=warning_days,
        )

    def urgency(self, *, today: date) -> tuple[int, date, int]:
        """Sort by this: overdue, then due, then the rest, each by date."""
        ranks = {due.OVERDUE: 0, due.DUE: 1}
        return ranks.get(self.state(today=today, warning_days=0), 2), self.due_date, self.pk


class DueClock(models.Model):
    """Kept: one trigger of a due row, and the component's life when it was last renewed."""

    due = models.ForeignKey(Due, models.CASCADE, related_name="clocks")
    measure = models.CharField(max_length=8, choices=Trigger.Measure)
    interval = models.DecimalField(max_digits=12, decimal_places=3)
    life_at_renewal = models.DecimalField(max_digits=16, decimal_places=3, default=ZERO)
    since = models.DecimalField(max_digits=16, decimal_places=3, default=ZERO)
    is_at_least = models.BooleanField(default=False)
    #: Use only: what tolerance and early window are fractions of (`triggers.UseClock`).
    allowed_of = models.DecimalField(max_digits=12, decimal_places=3, default=ZERO)
    #: The day renewed for a trigger of time, the day read for one of use.
    counted_from = models.DateField()
    #: The middle of the days on which it falls, and of its window and its limit; what
    #: `triggers.Dates` says of it.
    due_date = models.DateField(default=FAR_DATE)
    window_from = models.DateField(default=FAR_DATE)
    late_date = models.DateField(default=FAR_DATE)
    is_past_due = models.BooleanField(default=False)
    #: Whether its service was ever done.
    is_renewed = models.BooleanField(default=False)
    #: Why it falls then, where the interval alone does not say: "pump A, packing was done 3 Nov".
    because = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["due", "measure"], name="one_clock_per_measure"),
        ]

    def __str__(self) -> str:
        return f"{self.due}: {self.measure}"


_Word = TypeVar("_Word", bound=models.Model)


class StandingQuerySet(models.QuerySet[_Word]):
    """What a person said about a service of a component, until somebody takes it off."""

    def standing(self) -> Self:
        """Not taken off by a person; a renewal ends it, too: `not_done_since`."""
        return self.filter(taken_off_at__isnull=True)


def not_done_since(words: Iterable[_Word], done: Mapping[tuple[int, int], datetime]) -> list[_Word]:
    """The words, in their order, whose service was not done since they were said.

    done: when each service was last done, by (component, service).
    """
    return [
        word
        for word in words
        if (last := done.get((word.component_id, word.service_id))) is None  # type: ignore[attr-defined]
        or last < word.at  # type: ignore[attr-defined]
    ]


class PostponementQuerySet(StandingQuerySet["Postponement"]):
    pass


class Postponement(models.Model):
    """A service of a component put off to a day, by whom and why; never past a limit of law."""

    component = models.ForeignKey(Component, models.PROTECT, related_name="postponements")
    service = models.ForeignKey(Service, models.PROTECT, related_name="postponements")
    until = models.DateField("put off to")
    reason = models.CharField(max_length=200)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    #: One per sending: sent twice, it counts once.
    request_id = models.UUIDField(unique=True)
    taken_off_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    taken_off_at = models.DateTimeField(null=True, blank=True)

    objects = PostponementQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="postponed_for_a_reason",
                violation_error_message="Say why it is put off.",
            ),
            all_or_none(
                "taken_off_at", "taken_off_by", name="a_postponement_taken_off_says_who_and_when"
            ),
        ]
        indexes = [models.Index(fields=["component", "service"])]

    def __str__(self) -> str:
        return f"{self.service} on {self.component}, put off to {self.until}"


class Measurement(models.Model):
    """A value measured on a component while a service was done; only added to.

    What a trigger of kind VALUE watches: the name is that of the check it answered.
    """

    component = models.ForeignKey(Component, models.PROTECT, related_name="measurements")
    name = models.CharField(max_length=200)
    unit = models.CharField(max_length=20, blank=True)
    value = models.DecimalField(max_digits=12, decimal_places=4)
    at = models.DateTimeField()
    source_kind = models.CharField(max_length=20)
    source_number = models.PositiveBigIntegerField(default=0)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    #: One per sending: sent twice, it counts once.
    request_id = models.UUIDField(unique=True)

    class Meta:
        indexes = [models.Index(fields=["component", "name", "at"])]

    def __str__(self) -> str:
        return f"{self.component}: {self.name} {self.value.normalize():f} {self.unit}".strip()
