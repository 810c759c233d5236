"""Services, what makes them due, and when they were done."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment import due
from equipment.models.rigs import ZERO, Component, ComponentKind, Rig, Side


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


class Season(models.Model):
    """A day of the year that work has to be done before, such as the first frost."""

    name = models.CharField(
        max_length=40,
        unique=True,
        error_messages={"unique": "There is a season of that name."},
    )
    month = models.PositiveSmallIntegerField()
    day = models.PositiveSmallIntegerField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(month__gte=1, month__lte=12, day__gte=1, day__lte=31),
                name="a_season_is_a_day_of_the_year",
                violation_error_message="That is no day of the year.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Service(models.Model):
    """Work that comes back on every component of a kind. What it asks for is in its version."""

    class Renews(models.TextChoices):
        FLOATING = "floating", "from the day it was done"
        FIXED = "fixed", "from the day it was planned for"

    name = models.CharField(max_length=80)
    kind = models.ForeignKey(ComponentKind, models.PROTECT, related_name="services")
    side = models.CharField(max_length=1, choices=Side, blank=True)
    #: Only on components in these rigs; none: in every rig.
    only_rigs = models.ManyToManyField(Rig, related_name="own_services", blank=True)
    #: The row of the starting library that it came from, if any, to compare with.
    library_code = models.CharField(max_length=10, blank=True)
    copied_from = models.ForeignKey(
        "self", models.SET_NULL, null=True, blank=True, related_name="copies"
    )
    #: What its parts cost now, told by whoever knows parts. [cents]
    kit_cents = models.PositiveBigIntegerField(default=0)
    #: How long it takes in this shop, told by whoever knows sheets; null: not learnt yet. [min]
    learnt_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    #: How long a manager says it takes: stands above what is learnt and asked. [min]
    set_minutes = models.PositiveSmallIntegerField(null=True, blank=True)
    set_minutes_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    set_minutes_at = models.DateTimeField(null=True, blank=True)
    is_retired = models.BooleanField(default=False)
    #: Why it was retired last, by whom and when.
    retired_because = models.CharField(max_length=200, blank=True)
    retired_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    retired_at = models.DateTimeField(null=True, blank=True)
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
            models.CheckConstraint(
                condition=Q(
                    set_minutes__isnull=True,
                    set_minutes_by__isnull=True,
                    set_minutes_at__isnull=True,
                )
                | Q(
                    set_minutes__isnull=False,
                    set_minutes_by__isnull=False,
                    set_minutes_at__isnull=False,
                ),
                name="minutes_set_by_hand_say_who_and_when",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class ServiceVersion(models.Model):
    """What a service asks for. Never edited once published: signed sheets keep what they read."""

    class Rule(models.TextChoices):
        """Which of several triggers counts."""

        FIRST = due.WHICHEVER_FIRST, "whichever falls first"
        ALL = due.ALL_OF_THEM, "all of them"

    service = models.ForeignKey(Service, models.PROTECT, related_name="versions")
    version = models.PositiveSmallIntegerField()
    instructions = models.TextField(blank=True)
    rule = models.CharField(max_length=5, choices=Rule, default=Rule.FIRST)
    tolerance_percent = models.DecimalField(max_digits=5, decimal_places=2, default=ZERO)
    #: How much before its interval it may be done and count as done in time.
    early_percent = models.DecimalField(max_digits=5, decimal_places=2, default=ZERO)
    is_hard_limit = models.BooleanField("limit set by law", default=False)
    renews = models.CharField(max_length=8, choices=Service.Renews, default=Service.Renews.FLOATING)
    labour_minutes = models.PositiveSmallIntegerField(default=0)
    skill = models.CharField(max_length=12, choices=Skill, default=Skill.TECHNICIAN)
    #: What wears inside is renewed by it, so a pump's balance with the other side begins anew.
    is_rebuild = models.BooleanField("opens it and renews what wears inside", default=False)
    #: Once signed, a manager who did not sign it looks at what was done.
    second_look = models.BooleanField("asks for a manager's second look", default=False)
    condition_sign = models.CharField("due at once when", max_length=200, blank=True)
    cautions = models.ManyToManyField(Caution, related_name="service_versions", blank=True)
    #: Smaller services of the same component that are done with it.
    includes = models.ManyToManyField(Service, related_name="included_in", blank=True)
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
                condition=Q(early_percent__gte=0, early_percent__lt=100),
                name="early_tolerance_below_the_interval",
                violation_error_message="It may be done early by 0 to 99 per cent.",
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
    def planned_minutes(self) -> int:
        """How long it is planned to take: as set by hand, else as learnt, else as asked; 0: not
        said. Reads the service. [min]"""
        for minutes in (self.service.set_minutes, self.service.learnt_minutes):
            if minutes is not None:
                return minutes
        return self.labour_minutes

    @property
    def tolerance(self) -> Decimal:
        """Allowed lateness as a fraction of the interval. [1]"""
        return self.tolerance_percent / 100

    @property
    def early(self) -> Decimal:
        """How early it may be done, as a fraction of the interval. [1]"""
        return self.early_percent / 100


class Trigger(models.Model):
    """One way in which a service falls due (`equipment.due` says how each is reckoned)."""

    class Measure(models.TextChoices):
        HOURS = due.HOURS, "hours"
        STROKES = due.STROKES, "strokes"
        GALLONS = due.GALLONS, "gallons"
        DAYS = due.DAYS, "days"
        MONTHS = due.MONTHS, "months"
        SEASON = due.SEASON, "before a day of the year"
        IDLE = due.IDLE, "days without use"
        AFTER = due.AFTER, "after another service"
        JOB = due.JOB, "before the rig leaves for a job"
        VALUE = due.VALUE, "a measured value"

    version = models.ForeignKey(ServiceVersion, models.CASCADE, related_name="triggers")
    measure = models.CharField(max_length=8, choices=Measure)
    #: Hours, strokes, gallons: use from one to the next. Days, months: time from one to the next.
    #: Season, job: how many days before that day it may be done and count for it. Idle: days
    #: without use. After: days after the other service. Value: days before its trend meets the
    #: limit.
    interval = models.DecimalField(max_digits=12, decimal_places=3)
    #: Use only: for the first time, at this life of the component.
    first_at = models.DecimalField(max_digits=12, decimal_places=3, null=True, blank=True)
    season = models.ForeignKey(
        Season, models.PROTECT, null=True, blank=True, related_name="triggers"
    )
    after = models.ForeignKey(
        Service, models.PROTECT, null=True, blank=True, related_name="triggers_after"
    )
    #: Value only: what is measured, as the check of a sheet names it, and its limits.
    watched = models.CharField(max_length=200, blank=True)
    low = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["version", "measure", "watched"],
                condition=Q(after__isnull=True),
                name="one_trigger_per_measure",
            ),
            models.UniqueConstraint(
                fields=["version", "after"],
                condition=Q(after__isnull=False),
                name="one_trigger_after_a_service",
            ),
            models.CheckConstraint(
                condition=Q(interval__gt=0),
                name="interval_is_above_zero",
                violation_error_message="An interval is more than zero.",
            ),
            models.CheckConstraint(
                condition=Q(first_at__isnull=True)
                | Q(first_at__gt=0, measure__in=[due.HOURS, due.STROKES, due.GALLONS]),
                name="a_first_life_is_of_use",
                violation_error_message="A first time is at a life above zero, in a unit of use.",
            ),
            models.CheckConstraint(
                condition=Q(measure=due.SEASON, season__isnull=False)
                | (~Q(measure=due.SEASON) & Q(season__isnull=True)),
                name="a_season_has_its_day",
            ),
            models.CheckConstraint(
                condition=Q(measure=due.AFTER, after__isnull=False)
                | (~Q(measure=due.AFTER) & Q(after__isnull=True)),
                name="after_names_a_service",
            ),
            models.CheckConstraint(
                condition=(
                    Q(measure=due.VALUE)
                    & ~Q(watched="")
                    & (Q(low__isnull=False) | Q(high__isnull=False))
                )
                | (~Q(measure=due.VALUE) & Q(watched="", low__isnull=True, high__isnull=True)),
                name="a_measured_value_has_a_name_and_a_limit",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_measure_display()}: {self.interval.normalize():f}"


class Check(models.Model):
    """One thing to look at, choose or measure while doing a service."""

    class Kind(models.TextChoices):
        TICK = "tick", "tick when done"
        CHOICE = "choice", "choose one"
        VALUE = "value", "measured value"

    class Opens(models.TextChoices):
        """What holds pressure and is open while it is done: it must be proved at zero before."""

        MATERIAL = "material", "an A or B fluid section"
        OIL = "oil", "the hydraulic circuit"
        AIR = "air", "the air system"

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
    #: Of `Opens`: what is opened for it. Empty: nothing that holds pressure.
    opens = models.JSONField(default=list, blank=True)
    #: The rig runs for it, or it is read from what ran: energy is on, so nothing may be open.
    is_run = models.BooleanField("the rig runs for it", default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["version", "order"], name="checks_have_an_order"),
            models.CheckConstraint(
                condition=Q(is_run=False) | Q(opens=[]),
                name="nothing_is_opened_while_the_rig_runs",
                violation_error_message="Nothing is opened while the rig runs.",
            ),
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
    #: Planned months are counted from here where counts_from was clipped to the end of a month:
    #: 31 Jan, 28 Feb, 31 Mar. Null: not planned.
    anchor = models.DateField(null=True, blank=True)
    source_kind = models.CharField(max_length=20, default="hand")
    source_number = models.PositiveBigIntegerField(default=0)
    reason = models.CharField(max_length=200, blank=True)
    #: The bigger service that it was done within; undone, it takes these with it.
    within = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="inside")
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
