"""How figures and states are said, one way for the page, the paper and the screen reader."""

from datetime import date, datetime
from decimal import Decimal
from typing import Protocol
from zoneinfo import ZoneInfo

from django.utils.text import capfirst

from equipment import due as due_math
from equipment.counters import plain
from equipment.models import Counter, Due

STATE_WORDS = {
    due_math.OVERDUE: "overdue",
    due_math.DUE: "due",
    due_math.SOON: "due soon",
    due_math.CLEAR: "clear",
}
#: How the interval is named beside its tape: "was due at 500 hours".
AT = {
    due_math.OVERDUE: "was due at",
    due_math.DUE: "was due at",
    due_math.SOON: "at",
    due_math.CLEAR: "at",
    "unread": "at",
    "none": "at",
}
UNITS = {"hours": "h", "strokes": "strokes", "gallons": "gal", "days": "d"}
LONG_UNITS = {"hours": "hours", "strokes": "strokes", "gallons": "gallons", "days": "days"}


def figure(value: Decimal | float | int) -> str:
    """A number as people write it, without false digits: 12,480 or 60.2; minus is "−"."""
    number = Decimal(value) if not isinstance(value, float) else Decimal(str(value))
    places = 0 if abs(number) >= 100 else 1 if abs(number) >= 10 else 2
    return plain(round(number, places)).replace("-", "−")


def exactly(value: Decimal | None) -> str:
    """A number with every digit it was given."""
    return "" if value is None else plain(value).replace("-", "−")


def day(value: date, *, today: date) -> str:
    """ "25 Nov", with the year when it is not this one."""
    text = f"{value.day} {value:%b}"
    return text if value.year == today.year else f"{text} {value.year}"


def weekday(value: date, *, today: date) -> str:
    return f"{value:%a} {day(value, today=today)}"


def moment(value: datetime, *, zone: ZoneInfo, today: date) -> str:
    """ "today 06:40" or "24 Nov 06:40", in the shop's zone."""
    local = value.astimezone(zone)
    when = "today" if local.date() == today else day(local.date(), today=today)
    return f"{when} {local:%H:%M}"


def dated(value: datetime, *, zone: ZoneInfo) -> str:
    """ "25 Nov 2026 08:39", in the shop's zone: for what is kept."""
    local = value.astimezone(zone)
    return f"{local.day} {local:%b %Y %H:%M}"


def counter_name(counter: Counter) -> str:
    """ "Generator, h"; "Strokes A" needs no unit behind it."""
    says_it = counter.unit in counter.name.casefold()
    return counter.name if says_it else f"{counter.name}, {counter.unit}"


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
    def late_date(self) -> date: ...
    @property
    def is_past_due(self) -> bool: ...
    @property
    def is_past_tolerance(self) -> bool: ...
    @property
    def brought_on(self) -> date: ...
    @property
    def brought_because(self) -> str: ...


def life_now(due: DueFigures, *, today: date) -> Decimal:
    """Use since the last service in the trigger's own unit; days are counted to today."""
    if due.measure == due_math.DAYS:
        return Decimal(max(due_math.days_between(due.read_on, today), 0))
    return due.since


def life_text(due: DueFigures, *, today: date) -> str:
    """ "182 of 250 h"; "at least 182 of 250 h" where a reset hid some of it."""
    text = f"{figure(life_now(due, today=today))} of {figure(due.interval)} {UNITS[due.measure]}"
    return f"at least {text}" if due.is_at_least else text


def past_text(due: DueFigures, *, today: date) -> str:
    """How far past the due line: "61 h past", "2 d into tolerance"; empty before it."""
    over = life_now(due, today=today) - due.interval
    if over < 0:
        return ""
    inside = life_now(due, today=today) <= due.interval * (1 + due.tolerance)
    amount = f"{figure(over)} {UNITS[due.measure]}"
    return f"{amount} into tolerance" if inside and due.tolerance else f"{amount} past"


def is_brought_forward(due: DueFigures) -> bool:
    """Whether it falls due because somebody wants it sooner, and not by its clocks."""
    return due.due_date == due.brought_on != due_math.FAR_DATE and not due.is_past_due


def date_text(due: DueFigures, *, today: date) -> str:
    """ "about 13 Dec" by the rate of use, "4 Dec" by the calendar, "no date yet"."""
    if due.due_date == due_math.FAR_DATE:
        return "no date yet"
    text = day(due.due_date, today=today)
    certain = due.measure == due_math.DAYS or due.is_past_due or is_brought_forward(due)
    return text if certain else f"about {text}"


def date_note(due: DueFigures, *, today: date) -> str:
    """What stands under the date: how far past it is, "fixed", or nothing behind "about"."""
    if is_brought_forward(due):
        return f"brought forward: {due.brought_because}"
    if due.is_past_due or due.due_date <= today:
        if due.measure != due_math.DAYS and not due.is_past_due:
            return "by its usual use"
        if due.measure != due_math.DAYS and not due.is_past_tolerance and due.late_date < today:
            return f"past tolerance since about {day(due.late_date, today=today)}"
        past = past_text(due, today=today)
        return past or ("today" if due.due_date == today else "")
    if due.due_date == due_math.FAR_DATE:
        return "no use is known"
    return "fixed" if due.measure == due_math.DAYS else ""


def due_sentence(due: Due, *, today: date, warning_days: int) -> str:
    """The sentence of a wear tape, complete without the drawing."""
    name = f"{due.position.heading if due.position else capfirst(due.component.type.kind.name)}"
    parts = [
        f"{name}, {due.version.service.name}: {life_text(due, today=today)}"
        f" since {day(due.renewed_at.date(), today=today)}"
    ]
    state = due.state(today=today, warning_days=warning_days)
    if due.due_date == due_math.FAR_DATE:
        parts.append("no date yet, no use is known")
    elif state in (due_math.CLEAR, due_math.SOON):
        exact = due.measure == due_math.DAYS or is_brought_forward(due)
        parts.append(f"falls due {'' if exact else 'about '}{day(due.due_date, today=today)}")
    else:
        past = "" if due.due_date == today else f", {date_note(due, today=today)}"
        parts.append(f"was due {date_text(due, today=today)}{past}")
    return "; ".join(part.rstrip(", ") for part in parts) + "."
