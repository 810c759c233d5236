"""Whether a rig may leave, in a word and why: ready, ready with, held."""

from dataclasses import dataclass
from datetime import date, timedelta

from equipment.due import FAR_DATE
from equipment.models import Due, Rig
from shop import rigview
from shop.models import Shop

#: So many services are named; the rest are counted.
NAMED = 3


@dataclass(frozen=True, slots=True)
class Readiness:
    """word: ready, ready with, held or laid up; why: what falls due, or the found work."""

    word: str
    why: str = ""

    @property
    def text(self) -> str:
        joint = ": " if self.word == "held" else " "
        return f"{self.word}{joint}{self.why}" if self.why else self.word


def of_rig(rig: Rig, *, today: date, shop: Shop) -> Readiness:
    """Say whether a rig may leave today.

    Found work that is grave holds it. Else it leaves with what falls due before its next stay,
    or within the days of warning where no stay is known.
    """
    if rig.is_laid_up:
        return Readiness("laid up")
    if held := rigview.holds([rig]).get(rig.pk):
        return Readiness("held", "; ".join(each.text for each in held))
    soon = today + timedelta(days=shop.warning_days)
    until = soon if rig.stay_on == FAR_DATE else rig.stay_on - timedelta(days=1)
    rows = Due.objects.for_due_list().filter(rig=rig, due_date__lte=max(until, today))
    # A bigger service that falls due by then stands for the smaller ones.
    rows = rows.filter(bigger_date__gt=until).order_by("due_date", "pk")
    names = [
        f"{row.position.label if row.position else row.component.type.kind.name}, "
        f"{row.version.service.name}"
        for row in rows
    ]
    if not names:
        return Readiness("ready")
    more = len(names) - NAMED
    said = "; ".join(names[:NAMED])
    return Readiness("ready with", f"{said}; and {more} more" if more > 0 else said)
