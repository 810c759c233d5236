"""The text of a calendar, read back and held to RFC 5545 and RFC 7986.

Sections are named beside each check; the RFCs were read as other projects quote them.
"""

from datetime import UTC, date, datetime, timedelta

import pytest
from icalendar import Calendar, Event

from shop.ical import Entry, calendar_text

AT = datetime(2026, 3, 2, 15, 4, 5, tzinfo=UTC)
HARD = "Seal; kit, 3/8\\n “Größe” 🛠 – 漢字 " * 4


def entry(**values: object) -> Entry:
    given = {
        "uid": "a",
        "first": date(2026, 3, 2),
        "last": date(2026, 3, 2),
        "title": "Rig 04 falls due: Pump A, packing",
        "text": "falls due about 2 Mar",
        "url": "https://shop.example/rigs/4/",
        "category": "Due",
    }
    return Entry(**given | values)  # type: ignore[arg-type]


def written(*entries: Entry, name: str = "Foam Works", about: str = "about") -> bytes:
    return calendar_text(entries, name=name, about=about, at=AT)


def read(text: bytes) -> tuple[Calendar, list[Event]]:
    calendar = Calendar.from_ical(text)
    assert isinstance(calendar, Calendar)
    return calendar, calendar.events


def unfolded(text: bytes) -> list[str]:
    """Content lines: 3.1 takes out each line break that a space follows."""
    return text.decode().replace("\r\n ", "").removesuffix("\r\n").split("\r\n")


def test_whole_days_end_on_the_day_after_the_last() -> None:
    """RFC 5545, 3.6.1, its example: from June 28th to July 8th inclusive, DTEND is July 9th."""
    lines = unfolded(written(entry(first=date(2007, 6, 28), last=date(2007, 7, 8))))
    assert "DTSTART;VALUE=DATE:20070628" in lines
    assert "DTEND;VALUE=DATE:20070709" in lines
    assert "TRANSP:TRANSPARENT" in lines


@pytest.mark.parametrize(
    ("last", "end"),
    [
        (date(2028, 2, 28), date(2028, 2, 29)),
        (date(2026, 2, 28), date(2026, 3, 1)),
        (date(2026, 12, 31), date(2027, 1, 1)),
    ],
)
def test_a_day_ends_on_the_next_at_the_end_of_a_month_too(last: date, end: date) -> None:
    _, (event,) = read(written(entry(first=last, last=last)))
    assert (event.start, event.end) == (last, end)


def test_a_calendar_has_what_the_standards_ask_for() -> None:
    """3.6: PRODID and VERSION, once each; 3.6.1: UID and DTSTAMP; 3.8.7.2: DTSTAMP in UTC."""
    calendar, (event,) = read(written(entry()))
    assert (calendar["version"], calendar["calscale"]) == ("2.0", "GREGORIAN")
    assert calendar["prodid"]
    assert "METHOD" not in calendar
    assert event["uid"] == "a"
    lines = unfolded(written(entry()))
    assert "DTSTAMP:20260302T150405Z" in lines
    assert "LAST-MODIFIED:20260302T150405Z" in lines
    assert "URL:https://shop.example/rigs/4/" in lines
    assert event.categories == ["Due"]


def test_it_says_its_name_and_how_often_to_ask() -> None:
    """RFC 7986, 5.1 and 5.7: VALUE=DURATION has to be said."""
    calendar, _ = read(written())
    assert calendar["name"] == calendar["x-wr-calname"] == "Foam Works"
    assert calendar.refresh_interval == timedelta(hours=4)
    lines = unfolded(written())
    assert "REFRESH-INTERVAL;VALUE=DURATION:PT4H" in lines
    assert "X-PUBLISHED-TTL:PT4H" in lines


def test_whatever_a_name_holds_comes_back_as_it_was() -> None:
    """3.3.11: backslash, semicolon, comma and line break are escaped in a text."""
    text = f"{HARD}\nsecond line\n\nfourth"
    calendar, (event,) = read(written(entry(title=HARD, text=text), name=HARD, about=HARD))
    assert event["summary"] == HARD
    assert event["description"] == text
    # The library gives back the names that it does not know as they are written.
    assert calendar["name"].replace("\\\\", "\0").replace("\\", "").replace("\0", "\\") == HARD
    (summary,) = [line for line in unfolded(written(entry(title="a, b; c\\d"))) if "SUMM" in line]
    assert summary == "SUMMARY:a\\, b\\; c\\\\d"


def test_no_line_is_longer_than_75_octets_and_no_letter_is_cut() -> None:
    """3.1: octets, not letters, without the line break, which is CR LF."""
    text = written(entry(title=HARD * 9, text=HARD * 30), name=HARD, about=HARD)
    lines = text.split(b"\r\n")
    assert max(map(len, lines)) <= 75
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert all(line.decode() for line in lines[:-1])


@pytest.mark.parametrize("where", ["title", "text", "name", "about"])
@pytest.mark.parametrize("breaks", ["\n", "\r\n", "\r", "\u2028", "\x85"])
def test_no_name_begins_a_line_of_its_own(where: str, breaks: str) -> None:
    evil = f"x{breaks}BEGIN:VEVENT{breaks}ATTACH:http://elsewhere.example/"
    if where in ("title", "text"):
        text = written(entry(**{where: evil}))
    else:
        text = written(entry(), **{where: evil})
    assert [line for line in unfolded(text) if line.startswith("ATTACH")] == []
    assert len(read(text)[1]) == 1


def test_control_characters_are_left_out() -> None:
    """3.3.11 allows none in a text but the tab."""
    _, (event,) = read(written(entry(title="a\x00\x07\x1b\x7fb\tc")))
    assert event["summary"] == "ab\tc"


def test_a_title_is_one_line() -> None:
    _, (event,) = read(written(entry(title="two\nlines")))
    assert event["summary"] == "two lines"
