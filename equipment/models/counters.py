"""Counters, what they showed, and the life that follows from it."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from equipment import counters
from equipment.models.rigs import ZERO, Component, ComponentKind, Installation, Rig, Side


class Measure(models.TextChoices):
    """What wear is counted in."""

    HOURS = "hours", "hours"
    STROKES = "strokes", "strokes"
    GALLONS = "gallons", "gallons"


class Counter(models.Model):
    """A face that counts: fixed to a rig, or travelling with a component.

    The columns from `last_value` on are kept state, written with each reading so that neither a
    page nor the next reading has to read the history.
    """

    class Counts(models.TextChoices):
        HOURS = "hours", "hours"
        STROKES = "strokes", "single strokes"
        CYCLES = "cycles", "there-and-back cycles"
        GALLONS = "gallons", "gallons of one side"
        GALLONS_BOTH = "gallons_both", "gallons of both sides"

    rig = models.ForeignKey(Rig, models.CASCADE, null=True, blank=True, related_name="counters")
    component = models.ForeignKey(
        Component, models.CASCADE, null=True, blank=True, related_name="counters"
    )
    name = models.CharField(max_length=40)
    order = models.PositiveSmallIntegerField(default=0)
    counts = models.CharField(max_length=12, choices=Counts)
    #: The side whose pump it counts; none: what it counts belongs to both.
    side = models.CharField(max_length=1, choices=Side, blank=True)
    #: The kind of component whose hours it counts (the generator's); null: the rig as a whole.
    kind = models.ForeignKey(
        ComponentKind, models.PROTECT, null=True, blank=True, related_name="counters"
    )
    display_step = models.DecimalField(max_digits=9, decimal_places=3, default=Decimal(1))
    #: How many values the face can show before it starts again at zero; null: it does not.
    rollover = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    is_resettable = models.BooleanField(default=True)
    max_per_minute = models.DecimalField(max_digits=9, decimal_places=3, null=True, blank=True)
    #: What the face showed when counting began here.
    first_value = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    started_at = models.DateTimeField()
    is_retired = models.BooleanField(default=False)
    #: Until when it counted; null while it does.
    retired_at = models.DateTimeField(null=True, blank=True)

    last_value = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    last_at = models.DateTimeField()
    last_is_day_only = models.BooleanField(default=False)
    #: When it last showed a gain; null: it has shown none yet.
    moved_at = models.DateTimeField(null=True, blank=True)
    total = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    is_at_least = models.BooleanField(default=False)
    rate_per_day = models.DecimalField(max_digits=20, decimal_places=6, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(rig__isnull=True) ^ Q(component__isnull=True),
                name="counter_is_fixed_to_a_rig_or_travels_with_a_component",
            ),
            models.UniqueConstraint(
                fields=["rig", "name"],
                condition=Q(is_retired=False, rig__isnull=False),
                name="counter_names_differ_on_a_rig",
                violation_error_message="The rig has a counter of this name already.",
            ),
            models.UniqueConstraint(
                fields=["component", "name"],
                condition=Q(is_retired=False, component__isnull=False),
                name="counter_names_differ_on_a_component",
                violation_error_message="The component has a counter of this name already.",
            ),
            models.CheckConstraint(
                condition=Q(display_step__gt=0), name="display_step_is_above_zero"
            ),
            models.CheckConstraint(
                condition=Q(rollover__isnull=True) | Q(rollover__gt=0),
                name="rollover_is_above_zero",
            ),
            models.CheckConstraint(condition=Q(side__in=["", "A", "B"]), name="counter_side"),
            models.CheckConstraint(
                condition=Q(is_retired=True) ^ Q(retired_at__isnull=True),
                name="a_retired_counter_says_since_when",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def measure(self) -> str:
        """The measure that the face counts, whatever its unit of counting."""
        return {
            self.Counts.HOURS: Measure.HOURS,
            self.Counts.STROKES: Measure.STROKES,
            self.Counts.CYCLES: Measure.STROKES,
            self.Counts.GALLONS: Measure.GALLONS,
            self.Counts.GALLONS_BOTH: Measure.GALLONS,
        }[self.Counts(self.counts)]

    @property
    def unit(self) -> str:
        return {"hours": "h", "strokes": "strokes", "cycles": "cycles"}.get(self.counts, "gal")


class ReadingQuerySet(models.QuerySet["Reading"]):
    def in_force(self) -> "ReadingQuerySet":
        return self.filter(is_in_force=True)

    def of(self, counter: Counter) -> "ReadingQuerySet":
        """The readings that make the counter's life, in the order of their moments."""
        return self.in_force().filter(counter=counter).order_by("at", "pk")


class Reading(models.Model):
    """What a face showed, when, and who says so. A wrong one is taken back by a row naming it."""

    class Step(models.TextChoices):
        CONTINUED = counters.CONTINUED, gettext_lazy("counted on")
        RESET = counters.RESET, gettext_lazy("was reset")
        ROLLOVER = counters.ROLLOVER, gettext_lazy("rolled over")
        REPLACED = counters.REPLACED, gettext_lazy("new counter face")

    class Source(models.TextChoices):
        PERSON = "person", "a person"
        SHEET = "sheet", "a service sheet"
        LOG = "log", "a shift log"
        IMPORT = "import", "an import"
        PAPER = "paper", "a round sheet on paper"

    counter = models.ForeignKey(Counter, models.PROTECT, related_name="readings")
    at = models.DateTimeField()
    is_day_only = models.BooleanField("only the day is known", default=False)
    value = models.DecimalField(max_digits=14, decimal_places=3)
    step = models.CharField(max_length=10, choices=Step, default=Step.CONTINUED)
    before_reset = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    face_start = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    #: Kept: life of the counter at this reading; re-derived when an earlier reading comes late.
    total = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    is_at_least = models.BooleanField(default=False)

    source = models.CharField(max_length=10, choices=Source, default=Source.PERSON)
    source_number = models.PositiveBigIntegerField(default=0)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    note = models.CharField(max_length=200, blank=True)
    #: One per counter and sending: a phone may send twice, it counts once.
    request_id = models.UUIDField()
    reverses = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="reversal"
    )
    is_in_force = models.BooleanField(default=True)

    objects = ReadingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["counter", "request_id"], name="a_reading_sent_twice_counts_once"
            ),
            models.CheckConstraint(
                condition=Q(value__gte=0),
                name="reading_is_never_negative",
                violation_error_message="A counter shows zero or more.",
            ),
            models.CheckConstraint(
                condition=Q(reverses__isnull=True) | Q(is_in_force=False),
                name="a_reversal_is_no_reading_itself",
            ),
        ]
        indexes = [models.Index(fields=["counter", "is_in_force", "at"])]

    def __str__(self) -> str:
        return f"{self.counter} {self.value}"


class WearSource(models.Model):
    """The counter behind one kind of wear of an installed component.

    A gun wears by the gallons of both pumps, so it has two sources for gallons. A source lasts as
    long as its installation, or less: a pump of another displacement moves more with each stroke,
    so the gun's source ends there and another begins. `start_total` and `end_total` are kept: the
    counter's life at those two moments.
    """

    installation = models.ForeignKey(Installation, models.CASCADE, related_name="wear_sources")
    measure = models.CharField(max_length=8, choices=Measure)
    counter = models.ForeignKey(Counter, models.PROTECT, related_name="wear_sources")
    #: Wear for each unit counted: 1, or the gallons of one counted stroke.
    per_count = models.DecimalField(max_digits=16, decimal_places=10, default=Decimal(1))
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    start_total = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    end_total = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    is_estimated = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["installation", "measure", "counter"],
                condition=Q(ended_at__isnull=True),
                name="a_counter_drives_a_wear_once",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=models.F("began_at")),
                name="wear_ends_after_it_begins",
            ),
            models.CheckConstraint(condition=Q(per_count__gt=0), name="wear_per_count_above_zero"),
        ]

    def __str__(self) -> str:
        return f"{self.installation}: {self.measure} from {self.counter}"


class Wear(models.Model):
    """Kept: the life of a component in one measure, as of its last reading."""

    component = models.ForeignKey(Component, models.CASCADE, related_name="wear")
    measure = models.CharField(max_length=8, choices=Measure)
    life = models.DecimalField(max_digits=16, decimal_places=3, default=ZERO)
    is_at_least = models.BooleanField(default=False)
    is_estimated = models.BooleanField(default=False)
    rate_per_day = models.DecimalField(max_digits=20, decimal_places=6, null=True, blank=True)
    read_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["component", "measure"], name="one_life_per_component_and_measure"
            ),
            models.CheckConstraint(condition=Q(life__gte=0), name="life_is_never_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.component}: {self.life} {self.measure}"
