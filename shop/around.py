"""What goes on around the work on a sheet, as its pages show it."""

from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from zoneinfo import ZoneInfo

from inventory.models import Part
from inventory.services import in_words
from shop import words
from shop.models import HandOver, Person, ServiceSheet
from shop.services.clocking import Hand, clock_of, hands_of
from shop.services.waiting import Wait, waits_of
from shop.worktime import Stretch


@dataclass(frozen=True, slots=True)
class Asked:
    """A stretch of time whose end nobody said, in words: "since yesterday 16:40"."""

    sheet: ServiceSheet
    stretch: Stretch
    since: str
    until: str

    @property
    def key(self) -> str:
        """What names it in a form."""
        return self.stretch.start.isoformat()


@dataclass(frozen=True, slots=True)
class Around:
    """Who works on a sheet, since when, what the last one left word of, what it waits for.

    mine: since when the reader's own time runs here; empty where it does not. elsewhere: the sheet
    on which it runs instead. asked: what the reader left running, on any sheet.
    """

    hands: list[Hand]
    total: str
    mine: str
    mine_minutes: str
    elsewhere: ServiceSheet | None
    asked: list[Asked]
    last_word: HandOver | None
    earlier_words: list[HandOver]
    wait: Wait | None


def around(sheet: ServiceSheet, *, reader: Person, now: datetime, zone: ZoneInfo) -> Around:
    """Gather it for the page of one sheet."""
    today = now.astimezone(zone).date()
    hands = hands_of(sheet, now=now, zone=zone)
    clock = clock_of(reader, now=now, zone=zone)
    here = clock.running if clock.running and clock.running[0].pk == sheet.pk else None
    overs = list(sheet.hand_overs.select_related("author", "to").order_by("-at", "-pk"))
    minutes = sum(each.minutes for each in hands)
    return Around(
        hands=hands,
        total=words.span(minutes) if minutes else "",
        mine=since_text(here[1].start, today=today, zone=zone) if here else "",
        mine_minutes=words.span(int(here[1].seconds(now=now) // 60)) if here else "",
        elsewhere=clock.running[0] if clock.running and not here else None,
        asked=[
            Asked(
                sheet=each,
                stretch=stretch,
                since=since_text(stretch.start, today=today, zone=zone),
                until=moment_text(stretch.end, today=today, zone=zone) if stretch.end else "",
            )
            for each, stretch in clock.asked
        ],
        last_word=overs[0] if overs else None,
        earlier_words=overs[1:],
        wait=waits_of([sheet], today=today).get(sheet.pk),
    )


def short_of(sheet: ServiceSheet) -> list[tuple[Part, str]]:
    """The parts that a sheet is short of, each with how much in words."""
    rows = sheet.parts.filter(short_steps__gt=0).select_related("part").order_by("part__number")
    return [(row.part, in_words(row.part, row.short_steps)) for row in rows]


def moment_text(at: datetime, *, today: date, zone: tzinfo) -> str:
    """ "07:41", "yesterday 16:40", "Mon 2 Mar 16:40"."""
    local = at.astimezone(zone)
    match (today - local.date()).days:
        case 0:
            return f"{local:%H:%M}"
        case 1:
            return f"yesterday {local:%H:%M}"
        case _:
            return f"{words.weekday(local.date(), today=today)} {local:%H:%M}"


def since_text(at: datetime, *, today: date, zone: tzinfo) -> str:
    """ "since 07:41", "since yesterday 16:40"."""
    return f"since {moment_text(at, today=today, zone=zone)}"
