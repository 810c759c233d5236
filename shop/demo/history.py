"""Fourteen months, day by day: deliveries, sheets in the morning, readings in the evening."""

from datetime import datetime, timedelta
from typing import Final

from equipment.models import Due, Finding, Skill
from equipment.services import Done, record_readings, record_renewals
from shop.demo import buying, incidents, logs, sheets, shelf
from shop.demo.fleet import RIGS
from shop.demo.seasons import Season, begin
from shop.demo.story import Story
from shop.models import Person

#: A rig's next sheet is not drafted sooner after the last. [days]
BETWEEN_SHEETS: Final = 44
#: What falls due within so many days of a stay is done in it. [days]
LOOK_AHEAD: Final = 10
#: In a job, the counters are read after so many spray days.
READ_EVERY: Final = 6
#: A rig nobody has read since: its crew forgets.
UNREAD: Final = (9, -22)
#: Services let slide, by rig, so that there is something to see today: name → when last done.
LET_SLIDE: Final[dict[int, dict[tuple[str, str], int]]] = {
    4: {("hydraulic unit", "return filter"): -250, ("heated hose", "open joints"): -112},
    7: {("preheater B", "sensor against test probe"): -112},
    9: {("generator", "air filter"): -185},
}


def tell(story: Story) -> dict[int, Season]:
    """Live through the months up to yesterday; return how each rig's season stands."""
    seasons = {plan.number: begin(story, plan) for plan in RIGS}
    orders = buying.begin(story)
    for offset in range(story.first_day + 1, 0):
        buying.on(orders, offset)
        incidents.on(story, offset, seasons)
        _last_time(story, offset)
        for number, season in seasons.items():
            if season.job_on(offset) is None:
                _day_in_the_shop(story, number, season, offset)
        for season in seasons.values():
            if job := season.job_on(offset):
                _day_away(story, season, offset, is_last=offset == job.last)
    return seasons


def _day_away(story: Story, season: Season, offset: int, *, is_last: bool) -> None:
    is_first = season.job_on(offset - 1) is None
    if season.plan.resets_each_job and is_first:
        # Once, at a job last spring, nobody wrote down what it had shown.
        seen = not (-240 < offset < -220)
        for name in ("A strokes", "B strokes"):
            season.faces[name].reset(seen=seen)
    is_day_off = story.is_sunday(offset)
    if not is_day_off:
        before = logs.showing(season)
        season.spray(offset)
        logs.of_the_day(story, season, offset, before)
    number, unread_since = UNREAD
    if season.plan.number == number and offset > unread_since:
        return
    if is_last or (season.sprayed_days % READ_EVERY == 0 and not is_day_off):
        read_all(story, season, offset)
    if is_last:
        _small_work(story, season.plan.number, offset)


def read_all(story: Story, season: Season, offset: int) -> None:
    """The technician reads every counter of the rig at the end of a day."""
    at = _evening(story, season.plan.number, offset)
    record_readings(
        rig=story.rigs[season.plan.number],
        readings=[face.read() for face in season.faces.values()],
        at=at,
        recorded_at=at + timedelta(minutes=1),
        author=story.technician,
        request_id=story.new_id(),
        zone=story.zone,
    )


def _evening(story: Story, number: int, offset: int) -> datetime:
    return story.at(offset, 17, 10 + number)


def _day_in_the_shop(story: Story, number: int, season: Season, offset: int) -> None:
    before_the_last_job = season.last_stay - 1
    if offset != before_the_last_job and (
        story.is_sunday(offset)
        or offset > before_the_last_job - BETWEEN_SHEETS // 2
        or offset - season.last_sheet < BETWEEN_SHEETS
    ):
        return
    rig = story.rigs[number]
    picked = _picked(story, number, offset)
    findings = list(Finding.objects.open().filter(rig=rig).order_by("pk"))
    if len(picked) < 3 and not findings:
        return
    season.last_sheet = offset
    who = (
        story.electrician
        if any(due.skill == Skill.ELECTRICIAN for due in picked)
        else story.technician
    )
    sheet = sheets.draft(story, offset, rig=rig, dues=picked, findings=findings)
    work = sheets.give(story, sheet, offset, who)
    sheets.prepare(work)
    sheets.check(work)
    sheets.use_parts(work)
    if story.dice.random() < 0.3:
        for name in ("Generator hours", "Compressor hours"):
            if face := season.faces.get(name):
                face.count(story.between(0.2, 0.8, 1))
        sheets.read_counters(work, list(season.faces.values()))
    sheets.sign(work)


def _picked(story: Story, number: int, offset: int) -> list[Due]:
    """What is due before long, less what is done without a sheet or let slide."""
    wanted: list[Due] = []
    outside: list[Due] = []
    for due in _coming(story, number, offset + LOOK_AHEAD):
        if due.skill == Skill.OUTSIDE:
            outside.append(due)
        elif not _is_by_hand(due) and not _is_let_slide(due, offset):
            wanted.append(due)
    reason = "done by an outside firm, papers in the trailer"
    _done_without_a_sheet(story, outside, story.at(offset, 6, 45), story.manager, reason)
    return wanted


def _small_work(story: Story, number: int, offset: int) -> None:
    """At the end of a job the crew does what needs neither parts nor a sheet."""
    small = [due for due in _coming(story, number, offset + LOOK_AHEAD) if _is_by_hand(due)]
    at = _evening(story, number, offset)
    _done_without_a_sheet(story, small, at, story.technician, "done at the end of the job")


def _coming(story: Story, number: int, until: int) -> list[Due]:
    rows = (
        Due.objects.for_due_list()
        .select_related("version__service__kind")
        .filter(rig=story.rigs[number], due_date__lte=story.day(until))
    )
    return list(rows.order_by("due_date", "pk"))


def _last_time(story: Story, offset: int) -> None:
    """What is let slide from here on was done this once more, on the job."""
    for number, services in LET_SLIDE.items():
        names = [name for name, day in services.items() if day == offset]
        if not names:
            continue
        rows = Due.objects.for_due_list().filter(rig=story.rigs[number]).order_by("pk")
        done = [due for due in rows if _name(due) in names]
        at = story.at(offset, 12, 30)
        _done_without_a_sheet(story, done, at, story.technician, "done on the job")


def _is_let_slide(due: Due, offset: int) -> bool:
    return offset >= LET_SLIDE.get(due.rig_number, {}).get(_name(due), 0)


def _name(due: Due) -> tuple[str, str]:
    return (due.position.label if due.position else "", due.version.service.name)


def _is_by_hand(due: Due) -> bool:
    service = due.version.service
    return due.skill == Skill.OPERATOR and (
        (service.kind.name, service.side, service.name) not in shelf.NEEDS
    )


def _done_without_a_sheet(
    story: Story, dues: list[Due], at: datetime, author: Person, reason: str
) -> None:
    if dues:
        record_renewals(
            done=[Done(due.version, due.component) for due in dues],
            done_at=at,
            recorded_at=at + timedelta(minutes=2),
            author=author,
            zone=story.zone,
            reason=reason,
        )
