"""The operator's round: daily and weekly checks of a rig, one list per spray day."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from equipment.models.constraints import all_or_none
from equipment.models.rigs import Component, ComponentKind, Installation, Rig, Side


class RoundItem(models.Model):
    """One check of the round, for every rig that has the kind of component."""

    class Every(models.TextChoices):
        DAY = "day", "every spray day"
        WEEK = "week", "every week"

    code = models.CharField(max_length=10, unique=True)
    kind = models.ForeignKey(ComponentKind, models.PROTECT, related_name="round_items")
    side = models.CharField(max_length=1, choices=Side, blank=True)
    text = models.CharField(max_length=200)
    sign = models.CharField("not right when", max_length=200, blank=True)
    every = models.CharField(max_length=4, choices=Every)
    source = models.CharField(max_length=200, blank=True)
    is_retired = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.text


class Round(models.Model):
    """The operator checks of one rig on one spray day."""

    rig = models.ForeignKey(Rig, models.CASCADE, related_name="rounds")
    day = models.DateField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    #: One per sending: a phone may send twice, it counts once.
    request_id = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["rig", "day"],
                name="one_round_per_rig_and_day",
                violation_error_message="The round of this day is recorded already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.rig}, {self.day}"


class RoundAnswer(models.Model):
    """What one check of a round showed."""

    class Answer(models.TextChoices):
        RIGHT = "right", gettext_lazy("in order")
        WRONG = "wrong", gettext_lazy("not right")
        NOT_APPLICABLE = "na", gettext_lazy("not applicable")

    round = models.ForeignKey(Round, models.CASCADE, related_name="answers")
    item = models.ForeignKey(RoundItem, models.PROTECT, related_name="answers")
    answer = models.CharField(max_length=5, choices=Answer)
    note = models.CharField(max_length=200, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["round", "item"], name="one_answer_per_round_check"),
            models.CheckConstraint(
                condition=~Q(answer="wrong") | ~Q(note=""),
                name="what_is_not_right_is_said",
                violation_error_message="Say what is not right.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item}: {self.answer}"


class FindingQuerySet(models.QuerySet["Finding"]):
    def open(self) -> "FindingQuerySet":
        return self.filter(closed_at__isnull=True)

    def holding(self) -> "FindingQuerySet":
        """Open and grave: the rig must not leave until it is cleared."""
        return self.open().filter(is_grave=True)

    def of_rig(self, rig: Rig) -> "FindingQuerySet":
        """On the rig itself, or on what is fitted in it now."""
        fitted = Installation.objects.filter(position__rig=rig, removed_at__isnull=True)
        return self.filter(Q(rig=rig) | Q(component__in=fitted.values("component")))


class Finding(models.Model):
    """Found work: something wrong, open until a signed sheet or a manager closes it."""

    rig = models.ForeignKey(Rig, models.PROTECT, null=True, blank=True, related_name="findings")
    component = models.ForeignKey(
        Component, models.PROTECT, null=True, blank=True, related_name="findings"
    )
    text = models.CharField(max_length=300)
    is_grave = models.BooleanField("rig must not leave", default=False)
    source_kind = models.CharField(max_length=20, default="hand")
    source_number = models.PositiveBigIntegerField(default=0)
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    opened_at = models.DateTimeField()
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closing = models.CharField("how it was closed", max_length=300, blank=True)
    closed_source_kind = models.CharField(max_length=20, blank=True)
    closed_source_number = models.PositiveBigIntegerField(default=0)
    times_carried = models.PositiveSmallIntegerField(default=0)
    request_id = models.UUIDField(unique=True)

    objects = FindingQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(rig__isnull=False) | Q(component__isnull=False),
                name="found_work_names_a_rig_or_a_component",
                violation_error_message="Say on which rig or component it was found.",
            ),
            all_or_none("closed_at", "closed_by", name="closed_found_work_says_who_closed_it"),
        ]
        indexes = [models.Index(fields=["rig", "closed_at"])]

    def __str__(self) -> str:
        return self.text
