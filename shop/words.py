"""How figures and states are said, one way for the page, the paper and the screen reader."""

from datetime import date, datetime, tzinfo
from decimal import Decimal
from typing import Protocol
from zoneinfo import ZoneInfo

from django.utils.text import capfirst
from django.utils.translation import gettext, gettext_noop

from equipment import due as due_math
from equipment.counters import plain
from equipment.dates import MONTHS, WEEKDAYS
from equipment.models import Counter, Due

#: In English: drafted sheets keep them. `shop.spoken.own` says them in the language of a reader.
STATE_WORDS = {
    due_math.OVERDUE: gettext_noop("overdue"),
    due_math.DUE: gettext_noop("due"),
    due_math.SOON: gettext_noop("due soon"),
    due_math.CLEAR: "clear",
}
#: State and figures of a service when it was picked. use: as `life_text`.
STATE_TEXTS = {
    due_math.OVERDUE: gettext_noop("overdue, {use}"),
    due_math.DUE: gettext_noop("due, {use}"),
    due_math.SOON: gettext_noop("due soon, {use}"),
    due_math.CLEAR: gettext_noop("clear, {use}"),
}
FOUND_ON = gettext_noop("found {day}")
NOT_DONE_ON = gettext_noop("not done on sheet {number} after all")
LIFE = gettext_noop("{life} {unit}")
LIFE_OF = gettext_noop("{life} of {interval} {unit}")
AT_LEAST = gettext_noop("at least {use}")
MEASURED_TODAY = gettext_noop("measured today")
MEASURED_AGO = gettext_noop("measured {days} d ago")
NO_VALUE_PAST = gettext_noop("no value past its limit")
#: What a correction changed.
HOW_LONG = gettext_noop("How long the work took")
USED = gettext_noop("{used} used")
NONE_USED = gettext_noop("none used")
NOT_DONE = gettext_noop("not done, comes back")
#: Why a movement was undone by one.
BY_SHEET = gettext_noop("sheet {sheet}: {why}")
#: Why something on a sheet was refused, and waits for a manager.
SIGNED_BY = gettext_noop("Sheet {sheet} is signed by {who}; nothing on it changes.")
VOID_BY = gettext_noop("Sheet {sheet} is void by {who}; nothing on it changes.")
IS_VOID = gettext_noop("Sheet {sheet} is void; nothing on it changes.")
SIGNED_ALREADY = gettext_noop("Sheet {sheet} was signed by {who} as “{signature}” already.")
CHECKS_LOCKED = gettext_noop("The checks open when these are done: {named}.")
LOOK_AGAIN = gettext_noop("Pressure can come back. Before this, do again: {named}.")
DO_AGAIN = gettext_noop("Before this, do again: {named}.")
COMES_FIRST = gettext_noop("This comes first: {named}.")
LOCKS_OFF_FIRST = gettext_noop("Locks off comes first. Still missing: {named}.")
ELECTRICIAN_ENTERS = gettext_noop("“{title}” is for a licensed electrician: only one can enter it.")
ELECTRICIAN_SIGNS = gettext_noop("“{title}” is for a licensed electrician: only one signs for it.")
HERE = gettext_noop("Here: {people}.")
NO_SUCH_PART = gettext_noop("There is no part of the number “{part}”.")
LIES_NOWHERE = gettext_noop("None of {part} lies where this sheet may take from.")
PROMISED = gettext_noop("{quantity} of it in {place} is promised to others.")
MORE_THAN_USUAL = gettext_noop("More than usual: {counted} {since}. Is it right?")
LESS_THAN_USUAL = gettext_noop("Less than usual: {counted} {since}. Is it right?")
SINCE = gettext_noop("since {day}")
#: Why an entry cannot simply be taken as theirs who made it.
SIGNS_IN_NO_MORE = gettext_noop("{who} may no longer sign in.")
WORKS_NO_MORE = gettext_noop("{who} no longer works on sheets.")
OTHER_PASSWORD = gettext_noop("{who} has another password since this phone was signed in.")
NOT_SIGNED_IN = gettext_noop("{who} had not signed in on this phone for {days} days.")
#: Where the fault is ours; the log has the rest.
BROKE = gettext_noop("It could not be posted. Tell whoever looks after this installation.")
USED_NOT_SAID = gettext_noop("Say how much was used of: {parts}.")
USED_MORE = gettext_noop(
    "{part}: {used} used, but only {taken} in the tray of this sheet."
    " Take the rest to the tray first, or correct the figure."
)
#: Why a part or a reading of a sheet signed without signal waits for a manager.
TRAY_HELD = gettext_noop("The tray held {quantity}.")
NONE_IN_TRAY = gettext_noop("None was in the tray.")
NOBODY_SAID = gettext_noop("Nobody said how much was used; {quantity} in the tray went back.")
LOWER_THAN = gettext_noop("Lower than {previous}, read on {day}.")
#: What is asked before a signature.
NO_PART_USED = gettext_noop(
    "Marked as replaced, and no part is noted as used for it: {named}. Sign all the same?"
)
#: What is kept on a sheet in these words, to be read back by them.
COMPOSED = (
    *STATE_TEXTS.values(),
    FOUND_ON,
    NOT_DONE_ON,
    LIFE_OF,
    LIFE,
    AT_LEAST,
    MEASURED_AGO,
    USED_MORE,
    USED,
    BY_SHEET,
    SIGNED_BY,
    VOID_BY,
    IS_VOID,
    SIGNED_ALREADY,
    CHECKS_LOCKED,
    LOOK_AGAIN,
    DO_AGAIN,
    COMES_FIRST,
    LOCKS_OFF_FIRST,
    ELECTRICIAN_ENTERS,
    ELECTRICIAN_SIGNS,
    HERE,
    NO_SUCH_PART,
    LIES_NOWHERE,
    PROMISED,
    MORE_THAN_USUAL,
    LESS_THAN_USUAL,
    SIGNS_IN_NO_MORE,
    WORKS_NO_MORE,
    OTHER_PASSWORD,
    NOT_SIGNED_IN,
    USED_NOT_SAID,
    TRAY_HELD,
    NONE_IN_TRAY,
    NOBODY_SAID,
    LOWER_THAN,
)
#: How the interval is named beside its tape: "was due at 500 hours".
AT = {
    due_math.OVERDUE: "was due at",
    due_math.DUE: "was due at",
    due_math.SOON: "at",
    due_math.CLEAR: "at",
    "unread": "at",
    "none": "at",
}
#: What falls by the calendar and by what happens is told in days.
UNITS = {"hours": "h", "strokes": gettext_noop("strokes"), "gallons": "gal"} | dict.fromkeys(
    (*due_math.BY_THE_CALENDAR, due_math.VALUE), "d"
)
LONG_UNITS = {"hours": "hours", "strokes": "strokes", "gallons": "gallons"} | dict.fromkeys(
    (*due_math.BY_THE_CALENDAR, due_math.VALUE), "days"
)

#: Why there is no date yet.
NO_DATE = dict.fromkeys(UNITS, "no use is known") | {
    due_math.IDLE: "nothing was used yet",
    due_math.AFTER: "waits for the other service",
    due_math.JOB: "no job is booked",
    due_math.VALUE: "its measured value gives no date",
}


def figure(value: Decimal | float | int) -> str:
    """A number as people write it, without false digits: 12,480 or 60.2; minus is "−"."""
    number = Decimal(value) if not isinstance(value, float) else Decimal(str(value))
    places = 0 if abs(number) >= 100 else 1 if abs(number) >= 10 else 2
    return plain(round(number, places)).replace("-", "−")


def amount(value: Decimal, measure: str) -> str:
    """Use as a sentence says it: hours to a tenth, strokes, gallons and days whole."""
    places = 1 if measure == due_math.HOURS and abs(value) < 100 else 0
    return plain(round(value, places)).replace("-", "−")


def exactly(value: Decimal | None) -> str:
    """A number with every digit it was given."""
    return "" if value is None else plain(value).replace("-", "−")


def day(value: date, *, today: date) -> str:
    """ "25 Nov", with the year when it is not this one."""
    text = f"{value.day} {MONTHS[value.month - 1]}"
    return text if value.year == today.year else f"{text} {value.year}"


def whole_day(value: date) -> str:
    """ "Wed 25 Nov 2026": for what is kept."""
    return f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]} {value.year}"


def weekday(value: date, *, today: date) -> str:
    return f"{WEEKDAYS[value.weekday()]} {day(value, today=today)}"


def clock(value: datetime, *, zone: tzinfo, today: date) -> str:
    """ "06:40" or, of another day, "24 Nov 06:40", in the shop's zone."""
    local = value.astimezone(zone)
    if local.date() == today:
        return f"{local:%H:%M}"
    return f"{day(local.date(), today=today)} {local:%H:%M}"


def moment(value: datetime, *, zone: tzinfo, today: date) -> str:
    """ "today 06:40" or "24 Nov 06:40", in the shop's zone."""
    said = clock(value, zone=zone, today=today)
    is_today = value.astimezone(zone).date() == today
    return gettext("today {time}").format(time=said) if is_today else said


def dated(value: datetime, *, zone: ZoneInfo) -> str:
    """ "25 Nov 2026 08:39", in the shop's zone: for what is kept."""
    local = value.astimezone(zone)
    return f"{dated_day(local.date())} {local:%H:%M}"


def dated_day(value: date) -> str:
    """ "25 Nov 2026": for what is kept."""
    return f"{value.day} {MONTHS[value.month - 1]} {value.year}"


def counter_name(counter: Counter) -> str:
    """ "Generator, h"; "Strokes A" needs no unit behind it."""
    if counter.unit in counter.name.casefold():
        return gettext(counter.name)
    return f"{gettext(counter.name)}, {gettext(counter.unit)}"


def span(minutes: int) -> str:
    """A length of work: "4 h 18 min"."""
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


class DueFigures(Protocol):
    """The figures of a due row: a kept row itself, or the flat row of a list."""

    @property
    def measure(self) -> str: ...
    @property
    def interval(self) -> Decimal: ...
    @property
    def since(self) -> Decimal: ...
    @property
    def is_at_least(self) -> bool: ...
    @property
    def rate_per_day(self) -> Decimal | None: ...
    @property
    def read_on(self) -> date: ...
    @property
    def tolerance(self) -> Decimal: ...
    @property
    def due_date(self) -> date: ...
    @property
    def due_10(self) -> date: ...
    @property
    def due_90(self) -> date: ...
    @property
    def late_date(self) -> date: ...
    @property
    def is_past_due(self) -> bool: ...
    @property
    def is_past_tolerance(self) -> bool: ...
    @property
    def brought_on(self) -> date: ...
    @property
    def brought_because(self) -> str: ...
    @property
    def postponed_to(self) -> date | None: ...


def state_of(due: DueFigures, *, today: date, warning_days: int) -> str:
    """Return overdue, due, soon or clear: `equipment.due.state` of these figures."""
    return due_math.state(
        due_date=due.due_date,
        late_date=due.late_date,
        is_past_due=due.is_past_due,
        is_past_tolerance=due.is_past_tolerance,
        today=today,
        warning_days=warning_days,
    )


def is_by_use(due: DueFigures) -> bool:
    """Whether hours, strokes or gallons make it due."""
    return due.measure not in due_math.BY_THE_CALENDAR and due.measure != due_math.VALUE


def interval_of(due: DueFigures) -> Decimal | None:
    """From the last service to the due line, in the unit of the tape; None without a date.

    Use and days: the interval itself. Months, seasons, jobs and what follows something else: the
    days between the day counted from and the day due.
    """
    if is_by_use(due) or due.measure in (due_math.DAYS, due_math.IDLE):
        return due.interval
    if due.due_date == due_math.FAR_DATE:
        return None
    return Decimal(max(due_math.days_between(due.read_on, due.due_date), 1))


def life_now(due: DueFigures, *, today: date) -> Decimal:
    """Use since the last service in the unit of the tape; what is told in days runs to today."""
    if is_by_use(due):
        return due.since
    if due.measure == due_math.IDLE and due.due_date != due_math.FAR_DATE:
        # Days without use: a job yet to come moves their beginning, so they count from the end.
        waited = due.interval - due_math.days_between(today, due.due_date)
        return max(waited, Decimal(0))
    return Decimal(max(due_math.days_between(due.read_on, today), 0))


def life_text(due: DueFigures, *, today: date) -> str:
    """ "182 of 250 h"; "at least 182 of 250 h" where a reset hid some of it.

    Of a measured value: "measured 12 d ago", or that none gives a date.
    """
    if due.measure == due_math.VALUE:
        if due.due_date == due_math.FAR_DATE or is_brought_forward(due):
            return NO_VALUE_PAST
        ago = figure(life_now(due, today=today))
        return MEASURED_TODAY if ago == "0" else MEASURED_AGO.format(days=ago)
    life = amount(life_now(due, today=today), due.measure)
    interval = interval_of(due)
    if interval is None:
        return LIFE.format(life=life, unit=UNITS[due.measure])
    text = LIFE_OF.format(life=life, interval=figure(interval), unit=UNITS[due.measure])
    return AT_LEAST.format(use=text) if due.is_at_least else text


def past_text(due: DueFigures, *, today: date) -> str:
    """How far past the due line: "61 h past", "2 d into tolerance"; empty before it."""
    if due.measure == due_math.VALUE and due.is_past_due:
        return "past its limit"
    life, interval = life_now(due, today=today), interval_of(due)
    if interval is None or life < interval:
        return ""
    inside = life <= interval * (1 + due.tolerance)
    over = amount(life - interval, due.measure)
    if over == "0":
        return ""
    said = f"{over} {UNITS[due.measure]}"
    return f"{said} into tolerance" if inside and due.tolerance else f"{said} past"


def is_brought_forward(due: DueFigures) -> bool:
    """Whether it falls due because somebody wants it sooner, and not by its clocks."""
    return due.due_date == due.brought_on != due_math.FAR_DATE and not due.is_past_due


def is_put_off(due: DueFigures) -> bool:
    """Whether a person put it off to the day on which it now falls due."""
    return due.postponed_to == due.due_date != due_math.FAR_DATE


def has_date(due: DueFigures) -> bool:
    """Whether anything is known of when it falls due."""
    return due.due_date != due_math.FAR_DATE or due.due_10 != due_math.FAR_DATE


def is_certain(due: DueFigures) -> bool:
    """Whether its day is known and no forecast: by the calendar, by a person, or already read.

    By the calendar it is none where hours, strokes or gallons may make it fall on another day.
    """
    by_calendar = due.measure in due_math.BY_THE_CALENDAR
    return (
        (by_calendar and due.due_10 == due.due_date == due.due_90)
        or due.is_past_due
        or is_brought_forward(due)
        or is_put_off(due)
    )


def between(first: date, last: date, *, today: date, to: str = " – ") -> str:
    """ "3 – 8 Dec", "28 Nov – 3 Dec", "28 Dec – 3 Jan 2027"."""
    if first == last:
        return day(first, today=today)
    end = day(last, today=today)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}{to}{end}"
    return f"{day(first, today=today)}{to}{end}"


def band_text(due: DueFigures, *, today: date, to: str = " – ") -> str:
    """Its 10 and 90 % days, "3 – 8 Dec"; empty where the day is certain or no band is known."""
    first, last = due.due_10, due.due_90
    if is_certain(due) or first == due_math.FAR_DATE or first == last:
        return ""
    if last == due_math.FAR_DATE:
        return f"{day(first, today=today)} or later"
    return between(first, last, today=today, to=to)


def odds_text(permille: int, *, certain: bool = False, already: bool = False) -> str:
    """Odds of falling due as they are said, without the day.

    permille: tenths of a per cent, 0 to 1000. certain: its day is known, so that it is "certain"
    or "not"; already: it has fallen due. "over 99 %" and "under 1 %" stand for what rounding
    would make 100 and 0.
    """
    if already:
        return gettext("already due")
    if certain and permille in (0, 1000):
        return gettext("certain") if permille else gettext("not")
    if permille > 990:
        return gettext("over 99 %")
    if permille < 10:
        return gettext("under 1 %")
    return f"{(permille + 5) // 10} %"


def date_text(due: DueFigures, *, today: date) -> str:
    """ "about 13 Dec" by the rate of use, "4 Dec" by the calendar, "no date yet"."""
    if due.due_date == due_math.FAR_DATE:
        return gettext("no date yet")
    text = day(due.due_date, today=today)
    return text if is_certain(due) else gettext("about {day}").format(day=text)


def date_note(due: DueFigures, *, today: date) -> str:
    """What stands under the date: how far past it is, "fixed", "put off" or its 10–90 % days."""
    if is_put_off(due) and due.due_date > today:
        return "put off"
    if is_brought_forward(due):
        return f"brought forward: {due.brought_because}"
    if due.is_past_due or due.due_date <= today:
        if not is_certain(due):
            return "by its trend" if due.measure == due_math.VALUE else "by its usual use"
        if is_by_use(due) and not due.is_past_tolerance and due.late_date < today:
            return f"past tolerance since about {day(due.late_date, today=today)}"
        past = past_text(due, today=today)
        return past or ("today" if due.due_date == today else "")
    if due.due_date == due_math.FAR_DATE:
        return NO_DATE[due.measure]
    return "fixed" if is_certain(due) else band_text(due, today=today)


def due_sentence(due: Due, *, today: date, warning_days: int, next_stay: date | None = None) -> str:
    """The sentence of a wear tape, complete without the drawing."""
    name = f"{due.position.heading if due.position else capfirst(due.component.type.kind.name)}"
    life = life_text(due, today=today)
    if due.measure != due_math.VALUE:
        life = life.removesuffix(UNITS[due.measure]) + LONG_UNITS[due.measure]
        life += f" since {day(due.renewed_at.date(), today=today)}"
    parts = [f"{name}, {due.version.service.name}: {life}"]
    state = due.state(today=today, warning_days=warning_days)
    if due.due_date == due_math.FAR_DATE:
        parts.append(f"no date yet, {NO_DATE[due.measure]}")
    elif state in (due_math.CLEAR, due_math.SOON):
        said = f"falls due {date_text(due, today=today)}"
        if is_put_off(due):
            said = f"put off to {day(due.due_date, today=today)}"
        band = band_text(due, today=today, to=" to ")
        parts.append(f"{said}, {band}" if band else said)
    else:
        past = "" if due.due_date == today else f", {date_note(due, today=today)}"
        parts.append(f"was due {date_text(due, today=today)}{past}")
    if next_stay is not None:
        parts.append(f"next stay {day(next_stay, today=today)}")
    return "; ".join(part.rstrip(", ") for part in parts) + "."
