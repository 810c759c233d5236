"""Rigs, the places in them, and the components that sit in those places."""

from decimal import Decimal

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils.text import capfirst
from django.utils.translation import gettext

from equipment import due, sides

ZERO = Decimal(0)


class Side(models.TextChoices):
    """Which material a position or component carries. A: isocyanate. B: resin."""

    NONE = "", "neither side"
    A = "A", "A side (isocyanate)"
    B = "B", "B side (resin)"


class PumpDrive(models.TextChoices):
    """How the two pumps of a rig are driven; it decides what tells that one of them slips."""

    NOT_KNOWN = sides.NOT_KNOWN, "not known"
    APART = sides.APART, "apart, held to ratio by measured flow"
    LINKED = sides.LINKED, "linked, by a rod or by one hydraulic drive"


class RigQuerySet(models.QuerySet["Rig"]):
    def working(self) -> "RigQuerySet":
        return self.filter(is_laid_up=False)


class Rig(models.Model):
    """A trailer or truck with everything needed to spray."""

    number = models.PositiveSmallIntegerField(
        unique=True, error_messages={"unique": "Another rig has this number."}
    )
    name = models.CharField(max_length=60)
    description = models.CharField(max_length=120, blank=True)
    is_laid_up = models.BooleanField("laid up", default=False)
    pump_drive = models.CharField(
        "how its pumps are driven",
        max_length=6,
        choices=PumpDrive,
        blank=True,
        default=PumpDrive.NOT_KNOWN,
    )
    #: Kept: the first day of its next stay in the shop as of the last change of its jobs or the
    #: last turn of the day: after this absence, or after the next where it is here. Far: none.
    stay_on = models.DateField(default=due.FAR_DATE)
    created_at = models.DateTimeField()

    objects = RigQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(number__gte=1, number__lte=9999),
                name="rig_number_has_up_to_four_digits",
                violation_error_message="A rig number lies between 1 and 9999.",
            ),
            models.CheckConstraint(
                condition=Q(pump_drive__in=["", "apart", "linked"]), name="rig_pump_drive"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number:02d} {self.name}"


class ComponentKind(models.Model):
    """What a thing is: pump, gun, generator. Data, so that a shop can have kinds of its own."""

    class Flow(models.TextChoices):
        """What leaves it towards the next position on the rig strip."""

        NONE = "", "nothing"
        POWER = "power", "electric power"
        AIR = "air", "air"
        OIL = "oil", "hydraulic oil"
        MATERIAL = "material", "A or B material"

    name = models.CharField(max_length=60, unique=True)
    icon = models.CharField(max_length=30, blank=True)
    flow = models.CharField(max_length=10, choices=Flow, blank=True)
    #: Where it stands along the rig; also the order of checks on a sheet.
    flow_order = models.PositiveSmallIntegerField(default=100)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="component_kind_has_a_name")
        ]

    def __str__(self) -> str:
        return self.name


class ComponentType(models.Model):
    """A make of component that the shop holds: what all of them have in common."""

    kind = models.ForeignKey(ComponentKind, models.PROTECT, related_name="types")
    name = models.CharField(max_length=80, unique=True)
    displacement_in3 = models.DecimalField(
        "displacement per counted stroke, in³",
        max_digits=9,
        decimal_places=4,
        null=True,
        blank=True,
    )
    max_strokes_per_minute = models.DecimalField(
        max_digits=7, decimal_places=2, null=True, blank=True
    )
    #: Hoses only: of one line. [in] [ft]
    hose_diameter_in = models.DecimalField(max_digits=6, decimal_places=4, null=True, blank=True)
    hose_length_ft = models.DecimalField(max_digits=8, decimal_places=3, null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(hose_diameter_in__isnull=True, hose_length_ft__isnull=True)
                | Q(
                    hose_diameter_in__isnull=False,
                    hose_diameter_in__gt=0,
                    hose_length_ft__isnull=False,
                    hose_length_ft__gt=0,
                ),
                name="a_hose_has_diameter_and_length",
                violation_error_message="Give the diameter and the length, both above zero.",
            ),
            models.CheckConstraint(
                condition=Q(displacement_in3__isnull=True) | Q(displacement_in3__gt=0),
                name="displacement_is_above_zero",
                violation_error_message="A stroke displaces more than nothing.",
            ),
            models.CheckConstraint(
                condition=Q(max_strokes_per_minute__isnull=True) | Q(max_strokes_per_minute__gt=0),
                name="max_strokes_are_above_zero",
                violation_error_message="A pump makes more than no strokes a minute.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_hose(self) -> bool:
        """Whether it has a bore and a length: kinds that are drawn as a hose."""
        return self.kind.icon == "hose"


class Position(models.Model):
    """A place in a rig, in flow order, for one component of one kind."""

    rig = models.ForeignKey(Rig, models.CASCADE, related_name="positions")
    order = models.PositiveSmallIntegerField()
    kind = models.ForeignKey(ComponentKind, models.PROTECT, related_name="positions")
    side = models.CharField(max_length=1, choices=Side, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["rig", "order"],
                name="one_position_per_place_in_a_rig",
                violation_error_message="The rig has a position at this place already.",
            ),
            models.CheckConstraint(condition=Q(side__in=["", "A", "B"]), name="position_side"),
        ]

    def __str__(self) -> str:
        return f"{self.order} {self.heading}"

    @property
    def label(self) -> str:
        """Its kind and side, in the language that is spoken: "pump A"."""
        return f"{gettext(self.kind.name)} {self.side}".strip()

    @property
    def heading(self) -> str:
        """The label as a heading or a sentence begins with it: "Pump A"."""
        return capfirst(self.label)


class ComponentQuerySet(models.QuerySet["Component"]):
    def in_use(self) -> "ComponentQuerySet":
        return self.filter(is_retired=False)

    def unfitted(self) -> "ComponentQuerySet":
        """On the bench or on the shelf."""
        # Not by `exclude(installations__removed_at__isnull=True)`: what was never fitted has no
        # row there, and would be left out with what is fitted now.
        fitted = Installation.objects.filter(component=OuterRef("pk"), removed_at__isnull=True)
        return self.in_use().exclude(Exists(fitted))


class Component(models.Model):
    """A thing with a life of its own, with or without a maker's serial number."""

    type = models.ForeignKey(ComponentType, models.PROTECT, related_name="components")
    tag = models.CharField(
        "our tag",
        max_length=20,
        unique=True,
        error_messages={"unique": "Another component has this tag."},
    )
    serial = models.CharField("maker's serial number", max_length=60, blank=True)
    side = models.CharField(max_length=1, choices=Side, blank=True)
    #: Life it had before its first counter here (bought used, rented, borrowed).
    opening_hours = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    opening_strokes = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    opening_gallons = models.DecimalField(max_digits=14, decimal_places=3, default=ZERO)
    in_service_on = models.DateField("in service since")
    is_retired = models.BooleanField("retired", default=False)
    created_at = models.DateTimeField()

    objects = ComponentQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(opening_hours__gte=0, opening_strokes__gte=0, opening_gallons__gte=0),
                name="opening_life_is_never_negative",
                violation_error_message="A life before ours cannot be below zero.",
            ),
            models.CheckConstraint(condition=Q(side__in=["", "A", "B"]), name="component_side"),
        ]

    def __str__(self) -> str:
        return self.tag


class Installation(models.Model):
    """Which component sat in which position, over [installed_at, removed_at)."""

    component = models.ForeignKey(Component, models.PROTECT, related_name="installations")
    position = models.ForeignKey(Position, models.PROTECT, related_name="installations")
    installed_at = models.DateTimeField()
    removed_at = models.DateTimeField(null=True, blank=True)
    reason = models.CharField(max_length=200, blank=True)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    removed_because = models.CharField(max_length=200, blank=True)
    removed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    #: Its wear sources were chosen by a person, so nothing plans them anew.
    wear_by_hand = models.BooleanField(default=False)
    #: What began it and what ended it, so that either can be undone.
    began_with = models.ForeignKey(
        "equipment.Exchange", models.PROTECT, null=True, blank=True, related_name="began"
    )
    ended_with = models.ForeignKey(
        "equipment.Exchange", models.PROTECT, null=True, blank=True, related_name="ended"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["position"],
                condition=Q(removed_at__isnull=True),
                name="one_component_in_a_position",
                violation_error_message="Something is fitted in this position already.",
            ),
            models.UniqueConstraint(
                fields=["component"],
                condition=Q(removed_at__isnull=True),
                name="one_position_for_a_component",
                violation_error_message="This component is fitted in another position.",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) | Q(removed_at__gte=F("installed_at")),
                name="removed_after_it_was_installed",
                violation_error_message="It cannot come out before it went in.",
            ),
            models.CheckConstraint(
                condition=Q(removed_at__isnull=True) ^ Q(removed_by__isnull=False),
                name="what_came_out_says_who_took_it_out",
            ),
        ]
        indexes = [models.Index(fields=["component", "installed_at"])]

    def __str__(self) -> str:
        return f"{self.component} in {self.position}"


class JobBooking(models.Model):
    """Days on which a rig is away at a job, and how hard it works there."""

    rig = models.ForeignKey(Rig, models.CASCADE, related_name="bookings")
    job = models.CharField(max_length=60)
    first_day = models.DateField()
    last_day = models.DateField()
    #: 1 = as hard as the rig usually works on a booked day.
    intensity = models.DecimalField(max_digits=4, decimal_places=2, default=Decimal(1))
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="booking_ends_after_it_begins",
                violation_error_message="The job ends before it begins.",
            ),
            models.CheckConstraint(
                condition=Q(intensity__gte=0), name="booking_intensity_never_negative"
            ),
        ]
        indexes = [models.Index(fields=["rig", "first_day"])]

    def __str__(self) -> str:
        return f"{self.rig}: {self.job}"
