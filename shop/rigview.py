"""What is in each position of a rig and what falls due there: for the page, the paper, Today."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from equipment import due as due_math
from equipment.models import Component, Due, Installation, Position, Rig
from shop import words


@dataclass(slots=True)
class PositionFacts:
    """One position in flow order: what is fitted, and its due rows, the first to fall first."""

    position: Position
    component: Component | None
    dues: list[Due] = field(default_factory=list)

    @property
    def first(self) -> Due | None:
        return self.dues[0] if self.dues else None


def positions_of(rig: Rig) -> list[PositionFacts]:
    """Every position of the rig, in flow order, in three queries."""
    fitted = {
        each.position_id: each.component
        for each in Installation.objects.filter(
            position__rig=rig, removed_at__isnull=True
        ).select_related("component__type__kind")
    }
    dues: dict[int, list[Due]] = {}
    rows = Due.objects.for_due_list().filter(rig=rig)
    if rig.is_laid_up:
        rows = Due.objects.filter(rig=rig).select_related(
            "rig", "position__kind", "component__type__kind", "version__service"
        )
    for row in rows.order_by("due_date", "pk"):
        dues.setdefault(row.component_id, []).append(row)
    facts = []
    for position in rig.positions.select_related("kind").order_by("order"):
        component = fitted.get(position.pk)
        facts.append(
            PositionFacts(position, component, first_to_fall(dues.get(component.pk, [])))
            if component
            else PositionFacts(position, None)
        )
    return facts


def first_to_fall(dues: Iterable[Due]) -> list[Due]:
    """Past tolerance, then past due, then by date."""
    return sorted(
        dues, key=lambda due: (not due.is_past_tolerance, not due.is_past_due, due.due_date, due.pk)
    )


def tape_fractions(due: Due, *, today: date) -> tuple[float, float]:
    """Where now and the due line stand on a tape of interval × (1 + tolerance), 0 to 1."""
    length = float(due.interval * (1 + due.tolerance))
    life = float(words.life_now(due, today=today))
    length = max(length, life)
    return min(life / length, 1.0), min(float(due.interval) / length, 1.0)


def worst_state(dues: Iterable[Due], *, today: date, warning_days: int) -> str:
    """The gravest state of some due rows; clear when there are none."""
    order = (due_math.OVERDUE, due_math.DUE, due_math.SOON, due_math.CLEAR)
    states = {due.state(today=today, warning_days=warning_days) for due in dues}
    return next((state for state in order if state in states), due_math.CLEAR)
