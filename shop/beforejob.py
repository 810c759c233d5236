"""What must be done on a rig before it leaves, and what may fall due before it is back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.text import capfirst

from equipment.models import Due
from shop import kits, odds, words
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

    until: the day asked for, itself not counted. rest: services of this rig that will hardly fall
    due by then; undated: of which nothing tells when. What a bigger service stands for is in
    neither.
    """

    heading: str
    until: date
    summary: str
    rows: tuple[Row, ...]
    rest: int
    undated: int

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
    """Return what falls due on a rig before its next stay, or before the day asked for.

    dues: the rows of one rig. asked: another day, after today.
    """
    until = asked or place.next_stay or today + timedelta(days=shop.warning_days)
    chances = odds.before(dues, until, zone=shop.zone)
    # A bigger service that falls due before then stands for what it includes.
    own = [due for due in dues if due.bigger_date >= until]
    found = [
        (chance, due)
        for due in own
        if (chance := permille(due, chances.get(due.pk), today=today)) >= LEAST_PERMILLE
    ]
    found.sort(key=lambda each: (-each[0], each[1].due_date, each[1].pk))
    # What is on a sheet is reserved or short there, and counts against what is free here.
    free = [due for _, due in found if (due.component_id, due.version_id) not in sheets]
    asked_kits = [(due.version.service_id, due.rig_id) for due in free]
    here = kits.stock_for(asked_kits, today=today).kits(asked_kits)
    kit_of = dict(zip((due.pk for due in free), here, strict=True))
    rows = tuple(
        _row(due, chance, chances.get(due.pk), kit_of.get(due.pk), sheets, today=today)
        for chance, due in found
    )
    undated = sum(not words.has_date(due) for due in own)
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
        rest=len(own) - len(rows) - undated,
        undated=undated,
    )


def permille(due: Due, chance: odds.Chance | None, *, today: date) -> int:
    """The odds that it has fallen due by then, to sort and choose by. [tenths of 1 %]"""
    if odds.is_known_due(due, today=today):
        return 1000
    return chance.due if chance else 0


def _row(
    due: Due,
    permille: int,
    chance: odds.Chance | None,
    kit: kits.Kit | None,
    sheets: Mapping[tuple[int, int], ServiceSheet],
    *,
    today: date,
) -> Row:
    sheet = sheets.get((due.component_id, due.version_id))
    position = due.position
    return Row(
        due=due,
        place=f"{position.order} {capfirst(position.kind.name)}" if position else "",
        odds=odds.text_of(due, chance, today=today),
        late=odds.late_text_of(due, chance, today=today),
        date=words.date_text(due, today=today),
        band=words.date_note(due, today=today),
        kit=kit,
        sheet=sheet,
        is_ticked=sheet is None and permille >= TICKED_PERMILLE,
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
