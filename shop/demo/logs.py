"""What the controllers of two rigs wrote on three days of the last week, and the reading of it."""

import io
import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Final

from equipment.models import LogLayout
from equipment.services.shiftlogs import keep_layout, read_log, source_of
from shop.demo.seasons import Face, Season
from shop.demo.story import Story

EVERY: Final = timedelta(seconds=5)
#: On the wall's clock: from, to, and the pause between, in which the controller is off. [hours]
SHIFT: Final = (7.6, 12.1, 12.65, 15.4)
#: Sprayed and then not, again and again. [s]
SPRAYED, RESTED = 150, 430


@dataclass(frozen=True, slots=True)
class Controller:
    """How the controller of a rig writes, and the days from which a log is kept.

    offsets: three of these days, without Sundays. starved: when A got too little on the first
    day, until it had caught up. [hours] resets_at: when the counters were reset on the second.
    """

    headings: str
    mark: str
    offsets: range
    layout: str = ""
    answers: tuple[tuple[str, str], ...] = ()
    starved: tuple[float, float, float] = (0, 0, 0)
    resets_at: float | None = None

    def which(self, story: Story, offset: int) -> int:
        """Which of its days this is, 1 first; 0 where it is none."""
        days = [day for day in self.offsets if not story.is_sunday(day)][:3]
        return days.index(offset) + 1 if offset in days else 0


CONTROLLERS: Final = {
    1: Controller(
        "Time{m}ISO strokes{m}RES strokes{m}ISO temp (°F){m}RES temp (°F){m}Hose temp (°F)"
        "{m}ISO pressure (psi){m}RES pressure (psi)",
        ",", range(-5, -1), starved=(10.2, 10.45, 10.75),
    ),
    4: Controller(
        "Stamp{m}Count A{m}Count B{m}T A (F){m}T B (F){m}T hose (F){m}P A (psi){m}P B (psi)",
        ";", range(-7, -3), layout="Kestrel’s controller", answers=(("counts", "cycles"),),
        resets_at=11.5,
    ),
}  # fmt: skip


def showing(season: Season) -> dict[str, Decimal]:
    """What the counters of both sides show."""
    return {side: _face(season, side).shows for side in ("A", "B")}


def of_the_day(story: Story, season: Season, offset: int, before: dict[str, Decimal]) -> None:
    """Where the rig's controller kept a log of this day, the technician reads it in at its end.

    before: what the counters showed that morning.
    """
    controller = CONTROLLERS.get(season.plan.number)
    which = controller.which(story, offset) if controller else 0
    if controller is None or not which:
        return
    resets_at = controller.resets_at if which == 2 else None
    starved = controller.starved if which == 1 else (0.0, 0.0, 0.0)
    shares = {"A": list(_shares(starved)), "B": list(_shares((0, 0, 0)))}
    values = {
        side: list(_shown(_face(season, side), before[side], shares[side], resets_at))
        for side in ("A", "B")
    }
    text = "\n".join(_lines(story, offset, controller, shares["A"], values))
    layout = LogLayout.objects.filter(name=controller.layout).first()
    at = story.at(offset, 16, 30)
    outcome = read_log(
        rig=story.rigs[season.plan.number],
        source=source_of(
            io.BytesIO(text.encode()), f"{season.plan.name.lower()}-{story.day(offset)}.csv"
        ),
        author=story.technician,
        at=at,
        zone=story.zone,
        rules=story.shop.log_rules,
        answers=dict(controller.answers),
        layout=layout.kept if layout else None,
    )
    if outcome.log is None:
        raise ValueError(f"The demo's own log was not read: {outcome.reason} {outcome.questions}")
    story.files.append(str(outcome.log.file.name))
    if controller.layout and layout is None:
        keep_layout(name=controller.layout, log=outcome.log, author=story.technician, at=at)


def _face(season: Season, side: str) -> Face:
    return season.faces[f"{side} {season.plan.counts}"]


def _hours() -> Iterator[float]:
    """The moments of the rows, as hours of the day."""
    begins, pause, goes_on, ends = SHIFT
    each = EVERY.total_seconds() / 3600
    for start, end in ((begins, pause), (goes_on, ends)):
        for place in range(int((end - start) / each)):
            yield start + place * each


def _sprays(hour: float) -> bool:
    return hour * 3600 % (SPRAYED + RESTED) < SPRAYED


def _shares(starved: tuple[float, float, float]) -> Iterator[float]:
    """How much of the day's count came with each row, at the pace of any other at 1."""
    begins, ends, made_up = starved
    for hour in _hours():
        pace = 1.0
        if begins <= hour < ends:
            pace = 0.75
        elif ends <= hour < made_up:
            pace = 1 + 0.25 * (ends - begins) / (made_up - ends)
        yield pace if _sprays(hour) else 0.0


def _shown(
    face: Face, before: Decimal, shares: list[float], resets_at: float | None
) -> Iterator[int]:
    """What the face shows at each row; after a reset the story's face goes on from there."""
    gained, whole, since = face.shows - before, sum(shares), 0.0
    start = before
    for hour, share in zip(_hours(), shares, strict=True):
        if resets_at is not None and hour >= resets_at:
            resets_at, start = None, Decimal(0)
            gained, whole, since = gained * Decimal(1 - since / whole), whole - since, 0.0
        since += share
        yield int(start + gained * Decimal(since / whole))
    face.shows = start + gained


def _lines(
    story: Story,
    offset: int,
    controller: Controller,
    shares: list[float],
    values: dict[str, list[int]],
) -> Iterator[str]:
    mark = controller.mark
    yield controller.headings.format(m=mark)
    midnight = story.at(offset, 0).replace(tzinfo=None)
    for place, (hour, share) in enumerate(zip(_hours(), shares, strict=True)):
        moment = _whole(midnight + timedelta(hours=hour))
        sway = math.sin(place / 37) + 0.5 * math.sin(place / 11 + offset)
        warm = min(1.0, (hour - SHIFT[0]) * 6)
        drop = 70 if share else 0
        figures = (
            values["A"][place],
            values["B"][place],
            f"{68 + 56 * warm + sway:.1f}",
            f"{68 + 53 * warm - 0.7 * sway:.1f}",
            f"{62 + 58 * warm + 0.4 * sway:.1f}",
            round(1210 - drop * share + 14 * sway),
            round(1195 - drop - 11 * sway),
        )
        yield mark.join(map(str, (moment, *figures)))
    yield ""


def _whole(moment: datetime) -> datetime:
    """The nearest second: hours as a fraction do not hit it."""
    return (moment + timedelta(milliseconds=500)).replace(microsecond=0)
