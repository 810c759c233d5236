"""What goes on around the work: time, handing over, waiting for parts. Only added to."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from shop.models.sheets import Entry, ServiceSheet


class TimeEntry(Entry):
    """Somebody began or ended work on a sheet. `shop.worktime` says what follows from it."""

    class Does(models.TextChoices):
        START = "start", "started"
        STOP = "stop", "stopped"

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="times")
    does = models.CharField(max_length=5, choices=Does)
    #: A stop that was meant, however long the stretch.
    is_sure = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(is_sure=False) | Q(does="stop"), name="only_an_end_of_work_is_sure"
            ),
        ]
        indexes = [models.Index(fields=["author", "at"])]

    def __str__(self) -> str:
        return f"{self.sheet}: {self.author} {self.does}"


class HandOver(Entry):
    """A sheet handed to the next one, with a word. `to` is empty: to whoever goes on with it."""

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="hand_overs")
    words = models.CharField(max_length=300)
    to = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(words=""), name="who_hands_over_says_a_word"),
        ]

    def __str__(self) -> str:
        return self.words


class WaitEntry(Entry):
    """A sheet that stands still for want of parts, or goes on. The newest one is in force."""

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="waits")
    goes_on = models.BooleanField(default=False)
    #: What is missing beside the parts that it names, in words.
    missing = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(goes_on=False) | Q(missing=""), name="what_goes_on_misses_nothing"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sheet}: {self.missing or ('goes on' if self.goes_on else 'waits')}"


class MissingPart(models.Model):
    """A part that a sheet waits for.

    steps: how much of it was short; 0 where that is not known, since it was no longer on the sheet.
    """

    wait = models.ForeignKey(WaitEntry, models.CASCADE, related_name="parts")
    part = models.ForeignKey("inventory.Part", models.PROTECT, related_name="waited_for")
    steps = models.PositiveBigIntegerField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["wait", "part"], name="a_part_is_waited_for_once"),
        ]

    def __str__(self) -> str:
        return f"{self.part}: {self.steps}"
