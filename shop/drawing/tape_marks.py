"""What a wear tape measures: one blade from the last service to the end of tolerance.

Position on the blade = life since the last service × length ÷ (interval × (1 + tolerance)); past
tolerance the tape ends at now. Always the component's own unit, never a percentage. One edge is
the unit, the other is time, its dates set on the blade by the middle forecast.
"""

from __future__ import annotations

from dataclasses import dataclass

from shop.drawing.svg import life_figure, ticks_for

#: Weeks are ticked on the date edge up to this many days ahead, months beyond.
WEEKS_UNTIL = 75
MONTH = 365.25 / 12
LEAST_GAP = 4.0


@dataclass(frozen=True, slots=True)
class Tape:
    """What a tape measures.

    unit: the component's own, "gal", "hours", "days".
    interval: from one service to the next, > 0. [unit]
    tolerance: how far past the interval is still allowed, as a share of it, >= 0. [1]
    life: since the last service, >= 0, or None when nothing was ever read. [unit]
    title: the sentence that says all this in words; the same text stands beside the drawing.
    due_in_days: from today to the middle date, negative once past, None when no date is known.
    band_days: from today to the 10 % and the 90 % date; None where only the middle is known.
    next_stay_days: from today to the rig's next stay in the shop, >= 0, or None.
    calendar_only: the date is exact, so it is a diamond and has no band.
    notches: smaller services on the way, (at this life [unit], done).
    at_least: some of the life could not be seen, so that its figure is a lower bound.
    early: how far before the interval it may be done in time, as a share of it, 0 to 1. [1]
    rate: use a day where the due date does not tell it: put off, or wanted sooner. [unit / day]
    put_off_in_days: from today to the day that it was put off to, or None.
    unread: what a blade without a life says.
    """

    unit: str
    interval: float
    tolerance: float
    life: float | None
    title: str
    due_in_days: float | None = None
    band_days: tuple[float, float] | None = None
    next_stay_days: float | None = None
    calendar_only: bool = False
    notches: tuple[tuple[float, bool], ...] = ()
    at_least: bool = False
    early: float = 0.0
    rate: float | None = None
    put_off_in_days: float | None = None
    unread: str = "no reading yet"

    @property
    def life_words(self) -> str:
        """The life as its plate says it: "4,310", "≥ 4,310" where it is a lower bound."""
        words = life_figure(self.life or 0.0)
        return f"≥ {words}" if self.at_least else words

    def __post_init__(self) -> None:
        if not self.interval > 0:
            raise ValueError("a tape needs an interval above zero")
        if self.tolerance < 0 or (self.life is not None and self.life < 0):
            raise ValueError("a tape takes neither a tolerance nor a life below zero")
        if not 0 <= self.early <= 1:
            raise ValueError("an early tolerance is a share of the interval")


@dataclass(frozen=True, slots=True)
class Marks:
    """Where everything lies along a blade of a given length, from its beginning. [px]

    now, middle, band, stay: None where there is none. stay_off: the stay lies past the end.
    early: where it may be done from; the due line itself without an early tolerance.
    put_off: where the day lies that it was put off to, None where it was not.
    """

    length: float
    end: float
    due: float
    tolerance_end: float
    now: float | None
    past_tolerance: bool
    middle: float | None
    band: tuple[float, float] | None
    band_off: bool
    stay: float | None
    stay_off: bool
    ticks: tuple[tuple[float, int, float], ...]
    weeks: tuple[float, ...]
    notches: tuple[tuple[float, bool], ...]
    early: float
    put_off: float | None

    @property
    def falls(self) -> float:
        """Where the due line stands, put off or not; tolerance follows it. [px]"""
        return self.due if self.put_off is None else self.put_off


def rate_of(tape: Tape) -> float | None:
    """Return the use that the middle date implies, None when it does not tell. [unit / day]"""
    if tape.rate is not None:
        return tape.rate if tape.rate > 0 else None
    if tape.life is None or not tape.due_in_days:
        return None
    rate = (tape.interval - tape.life) / tape.due_in_days
    return rate if rate > 0 else None


def marks(tape: Tape, *, length: float) -> Marks:
    """Return the position of each mark on a blade `length` px long."""
    limit = tape.interval * (1 + tape.tolerance)
    life = tape.life
    rate = rate_of(tape)
    wait = tape.put_off_in_days
    put_off_at = None
    if life is not None and rate is not None and wait is not None and wait >= 0:
        # Never left of the interval: what was put off to a day before it is not put off.
        put_off_at = max(life + rate * wait, tape.interval)
    # A due date can be kept a shade past the figure it was reckoned from; a hair is not "past".
    past = life is not None and wait is None and life > limit * (1 + 1e-9)
    end = max(limit, life or 0.0, put_off_at or 0.0)

    def place(value: float) -> float:
        return value / end * length

    middle = band = stay = None
    band_off = stay_off = False
    weeks: tuple[float, ...] = ()
    if life is not None and tape.due_in_days is not None and not past:
        middle = place(tape.interval if put_off_at is None else put_off_at)
        if tape.rate is not None and wait is None:
            middle = min(place(life + tape.rate * max(tape.due_in_days, 0)), length)
    if life is not None and rate is not None and not past:

        def on(days: float) -> float:
            return place(life + rate * days)

        if tape.band_days is not None and not tape.calendar_only:
            first, last = (on(days) for days in tape.band_days)
            band_off = last > length
            band = (min(max(first, 0.0), length), min(max(last, 0.0), length))
        if tape.next_stay_days is not None and tape.next_stay_days >= 0:
            stay_off = on(tape.next_stay_days) > length
            stay = min(on(tape.next_stay_days), length)
        horizon = (end - life) / rate
        step = 7.0 if horizon <= WEEKS_UNTIL else MONTH
        if on(step) - place(life) >= LEAST_GAP:
            weeks = tuple(
                on(step * count) for count in range(1, 27) if on(step * count) < length - 1
            )
    span = max(tape.interval, life or 0.0)
    most = min(26, int(place(span) / LEAST_GAP))
    scale = ticks_for(span, most=max(most, 2))
    return Marks(
        length=length,
        end=end,
        due=place(tape.interval),
        tolerance_end=place(limit),
        now=None if life is None else place(life),
        past_tolerance=past,
        middle=middle,
        band=band,
        band_off=band_off,
        stay=stay,
        stay_off=stay_off,
        ticks=tuple((place(v), scale.rank(v), v) for v in scale.values(span)),
        weeks=weeks,
        notches=tuple((place(at), done) for at, done in tape.notches if 0 < at <= end),
        early=place(tape.interval * (1 - tape.early)),
        put_off=None if put_off_at is None else place(put_off_at),
    )
