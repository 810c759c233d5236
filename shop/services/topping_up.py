"""Filling the drawers of rigs up to their targets from the shop's bins."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Sum

from equipment.models import Rig
from inventory.models import Balance, Location, Movement, Part, Reservation
from inventory.sentences import source_name
from inventory.services import TransferLine, in_words, transfer
from shop import whereabouts
from shop.models import Person, RigDrawer
from shop.services.drawer_targets import KeptPart, kept_in
from shop.whereabouts import Whereabouts

#: Where a movement of a topping up comes from; its number is the rig's.
SOURCE = "top-up of rig"


@dataclass(frozen=True, slots=True)
class Pick:
    """So much of a part out of a bin. to_whom: the sheets it is promised to; empty: it is free."""

    part: Part
    place: Location
    steps: int
    to_whom: str = ""

    @property
    def text(self) -> str:
        return f"{in_words(self.part, self.steps)} from {self.place.code}"

    @property
    def value(self) -> str:
        """As a form sends it: part, place and steps."""
        return f"{self.part.pk}:{self.place.pk}:{self.steps}"


@dataclass(frozen=True, slots=True)
class Row:
    """A part that a drawer lacks: where to take it, what is promised, what the shop lacks."""

    kept: KeptPart
    picks: tuple[Pick, ...]
    promised: tuple[Pick, ...]
    short_steps: int

    @property
    def part(self) -> Part:
        return self.kept.part

    @property
    def keep(self) -> str:
        return in_words(self.part, self.kept.target_steps)

    @property
    def here(self) -> str:
        return in_words(self.part, self.kept.here_steps) if self.kept.here_steps else "none"

    @property
    def lacks(self) -> str:
        return in_words(self.part, self.kept.lacks_steps)

    @property
    def short(self) -> str:
        return in_words(self.part, self.short_steps) if self.short_steps else ""

    @property
    def from_text(self) -> str:
        return ", ".join(pick.text for pick in self.picks)


@dataclass(frozen=True, slots=True)
class RigTopUp:
    """One rig: where it is, and what its drawer lacks."""

    rig: Rig
    drawer: Location
    place: Whereabouts
    rows: tuple[Row, ...]

    @property
    def leaves_on(self) -> date | None:
        return self.place.leaves_for.first_day if self.place.leaves_for else None

    @property
    def picks(self) -> tuple[Pick, ...]:
        return tuple(pick for row in self.rows for pick in row.picks)

    @property
    def is_short(self) -> bool:
        return any(row.short_steps for row in self.rows)


def lists(*, today: date, before: date | None = None) -> list[RigTopUp]:
    """Return what each drawer lacks, the rig that leaves first on top.

    before: only rigs that leave for a job before this day. What lies in a bin is given out once,
    to the rig that leaves first; what a sheet was promised is named apart. A fixed number of
    queries.
    """
    drawers = [
        each
        for each in RigDrawer.objects.select_related("rig", "location").order_by("rig__number")
        if not each.rig.is_laid_up
    ]
    rigs = [each.rig for each in drawers]
    places = whereabouts.of_rigs(rigs, whereabouts.bookings_of(rigs, since=today), today=today)
    found = [RigTopUp(each.rig, each.location, places[each.rig_id], ()) for each in drawers]
    if before is not None:
        found = [each for each in found if each.leaves_on and each.leaves_on < before]
    found.sort(key=lambda each: (each.leaves_on or date.max, each.rig.number))
    kept = kept_in([each.drawer for each in found], today=today)
    lacking = {
        each.rig.pk: [row for row in kept.get(each.drawer.pk, ()) if row.lacks_steps]
        for each in found
    }
    bins = _Bins({row.part.pk for rows in lacking.values() for row in rows}, today=today)
    return [
        RigTopUp(
            each.rig,
            each.drawer,
            each.place,
            tuple(bins.meet(row) for row in lacking[each.rig.pk]),
        )
        for each in found
    ]


class _Bins:
    """What lies in the shop's bins in date, given out once."""

    def __init__(self, parts: Iterable[int], *, today: date) -> None:
        in_bins = {"part__in": set(parts), "location__kind": Location.Kind.BIN}
        self.free: dict[int, Counter[int]] = defaultdict(Counter)
        self.promised: dict[int, Counter[int]] = defaultdict(Counter)
        self.whom: dict[tuple[int, int], list[str]] = defaultdict(list)
        lying = Balance.objects.there().filter(**in_bins, lot__expires_on__gte=today)
        for part, place, steps in (
            lying.order_by().values_list("part", "location").annotate(steps=Sum("quantity_steps"))
        ):
            self.free[part][place] = steps
        for row in Reservation.objects.filter(**in_bins).order_by("source_number", "pk"):
            taken = min(row.quantity_steps, self.free[row.part_id][row.location_id])
            self.free[row.part_id][row.location_id] -= taken
            self.promised[row.part_id][row.location_id] += taken
            if taken:
                self.whom[row.part_id, row.location_id].append(
                    source_name(row.source_kind, row.source_number)
                )
        self.places = Location.objects.in_bulk(
            {place for steps in self.free.values() for place in steps}
        )

    def meet(self, kept: KeptPart) -> Row:
        """Take what a drawer lacks; by the codes of the bins."""
        wanted = kept.lacks_steps
        picks = self._take(kept.part, wanted, self.free[kept.part.pk])
        wanted -= sum(pick.steps for pick in picks)
        promised = self._take(kept.part, wanted, self.promised[kept.part.pk])
        said = tuple(
            Pick(
                pick.part,
                pick.place,
                pick.steps,
                ", ".join(dict.fromkeys(self.whom[pick.part.pk, pick.place.pk])),
            )
            for pick in promised
        )
        return Row(kept, picks, said, wanted)

    def _take(self, part: Part, steps: int, there: Counter[int]) -> tuple[Pick, ...]:
        picks = []
        for place in sorted(there, key=lambda pk: self.places[pk].code):
            if given := min(steps, there[place]):
                picks.append(Pick(part, self.places[place], given))
                there[place] -= given
                steps -= given
        return tuple(picks)


def promise_questions(picks: Sequence[Pick], *, today: date) -> list[str]:
    """Ask about what leaves less in a bin than sheets were promised there; empty: nothing does."""
    asked: Counter[tuple[Part, Location]] = Counter()
    for pick in picks:
        asked[pick.part, pick.place] += pick.steps
    questions = []
    for (part, place), steps in asked.items():
        promises = Reservation.objects.at(part, place).order_by("source_number", "pk")
        promised = sum(row.quantity_steps for row in promises)
        there = (
            Balance.objects.there()
            .filter(part=part, location=place, lot__expires_on__gte=today)
            .aggregate(steps=Sum("quantity_steps"))["steps"]
            or 0
        )
        left = there - steps
        if promised and 0 <= left < promised:
            whom = ", ".join(
                f"{in_words(part, row.quantity_steps)} for "
                f"{source_name(row.source_kind, row.source_number)}"
                for row in promises
            )
            questions.append(
                f"{part}: reserved in {place}: {whom}. "
                f"After this, {in_words(part, left) if left else 'none'} would be left there."
            )
    return questions


def was_sent_before(request_id: UUID) -> bool:
    """Whether this topping up was posted already."""
    return Movement.objects.of_request(request_id).exists()


def top_up(
    *,
    rig: Rig,
    drawer: Location,
    picks: Sequence[Pick],
    author: Person,
    at: datetime,
    request_id: UUID,
) -> list[Movement]:
    """Move what was picked into the drawer, all or nothing; sent twice, it counts once.

    Raises what `inventory.services.transfer` raises.
    """
    return transfer(
        lines=[TransferLine(pick.part, pick.place, drawer, pick.steps) for pick in picks],
        author=author,
        at=at,
        request_id=request_id,
        reason="moved into the drawer",
        source_kind=SOURCE,
        source_number=rig.number,
    )
