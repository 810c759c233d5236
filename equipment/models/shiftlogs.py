"""Shift logs: the files as the controller wrote them, and the days they tell of."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import F, Q

from equipment.models.counters import Counter, Reading
from equipment.models.rigs import ZERO, Rig
from equipment.shiftlogs.layout import Layout


def _author(**options: Any) -> Any:
    return models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", **options)


class LogLayout(models.Model):
    """How a log is written, corrected once by a person and kept under a name for the next file."""

    name = models.CharField(
        max_length=60,
        unique=True,
        error_messages={"unique": "Another layout has this name."},
    )
    #: `equipment.shiftlogs.layout.Layout`, as its to_json writes it.
    layout = models.JSONField()
    #: What a person answered about it that holds for every such file, by key of the question.
    answers = models.JSONField(default=dict, blank=True)
    author = _author()
    at = models.DateTimeField()
    is_retired = models.BooleanField(default=False)

    class Meta:
        constraints = [models.CheckConstraint(condition=~Q(name=""), name="log_layout_has_a_name")]

    def __str__(self) -> str:
        return self.name

    @property
    def kept(self) -> Layout:
        return Layout.from_json(self.layout)


class ShiftLogQuerySet(models.QuerySet["ShiftLog"]):
    def in_force(self) -> "ShiftLogQuerySet":
        return self.filter(is_withdrawn=False)


class ShiftLog(models.Model):
    """One file of one rig. It is kept whole, compressed, under the hash of what is in it."""

    rig = models.ForeignKey(Rig, models.PROTECT, related_name="shift_logs")
    #: SHA-256 of the file as it came, in hexadecimal.
    digest = models.CharField(max_length=64)
    name = models.CharField("file name", max_length=200)
    #: Compressed with zstandard, and named by the digest.
    file = models.FileField(max_length=200)
    #: Of the file as it came. [bytes]
    size = models.PositiveBigIntegerField()
    rows = models.PositiveBigIntegerField()
    bad_rows = models.PositiveBigIntegerField(default=0)
    #: The first of the bad rows: line, text and reason of each.
    bad_rows_shown = models.JSONField(default=list, blank=True)
    #: As it was read, and the answers it was read with.
    layout = models.JSONField()
    answers = models.JSONField(default=dict, blank=True)
    #: What the program decided by itself, and why.
    notes = models.JSONField(default=list, blank=True)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    author = _author()
    at = models.DateTimeField()
    is_withdrawn = models.BooleanField(default=False)
    withdrawn_by = _author(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_because = models.CharField(max_length=200, blank=True)

    objects = ShiftLogQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["digest"],
                condition=Q(is_withdrawn=False),
                name="a_log_is_read_once",
                violation_error_message="This log was read already.",
            ),
            models.CheckConstraint(
                condition=Q(last_at__gte=F("first_at")), name="a_log_ends_after_it_begins"
            ),
            models.CheckConstraint(
                condition=Q(
                    is_withdrawn=True, withdrawn_by__isnull=False, withdrawn_at__isnull=False
                )
                | Q(is_withdrawn=False, withdrawn_by__isnull=True, withdrawn_at__isnull=True),
                name="a_withdrawn_log_says_who_and_when",
            ),
        ]
        indexes = [models.Index(fields=["rig", "-last_at"])]

    def __str__(self) -> str:
        return self.name

    @property
    def kept(self) -> Layout:
        return Layout.from_json(self.layout)


class ShiftDay(models.Model):
    """Kept: one calendar day of one rig, as all of its logs together say.

    What each figure means: the page “How a log is read”. Null: the logs do not say.
    """

    rig = models.ForeignKey(Rig, models.CASCADE, related_name="shift_days")
    date = models.DateField()
    logs = models.ManyToManyField(ShiftLog, related_name="days")
    rows = models.PositiveBigIntegerField()
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()
    run_hours = models.FloatField(null=True, blank=True)
    #: Single strokes, whatever the log counts.
    strokes_a = models.FloatField(null=True, blank=True)
    strokes_b = models.FloatField(null=True, blank=True)
    #: US gallons: of each side, and of both.
    gallons_a = models.FloatField(null=True, blank=True)
    gallons_b = models.FloatField(null=True, blank=True)
    gallons = models.FloatField(null=True, blank=True)
    resets_a = models.PositiveIntegerField(null=True, blank=True)
    resets_b = models.PositiveIntegerField(null=True, blank=True)
    is_at_least = models.BooleanField(default=False)
    minutes_off_ratio = models.PositiveIntegerField(null=True, blank=True)
    gap_minutes = models.FloatField(default=0)
    #: The rest of `equipment.shiftlogs.blocks.Day`: extremes, faces, gaps, off_ratio, trace.
    details = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["rig", "date"], name="one_shift_day_per_rig_and_date"),
            models.CheckConstraint(
                condition=Q(last_at__gte=F("first_at")), name="a_shift_day_ends_after_it_begins"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rig}, {self.date}"


class LogContradictionQuerySet(models.QuerySet["LogContradiction"]):
    def open(self) -> "LogContradictionQuerySet":
        return self.filter(how="")


class LogContradiction(models.Model):
    """What a log's counter showed on one day cannot be true beside the other readings.

    None of that day's values was taken as a reading of this counter, until a person says how it
    was. The figures of the day stand nevertheless: they rest on differences.
    """

    class How(models.TextChoices):
        """What a person said, or what settled it since."""

        OPEN = "", "not settled yet"
        RESET = "reset", "the counter was reset before it"
        LOG_WRONG = "log_wrong", "the log is wrong about this counter on this day"
        OTHER_COUNTER = "other_counter", "the log counts by another counter, whatever the day"
        SAME_COUNTER = "same_counter", "it is this counter, and it did count that much"
        TOO_OLD = "too_old", "it is older than the count, so it makes no reading"
        FITS = "fits", "it fits beside the readings as they are now"
        GONE = "gone", "the log was withdrawn, or says something else now"

    rig = models.ForeignKey(Rig, models.CASCADE, related_name="log_contradictions")
    counter = models.ForeignKey(Counter, models.CASCADE, related_name="log_contradictions")
    log = models.ForeignKey(ShiftLog, models.CASCADE, related_name="contradictions")
    date = models.DateField()
    #: The first value that could not be taken. [counter units]
    at = models.DateTimeField()
    value = models.DecimalField(max_digits=14, decimal_places=3)
    words = models.CharField(max_length=300)
    #: The reading that stands against it, where it is one.
    against = models.ForeignKey(
        Reading, models.PROTECT, null=True, blank=True, related_name="log_contradictions"
    )
    found_at = models.DateTimeField()
    how = models.CharField(max_length=13, choices=How, blank=True)
    #: With RESET: what the counter last showed before it, where that is known. [counter units]
    before_reset = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    settled_by = _author(null=True, blank=True)
    settled_at = models.DateTimeField(null=True, blank=True)
    note = models.CharField(max_length=200, blank=True)

    objects = LogContradictionQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["counter", "date"],
                condition=Q(how=""),
                name="one_open_contradiction_per_counter_and_day",
            ),
            models.CheckConstraint(
                condition=Q(how="", settled_by__isnull=True, settled_at__isnull=True)
                | (~Q(how="") & Q(settled_by__isnull=False, settled_at__isnull=False)),
                name="a_settled_contradiction_says_who_and_when",
            ),
            models.CheckConstraint(
                condition=Q(before_reset__isnull=True) | Q(how="reset", before_reset__gte=ZERO),
                name="only_a_reset_has_a_value_before_it",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.counter}, {self.date}: {self.words}"
