"""What goes on around the work on a sheet, as its pages show it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from zoneinfo import ZoneInfo

from django.utils.translation import gettext

from inventory.models import Part
from inventory.services import in_words
from shop import words
from shop.models import HandOver, Person, ServiceSheet, SheetStep
from shop.services.clocking import Hand, clock_of, hands_of
from shop.services.waiting import Wait, Waited, waited_of, waits_of
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
    """Who works on a sheet, since when, what the last one left word of, what it waits and
    has waited for.

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
    waited: list[Waited]


@dataclass(frozen=True, slots=True)
class MySheet:
    """A sheet on its technician's day: what comes next on it, the last word, what it waits for."""

    sheet: ServiceSheet
    next_step: str
    word: HandOver | None
    wait: Wait | None
    runs: str


@dataclass(frozen=True, slots=True)
class MyDay:
    """What is a technician's today. to_take_over: left to whoever comes next. asked: time whose
    end they did not say."""

    sheets: list[MySheet]
    to_take_over: list[MySheet]
    asked: list[Asked]


def my_day(
    reader: Person, sheets: Iterable[ServiceSheet], *, now: datetime, zone: ZoneInfo
) -> MyDay:
    """Gather the day of a technician from the open sheets. A handful of queries, whatever they are.

    Theirs are the sheets handed to them and the one on which their time runs; what runs comes
    first, what waits for parts that have not come last.
    """
    today = now.astimezone(zone).date()
    clock = clock_of(reader, now=now, zone=zone)
    runs_on = clock.running[0].pk if clock.running else None
    of_all = list(sheets)
    mine = [each for each in of_all if each.technician_id == reader.pk or each.pk == runs_on]
    left = [each for each in of_all if each.technician_id is None and each not in mine]
    words_left = {
        each.sheet_id: each
        for each in HandOver.objects.filter(sheet__in=[*mine, *left])
        .select_related("author")
        .order_by("at", "pk")
    }
    left = [each for each in left if each.pk in words_left]
    waits = waits_of([*mine, *left], today=today)
    steps = _next_steps([*mine, *left])

    def of(sheet: ServiceSheet) -> MySheet:
        runs = clock.running[1] if clock.running and sheet.pk == runs_on else None
        return MySheet(
            sheet=sheet,
            next_step=steps.get(sheet.pk, ""),
            word=words_left.get(sheet.pk),
            wait=waits.get(sheet.pk),
            runs=since_text(runs.start, today=today, zone=zone) if runs else "",
        )

    def rank(each: MySheet) -> int:
        if each.runs:
            return 0
        stands_still = each.sheet.is_waiting_for_parts and not (each.wait and each.wait.has_come)
        return 2 if stands_still else 1

    return MyDay(
        sheets=sorted((of(each) for each in mine), key=rank),
        to_take_over=[of(each) for each in left],
        asked=_asked(clock.asked, today=today, zone=zone),
    )


def _next_steps(sheets: Iterable[ServiceSheet]) -> dict[int, str]:
    """The first step of each sheet that nobody answered, by the sheet's pk. One query."""
    sections = list(SheetStep.Section.values)
    first: dict[int, tuple[int, int, str]] = {}
    rows = SheetStep.objects.filter(sheet__in=list(sheets), entry__isnull=True)
    for sheet, section, order, title in rows.values_list("sheet", "section", "order", "title"):
        step = (sections.index(section), order, title)
        first[sheet] = min(first.get(sheet, step), step)
    return {sheet: title for sheet, (_, _, title) in first.items()}


def _asked(
    found: Iterable[tuple[ServiceSheet, Stretch]], *, today: date, zone: ZoneInfo
) -> list[Asked]:
    return [
        Asked(
            sheet=sheet,
            stretch=stretch,
            since=since_text(stretch.start, today=today, zone=zone),
            until=moment_text(stretch.end, today=today, zone=zone) if stretch.end else "",
        )
        for sheet, stretch in found
    ]


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
        asked=_asked(clock.asked, today=today, zone=zone),
        last_word=overs[0] if overs else None,
        earlier_words=overs[1:],
        wait=waits_of([sheet], today=today).get(sheet.pk),
        waited=waited_of(sheet),
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
            return gettext("yesterday {time}").format(time=f"{local:%H:%M}")
        case _:
            return f"{words.weekday(local.date(), today=today)} {local:%H:%M}"


def since_text(at: datetime, *, today: date, zone: tzinfo) -> str:
    """ "since 07:41", "since yesterday 16:40"."""
    return gettext(words.SINCE).format(day=moment_text(at, today=today, zone=zone))
