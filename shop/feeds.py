"""What lies in a person's calendar feed: services that fall due, jobs and stays, sheets.

A calendar shows what lies on a day, so each thing needs one:

- A service lies on the day it falls due by the middle forecast. All services of one rig on one day
  are one entry, or a fleet would flood the calendar.
- What is due or overdue lies on the day of the fetch, and moves on with it: nobody looks up what a
  calendar has in the past. So does an open sheet whose planned day is over.
- A job is one entry over its days, and so is the stay in the shop between two jobs.

Entries begin PAST before the day of the fetch (jobs) and end AHEAD after it. A feed shows nothing
that the pages would not show to its person: their role is asked at each fetch.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Any, Final
from uuid import UUID, uuid5

from django.db.models import F, Prefetch
from django.urls import reverse
from django.utils.text import capfirst

from equipment import due as due_math
from equipment.models import Due, JobBooking, Rig, Skill
from shop import duelist, links, odds, rigview, words
from shop.access import may
from shop.duelist import ListedDue
from shop.ical import Entry
from shop.models import CalendarFeed, Person, ServiceSheet, SheetLine, Shop
from shop.whereabouts import ONE_DAY

PAST: Final = timedelta(days=30)
AHEAD: Final = timedelta(days=180)
#: No more rows of a kind are read: a calendar of a day's length serves nobody.
MOST: Final = 2000
#: So many services are named in the entry of a job or a sheet; the rest are counted.
NAMED: Final = 10
#: Entries are named in here (RFC 4122, 4.3), so that a thing has one name at every fetch.
_NAMESPACE: Final = UUID("0d5e6c9e-4f0b-4b57-9b1e-6a4f7d0c2a51")

DUE, JOBS, SHEETS = "Due", "Jobs", "Sheets"


@dataclass(frozen=True, slots=True)
class _Reader:
    """Whose calendar it is, on which day, and how a page is addressed from outside."""

    person: Person
    shop: Shop
    today: date
    site: str

    @property
    def until(self) -> date:
        return self.today + AHEAD

    def uid(self, kind: str, *key: object) -> str:
        """A name that is the same at every fetch and in no other shop or calendar."""
        begun = self.shop.created_at.timestamp()
        return str(uuid5(_NAMESPACE, " ".join(map(str, (begun, self.person.pk, kind, *key)))))

    def link(self, view_name: str, *args: object, query: str = "") -> str:
        """The whole address of a page; empty where the person has no business there."""
        path = links.address(self.person, view_name, *args)
        return f"{self.site}{path}{query}" if path else ""

    def day(self, value: date) -> str:
        return words.day(value, today=self.today)


def entries_of(
    feed: CalendarFeed, *, rigs: Sequence[Rig], today: date, shop: Shop, site: str
) -> list[Entry]:
    """Return the entries of a feed for a day, in so many queries whatever the fleet.

    rigs: those the feed is for; none: all. site: scheme and host of our pages, without a slash at
    its end.
    """
    reader = _Reader(feed.person, shop, today, site)
    dues: list[ListedDue] = []
    found: list[Entry] = []
    if feed.services != CalendarFeed.Services.NONE and may(reader.person, "shop:due"):
        dues = _dues(feed, rigs, reader)
        found += _due_entries(dues, reader)
    if feed.has_jobs and may(reader.person, "shop:jobs"):
        found += _job_entries(_bookings(rigs, reader), dues, reader)
    if feed.sheets != CalendarFeed.Sheets.NONE and may(reader.person, "shop:sheets"):
        found += [_sheet_entry(sheet, reader) for sheet in _sheets(feed, rigs, reader)]
    return found


def skills_of(person: Person) -> tuple[str, ...]:
    """Whose work a person may do: an electrician's only with a licence, an outside firm's never."""
    own = (Skill.OPERATOR, Skill.TECHNICIAN)
    return (*own, Skill.ELECTRICIAN) if person.is_electrician else own


# --- services that fall due ------------------------------------------------------------------


def _dues(feed: CalendarFeed, rigs: Sequence[Rig], reader: _Reader) -> list[ListedDue]:
    """The due rows of a feed by date, one more than MOST where there are more."""
    rows = Due.objects.listed().filter(due_date__lte=reader.until)
    if rigs:
        rows = rows.filter(rig_number__in=[rig.number for rig in rigs])
    if feed.services == CalendarFeed.Services.MINE:
        # The bigger service may need another skill, so that nothing stands for the smaller one.
        rows = rows.filter(skill__in=skills_of(reader.person))
    else:
        # Each day of a calendar is a list up to that day: there the bigger stands for both.
        rows = rows.filter(bigger_date__gt=F("due_date")).filter(bigger_date__gt=reader.today)
    return duelist.fetch(rows, most=MOST + 1)


def _due_entries(dues: Sequence[ListedDue], reader: _Reader) -> Iterator[Entry]:
    put_off = duelist.put_off_words(dues[:MOST], today=reader.today)

    def place(due: ListedDue) -> tuple[date, int]:
        return max(due.due_date, reader.today), due.rig_number

    for (day, number), group in groupby(sorted(dues[:MOST], key=place), key=place):
        rows = list(group)
        is_now = day == reader.today
        states = [
            words.state_of(due, today=reader.today, warning_days=reader.shop.warning_days)
            for due in rows
        ]
        said = [
            _said(due, state, put_off.get((due.component_id, due.service_id), ""), reader)
            for due, state in zip(rows, states, strict=True)
        ]
        component = ""
        if len(rows) == 1:
            component = reader.link("equipment:component", rows[0].tag)
        listed = reader.link("shop:due", query=f"?rig={number}&before=all")
        yield Entry(
            uid=reader.uid("due now" if is_now else "due", number, "" if is_now else day),
            first=day,
            last=day,
            title=_due_title(number, rows, states, is_now=is_now),
            text="\n\n".join([*said, "\n".join(filter(None, [component, listed]))]).strip(),
            url=component or listed,
            category=DUE,
        )
    if len(dues) > MOST:
        yield _cut(place(dues[MOST])[0], reader)


def _due_title(
    number: int, rows: Sequence[ListedDue], states: Sequence[str], *, is_now: bool
) -> str:
    """ "Rig 04 falls due: Pump A, packing", "Rig 04: 3 services are due, 1 of them overdue"."""
    rig = f"Rig {number:02d}"
    if len(rows) == 1:
        verb = words.STATE_WORDS[states[0]] if is_now else "falls due"
        return f"{rig} {verb}: {capfirst(rows[0].what)}"
    if not is_now:
        return f"{rig}: {len(rows)} services fall due"
    late = states.count(due_math.OVERDUE)
    if late == len(rows):
        return f"{rig}: {len(rows)} services are overdue"
    of_them = f", {late} of them overdue" if late else ""
    return f"{rig}: {len(rows)} services are due{of_them}"


def _said(due: ListedDue, state: str, put_off: str, reader: _Reader) -> str:
    """One service in a few lines: what, when, how sure, how far it has come."""
    today = reader.today
    _, word = rigview.shown_state(
        due,
        today=today,
        warning_days=reader.shop.warning_days,
        unread_days=reader.shop.unread_days,
    )
    not_read = f", {word}" if word.startswith("not read") else ""
    lines = [
        capfirst(due.what),
        _falls(due, state, today=today),
        _odds(due, today=today),
        f"{words.life_text(due, today=today)}{not_read}",
        put_off,
    ]
    return "\n".join(line for line in lines if line)


def _falls(due: ListedDue, state: str, *, today: date) -> str:
    """ "falls due about 5 Dec (3 – 8 Dec)", "overdue: was due 20 Nov, 12 h past"."""
    date_text = words.date_text(due, today=today)
    if state == due_math.DUE and due.due_date == today:
        return "falls due today"
    if state in (due_math.DUE, due_math.OVERDUE):
        said = f"{words.STATE_WORDS[state]}: was due {date_text}"
        note = words.date_note(due, today=today)
        return f"{said}, {note}" if note else said
    if words.is_brought_forward(due):
        return f"falls due {date_text}, {words.date_note(due, today=today)}"
    band = words.band_text(due, today=today)
    return f"falls due {date_text} ({band})" if band else f"falls due {date_text}"


def _odds(due: ListedDue, *, today: date) -> str:
    """ "odds of falling due: 63 % by 14 Dec, its next stay; past its tolerance: 4 % by 14 Dec".

    Where the day itself is certain, only its tolerance is left to tell; where that is past, too,
    the state says it.
    """
    if odds.is_known_late(due, today=today):
        return ""
    shown = odds.said(due, odds.kept(due), today=today)
    falling = ""
    if shown.by_text and not words.is_certain(due):
        falling = f"odds of falling due: {shown.text} {shown.by_text}, its next stay"
    return "; ".join(filter(None, [falling, shown.late_text]))


def _cut(day: date, reader: _Reader) -> Entry:
    """What stands where a calendar ends before its time."""
    page = f"{reader.site}{reverse('shop:calendar')}"
    return Entry(
        uid=reader.uid("cut"),
        first=day,
        last=day,
        title="More falls due from here on",
        text=f"This calendar ends with the first {MOST:,} services. Choose fewer rigs for it:\n"
        f"{page}",
        url=page,
        category=DUE,
    )


# --- jobs, and the stays between them --------------------------------------------------------


def _bookings(rigs: Sequence[Rig], reader: _Reader) -> list[JobBooking]:
    """The jobs of a feed by rig and day; a laid-up rig goes to none."""
    rows = JobBooking.objects.filter(
        last_day__gte=reader.today - PAST, first_day__lte=reader.until, rig__is_laid_up=False
    )
    if rigs:
        rows = rows.filter(rig__in=rigs)
    return list(rows.select_related("rig").order_by("rig__number", "first_day", "pk")[:MOST])


def _job_entries(
    bookings: Sequence[JobBooking], dues: Iterable[ListedDue], reader: _Reader
) -> Iterator[Entry]:
    dues_of: dict[int, list[ListedDue]] = {}
    for due in dues:
        dues_of.setdefault(due.rig_id, []).append(due)
    for rig, group in groupby(bookings, key=lambda booking: booking.rig):
        jobs = list(group)
        for job in jobs:
            yield _job_entry(job, dues_of.get(rig.pk, ()), reader)
        yield from _stays(rig, jobs, reader)


def _job_entry(job: JobBooking, dues: Iterable[ListedDue], reader: _Reader) -> Entry:
    rig = job.rig
    falling = [
        f"{capfirst(due.what)}, {words.date_text(due, today=reader.today)}"
        for due in dues
        if max(job.first_day, reader.today + ONE_DAY) <= due.due_date <= job.last_day
    ]
    lines = [
        f"{rig} is away {_span(job.first_day, job.last_day, reader)}.",
        *(["", "Falls due while away:", *_named(falling)] if falling else []),
    ]
    return _rig_entry(
        reader,
        rig,
        reader.uid("job", job.pk),
        days=(job.first_day, job.last_day),
        title=f"Rig {rig.number:02d} away: {job.job}",
        lines=lines,
    )


def _stays(rig: Rig, jobs: Sequence[JobBooking], reader: _Reader) -> Iterator[Entry]:
    """The free days behind each job of a rig, up to the next one; the last only as it begins."""
    # Jobs never overlap (equipment.services.bookings), so that each ends before the next begins.
    for job, following in zip(jobs, [*jobs[1:], None], strict=True):
        first = job.last_day + ONE_DAY
        last = following.first_day - ONE_DAY if following else first
        if not reader.today - PAST <= first <= min(last, reader.until):
            continue
        if following:
            title = f"Rig {rig.number:02d} in the shop"
            then = f"Leaves {reader.day(following.first_day)} for {following.job}."
        else:
            title = f"Rig {rig.number:02d} comes in"
            then = f"No job is booked after that, up to {reader.day(reader.until)}."
        yield _rig_entry(
            reader,
            rig,
            reader.uid("stay", job.pk),
            days=(first, last),
            title=title,
            lines=[f"{rig} comes from {job.job}.", then],
        )


def _rig_entry(
    reader: _Reader, rig: Rig, uid: str, *, days: tuple[date, date], title: str, lines: list[str]
) -> Entry:
    url = reader.link("shop:rig", rig.number)
    text = "\n".join([*lines, "", url]).strip()
    return Entry(uid, *days, title=title, text=text, url=url, category=JOBS)


def _span(first: date, last: date, reader: _Reader) -> str:
    return words.between(first, last, today=reader.today)


def _named(lines: Sequence[str]) -> list[str]:
    rest = len(lines) - NAMED
    return [*lines[:NAMED], f"and {rest} more"] if rest > 0 else list(lines)


# --- sheets ----------------------------------------------------------------------------------


def _sheets(feed: CalendarFeed, rigs: Sequence[Rig], reader: _Reader) -> list[ServiceSheet]:
    """The open sheets of a feed by planned day."""
    rows: Any = ServiceSheet.objects.open().filter(planned_on__lte=reader.until)
    if rigs:
        # A sheet for a component on the bench belongs to the rig it was pulled from.
        rows = rows.filter(charged_rig__in=rigs)
    if feed.sheets == CalendarFeed.Sheets.MINE:
        rows = rows.filter(technician=reader.person)
    lines = SheetLine.objects.select_related(
        "version__service", "finding", "position__kind", "component__type__kind"
    ).order_by("order")
    return list(
        rows.select_related("rig", "component__type__kind", "technician")
        .prefetch_related(Prefetch("lines", queryset=lines))
        .order_by("planned_on", "number")[:MOST]
    )


def _sheet_entry(sheet: ServiceSheet, reader: _Reader) -> Entry:
    day = max(sheet.planned_on, reader.today)
    subject = f"rig {sheet.rig}" if sheet.rig else str(sheet.component)
    is_past = sheet.planned_on < reader.today
    state = sheet.get_state_display()
    if sheet.technician and sheet.state != ServiceSheet.State.DRAFTED:
        state = f"{state}, {sheet.technician}"
    marks = [
        f"planned for {reader.day(sheet.planned_on)}",
        state,
        "waiting for parts" if sheet.is_waiting_for_parts else "",
    ]
    url = reader.link("shop:sheet", sheet.number)
    lines = [
        "; ".join(filter(None, marks)),
        *_named([_line(line) for line in sheet.lines.all()]),
        "",
        url,
    ]
    return Entry(
        uid=reader.uid("sheet", sheet.number),
        first=day,
        last=day,
        title=f"Sheet {sheet}{' still open' if is_past else ''}: {subject}",
        text="\n".join(lines).strip(),
        url=url,
        category=SHEETS,
    )


def _line(line: SheetLine) -> str:
    """ "Pump A, packing and seals"."""
    if line.position:
        return f"{line.position.heading}, {line.title}"
    if line.component:
        return f"{capfirst(line.component.type.kind.name)}, {line.title}"
    return capfirst(line.title)
