"""A stretch of days, as a person chooses it and as the ledger is asked for it."""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from dateutil.relativedelta import relativedelta

TWELVE_MONTHS: Final = "12-months"
THIS_YEAR: Final = "this-year"
LAST_YEAR: Final = "last-year"
DATES: Final = "dates"
YEAR: Final = relativedelta(years=1)


@dataclass(frozen=True, slots=True)
class Period:
    """From the first day to the last, both included; first <= last."""

    first: date
    last: date

    def moments(self, zone: ZoneInfo) -> tuple[datetime, datetime]:
        """Return the period as [since, until), midnight to midnight in the shop's zone."""
        after = self.last + timedelta(days=1)
        return datetime.combine(self.first, time(0), zone), datetime.combine(after, time(0), zone)

    def a_year_earlier(self) -> "Period":
        """The same days of the year before."""
        return Period(self.first - YEAR, self.last - YEAR)


def named(name: str, *, today: date) -> Period:
    """Return the period of a name: TWELVE_MONTHS, THIS_YEAR or LAST_YEAR. Raises KeyError."""
    return {
        TWELVE_MONTHS: Period(today - YEAR + timedelta(days=1), today),
        THIS_YEAR: Period(date(today.year, 1, 1), today),
        LAST_YEAR: Period(date(today.year - 1, 1, 1), date(today.year - 1, 12, 31)),
    }[name]
