"""Days of a calendar as a text that calendar programs fetch: entries in, bytes out.

The form is iCalendar, RFC 5545, with the names of RFC 7986. No Django, no clock.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from icalendar import Calendar, Event, vDuration, vText

PRODUCT: Final = "-//Strokebook//calendar feed//EN"
#: A calendar program need not ask more often than this.
REFRESH: Final = timedelta(hours=4)
ONE_DAY: Final = timedelta(days=1)
#: RFC 5545, 3.3.11 (TSAFE-CHAR): a text holds no control character but tab; the line breaks that
#: we mean are made "\n" first, and escaped by the library.
_BREAKS: Final = re.compile(r"\r\n?|[\u2028\u2029\x85]")
_CONTROLS: Final = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")


@dataclass(frozen=True, slots=True)
class Entry:
    """What lies on some days of a calendar.

    uid: the same for the same thing at every fetch, whatever became of its days and words.
    first, last: days, both included; last is not before first.
    title: one line. text: several. url: empty where there is no page. category: one word.
    """

    uid: str
    first: date
    last: date
    title: str
    text: str
    url: str
    category: str


def calendar_text(entries: Iterable[Entry], *, name: str, about: str, at: datetime) -> bytes:
    """Return a calendar of whole days, none of which makes its reader busy.

    name, about: of the calendar itself. at: when the entries were worked out, with its zone.

    DTSTAMP and LAST-MODIFIED say when that was: without a METHOD both mean the last revision (RFC
    5545, 3.8.7.2 and 3.8.7.3). There is no METHOD, hence no organizer and no SEQUENCE: nobody is
    invited. The end of a whole day is the day after it (3.6.1: DTEND is not included).
    """
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    # The library escapes only texts that RFC 5545 itself names, so these say that they are one.
    for label in ("name", "x-wr-calname"):
        calendar.add(label, vText(_plain(name)))
    calendar.add("description", _plain(about))
    # RFC 7986, 5.7 wants the kind of value said; the other name is that of older programs.
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", vDuration(REFRESH))
    for entry in entries:
        event = Event()
        event.add("uid", entry.uid)
        event.add("dtstamp", at)
        event.add("last-modified", at)
        event.add("dtstart", entry.first)
        event.add("dtend", entry.last + ONE_DAY)
        event.add("summary", _plain(entry.title).replace("\n", " "))
        event.add("description", _plain(entry.text))
        if entry.url:
            event.add("url", entry.url)
        event.add("categories", [entry.category])
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    return calendar.to_ical()


def _plain(text: str) -> str:
    return _CONTROLS.sub("", _BREAKS.sub("\n", text))
