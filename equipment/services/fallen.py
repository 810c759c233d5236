"""What has fallen due on something that was not listed: asked for before it goes out."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from urllib.parse import urlencode

from equipment.models import Component, Due, Rig
from equipment.models.dues import DueQuerySet


@dataclass(frozen=True, slots=True)
class FallenDue:
    """The services of a rig, or of a component on the shelf, that have fallen due.

    what: the component they are of, "PU-207"; empty for a rig. rows: the first to fall first.
    subject: what a sheet of them is for, as the page that drafts it takes it.
    """

    what: str
    rows: list[Due]
    subject: tuple[str, str]

    @property
    def heading(self) -> str:
        """ "PU-207: 3 services have fallen due"."""
        count = len(self.rows)
        said = f"{count} services have fallen due" if count > 1 else "1 service has fallen due"
        return f"{self.what}: {said}" if self.what else said

    @property
    def query(self) -> str:
        """What a sheet of these services is drafted with."""
        return urlencode([self.subject, *(("due", str(row.pk)) for row in self.rows)])


def fallen_on_rig(rig: Rig, *, today: date) -> FallenDue | None:
    """What has fallen due on a rig, in work or laid up; None where nothing has. One query."""
    rows = _fallen(Due.objects.filter(rig=rig), today=today)
    return FallenDue("", rows, ("rig", str(rig.number))) if rows else None


def fallen_on_shelf(components: Iterable[Component], *, today: date) -> list[FallenDue]:
    """What has fallen due on each of these components, where something has. One query."""
    found: dict[str, list[Due]] = {}
    for row in _fallen(Due.objects.filter(component__in=components), today=today):
        found.setdefault(row.component.tag, []).append(row)
    return [FallenDue(tag, rows, ("component", tag)) for tag, rows in found.items()]


def _fallen(rows: DueQuerySet, *, today: date) -> list[Due]:
    """Its dates ran on although the due list did not show them.

    On a rig in work a bigger service that has fallen due stands for the smaller ones.
    """
    found = rows.due(today).filter(bigger_date__gt=today)
    found = found.select_related("component", "position__kind", "version__service")
    return list(found.order_by("position__order", "component__tag", "due_date", "pk"))
