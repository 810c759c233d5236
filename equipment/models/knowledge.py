"""What the shop knows about a make of component or a service: notes, pictures and files."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from equipment.models.care import Service
from equipment.models.constraints import all_or_none
from equipment.models.rigs import ComponentType


class KnownQuerySet(models.QuerySet["Known"]):
    def in_force(self) -> "KnownQuerySet":
        """Neither replaced by something newer nor taken off."""
        return self.filter(replaced_by__isnull=True, taken_off_at__isnull=True)


class Known(models.Model):
    """One note, picture or file. Added only: a newer one names what it replaces, which stays."""

    class Kind(models.TextChoices):
        NOTE = "note", "note"
        PICTURE = "picture", "picture"
        FILE = "file", "file"

    type = models.ForeignKey(
        ComponentType, models.PROTECT, null=True, blank=True, related_name="known"
    )
    service = models.ForeignKey(
        Service, models.PROTECT, null=True, blank=True, related_name="known"
    )
    kind = models.CharField(max_length=7, choices=Kind)
    #: The note, or what the picture or the file shows.
    text = models.CharField(max_length=600)
    #: Where that is written: in which document, and on which page or in which table of it.
    document = models.CharField(max_length=120, blank=True)
    page = models.CharField(max_length=40, blank=True)
    #: SHA-256 of the picture or file that is kept, in hexadecimal; a note has none.
    digest = models.CharField(max_length=64, blank=True)
    #: Pages of a file.
    pages = models.PositiveIntegerField(default=0)
    replaces = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="replaced_by"
    )
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    #: One per sending: sent twice, it counts once.
    request_id = models.UUIDField(unique=True)
    #: The picture of its type that is printed on service sheets: who chose it, and when.
    printed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    printed_since = models.DateTimeField(null=True, blank=True)
    taken_off_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    taken_off_at = models.DateTimeField(null=True, blank=True)
    taken_off_because = models.CharField(max_length=200, null=True, blank=True)

    objects = KnownQuerySet.as_manager()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(type__isnull=True) ^ Q(service__isnull=True),
                name="known_about_a_type_or_a_service",
            ),
            models.CheckConstraint(
                condition=~Q(text=""),
                name="what_is_known_is_said",
                violation_error_message="Say it in words.",
            ),
            models.CheckConstraint(
                condition=Q(kind="note", digest="") | (~Q(kind="note") & ~Q(digest="")),
                name="a_picture_or_file_has_its_hash",
            ),
            models.CheckConstraint(
                condition=Q(printed_since__isnull=True, printed_by__isnull=True)
                | Q(
                    printed_since__isnull=False,
                    printed_by__isnull=False,
                    kind="picture",
                    type__isnull=False,
                ),
                name="what_is_printed_is_a_picture_of_a_type",
            ),
            models.UniqueConstraint(
                fields=["type"],
                condition=Q(printed_since__isnull=False),
                name="one_printed_picture_of_a_type",
            ),
            all_or_none(
                "taken_off_by",
                "taken_off_at",
                "taken_off_because",
                name="what_was_taken_off_says_who_and_why",
            ),
        ]

    def __str__(self) -> str:
        return self.text

    @property
    def about(self) -> ComponentType | Service:
        """What it is about."""
        about = self.type or self.service
        assert about is not None  # the database says so
        return about

    @property
    def where(self) -> str:
        """Where that is written: "maker's sheet, page 12"; empty where nobody said."""
        return ", ".join(part for part in (self.document, self.page) if part)
