"""Services, what makes them due, when they were done, and the due rows kept from all that."""

from datetime import date, timedelta
from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment import due
from equipment.models.rigs import ZERO, Component, ComponentKind, Position, Rig, Side

FAR_DATE = due.FAR_DATE


class Basis(models.TextChoices):
    """How a figure or a text came to be, shown beside it."""

    PUBLISHED = "published", "published"
    COMMON_PRACTICE = "common-practice", "common practice, no source"
    FROM_MEMORY = "from-memory-of-published", "from memory of a published text"
    SHOP = "shop", "this shop's own"


class Caution(models.Model):
    """A hazard of the work, what to do about it, and where that is written."""

    code = models.CharField(max_length=10, unique=True)
    hazard = models.CharField(max_length=80)
    icon = models.CharField(max_length=30, blank=True)
    text = models.TextField()
    source = models.CharField(max_length=200)
    basis = models.CharField(max_length=30, choices=Basis)

    def __str__(self) -> str:
        return self.hazard


class Skill(models.TextChoices):
    OPERATOR = "operator", "operator"
    TECHNICIAN = "technician", "technician"
    ELECTRICIAN = "electrician", "licensed electrician"
    OUTSIDE = "outside", "outside firm"


class Service(models.Model):
    """Work that comes back on every component of a kind. What it asks for is in its version."""

    class Renews(models.TextChoices):
        FLOATING = "floating", "from the day it was done"
        FIXED = "fixed", "from the day it was planned for"

    name = models.CharField(max_length=80)
    kind = models.ForeignKey(ComponentKind, models.PROTECT, related_name="services")
    side = models.CharField(max_length=1, choices=Side, blank=True)
    is_retired = models.BooleanField(default=False)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "side", "name"],
                condition=Q(is_retired=False),
                name="service_names_differ_within_a_kind",
                violation_error_message="This kind of component has a service of that name.",
            ),
            models.CheckConstraint(condition=Q(side__in=["", "A", "B"]), name="service_side"),
        ]

    def __str__(self) -> str:
        return self.name


class ServiceVersion(models.Model):
    """What a service asks for. Never edited once published: signed sheets keep what they read."""

    service = models.ForeignKey(Service, models.PROTECT, related_name="versions")
    version = models.PositiveSmallIntegerField()
    instructions = models.TextField(blank=True)
    tolerance_percent = models.DecimalField(max_digits=5, decimal_places=2, default=ZERO)
    is_hard_limit = models.BooleanField("limit set by law", default=False)
    renews = models.CharField(max_length=8, choices=Service.Renews, default=Service.Renews.FLOATING)
    labour_minutes = models.PositiveSmallIntegerField(default=0)
    skill = models.CharField(max_length=12, choices=Skill, default=Skill.TECHNICIAN)
    #: What wears inside is renewed by it, so a pump's balance with the other side begins anew.
    is_rebuild = models.BooleanField("opens it and renews what wears inside", default=False)
    condition_sign = models.CharField("due at once when", max_length=200, blank=True)
    cautions = models.ManyToManyField(Caution, related_name="service_versions", blank=True)
    source = models.CharField(max_length=200, blank=True)
    basis = models.CharField(max_length=30, choices=Basis, default=Basis.SHOP)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    published_at = models.DateTimeField()
    is_current = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["service", "version"], name="service_version_number"),
            models.UniqueConstraint(
                fields=["service"], condition=Q(is_current=True), name="one_current_version"
            ),
            models.CheckConstraint(
                condition=Q(tolerance_percent__gte=0, tolerance_percent__lte=100),
                name="tolerance_between_none_and_all",
                violation_error_message="A tolerance lies between 0 and 100 per cent.",
            ),
            models.CheckConstraint(
                condition=Q(is_hard_limit=False) | Q(tolerance_percent=0),
                name="no_tolerance_on_a_legal_limit",
                violation_error_message="A limit set by law has no tolerance.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.service}, version {self.version}"

    @property
    def tolerance(self) -> Decimal:
        """Allowed lateness as a fraction of the interval. [1]"""
        return self.tolerance_percent / 100


class Trigger(models.Model):
    """One way in which a service falls due; of several, whichever falls first."""

    class Measure(models.TextChoices):
        HOURS = due.HOURS, "hours"
        STROKES = due.STROKES, "strokes"
        GALLONS = due.GALLONS, "gallons"
        DAYS = due.DAYS, "days"

    version = models.ForeignKey(ServiceVersion, models.CASCADE, related_name="triggers")
    measure = models.CharField(max_length=8, choices=Measure)
    interval = models.DecimalField(max_digits=12, decimal_places=3)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["version", "measure"], name="one_trigger_per_measure"),
            models.CheckConstraint(
                condition=Q(interval__gt=0),
                name="interval_is_above_zero",
                violation_error_message="An interval is more than zero.",
            ),
        ]

    def __str__(self) -> str:
        return f"every {self.interval.normalize():f} {self.measure}"


class Check(models.Model):
    """One thing to look at, choose or measure while doing a service."""

    class Kind(models.TextChoices):
        TICK = "tick", "tick when done"
        CHOICE = "choice", "choose one"
        VALUE = "value", "measured value"

    version = models.ForeignKey(ServiceVersion, models.CASCADE, related_name="checks")
    order = models.PositiveSmallIntegerField()
    text = models.CharField(max_length=200)
    hint = models.CharField(max_length=200, blank=True)
    kind = models.CharField(max_length=6, choices=Kind, default=Kind.TICK)
    choices = models.JSONField(default=list, blank=True)
    unit = models.CharField(max_length=20, blank=True)
    low = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    needs_electrician = models.BooleanField("for a licensed electrician", default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["version", "order"], name="checks_have_an_order"),
            models.CheckConstraint(
                condition=Q(low__isnull=True) | Q(high__isnull=True) | Q(high__gte=models.F("low")),
                name="upper_limit_above_lower",
                violation_error_message="The upper limit lies below the lower.",
            ),
        ]

    def __str__(self) -> str:
        return self.text


class RenewalQuerySet(models.QuerySet["Renewal"]):
    def in_force(self) -> "RenewalQuerySet":
        return self.filter(undoes__isnull=True, undone_by__isnull=True)


class Renewal(models.Model):
    """A service was done on a component. Append-only: undone only by a row that names it."""

    version = models.ForeignKey(ServiceVersion, models.PROTECT, related_name="renewals")
    component = models.ForeignKey(Component, models.PROTECT, related_name="renewals")
    done_at = models.DateTimeField()
    #: Days count from here: the day done, or the day planned where the service renews fixed.
    counts_from = models.DateField()
    source_kind = models.CharField(max_length=20, default="hand")
    source_number = models.PositiveBigIntegerField(default=0)
    reason = models.CharField(max_length=200, blank=True)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    #: One per sending: sent twice, it counts once. Null: kept before sendings had a number.
    request_id = models.UUIDField(null=True, blank=True)
    undoes = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="undone_by"
    )

    objects = RenewalQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["component", "version", "request_id"],
                name="a_renewal_sent_twice_counts_once",
            ),
        ]
        indexes = [models.Index(fields=["component", "done_at"])]

    def __str__(self) -> str:
        return f"{self.version.service} on {self.component}"


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

    renewed_at = models.DateTimeField()
    due_date = models.DateField(default=FAR_DATE)
    late_date = models.DateField(default=FAR_DATE)
    is_past_due = models.BooleanField(default=False)
    is_past_tolerance = models.BooleanField(default=False)
    #: Wanted by this day whatever the clocks say (BroughtForward), and why.
    brought_on = models.DateField(default=FAR_DATE)
    brought_because = models.CharField(max_length=200, blank=True)

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
        ]

    def __str__(self) -> str:
        return f"{self.version.service} on {self.component}: {self.due_date}"

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
    #: The day renewed for a trigger of days, the day read for one of use.
    counted_from = models.DateField()
    due_date = models.DateField(default=FAR_DATE)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["due", "measure"], name="one_clock_per_measure"),
        ]

    def __str__(self) -> str:
        return f"{self.due}: {self.measure}"
