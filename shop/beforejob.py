"""What must be done on a rig before it leaves, and what may fall due before it is back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.text import capfirst

from equipment.due import FAR_DATE
from equipment.models import Due
from shop import kits, words
from shop.models import ServiceSheet, SheetPart, Shop
from shop.whereabouts import Whereabouts

#: Below this a row only counts among the rest. [tenths of 1 %]
LEAST_PERMILLE = 10
#: From here on it is ticked when the page opens: as likely as not. [tenths of 1 %]
TICKED_PERMILLE = 500


@dataclass(frozen=True, slots=True)
class Row:
    """One service that may fall due by the day asked for.

    odds, late: of falling due and of passing its tolerance by then, in words; empty: not known.
    band: its 10–90 % days or why it falls then. kit: None for what is on a sheet.
    is_ticked: likelier than not, and on no sheet.
    """

    due: Due
    place: str
    odds: str
    late: str
    date: str
    band: str
    kit: kits.Kit | None
    sheet: ServiceSheet | None
    is_ticked: bool


@dataclass(frozen=True, slots=True)
class BeforeJob:
    """The answer for one rig: a heading, a sentence, the rows by odds.

    until: the day asked for. rest: services of this rig that will hardly fall due by then.
    """

    heading: str
    until: date
    summary: str
    rows: tuple[Row, ...]
    rest: int

    @property
    def may_draft(self) -> bool:
        return any(row.sheet is None for row in self.rows)


def before_job(
    dues: Sequence[Due],
    place: Whereabouts,
    *,
    asked: date | None,
    sheets: Mapping[tuple[int, int], ServiceSheet],
    today: date,
    shop: Shop,
) -> BeforeJob:
    """Return what falls due on a rig by its next stay, or by the day asked for.

    dues: the rows of one rig. asked: another day, after today. The odds are the kept ones for the
    next stay; for another day the 10, 50 and 90 % days say between which odds they lie.
    """
    until = asked or place.next_stay or today + timedelta(days=shop.warning_days)
    found = []
    for due in dues:
        chance = permille(due, until=until, today=today)
        if chance >= LEAST_PERMILLE and not _stands_for(due, until=until):
            found.append((chance, due))
    found.sort(key=lambda each: (-each[0], each[1].due_date, each[1].pk))
    # What is on a sheet is reserved or short there, and counts against what is free here.
    free = [due for _, due in found if (due.component_id, due.version_id) not in sheets]
    asked_kits = [(due.version.service_id, due.rig_id) for due in free]
    here = kits.stock_for(asked_kits, today=today).kits(asked_kits)
    kit_of = dict(zip((due.pk for due in free), here, strict=True))
    rows = tuple(
        _row(due, chance, kit_of.get(due.pk), sheets, until=until, today=today)
        for chance, due in found
    )
    waiting = SheetPart.objects.filter(
        sheet__in={row.sheet for row in rows if row.sheet}, short_steps__gt=0
    ).select_related("part")
    missing = [row.part.name for row in waiting.order_by("part__number", "pk")]
    missing += [row.kit.short_text for row in rows if row.kit and row.kit.is_short]
    return BeforeJob(
        heading=_heading(place, asked=asked, until=until, today=today),
        until=until,
        summary=_summary(rows, [chance for chance, _ in found], missing, until=until, today=today),
        rows=rows,
        rest=len(dues) - len(rows),
    )


def is_kept_for(due: Due, until: date) -> bool:
    """Whether the kept odds of a row are those for this day."""
    return due.stay_on == until != FAR_DATE


def permille(due: Due, *, until: date, today: date) -> int:
    """The odds that it falls due before a day, to sort and choose by. [tenths of 1 %]

    Kept for the next stay. For another day the least that its 10, 50 and 90 % days say.
    """
    if due.is_past_due or (words.is_certain(due) and due.due_date <= today):
        return 1000
    if words.is_certain(due):
        return 1000 if due.due_date < until else 0
    if is_kept_for(due, until):
        return due.odds_due_permille
    if _has_band(due):
        for day, least in ((due.due_90, 900), (due.due_date, 500), (due.due_10, 100)):
            if day < until:
                return least
        return 0
    return 500 if due.due_date < until else 0


def _has_band(due: Due) -> bool:
    return due.due_10 != FAR_DATE


def odds_words(due: Due, *, until: date, today: date) -> str:
    """ "63 %", "certain", "already due"; "50 to 90 %" for a day whose odds are not kept."""
    if due.is_past_due or (words.is_certain(due) and due.due_date <= today):
        return "already due"
    if words.is_certain(due):
        return "certain"
    if is_kept_for(due, until):
        return words.odds_text(due.odds_due_permille)
    if not _has_band(due):
        return "likelier than not"
    return words.odds_by_band(due, until, today=today)


def _late_words(due: Due, *, until: date, today: date) -> str:
    """The odds of passing its tolerance by then; empty where nothing tells them."""
    if due.is_past_tolerance or due.late_date < today:
        return "past it already"
    if words.is_certain(due) and not words.is_by_use(due):
        return "certain" if due.late_date < until else "no"
    return words.odds_text(due.odds_late_permille) if is_kept_for(due, until) else ""


def _stands_for(due: Due, *, until: date) -> bool:
    """Whether a bigger service that includes it falls due before then and stands for both."""
    return due.bigger_date < until


def _row(
    due: Due,
    chance: int,
    kit: kits.Kit | None,
    sheets: Mapping[tuple[int, int], ServiceSheet],
    *,
    until: date,
    today: date,
) -> Row:
    sheet = sheets.get((due.component_id, due.version_id))
    position = due.position
    return Row(
        due=due,
        place=f"{position.order} {capfirst(position.kind.name)}" if position else "",
        odds=odds_words(due, until=until, today=today),
        late=_late_words(due, until=until, today=today),
        date=words.date_text(due, today=today),
        band=words.date_note(due, today=today),
        kit=kit,
        sheet=sheet,
        is_ticked=sheet is None and chance >= TICKED_PERMILLE,
    )


def _heading(place: Whereabouts, *, asked: date | None, until: date, today: date) -> str:
    if asked is not None:
        return f"By {words.weekday(asked, today=today)}"
    if place.away is not None:
        return f"While it is away, back {words.weekday(until, today=today)}"
    if place.leaves_for is not None and place.leaves_on is not None:
        leaves = words.weekday(place.leaves_on, today=today)
        back = words.weekday(until, today=today)
        return f"Before it leaves {leaves} for {place.leaves_for.job}, back {back}"
    return f"By {words.weekday(until, today=today)}; no job is booked"


def _summary(
    rows: Sequence[Row],
    chances: Sequence[int],
    missing: Sequence[str],
    *,
    until: date,
    today: date,
) -> str:
    """ "2 already due, 3 more likely than not by 22 Dec. Short: hose seal set."."""
    day = words.day(until, today=today)
    if not rows:
        return f"Nothing is likely to fall due by {day}."
    already = sum(row.odds == "already due" for row in rows)
    likely = sum(chance >= TICKED_PERMILLE for chance in chances) - already
    parts = [
        f"{already} already due" if already else "",
        f"{likely} more likely than not by {day}" if likely else "",
        f"{len(rows) - already - likely} less likely" if len(rows) > already + likely else "",
    ]
    stock = f"Short: {'; '.join(dict.fromkeys(missing))}." if missing else "All kits are here."
    return f"{', '.join(part for part in parts if part)}. {stock}"
