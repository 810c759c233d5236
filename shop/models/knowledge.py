"""What a technician leaves for whoever does it next."""

from django.db import models

from shop.models.sheets import Entry, SheetLine


class LineNote(Entry):
    """A note for the next one, at a line of a sheet. The newest of a line counts; without a text
    it takes back what was said before."""

    line = models.ForeignKey(SheetLine, models.PROTECT, related_name="notes")
    text = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return self.text
