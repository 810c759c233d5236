"""Side A against side B of a rig: the signal kept, what people said to it, services brought on."""

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment import sides
from equipment.models.care import Service
from equipment.models.constraints import all_or_none
from equipment.models.dues import StandingQuerySet
from equipment.models.rigs import Component, Rig, Side
from equipment.models.rounds import Finding


def _author(**options: Any) -> Any:
    return models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", **options)


class BroughtForwardQuerySet(StandingQuerySet["BroughtForward"]):
    pass


class BroughtForward(models.Model):
    """A service wanted sooner than its interval says, until it is done or somebody takes this off.

    It holds what falls due earlier and says why; it never puts anything off.
    """

    component = models.ForeignKey(Component, models.PROTECT, related_name="brought_forward")
    service = models.ForeignKey(Service, models.PROTECT, related_name="brought_forward")
    due_on = models.DateField("wanted by")
    reason = models.CharField(max_length=200)
    author = _author()
    at = models.DateTimeField()
    #: One per sending: a phone may send twice, it counts once.
    request_id = models.UUIDField(unique=True)
    taken_off_by = _author(null=True, blank=True)
    taken_off_at = models.DateTimeField(null=True, blank=True)

    objects = BroughtForwardQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(reason=""),
                name="brought_forward_for_a_reason",
                violation_error_message="Say why it is wanted sooner.",
            ),
            all_or_none("taken_off_at", "taken_off_by", name="taken_off_says_who_and_when"),
        ]
        indexes = [models.Index(fields=["component", "taken_off_at"])]

    def __str__(self) -> str:
        return f"{self.service} on {self.component}, wanted by {self.due_on}"


class Compared(models.TextChoices):
    """What of the two sides is compared."""

    STROKES = sides.STROKES, "strokes"
    FLOW = sides.FLOW, "flow"
    PRESSURE = sides.PRESSURE, "pressure"


class SideSignal(models.Model):
    """Kept: the pair of a rig has left its baseline (`equipment.sides.Signal`)."""

    class State(models.TextChoices):
        OPEN = "open", "nobody has answered it"
        ACTED = "acted", "acted on"

    rig = models.OneToOneField(Rig, models.CASCADE, related_name="side_signal")
    compared = models.CharField(max_length=8, choices=Compared)
    more = models.CharField(max_length=1, choices=Side)
    since = models.DateField()
    found_on = models.DateField()
    size = models.DecimalField(max_digits=8, decimal_places=4)
    shifts = models.PositiveIntegerField()
    is_back = models.BooleanField(default=False)
    state = models.CharField(max_length=5, choices=State, default=State.OPEN)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(more__in=["A", "B"]), name="a_signal_names_a_side"),
        ]

    def __str__(self) -> str:
        return f"{self.rig}: {self.more} more since {self.since}"


class SideWatch(models.Model):
    """Kept: where the watch of a rig's pair stands, so that a reading need not read the others.

    What is in it: `equipment.services.sides._Watch`.
    """

    rig = models.OneToOneField(Rig, models.CASCADE, related_name="side_watch")
    state = models.JSONField()

    def __str__(self) -> str:
        return f"{self.rig}: watch of both sides"


class SideAnswer(models.Model):
    """What a person did about a signal. Dismissed: the pair is right as it runs, so its baseline
    begins anew from then on."""

    class What(models.TextChoices):
        DISMISSED = "dismissed", "nothing is wrong, a fresh baseline"
        FOUND_WORK = "found_work", "found work opened"
        BROUGHT_FORWARD = "forward", "service brought forward"

    rig = models.ForeignKey(Rig, models.CASCADE, related_name="side_answers")
    what = models.CharField(max_length=10, choices=What)
    #: The signal as it stood.
    compared = models.CharField(max_length=8, choices=Compared)
    more = models.CharField(max_length=1, choices=Side)
    since = models.DateField()
    size = models.DecimalField(max_digits=8, decimal_places=4)
    reason = models.CharField(max_length=200, blank=True)
    finding = models.ForeignKey(
        Finding, models.PROTECT, null=True, blank=True, related_name="side_answers"
    )
    brought = models.ForeignKey(
        BroughtForward, models.PROTECT, null=True, blank=True, related_name="side_answers"
    )
    author = _author()
    at = models.DateTimeField()
    request_id = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(what="dismissed") | ~Q(reason=""),
                name="a_signal_is_dismissed_for_a_reason",
                violation_error_message="Say why nothing is wrong.",
            ),
        ]
        indexes = [models.Index(fields=["rig", "-at"])]

    def __str__(self) -> str:
        return f"{self.rig}: {self.get_what_display()}"
