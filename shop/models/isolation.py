"""The isolation points of a rig: rows that are only added, and ended once."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment.models.constraints import all_or_none


class IsolationPointQuerySet(models.QuerySet["IsolationPoint"]):
    def standing(self) -> "IsolationPointQuerySet":
        return self.filter(ended_at__isnull=True)


class IsolationPoint(models.Model):
    """One source of energy of one rig: where it is isolated and how zero is proved.

    A change is a new row that follows the old one, so that its history can be read. A sheet copies
    the words, and prints for ever what stood when it was drafted.
    """

    class Energy(models.TextChoices):
        """As `shop.isolation.Energy`."""

        ELECTRIC = "electric", "electric power"
        MATERIAL = "material", "A or B fluid pressure"
        OIL = "oil", "hydraulic pressure"
        AIR = "air", "air pressure"
        HEAT = "heat", "heat"

    class Proof(models.TextChoices):
        """As `shop.isolation.Proof`."""

        GAUGE = "gauge", "a gauge reads zero"
        START = "start", "trying to start"
        TESTER = "tester", "a tester, by a licensed electrician"
        LOOK = "look", "looking"

    rig = models.ForeignKey("equipment.Rig", models.PROTECT, related_name="isolation_points")
    order = models.PositiveSmallIntegerField(default=100)
    name = models.CharField(max_length=60)
    side = models.CharField(
        max_length=1, choices=[("A", "A side"), ("B", "B side")], blank=True, default=""
    )
    energy = models.CharField(max_length=8, choices=Energy)
    #: Which kinds of component it isolates.
    kinds = models.ManyToManyField(
        "equipment.ComponentKind", related_name="isolation_points", blank=True
    )
    place = models.CharField(max_length=80, blank=True)
    isolate = models.CharField(max_length=200)
    release = models.CharField(max_length=200, blank=True)
    verify_by = models.CharField(max_length=6, choices=Proof)
    verify = models.CharField(max_length=120)
    unit = models.CharField(max_length=10, blank=True)
    source = models.CharField(max_length=120, blank=True)
    follows = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="followed_by"
    )
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    ended_at = models.DateTimeField(null=True, blank=True)

    objects = IsolationPointQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["rig", "name", "side"],
                condition=Q(ended_at__isnull=True),
                name="isolation_points_of_a_rig_differ",
                violation_error_message="The rig has a point of that name.",
            ),
            models.CheckConstraint(
                condition=Q(verify_by="gauge") & ~Q(unit="") | ~Q(verify_by="gauge") & Q(unit=""),
                name="a_gauge_and_only_a_gauge_has_a_unit",
                violation_error_message="A gauge has a unit, and nothing else has.",
            ),
            models.CheckConstraint(
                condition=Q(side__in=["", "A", "B"]), name="isolation_point_side"
            ),
            all_or_none("ended_at", "ended_by", name="an_ended_point_says_who_and_when"),
        ]
        indexes = [models.Index(fields=["rig", "ended_at", "order"])]

    def __str__(self) -> str:
        return f"{self.name} {self.side}".strip()
