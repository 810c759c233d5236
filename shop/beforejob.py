"""What must be done on a rig before it leaves, and what may fall due before it is back."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.text import capfirst

from equipment.due import DAYS
from equipment.models import Due
from shop import duelist, kits, odds, words
from shop.models import ServiceSheet, SheetPart, Shop
from shop.whereabouts import ONE_DAY, Whereabouts

#: Below this a row only counts among the rest. [tenths of 1 %]
LEAST_PERMILLE = 10
#: From here on it is ticked when the page opens: as likely as not. [tenths of 1 %]
TICKED_PERMILLE = 500
#: Why rows fall due, as their groups are headed.
ALREADY, BY_USE, CERTAIN = "Already due", "By use", "By the calendar"
#: Longer than any job. [d]
MOST_DAYS = 3_660


@dataclass(frozen=True, slots=True)
class Row:
    """One service that may fall due by the day asked for.

    odds, late: of falling due and of passing its tolerance by then, in words; empty: not known.
    band: its 10–90 % days or why it falls then. again: that it comes round while the rig is away
    though it be done before. includes: the smaller services done with it. kit: None for what is on
    a sheet; short: what that sheet waits for. is_ticked: likelier than not, and on no sheet.
    """

    due: Due
    place: str
    odds: str
    late: str
    date: str
    band: str
    again: str
    includes: tuple[str, ...]
    put_off: str
    kit: kits.Kit | None
    sheet: ServiceSheet | None
    short: str
    is_ticked: bool


@dataclass(frozen=True, slots=True)
class Group:
    """Rows that fall due for one reason, and what it is."""

    caption: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class BeforeJob:
    """The answer for one rig: a heading, a sentence, the rows by why they fall due.

    until: the day asked for, itself not counted. rest: services of this rig that will hardly fall
    due by then; undated: of which nothing tells when. What a bigger service stands for is in
    neither.
    """

    heading: str
    until: date
    summary: str
    groups: tuple[Group, ...]
    rest: int
    undated: int

    @property
    def rows(self) -> tuple[Row, ...]:
        return tuple(row for group in self.groups for row in group.rows)

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
    smaller = duelist.folded(own, folded_to=until - ONE_DAY)
    put_off = duelist.put_off_words(own, today=today)
    short = _short_on(sheets)
    rows = []
    for odds_due, due in found:
        key = due.component_id, due.version_id
        chances_of, position = chances.get(due.pk), due.position
        rows.append(
            Row(
                due=due,
                place=f"{position.order} {capfirst(position.kind.name)}" if position else "",
                odds=odds.text_of(due, chances_of, today=today),
                late=odds.late_text_of(due, chances_of, today=today),
                date=words.date_text(due, today=today),
                band=words.date_note(due, today=today),
                again=_again(due, place, until=until),
                includes=smaller.get(due.pk, ()),
                put_off=put_off.get((due.component_id, due.version.service_id), "")
                if due.postponed_to
                else "",
                kit=kit_of.get(due.pk),
                sheet=sheets.get(key),
                short="; ".join(short.get(key, ())),
                is_ticked=key not in sheets and odds_due >= TICKED_PERMILLE,
            )
        )
    groups = _grouped(rows, today=today)
    undated = sum(not words.has_date(due) for due in own)
    likely = {due.pk for odds_due, due in found if odds_due >= TICKED_PERMILLE}
    return BeforeJob(
        heading=_heading(place, asked=asked, until=until, today=today),
        until=until,
        summary=_summary(groups, likely, until=until, today=today),
        groups=groups,
        rest=len(own) - len(rows) - undated,
        undated=undated,
    )


def _grouped(rows: Sequence[Row], *, today: date) -> tuple[Group, ...]:
    """What is due, what its use may bring by odds, what the calendar brings by date.

    Most of what falls due in some weeks only counts days, and is certain: apart from it, the few
    that are in doubt are seen.
    """
    already = [row for row in rows if odds.is_known_due(row.due, today=today)]
    coming = [row for row in rows if not odds.is_known_due(row.due, today=today)]
    by_use = [row for row in coming if not words.is_certain(row.due)]
    certain = [row for row in coming if words.is_certain(row.due)]
    certain.sort(key=lambda row: (row.due.due_date, row.due.pk))
    groups = ((ALREADY, already), (BY_USE, by_use), (CERTAIN, certain))
    return tuple(Group(caption, tuple(found)) for caption, found in groups if found)


def _short_on(sheets: Mapping[tuple[int, int], ServiceSheet]) -> dict[tuple[int, int], list[str]]:
    """The parts that open sheets wait for, by component and version of the line they are for."""
    found: dict[tuple[int, int], list[str]] = {}
    waiting = SheetPart.objects.filter(
        sheet__in=set(sheets.values()), short_steps__gt=0, line__version__isnull=False
    )
    for component, version, name in waiting.order_by("part__number", "pk").values_list(
        "line__component", "line__version", "part__name"
    ):
        found.setdefault((component, version), []).append(name)
    return found


def _again(due: Due, place: Whereabouts, *, until: date) -> str:
    """Said of what counts fewer days than the rig is away: done before, it falls due again."""
    leaves = place.leaves_on
    if due.measure != DAYS or leaves is None or leaves >= until:
        return ""
    days = int(due.interval)
    is_again = leaves + timedelta(days=min(days, MOST_DAYS)) < until
    return f"every {days} d, so again while it is away" if is_again else ""


def permille(due: Due, chance: odds.Chance | None, *, today: date) -> int:
    """The odds that it has fallen due by then, to sort and choose by. [tenths of 1 %]"""
    if odds.is_known_due(due, today=today):
        return 1000
    return chance.due if chance else 0


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


def _summary(groups: Sequence[Group], likely: Collection[int], *, until: date, today: date) -> str:
    """ "Before 22 Dec: 2 already due, 11 by the calendar. Short: hose seal set."."""
    day = words.day(until, today=today)
    if not groups:
        return f"Nothing is likely to fall due before {day}."
    of = {group.caption: group.rows for group in groups}
    by_use = of.get(BY_USE, ())
    likely_by_use = sum(row.due.pk in likely for row in by_use)
    unlikely = len(by_use) - likely_by_use
    said = [
        f"{len(of[ALREADY])} already due" if ALREADY in of else "",
        f"{likely_by_use} by use likelier than not" if likely_by_use else "",
        f"{unlikely} by use less likely" if unlikely else "",
        f"{len(of[CERTAIN])} by the calendar" if CERTAIN in of else "",
    ]
    rows = [row for group in groups for row in group.rows]
    missing = [row.short for row in rows if row.short]
    missing += [row.kit.short_text for row in rows if row.kit and row.kit.is_short]
    stock = f"Short: {'; '.join(dict.fromkeys(missing))}." if missing else "All kits are here."
    return f"Before {day}: {', '.join(filter(None, said))}. {stock}"
