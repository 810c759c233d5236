"""The service sheet: drafted, handed out, under way, signed (or void).

What a person enters on it is a row of its own (an entry), with its author, its time and an id
made where it was typed, so that a phone may send it twice and it counts once. The newest entry
of a step is the one in force; the older ones are kept.
"""

from decimal import Decimal
from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext, gettext_lazy

from equipment import values
from equipment.models import Reading
from equipment.own_units import OwnUnit, every_unit, own_unit
from shop.isolation import Phase, may_be_absent


class SheetQuerySet(models.QuerySet["ServiceSheet"]):
    def open(self) -> "SheetQuerySet":
        return self.filter(state__in=ServiceSheet.OPEN_STATES)

    def signed(self) -> "SheetQuerySet":
        return self.filter(state=ServiceSheet.State.SIGNED)

    def to_look_at_again(self) -> "SheetQuerySet":
        """Signed, and a manager's second look is wanted."""
        return self.filter(is_second_look_wanted=True)

    def for_sheets_list(self) -> "SheetQuerySet":
        """Everything a row of the list shows, in one query; corrected_by: the number of the last
        sheet that corrects it."""
        last = ServiceSheet.objects.filter(corrects=models.OuterRef("pk")).order_by("-number")
        return self.select_related(
            "rig", "component__type__kind", "technician", "signed_by", "corrects"
        ).annotate(
            lines_count=models.Count("lines", distinct=True),
            corrected_by=models.Subquery(last.values("number")[:1]),
        )


class ServiceSheet(models.Model):
    """One visit's work on a rig, or on a component on the bench."""

    class State(models.TextChoices):
        DRAFTED = "drafted", gettext_lazy("drafted")
        HANDED_OUT = "handed_out", gettext_lazy("handed out")
        UNDER_WAY = "under_way", gettext_lazy("under way")
        SIGNED = "signed", gettext_lazy("signed")
        VOID = "void", gettext_lazy("void")

    OPEN_STATES = (State.DRAFTED, State.HANDED_OUT, State.UNDER_WAY)

    number = models.PositiveIntegerField(unique=True)
    rig = models.ForeignKey(
        "equipment.Rig", models.PROTECT, null=True, blank=True, related_name="sheets"
    )
    component = models.ForeignKey(
        "equipment.Component", models.PROTECT, null=True, blank=True, related_name="sheets"
    )
    #: Who pays for the parts: the rig, the rig a bench component was pulled from, or shop stock.
    charged_rig = models.ForeignKey(
        "equipment.Rig", models.PROTECT, null=True, blank=True, related_name="charged_sheets"
    )
    state = models.CharField(max_length=10, choices=State, default=State.DRAFTED)
    planned_on = models.DateField()
    note = models.CharField(max_length=300, blank=True)
    tray = models.OneToOneField(
        "inventory.Location", models.PROTECT, null=True, blank=True, related_name="sheet"
    )
    is_waiting_for_parts = models.BooleanField(default=False)
    #: A mark on a signed sheet: one of its services asks for it, and nobody has looked yet.
    is_second_look_wanted = models.BooleanField(default=False)
    drafted_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    drafted_at = models.DateTimeField()
    technician = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="sheets"
    )
    handed_out_at = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField(null=True, blank=True)
    labour_minutes = models.PositiveIntegerField(default=0)
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    signed_at = models.DateTimeField(null=True, blank=True)
    signature = models.CharField("signed as", max_length=60, blank=True)
    #: The signature as drawn on a phone: "M 3 4 L 5 6 …", lines in a box of 1000 by 300.
    drawn = models.TextField("drawn signature", max_length=8000, blank=True)
    #: Who did the work and signed on paper, where `signed_by` keyed it in from there.
    written_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    voided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    voided_at = models.DateTimeField(null=True, blank=True)
    void_reason = models.CharField(max_length=200, blank=True)
    corrects = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="corrections"
    )
    request_id = models.UUIDField(unique=True)
    signing_id = models.UUIDField(unique=True, null=True, blank=True)

    objects = SheetQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(rig__isnull=True) ^ Q(component__isnull=True),
                name="a_sheet_is_for_a_rig_or_for_a_component_on_the_bench",
            ),
            models.CheckConstraint(
                condition=(
                    Q(state="signed", signed_by__isnull=False, signed_at__isnull=False)
                    | (~Q(state="signed") & Q(signed_by__isnull=True, signed_at__isnull=True))
                ),
                name="a_signed_sheet_says_who_and_when",
            ),
            models.CheckConstraint(
                condition=Q(is_second_look_wanted=False) | Q(state="signed"),
                name="a_second_look_is_at_a_signed_sheet",
            ),
            models.CheckConstraint(
                condition=Q(corrects__isnull=True) | Q(state="signed"),
                name="a_correction_is_signed",
            ),
            models.CheckConstraint(
                condition=~Q(state="void") | Q(voided_by__isnull=False, voided_at__isnull=False),
                name="a_void_sheet_says_who_and_when",
            ),
        ]
        indexes = [
            models.Index(fields=["state", "planned_on", "number"]),
            models.Index(fields=["rig", "number"]),
            models.Index(fields=["charged_rig", "signed_at"]),
            models.Index(
                fields=["signed_at"],
                condition=Q(is_second_look_wanted=True),
                name="shop_sheet_second_look",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number:04d}"

    @property
    def is_open(self) -> bool:
        return self.state in self.OPEN_STATES

    @property
    def step(self) -> int:
        """How many of the four punches are filled."""
        order = ["drafted", "handed_out", "under_way", "signed"]
        return order.index(self.state) + 1 if self.state in order else 0

    @property
    def subject(self) -> str:
        return str(self.rig or self.component)


class SheetLine(models.Model):
    """One service, or one piece of found work, on a sheet."""

    class Outcome(models.TextChoices):
        OPEN = "open", gettext_lazy("open")
        DONE = "done", gettext_lazy("done")
        LEFT = "left", gettext_lazy("left undone, comes back")

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="lines")
    order = models.PositiveSmallIntegerField()
    version = models.ForeignKey(
        "equipment.ServiceVersion", models.PROTECT, null=True, blank=True, related_name="+"
    )
    component = models.ForeignKey(
        "equipment.Component", models.PROTECT, null=True, blank=True, related_name="sheet_lines"
    )
    position = models.ForeignKey(
        "equipment.Position", models.PROTECT, null=True, blank=True, related_name="+"
    )
    finding = models.ForeignKey(
        "equipment.Finding", models.PROTECT, null=True, blank=True, related_name="sheet_lines"
    )
    #: The day the service was due when it was picked.
    due_on = models.DateField(null=True, blank=True)
    #: State and figures when it was picked, for the paper ("due soon, 182 of 250 h").
    state_text = models.CharField(max_length=80, blank=True)
    #: Names of the smaller services that it stands for; once signed, of those renewed with it.
    covers = models.JSONField(default=list, blank=True)
    outcome = models.CharField(max_length=4, choices=Outcome, default=Outcome.OPEN)
    is_open = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sheet", "order"], name="sheet_lines_have_an_order"),
            models.CheckConstraint(
                condition=Q(version__isnull=True) ^ Q(finding__isnull=True),
                name="a_line_is_a_service_or_found_work",
            ),
            models.UniqueConstraint(
                fields=["component", "version"],
                condition=Q(is_open=True, version__isnull=False),
                name="a_due_service_is_on_one_open_sheet",
            ),
            models.UniqueConstraint(
                fields=["finding"],
                condition=Q(is_open=True, finding__isnull=False),
                name="found_work_is_on_one_open_sheet",
            ),
        ]
        indexes = [
            # What comes back, for a page of the due list.
            models.Index(
                fields=["component"], condition=Q(outcome="left"), name="shop_line_left_undone"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def title(self) -> str:
        """What is done, in the language that is spoken."""
        if self.version:
            return gettext(self.version.service.name)
        return gettext("found work: {what}").format(what=self.finding)

    @property
    def covers_text(self) -> str:
        """ "part of it: air filter, belts"; empty where it is alone."""
        if not self.covers:
            return ""
        names = ", ".join(map(gettext, self.covers))
        return gettext("part of it: {services}").format(services=names)


class SheetStep(models.Model):
    """One thing to acknowledge, lock out, prove at zero, tick, choose or measure.

    Which of them keep a check locked, for whom and when, is said in `shop.isolation` alone.
    """

    class Section(models.TextChoices):
        CAUTION = "caution", "caution"
        LOCKOUT = "lockout", "lockout"
        ZERO = "zero", "must read zero"
        CHECK = "check", "check"
        RETURN = "return", "return to service"

    class Kind(models.TextChoices):
        TICK = "tick", "tick"
        CHOICE = "choice", "choice"
        VALUE = "value", "measured value"

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="steps")
    line = models.ForeignKey(SheetLine, models.CASCADE, null=True, blank=True, related_name="steps")
    section = models.CharField(max_length=8, choices=Section)
    order = models.PositiveSmallIntegerField()
    title = models.CharField(max_length=200)
    text = models.TextField(blank=True)
    source = models.CharField(max_length=200, blank=True)
    icon = models.CharField(max_length=30, blank=True)
    side = models.CharField(max_length=1, blank=True)
    kind = models.CharField(max_length=6, choices=Kind, default=Kind.TICK)
    choices = models.JSONField(default=list, blank=True)
    unit = models.CharField(max_length=20, blank=True)
    low = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    high = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    last_value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    needs_electrician = models.BooleanField(default=False)
    #: Of a lockout, zero or return step: where it stands in the order of `isolation.Phase`.
    phase = models.CharField(max_length=9, blank=True)
    #: Of a check: which pressure it opens. "material", "oil", "air".
    opens = models.JSONField(default=list, blank=True)
    #: Of a step before: which pressure it proves to be gone.
    proves = models.JSONField(default=list, blank=True)
    #: Entered, the rig has run, or may run again: what was proved before is proved again.
    is_run = models.BooleanField(default=False)
    #: The definition it was copied from, to find the last value of the same check.
    check_definition = models.ForeignKey(
        "equipment.Check", models.PROTECT, null=True, blank=True, related_name="+"
    )
    #: Kept: the newest entry, which is the one in force.
    entry = models.OneToOneField(
        "StepEntry", models.SET_NULL, null=True, blank=True, related_name="in_force_for"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["sheet", "section", "order"], name="sheet_steps_have_an_order"
            ),
        ]

    def __str__(self) -> str:
        return self.title

    @property
    def is_each_persons(self) -> bool:
        """Whether each who works here does it himself: a caution read, the own lock put on."""
        return self.section == self.Section.CAUTION or self.phase == Phase.LOCK

    @property
    def may_be_absent(self) -> bool:
        """Whether "not applicable" is an answer to it: to a check always, to a lock never."""
        return self.section == self.Section.CHECK or (
            self.section in (self.Section.LOCKOUT, self.Section.RETURN)
            and may_be_absent(self.phase, for_electrician=self.needs_electrician)
        )

    @property
    def is_not_zero(self) -> bool:
        """Whether it must read zero and was read as something else: there is pressure."""
        entry = self.entry if self.section == self.Section.ZERO else None
        return entry is not None and bool(entry.value)

    def is_outside(self, value: Decimal) -> bool:
        """Whether a measured value lies past a limit."""
        return values.is_outside(value, low=self.low, high=self.high, unit=self.unit)

    def in_units(self, system: str) -> OwnUnit:
        """How its values and limits are shown to somebody and typed. system: "us", "metric"."""
        return own_unit(self.unit, system, name=self.title, low=self.low, high=self.high)

    def every_unit(self) -> dict[str, OwnUnit]:
        """The units in which its value may be typed, by their names; the kept one first."""
        return every_unit(self.unit, name=self.title, low=self.low, high=self.high)


class Entry(models.Model):
    """What somebody entered: made once, kept for ever, counted once."""

    event_id = models.UUIDField(unique=True)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    recorded_at = models.DateTimeField()

    class Meta:
        abstract = True


class PaperEntry(Entry):
    """An entry that may have been written on paper first, and keyed in from there."""

    #: Who wrote it on paper, where the author keyed it in.
    written_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        abstract = True

    @property
    def hand(self) -> Any:
        """The person whose work it is: who wrote it on paper, else who entered it."""
        return self.written_by or self.author

    @property
    def hand_id(self) -> int:
        """The key of that person, who is not read for it."""
        return self.written_by_id or self.author_id


class StepEntry(PaperEntry):
    """The answer to one step."""

    class Answer(models.TextChoices):
        DONE = "done", gettext_lazy("done")
        NOT_APPLICABLE = "na", gettext_lazy("not applicable")
        VALUE = "value", "value"
        CHOICE = "choice", "choice"
        CLEARED = "cleared", gettext_lazy("taken back")

    class Remedy(models.TextChoices):
        """What was done about a value out of limit."""

        NONE = "", gettext_lazy("nothing needed")
        PUT_RIGHT = "put_right", gettext_lazy("Put right, read again")
        REPLACED = "replaced", gettext_lazy("Replaced a part")
        FOUND_WORK = "found_work", gettext_lazy("Open found work")
        STOP = "stop", gettext_lazy("Stop, ask the manager")

    step = models.ForeignKey(SheetStep, models.CASCADE, related_name="entries")
    answer = models.CharField(max_length=8, choices=Answer)
    #: Of a measured value, as found.
    value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    #: Read again after the work, in the same unit; null where it was not.
    left_value = models.DecimalField(max_digits=12, decimal_places=4, null=True, blank=True)
    choice = models.CharField(max_length=60, blank=True)
    note = models.CharField(max_length=300, blank=True)
    remedy = models.CharField(max_length=10, choices=Remedy, blank=True)
    #: Whether `measured` lies past a limit: of one put right and read again, not any more.
    is_out_of_limit = models.BooleanField(default=False)
    finding = models.ForeignKey(
        "equipment.Finding", models.PROTECT, null=True, blank=True, related_name="+"
    )
    #: The other answer, which whoever made this one had not seen. Both count as one until a
    #: person picks: a newer answer by somebody who saw the one in force.
    rival_of = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="rivals"
    )

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=~Q(answer="value") | Q(value__isnull=False),
                name="a_measured_value_has_a_value",
            ),
            models.CheckConstraint(
                condition=~Q(answer="na") | ~Q(note=""),
                name="not_applicable_says_why",
                violation_error_message="Say why it does not apply.",
            ),
            models.CheckConstraint(
                condition=Q(left_value__isnull=True) | Q(answer="value"),
                name="only_a_measured_value_has_one_as_left",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.step}: {self.answer}"

    @property
    def measured(self) -> Decimal | None:
        """What it measures now: as left where it was read again, else as found."""
        return self.value if self.left_value is None else self.left_value


class SheetPart(models.Model):
    """A part the sheet needs, is promised, has in its tray and used."""

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="parts")
    line = models.ForeignKey(
        SheetLine, models.SET_NULL, null=True, blank=True, related_name="parts"
    )
    part = models.ForeignKey("inventory.Part", models.PROTECT, related_name="sheet_parts")
    #: Set when no whole kit was free and this is one of its lines.
    for_kit = models.ForeignKey(
        "inventory.Part", models.PROTECT, null=True, blank=True, related_name="+"
    )
    planned_steps = models.PositiveBigIntegerField(default=0)
    short_steps = models.PositiveBigIntegerField(default=0)
    used_steps = models.PositiveBigIntegerField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sheet", "part"], name="a_part_is_on_a_sheet_once"),
            models.CheckConstraint(
                condition=Q(short_steps__lte=models.F("planned_steps")),
                name="no_more_short_than_planned",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.sheet}: {self.part}"


class PartEntry(PaperEntry):
    """How much of a part was used, as entered."""

    sheet_part = models.ForeignKey(SheetPart, models.CASCADE, related_name="entries")
    used_steps = models.PositiveBigIntegerField()

    def __str__(self) -> str:
        return f"{self.sheet_part}: {self.used_steps}"


class ReadingEntry(PaperEntry):
    """What a counter showed when the work was done; posted as a reading when signed."""

    sheet = models.ForeignKey(ServiceSheet, models.CASCADE, related_name="readings")
    counter = models.ForeignKey("equipment.Counter", models.PROTECT, related_name="+")
    value = models.DecimalField(max_digits=14, decimal_places=3)
    step = models.CharField(max_length=10, choices=Reading.Step, default=Reading.Step.CONTINUED)
    before_reset = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    face_start = models.DecimalField(max_digits=14, decimal_places=3, null=True, blank=True)
    is_in_force = models.BooleanField(default=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(value__gte=0), name="sheet_reading_never_negative"),
            models.UniqueConstraint(
                fields=["sheet", "counter"],
                condition=Q(is_in_force=True),
                name="one_reading_per_counter_on_a_sheet",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.counter}: {self.value}"


class SignedCopy(models.Model):
    """The whole sheet as it was signed. Append-only; it prints for ever the same."""

    sheet = models.OneToOneField(ServiceSheet, models.PROTECT, related_name="signed_copy")
    document = models.JSONField()
    sha256 = models.CharField(max_length=64)
    signed_at = models.DateTimeField()

    def __str__(self) -> str:
        return str(self.sheet)
