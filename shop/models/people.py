"""The shop itself and the people who work in it."""

from zoneinfo import ZoneInfo, available_timezones

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy

from equipment.shiftlogs.blocks import Rules


def refuse_unknown_zone(name: str) -> None:
    if name not in available_timezones():
        raise ValidationError("There is no time zone of that name.")


class Shop(models.Model):
    """The one shop of this installation: its name, zone, currency and units."""

    class Units(models.TextChoices):
        US = "us", gettext_lazy("US (gallons, psi, °F)")
        METRIC = "metric", gettext_lazy("metric (litres, bar, °C)")

    id = models.PositiveSmallIntegerField(primary_key=True, default=1, editable=False)
    name = models.CharField(max_length=60)
    time_zone = models.CharField(max_length=64, validators=[refuse_unknown_zone])
    currency = models.CharField("currency sign", max_length=3, default="$")
    units = models.CharField(max_length=6, choices=Units, default=Units.US)
    #: A service is called "due soon" this many days before its date.
    warning_days = models.PositiveSmallIntegerField(default=14)
    #: A rig unread for longer than this says so.
    unread_days = models.PositiveSmallIntegerField(default=14)
    #: A minute of a log is off ratio when the two volumes differ by more than this …
    off_ratio_percent = models.PositiveSmallIntegerField(
        default=10, validators=[MinValueValidator(1), MaxValueValidator(100)]
    )
    #: … and the busier side made at least this many strokes in it.
    off_ratio_strokes = models.PositiveSmallIntegerField(
        default=20, validators=[MinValueValidator(1)]
    )
    #: How well a drum is read with a stick, up or down. Common practice, no source. [US gal]
    drum_error_gallons = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(50)]
    )
    is_demo = models.BooleanField(default=False, editable=False)
    #: The day to which dates and odds were last turned (`shop.services.turning`).
    turned_on = models.DateField(null=True, editable=False)
    created_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(id=1), name="one_shop_per_installation"),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @property
    def log_rules(self) -> Rules:
        """What the shop has set about reading logs."""
        return Rules(
            off_ratio=self.off_ratio_percent / 100, off_ratio_strokes=self.off_ratio_strokes
        )


class Role(models.TextChoices):
    """The three people the pages are drawn for."""

    MANAGER = "manager", gettext_lazy("Manager")
    TECHNICIAN = "technician", gettext_lazy("Technician")
    OWNER = "owner", gettext_lazy("Owner")


class Language(models.TextChoices):
    """What a person may be spoken to in, each by its own name."""

    ENGLISH = "en", "English"
    SPANISH = "es", "Español"


class PersonManager(BaseUserManager["Person"]):
    def get_by_natural_key(self, username: str | None) -> "Person":
        return self.get(sign_in=(username or "").casefold())


class Person(AbstractBaseUser):
    """Somebody who signs in. Switched off, never deleted: the ledger names its authors."""

    sign_in = models.CharField(
        "sign-in name",
        max_length=60,
        unique=True,
        error_messages={"unique": "Somebody has this sign-in name already."},
    )
    name = models.CharField(max_length=60)
    role = models.CharField(max_length=10, choices=Role)
    is_electrician = models.BooleanField("licensed electrician", default=False)
    is_active = models.BooleanField("may sign in", default=True)
    #: What sheets, cautions and the phone's pages are spoken in.
    language = models.CharField(max_length=2, choices=Language, default=Language.ENGLISH)
    #: What measured values are shown and typed in; empty: as the shop counts.
    own_units = models.CharField(max_length=6, choices=Shop.Units, blank=True, default="")
    created_at = models.DateTimeField()

    objects = PersonManager()

    USERNAME_FIELD = "sign_in"
    REQUIRED_FIELDS = ["name", "role"]

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(role__in=Role.values), name="person_has_a_role"),
            models.CheckConstraint(
                condition=Q(language__in=Language.values), name="person_has_a_language"
            ),
            models.CheckConstraint(
                condition=Q(own_units__in=["", *Shop.Units.values]), name="person_has_known_units"
            ),
        ]

    def __str__(self) -> str:
        return self.name

    def get_full_name(self) -> str:
        return self.name

    def units_in(self, shop: Shop) -> str:
        """The system in which measured values are shown to this person: "us" or "metric"."""
        return self.own_units or shop.units

    @property
    def is_manager(self) -> bool:
        return self.role == Role.MANAGER
