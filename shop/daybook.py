"""What the coming days hold: the lanes of the fourteen days, and what comes into the shop."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Final

from equipment import due as due_math
from equipment.models import Due, Finding, JobBooking, Rig
from shop import kits, rigview, words
from shop.drawing.days import DAYS, DayBar, DayLane, DayMark
from shop.duelist import sheets_of
from shop.models import ServiceSheet, Shop
from shop.whereabouts import Whereabouts

WEEK: Final = timedelta(days=7)
#: How far "in the shop" reaches into its box. [d]
LABEL_DAYS: Final = 1.4


@dataclass(slots=True)
class Coming:
    """A rig with services to do: those due, their kits and the sheets they are on already."""

    rig: Rig
    place: Whereabouts
    lane: DayLane
    services: list["ComingService"] = field(default_factory=list)
    sheets: list[ServiceSheet] = field(default_factory=list)
    holds: list[Finding] = field(default_factory=list)

    @property
    def picks(self) -> list[int]:
        """What a sheet drafted now would take."""
        return [each.due.pk for each in self.services if each.sheet is None]

    @property
    def kits_needed(self) -> int:
        return sum(each.kit.is_needed for each in self.services if each.sheet is None)

    @property
    def kits_here(self) -> int:
        return sum(
            each.kit.is_needed and not each.kit.is_short
            for each in self.services
            if each.sheet is None
        )

    @property
    def short_text(self) -> str:
        kits_open = [each.kit for each in self.services if each.sheet is None]
        names = (part.name for kit in kits_open for part, _steps in kit.short)
        return "; ".join(dict.fromkeys(names))

    @property
    def is_overdue(self) -> bool:
        return any(each.state == due_math.OVERDUE for each in self.services)


@dataclass(frozen=True, slots=True)
class ComingService:
    """A service of a rig that comes in."""

    due: Due
    kit: kits.Kit
    sheet: ServiceSheet | None
    state: str
    word: str
    life: str
    #: "63 % before its next stay, 21 Dec"; empty where its day is known or no stay is.
    odds: str


def first_day(today: date) -> date:
    """The rule begins on the Monday of this week."""
    return today - timedelta(days=today.weekday())


def lanes(
    rigs: Sequence[Rig],
    bookings: Mapping[int, Sequence[JobBooking]],
    dues: Iterable[Due],
    waiting: Mapping[int, ServiceSheet],
    *,
    today: date,
    start: date | None = None,
) -> dict[int, DayLane]:
    """Return each rig's lane on the rule of fourteen days.

    dues: those whose date lies on the rule. waiting: the sheet a rig in the shop waits on for
    parts, by rig. start: the first day of the rule; None for the Monday of this week.
    """
    start = start or first_day(today)
    by_rig: dict[int, list[Due]] = {}
    for due in dues:
        by_rig.setdefault(due.rig_id or 0, []).append(due)
    return {
        rig.pk: _lane(
            rig, bookings.get(rig.pk, ()), by_rig.get(rig.pk, []), waiting.get(rig.pk), start, today
        )
        for rig in rigs
    }


def _lane(
    rig: Rig,
    bookings: Sequence[JobBooking],
    dues: list[Due],
    waiting: ServiceSheet | None,
    start: date,
    today: date,
) -> DayLane:
    jobs = [
        ((each.first_day - start).days, (each.last_day - start).days + 1, each.job)
        for each in bookings
        if each.last_day >= start and (each.first_day - start).days < DAYS
    ]
    bars = [DayBar(first, last, "away", job) for first, last, job in jobs]
    now = (today - start).days
    at = 0
    for first, last in [*((first, last) for first, last, _ in jobs), (DAYS, DAYS)]:
        if first > at:
            stands = waiting is not None and at <= now < first
            label = f"waiting for parts, sheet {waiting}" if stands else "in the shop"
            bars.append(DayBar(at, min(first, DAYS), "bench" if stands else "shop", label))
        at = max(at, last)
    marks: list[DayMark] = []
    for due in (due for due in dues if due.due_date >= today):
        day = (due.due_date - start).days
        away = any(first <= day < last for first, last, _ in jobs)
        label = due.version.service.name
        if marks and marks[-1].day == day + 0.5:
            label = f"{marks.pop().label}, {label}"
        marks.append(DayMark(day + 0.5, label, away))
    # A diamond at the beginning of a box would stand on its words; the list below has them too.
    bars = [
        replace(bar, label="")
        if any(bar.start_day <= m.day < bar.start_day + LABEL_DAYS and not m.away for m in marks)
        else bar
        for bar in bars
    ]
    bars.sort(key=lambda bar: bar.start_day)
    return DayLane(number=rig.number, name=rig.name, bars=tuple(bars), marks=tuple(marks))


def _odds(due: Due, *, today: date) -> str:
    if due.stay_on == due_math.FAR_DATE or words.is_certain(due):
        return ""
    stay = words.day(due.stay_on, today=today)
    return f"{words.odds_text(due.odds_due_permille)} before its next stay, {stay}"


def coming(
    rigs: Mapping[int, Rig],
    places: Mapping[int, Whereabouts],
    lanes: Mapping[int, DayLane],
    dues: Sequence[Due],
    holds: Mapping[int, list[Finding]],
    open_sheets: Iterable[ServiceSheet],
    *,
    today: date,
    shop: Shop,
) -> list[Coming]:
    """Return the rigs that have something to do, the held first, then the gravest.

    dues: overdue, due and due soon, of these rigs. A rig without any stands here when it is held.
    open_sheets: of any rig; each stands with its rig.
    """
    sheets = sheets_of(dues)
    stock = kits.stock_for([(due.version.service_id, due.rig_id) for due in dues], today=today)
    found = {
        pk: Coming(rigs[pk], places[pk], lanes[pk], holds=holds[pk]) for pk in holds if pk in rigs
    }
    by_rig: dict[int, list[Due]] = {}
    for due in dues:
        if due.rig_id in rigs:
            by_rig.setdefault(due.rig_id or 0, []).append(due)
    for pk, rows in by_rig.items():
        each = found.setdefault(pk, Coming(rigs[pk], places[pk], lanes[pk]))
        ordered = rigview.first_to_fall(rows, today=today)
        together = stock.kits([(due.version.service_id, due.rig_id) for due in ordered])
        for due, kit in zip(ordered, together, strict=True):
            sheet = sheets.get((due.component_id, due.version_id))
            state, word = rigview.shown_state(
                due, today=today, warning_days=shop.warning_days, unread_days=shop.unread_days
            )
            life = words.life_text(due, today=today)
            odds = _odds(due, today=today)
            each.services.append(ComingService(due, kit, sheet, state, word, life, odds))
    for sheet in open_sheets:
        if sheet.rig_id in found:
            found[sheet.rig_id].sheets.append(sheet)
    return sorted(
        found.values(),
        key=lambda each: (not each.holds, not each.is_overdue, each.rig.number),
    )
