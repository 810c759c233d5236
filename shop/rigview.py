"""What is in each position of a rig and what falls due there: for the page, the paper, Today."""

import functools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from django.db.models import Q, prefetch_related_objects
from django.utils.text import capfirst

from equipment import caldates
from equipment import due as due_math
from equipment.models import Component, Due, Finding, Installation, Measure, Position, Rig
from equipment.services import including
from shop import words
from shop.drawing.strip import StripPosition
from shop.drawing.tape import Tape

#: The tape under "How to read a tape".
EXAMPLE = Tape(
    unit="gallons",
    interval=100,
    tolerance=0.15,
    life=62,
    title="An example: 62 of 100 gallons since the last service, due in nineteen days; "
    "a smaller service was done at 25 and at 50 gallons and comes next at 75.",
    due_in_days=19,
    next_stay_days=7,
    notches=((25.0, True), (50.0, True), (75.0, False)),
)


#: What is told by its interval; the rest by its kind: "before the rig leaves for a job".
AT_INTERVAL = (*Measure.values, due_math.DAYS, due_math.MONTHS)


@dataclass(slots=True)
class PositionFacts:
    """One position in flow order: what is fitted, and its due rows, the first to fall first."""

    position: Position
    component: Component | None
    dues: list[Due] = field(default_factory=list)

    @property
    def first(self) -> Due | None:
        return self.dues[0] if self.dues else None


def positions_of(rig: Rig, *, today: date) -> list[PositionFacts]:
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
    for row in with_included(rows.order_by("due_date", "pk")):
        dues.setdefault(row.component_id, []).append(row)
    facts = []
    for position in rig.positions.select_related("kind").order_by("order"):
        component = fitted.get(position.pk)
        facts.append(
            PositionFacts(
                position, component, first_to_fall(dues.get(component.pk, []), today=today)
            )
            if component
            else PositionFacts(position, None)
        )
    return facts


def first_to_fall(dues: Iterable[Due], *, today: date) -> list[Due]:
    """Overdue, then due, then the rest, each by date."""
    return sorted(dues, key=lambda due: due.urgency(today=today))


def tape_fractions(due: Due, *, today: date) -> tuple[float, float]:
    """Where now and the due line stand on a tape of interval × (1 + tolerance), 0 to 1."""
    interval = words.interval_of(due)
    if interval is None:
        return 0.0, 1.0
    length = float(interval * (1 + due.tolerance))
    life = float(words.life_now(due, today=today))
    length = max(length, life)
    return min(life / length, 1.0), min(float(interval) / length, 1.0)


def worst_state(dues: Iterable[Due], *, today: date, warning_days: int) -> str:
    """The gravest state of some due rows; clear when there are none."""
    order = (due_math.OVERDUE, due_math.DUE, due_math.SOON, due_math.CLEAR)
    states = {due.state(today=today, warning_days=warning_days) for due in dues}
    return next((state for state in order if state in states), due_math.CLEAR)


def shown_state(
    due: words.DueFigures, *, today: date, warning_days: int, unread_days: int
) -> tuple[str, str]:
    """The tag of a due row: its kind and its word.

    A figure nobody has read for longer than unread_days says that first, unless what was read is
    enough to call the service due.
    """
    state = words.state_of(due, today=today, warning_days=warning_days)
    old = due_math.days_between(due.read_on, today)
    if state in (due_math.CLEAR, due_math.SOON) and words.is_by_use(due) and old > unread_days:
        return "unread", f"not read {words.figure(old)} d"
    if state == due_math.CLEAR and due.due_date == due_math.FAR_DATE:
        return "none", "no date yet"
    return state, words.STATE_WORDS[state]


def tape_of(
    due: Due,
    *,
    today: date,
    warning_days: int,
    next_stay: date | None = None,
    beside: Iterable[Due] = (),
) -> Tape:
    """The wear tape of a due row; the services beside it that it includes are its notches."""
    return bare_tape(
        due,
        today=today,
        title=words.due_sentence(due, today=today, warning_days=warning_days, next_stay=next_stay),
        next_stay=next_stay,
        notches=_notches(due, beside, today=today),
    )


def bare_tape(
    due: words.DueFigures,
    *,
    today: date,
    title: str = "",
    next_stay: date | None = None,
    notches: tuple[tuple[float, bool], ...] = (),
) -> Tape:
    """The wear tape of some figures; without a title where the words beside it say the same."""
    life, interval = words.life_now(due, today=today), words.interval_of(due)
    by_use = words.is_by_use(due)
    never_read = by_use and due.rate_per_day is None and not life
    ahead = functools.partial(due_math.days_between, today)
    put_off = words.is_put_off(due) and due.due_date > today
    moved = put_off or words.is_brought_forward(due)
    own = interval
    if put_off and due.measure == due_math.MONTHS:
        # Where it would have fallen: the day it was put off to is not where its months end.
        planned = caldates.add_months(due.read_on, int(due.interval))
        own = Decimal(due_math.days_between(due.read_on, planned))
    return Tape(
        unit=words.LONG_UNITS[due.measure],
        interval=float(own or 1),
        tolerance=float(due.tolerance),
        life=None if never_read or interval is None else float(life),
        title=title,
        due_in_days=None if due.due_date == due_math.FAR_DATE else ahead(due.due_date),
        band_days=_band(due, today=today),
        next_stay_days=ahead(next_stay) if next_stay else None,
        calendar_only=words.is_certain(due) and (not by_use or moved),
        notches=notches,
        at_least=due.is_at_least,
        early=_early(due, own),
        rate=(float(due.rate_per_day or 0) if by_use else 1.0) if moved else None,
        put_off_in_days=ahead(due.due_date) if put_off else None,
        unread="no date yet" if interval is None else "no reading yet",
    )


def _band(due: words.DueFigures, *, today: date) -> tuple[float, float] | None:
    """Days from today to its 10 and 90 % days, where they are known and differ."""
    if not words.band_text(due, today=today):
        return None
    return due_math.days_between(today, due.due_10), due_math.days_between(today, due.due_90)


def _early(due: words.DueFigures, interval: Decimal | None) -> float:
    """How far before its due line it may be done, as a share of the blade up to there."""
    if words.is_by_use(due) or interval is None:
        return float(getattr(due, "early", 0))
    opens = getattr(due, "window_from", due_math.FAR_DATE)
    if due_math.FAR_DATE in (opens, due.due_date) or words.is_put_off(due):
        return 0.0
    return min(max(due_math.days_between(opens, due.due_date) / float(interval), 0.0), 1.0)


def with_included(dues: Iterable[Due]) -> list[Due]:
    """The rows with the smaller services of each read along, in one query for all."""
    rows = list(dues)
    prefetch_related_objects([row.version for row in rows], "includes")
    return rows


def _notches(due: Due, beside: Iterable[Due], *, today: date) -> tuple[tuple[float, bool], ...]:
    """Smaller services that it includes: where each was last done, and where it comes next."""
    others = {row.version.service_id: row for row in beside if row != due}

    def smaller(row: Due) -> list[Due]:
        services = row.version.includes.all()
        return [others[service.pk] for service in services if service.pk in others]

    life, own = words.life_now(due, today=today), words.interval_of(due)
    found: set[tuple[float, bool]] = set()
    for other in including.reached(due, smaller):
        interval = words.interval_of(other)
        if own is None or interval is None or not _same_blade(due, other):
            continue
        done = life - words.life_now(other, today=today)
        if done > 0:
            found.add((float(done), True))
        if life < done + interval < own:
            found.add((float(done + interval), False))
    return tuple(sorted(found))


def _same_blade(one: Due, other: Due) -> bool:
    """Whether both are told in one unit, so that one can be a notch in the other's tape."""
    return words.LONG_UNITS[one.measure] == words.LONG_UNITS[other.measure] and (
        due_math.IDLE not in (one.measure, other.measure)
    )


def strip_of(
    positions: Sequence[PositionFacts],
    *,
    today: date,
    warning_days: int,
    unread_days: int,
    next_stay: date | None,
    href: Callable[[Component], str],
) -> list[StripPosition]:
    """The positions as the rig strip draws them. href: where a component's own page is."""
    return [
        _strip_position(
            facts,
            today=today,
            warning_days=warning_days,
            unread_days=unread_days,
            next_stay=next_stay,
            href=href(facts.component) if facts.component else "",
        )
        for facts in positions
    ]


def _strip_position(
    facts: PositionFacts,
    *,
    today: date,
    warning_days: int,
    unread_days: int,
    next_stay: date | None,
    href: str,
) -> StripPosition:
    place, component, due = facts.position, facts.component, facts.first
    unit = words.LONG_UNITS[due.measure] if due else ""
    state, state_word = ("none", "")
    if due:
        state, state_word = shown_state(
            due, today=today, warning_days=warning_days, unread_days=unread_days
        )
    return StripPosition(
        order=place.order,
        name=capfirst(place.kind.name),
        side=place.side,
        tag=f"{place.order} · {component.tag}" if component else f"{place.order}",
        icon=place.kind.icon,
        flow=place.kind.flow,
        tape=tape_of(
            due,
            today=today,
            warning_days=warning_days,
            next_stay=next_stay,
            beside=facts.dues,
        )
        if due
        else None,
        service=due.version.service.name if due else "",
        at_text=_at_text(due, state, today=today) if due else "",
        state=state,
        state_word=state_word,
        date_text=words.date_text(due, today=today) if due else "",
        band_text=words.date_note(due, today=today) if due else "",
        href=href,
        fitted=component is not None,
        since_text=f"{words.day(due.renewed_at.date(), today=today)} · {unit}" if due else "",
    )


def _at_text(due: Due, state: str, *, today: date) -> str:
    """ "at 5,000 gallons"; "at least 4,310 of 5,000 gal" where the tape's figure is a bound."""
    if due.is_at_least:
        return words.life_text(due, today=today)
    if (interval := words.interval_of(due)) is None:
        return ""
    if due.measure not in AT_INTERVAL:
        return due.get_measure_display()
    return f"{words.AT[state]} {words.figure(interval)} {words.LONG_UNITS[due.measure]}"


def holds(rigs: Iterable[Rig]) -> dict[int, list[Finding]]:
    """The found work that holds each of these rigs, on the rig or on what is fitted in it."""
    numbers = {rig.pk for rig in rigs}
    fitted = dict(
        Installation.objects.filter(
            position__rig__in=numbers,
            removed_at__isnull=True,
            component__findings__closed_at__isnull=True,
            component__findings__is_grave=True,
        ).values_list("component", "position__rig")
    )
    found: dict[int, list[Finding]] = {}
    rows = Finding.objects.holding().filter(Q(rig__in=numbers) | Q(component__in=fitted))
    for row in rows.order_by("opened_at", "pk"):
        rig = fitted.get(row.component_id or 0) or row.rig_id
        if rig in numbers:
            found.setdefault(rig, []).append(row)
    return found
