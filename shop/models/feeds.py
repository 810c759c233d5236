"""A person's calendar feed: an address that whoever has it may read, until it is stopped."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class CalendarFeed(models.Model):
    """One address that a person made, and what lies in the calendar behind it.

    Only the hash of its key is kept, so that nobody can read the address here. A stopped address
    stays as a row: it never works again, and the page can say when it ended.
    """

    class Services(models.TextChoices):
        ALL = "all", "all services"
        MINE = "mine", "those that I may do myself"
        NONE = "none", "no services"

    class Sheets(models.TextChoices):
        ALL = "all", "all open sheets"
        MINE = "mine", "those handed to me"
        NONE = "none", "no sheets"

    person = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="feeds")
    key_hash = models.CharField(max_length=64, unique=True)
    services = models.CharField(max_length=4, choices=Services, default=Services.ALL)
    #: Jobs, and the stays in the shop between them.
    has_jobs = models.BooleanField(default=True)
    sheets = models.CharField(max_length=4, choices=Sheets, default=Sheets.MINE)
    #: None: every rig.
    only_rigs = models.ManyToManyField("equipment.Rig", blank=True, related_name="+")
    made_at = models.DateTimeField()
    changed_at = models.DateTimeField()
    #: To the hour: a calendar program that asks every minute writes once.
    fetched_at = models.DateTimeField(null=True, blank=True)
    stopped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person"],
                condition=Q(stopped_at__isnull=True),
                name="a_person_has_one_calendar_address",
            ),
            models.CheckConstraint(
                condition=~Q(key_hash=""), name="a_calendar_address_has_a_hash_of_its_key"
            ),
            models.CheckConstraint(
                condition=Q(has_jobs=True) | ~Q(services="none") | ~Q(sheets="none"),
                name="a_calendar_has_something_in_it",
            ),
        ]

    def __str__(self) -> str:
        return f"calendar of {self.person}"
