"""Files that were imported: each counts once."""

from django.conf import settings
from django.db import models


class ImportedFile(models.Model):
    """One file whose rows were all taken in, known by its content."""

    kind = models.CharField(max_length=20)
    #: SHA-256 of the file; the file itself is kept under this name.
    digest = models.CharField(max_length=64)
    name = models.CharField("file name", max_length=200)
    rows = models.PositiveIntegerField()
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "digest"],
                name="a_file_is_imported_once",
                violation_error_message="This file was imported already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.rows} rows)"
