"""What happens to a sheet after it was signed: a second look, and what turned out to be wrong.

The sheet itself stays as it was signed; these rows are added beside it.
"""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from inventory.models.append_only import AppendOnly
from shop.models.sheets import ReadingEntry, ServiceSheet, SheetLine, SheetStep


class SecondLook(AppendOnly):
    """A manager who did not sign a sheet looked at what was done. One for each sheet."""

    class Outcome(models.TextChoices):
        PASSED = "passed", gettext_lazy("it is right")
        NOT_RIGHT = "not_right", gettext_lazy("it is not right")

    sheet = models.OneToOneField(ServiceSheet, models.PROTECT, related_name="second_look")
    outcome = models.CharField(max_length=9, choices=Outcome)
    #: What is not right, or a word on what was seen.
    text = models.CharField(max_length=200, blank=True)
    #: The found work that it opened; a wrong figure is put right by a correction instead.
    finding = models.ForeignKey(
        "equipment.Finding", models.PROTECT, null=True, blank=True, related_name="+"
    )
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    #: One per sending: sent twice, it counts once.
    request_id = models.UUIDField(unique=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(outcome="passed", finding__isnull=True)
                | (Q(outcome="not_right") & ~Q(text="")),
                name="a_second_look_says_what_is_not_right",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sheet}: {self.get_outcome_display()}"


class Correction(AppendOnly):
    """One thing that a signed sheet said and that was not so; the sheet that says it right.

    `was` and `now` are the words of the page, so that both read the same in ten years.
    """

    class About(models.TextChoices):
        READING = "reading", "a reading"
        PART = "part", "parts used"
        CHECK = "check", "a check"
        SERVICE = "service", "a service"
        LABOUR = "labour", "how long it took"

    #: The sheet that corrects; it names the corrected one (`ServiceSheet.corrects`).
    sheet = models.ForeignKey(ServiceSheet, models.PROTECT, related_name="corrected")
    about = models.CharField(max_length=7, choices=About)
    title = models.CharField(max_length=300)
    was = models.CharField(max_length=300)
    now = models.CharField(max_length=300)
    #: What it is about: of the corrected sheet, and one of these, but for labour.
    reading = models.ForeignKey(
        ReadingEntry, models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    part = models.ForeignKey(
        "inventory.Part", models.PROTECT, null=True, blank=True, related_name="+"
    )
    step = models.ForeignKey(
        SheetStep, models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    line = models.ForeignKey(
        SheetLine, models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    #: The figure as it is now: of a reading or a check in its unit, of a part in steps, of labour
    #: in minutes; null where it is no figure.
    value = models.DecimalField(max_digits=14, decimal_places=4, null=True, blank=True)
    #: Of a check whose `value` is as found: as left, where it was read again after the work.
    left_value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    about="reading",
                    reading__isnull=False,
                    part__isnull=True,
                    step__isnull=True,
                    line__isnull=True,
                )
                | Q(
                    about="part",
                    part__isnull=False,
                    reading__isnull=True,
                    step__isnull=True,
                    line__isnull=True,
                )
                | Q(
                    about="check",
                    step__isnull=False,
                    reading__isnull=True,
                    part__isnull=True,
                    line__isnull=True,
                )
                | Q(
                    about="service",
                    line__isnull=False,
                    reading__isnull=True,
                    part__isnull=True,
                    step__isnull=True,
                )
                | Q(
                    about="labour",
                    reading__isnull=True,
                    part__isnull=True,
                    step__isnull=True,
                    line__isnull=True,
                ),
                name="a_correction_is_about_one_thing",
            ),
            models.CheckConstraint(
                condition=Q(left_value__isnull=True) | Q(about="check", value__isnull=False),
                name="only_a_corrected_value_has_one_as_left",
            ),
            models.UniqueConstraint(
                fields=["sheet", "reading"], name="a_reading_is_corrected_once_on_a_sheet"
            ),
            models.UniqueConstraint(
                fields=["sheet", "part"], name="a_part_is_corrected_once_on_a_sheet"
            ),
            models.UniqueConstraint(
                fields=["sheet", "step"], name="a_check_is_corrected_once_on_a_sheet"
            ),
            models.UniqueConstraint(
                fields=["sheet", "line"], name="a_service_is_corrected_once_on_a_sheet"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.title}: {self.was} → {self.now}"
