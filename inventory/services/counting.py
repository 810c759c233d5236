"""Counts of a place: what somebody saw there, what the books said then, and what is posted of it.

A difference is what was counted less what the books said at the moment of entry, read under the
locks of the lots. So what is issued or received after the entry is no difference, and nothing is
counted twice: what lies in a tray is not in its bin. Locks: lots, balances, then the count.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final
from uuid import UUID, uuid4

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction
from django.db.models import Count as CountOf
from django.db.models import F, Max, Q, QuerySet, Sum
from django.utils import timezone

from inventory.classes import YearlyUse, rank
from inventory.costing import LotLayer, NotEnough, draw, receipt_value_cents
from inventory.models import (
    Balance,
    Count,
    CountLine,
    Location,
    Lot,
    Movement,
    Part,
    RobbedKit,
    StockAdvice,
    StockClass,
)
from inventory.services.correcting import change_stock
from inventory.services.posting import (
    NotEnoughOnHand,
    PlaceRetired,
    Posting,
    StockRefused,
    day_of,
    in_words,
)
from inventory.services.robbed import rob_kit

#: The source of what a count posts; its number is the count's.
SOURCE: Final = "count"
#: How often a place is counted by its dearest class. [d] Common practice, no source.
EVERY_DAYS: Final[Mapping[str, int]] = {"A": 30, "B": 90, "C": 365}
YEAR: Final = timedelta(days=365)
#: A figure this many times the books, and above so many units, is asked about.
STRANGE_TIMES: Final = 10
STRANGE_UNITS: Final = 100
#: Two counts begun at once may want one number.
TRIES: Final = 5


class CountedAlready(StockRefused):
    """Somebody counts the place now, or what was counted waits for approval."""

    def __init__(self, count: Count) -> None:
        self.count = count
        what = "is counting" if count.state == Count.State.OPEN else "has counted"
        more = "" if count.state == Count.State.OPEN else " It waits for approval."
        super().__init__(
            f"{count.started_by} {what} {count.location} already: count {count.number}.{more}"
        )


class CountClosed(StockRefused):
    """The count is no longer in the state that this needs."""

    def __init__(self, count: Count) -> None:
        self.count = count
        words = {
            Count.State.OPEN: "is still being counted",
            Count.State.COUNTED: "is finished and waits for approval",
            Count.State.POSTED: "was posted already",
            Count.State.DROPPED: "was dropped",
        }
        super().__init__(f"Count {count.number} {words[Count.State(count.state)]}.")


class EnteredMeanwhile(StockRefused):
    """A figure from a page that was drawn before the figure that stands was entered."""

    def __init__(self, line: CountLine) -> None:
        self.line = line
        when = timezone.localtime(line.counted_at)
        there = in_words(line.part, line.counted_steps) if line.counted_steps else "none"
        super().__init__(
            f"{line.counted_by} entered {there} of {line.part} at {when:%H:%M}, after this page "
            "was drawn. If yours is right, send it again."
        )


class NoLongerThere(StockRefused):
    """More was missing when it was counted than lies there now."""

    def __init__(self, line: CountLine, location: Location, there_steps: int) -> None:
        self.part = line.part
        there = in_words(line.part, there_steps) if there_steps else "none"
        missing = in_words(line.part, -line.difference_steps)
        super().__init__(
            f"{missing} of {line.part} were missing when it was counted, but now {there} lie in "
            f"{location}. Have it counted again."
        )


class NotEntered(StockRefused):
    """Parts that the books have in the place, and nobody entered."""

    def __init__(self, parts: list[Part]) -> None:
        self.parts = parts
        names = ", ".join(part.number for part in parts)
        super().__init__(f"Nobody entered {names}. Are there none?")


@dataclass(frozen=True, slots=True)
class Variance:
    """A line with its difference in steps and its value: what approving it would post. [cents]

    value_cents: None where so many are no longer there, and approving is refused.
    """

    line: CountLine
    value_cents: int | None


@dataclass(frozen=True, slots=True)
class PlaceToCount:
    """A place with stock: the class of the dearest part there, when it was counted, when next."""

    location: Location
    value_class: str
    parts: int
    last_counted_on: date | None
    due_on: date


def due_for_count(
    last_counted_on: date | None, value_class: str, every_days: Mapping[str, int], today: date
) -> date:
    """Return the day from which a place is to be counted; today where it never was.

    every_days: by class letter, > 0. [d] Raises ValueError for a class that it does not name.
    """
    if value_class not in every_days:
        raise ValueError(f"There is no value class {value_class}.")
    if last_counted_on is None:
        return today
    return last_counted_on + timedelta(days=every_days[value_class])


def is_strange(part: Part, *, counted_steps: int, books_steps: int) -> bool:
    """Whether a figure is probably a slip: far above the books, and many."""
    return (
        counted_steps > STRANGE_TIMES * books_steps
        and counted_steps > STRANGE_UNITS * part.steps_per_unit
    )


def start_count(
    *, location: Location, kind: str, author: AbstractBaseUser, at: datetime, request_id: UUID
) -> Count:
    """Begin to count a place; a place is counted once at a time. Sent twice, it begins once.

    kind: a `Count.Kind`. Raises CountedAlready, PlaceRetired, StockRefused for a tray.
    """
    if location.retired:
        raise PlaceRetired(location)
    if location.kind == Location.Kind.TRAY:
        raise StockRefused(f"{location} is a tray: it is cleared with its sheet, not counted.")
    for _ in range(TRIES):
        if earlier := Count.objects.filter(request_id=request_id).first():
            return earlier
        under_way = open_counts().filter(location=location).first()
        if under_way is not None:
            raise CountedAlready(under_way)
        last = Count.objects.aggregate(last=Max("number"))["last"] or 0
        try:
            with transaction.atomic():
                return Count.objects.create(
                    number=last + 1,
                    kind=kind,
                    location=location,
                    request_id=request_id,
                    started_by_id=author.pk,
                    started_at=at,
                )
        except IntegrityError:
            # Another was begun between the look and the writing: look again.
            continue
    raise StockRefused("Many counts begin at once. Try again.")


def enter_counted(
    *,
    count: Count,
    part: Part,
    counted_steps: int | None,
    author: AbstractBaseUser,
    at: datetime,
    event_id: UUID,
    drawn_at: datetime | None = None,
) -> CountLine:
    """Enter what was seen of a part, >= 0 [steps]; entered again, the new figure stands.

    The books are read now, under the locks of the lots. Sent twice with one event_id, it counts
    once. None: as many as the books have, whatever left since the page was drawn; a drawer check
    only. drawn_at: when the page with the figure was drawn; a figure entered since then was not on
    it and stands, so that one sent again late does not win over what replaced it.
    Raises CountClosed, EnteredMeanwhile, StockRefused below zero.
    """
    if counted_steps is None:
        _refuse_blind(count)
    elif counted_steps < 0:
        raise StockRefused("A count cannot be below zero.")
    try:
        with transaction.atomic():
            books = _books_locked([part], count.location)
            row = _locked(count, Count.State.OPEN, event_id=event_id)
            if earlier := _heard(row, part, counted_steps, event_id):
                return earlier
            stands = row.lines.select_related("part", "counted_by").filter(part=part).first()
            if stands and drawn_at is not None and stands.counted_at > drawn_at:
                raise EnteredMeanwhile(stands)
            lies = books[part.pk]
            seen = lies if counted_steps is None else counted_steps
            return _write_line(row, part, seen, lies, author, at, event_id)
    except IntegrityError:
        # The same id at the same moment in another count.
        if earlier := _heard(count, part, counted_steps, event_id):
            return earlier
        raise


def find_robbed(
    *,
    count: Count,
    kit: Part,
    missing: Mapping[Part, int],
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
) -> RobbedKit:
    """One kit of the drawer under check lacks pieces: it is opened, and no longer in the books.

    What was entered of this kit before is asked for anew, since nobody can say whether it counted
    the robbed one. missing: as for `rob_kit`. Sent twice with one request_id, it counts once.
    Raises CountClosed, and as `rob_kit` does.
    """
    if earlier := RobbedKit.objects.filter(request_id=request_id).first():
        return earlier
    with transaction.atomic():
        robbed = rob_kit(
            kit=kit,
            location=count.location,
            missing=missing,
            author=author,
            at=at,
            request_id=request_id,
            reason=f"drawer check {count.number}",
        )
        row = _locked(count, Count.State.OPEN)
        row.lines.filter(part=kit, counted_at__lte=robbed.found_at).delete()
        return robbed


def enter_as_booked(
    *, count: Count, parts: Collection[Part], author: AbstractBaseUser, at: datetime
) -> list[CountLine]:
    """Enter parts that are all there, as the books have them now. A drawer check only.

    What was entered before keeps its figure. Raises CountClosed; StockRefused in a blind count.
    """
    _refuse_blind(count)
    with transaction.atomic():
        books = _books_locked(parts, count.location)
        row = _locked(count, Count.State.OPEN)
        entered = set(row.lines.values_list("part", flat=True))
        return [
            _write_line(row, part, books[part.pk], books[part.pk], author, at, uuid4())
            for part in parts
            if part.pk not in entered
        ]


def not_entered(count: Count) -> list[Part]:
    """Parts that the books have in the place and that nobody entered yet, by number."""
    there = Balance.objects.there().filter(location=count.location_id)
    return list(
        Part.objects.filter(pk__in=there.values("part"))
        .exclude(pk__in=count.lines.values("part"))
        .order_by("number")
    )


def finish_count(
    *, count: Count, none_of: Iterable[Part], author: AbstractBaseUser, at: datetime
) -> Count:
    """Say that all is counted: a manager decides what differs; where nothing does, it is done.

    none_of: parts of which, when asked, somebody said that there are none. Sent twice, it counts
    once. Raises NotEntered, CountClosed.
    """
    said_none = list(none_of)
    with transaction.atomic():
        books = _books_locked(said_none, count.location)
        row = Count.objects.select_for_update().get(pk=count.pk)
        if row.state in (Count.State.COUNTED, Count.State.POSTED):
            return row
        _refuse_unless(row, Count.State.OPEN)
        entered = set(row.lines.values_list("part", flat=True))
        for part in said_none:
            if part.pk not in entered:
                _write_line(row, part, 0, books[part.pk], author, at, uuid4())
        if left := not_entered(row):
            raise NotEntered(left)
        row.note = ""
        if not row.lines.exists() and row.kind == Count.Kind.CYCLE:
            # An empty place that is empty in the books as well: that too was looked at.
            row.note = "Nothing there, and nothing in the books."
        row.state, row.counted_at = Count.State.COUNTED, at
        if not row.lines.exclude(counted_steps=F("books_steps")).exists():
            # Nothing to decide, and nothing to post.
            row.state, row.settled_by_id, row.settled_at = Count.State.POSTED, author.pk, at
        row.save(update_fields=["state", "counted_at", "note", "settled_by", "settled_at"])
        return row


def approve_count(
    *, count: Count, author: AbstractBaseUser, at: datetime, seen: datetime | None = None
) -> list[Movement]:
    """Post what differs, all lines or none. Approved twice, it is posted once.

    What is missing is taken first expiry, first in; what was found goes to the lot that came in
    last there, or to a new one. seen: the `counted_at` of what the manager looked at.
    Raises CountClosed; NoLongerThere; StockRefused where it was counted anew.
    """
    lines = list(count.lines.select_related("part").order_by("part__number"))
    posting = Posting(author, at, count.request_id, "counted", SOURCE, count.number)

    def work() -> None:
        row = Count.objects.select_for_update().get(pk=count.pk)
        if row.state == Count.State.POSTED:
            return
        _refuse_unless(row, Count.State.COUNTED)
        now = list(row.lines.select_related("part").order_by("part__number"))
        if (seen is not None and row.counted_at != seen) or _figures(now) != _figures(lines):
            raise StockRefused("It was counted anew meanwhile. Look at it again.")
        for line in now:
            _post_line(posting, line, row.location)
        row.state, row.settled_by_id, row.settled_at = Count.State.POSTED, author.pk, at
        row.save(update_fields=["state", "settled_by", "settled_at"])

    return posting.post(work, parts=[line.part for line in lines], places=[count.location])


def recount(*, count: Count, parts: Collection[Part]) -> Count:
    """Have single parts counted again: the count is open once more, their figures are gone.

    Raises CountClosed; StockRefused for no part.
    """
    if not parts:
        raise StockRefused("Tick what is to be counted again.")
    with transaction.atomic():
        row = _locked(count, Count.State.COUNTED)
        row.lines.filter(part__in=parts).delete()
        row.state, row.counted_at = Count.State.OPEN, None
        # What was found and is in no book would else be asked of nobody.
        row.note = f"Count again: {', '.join(sorted(part.number for part in parts))}."
        row.save(update_fields=["state", "counted_at", "note"])
        return row


def drop_count(*, count: Count, author: AbstractBaseUser, at: datetime) -> Count:
    """Give a count up: nothing of it is posted. Sent twice, it counts once. Raises CountClosed."""
    with transaction.atomic():
        row = Count.objects.select_for_update().get(pk=count.pk)
        if row.state == Count.State.DROPPED:
            return row
        _refuse_unless(row, Count.State.OPEN, Count.State.COUNTED)
        row.state, row.settled_by_id, row.settled_at = Count.State.DROPPED, author.pk, at
        row.save(update_fields=["state", "settled_by", "settled_at"])
        return row


def counts_under_way(places: Iterable[int]) -> list[Count]:
    """The counts that are being entered in these places, by primary key."""
    return list(open_counts().filter(state=Count.State.OPEN, location__in=places))


def open_counts() -> QuerySet[Count]:
    """Counts under way or to approve, the oldest first."""
    return (
        Count.objects.filter(state__in=(Count.State.OPEN, Count.State.COUNTED))
        .select_related("location", "started_by")
        .order_by("started_at", "pk")
    )


def to_approve() -> QuerySet[Count]:
    """Counts that wait for a manager, with `differ`: how many of their parts differ."""
    differs = ~Q(lines__counted_steps=F("lines__books_steps")) & Q(lines__isnull=False)
    return (
        open_counts()
        .filter(state=Count.State.COUNTED)
        .annotate(differ=CountOf("lines", filter=differs))
    )


def variances(count: Count) -> list[Variance]:
    """The lines of a count, each with the value that approving it now would post."""
    lines = list(count.lines.select_related("part", "counted_by").order_by("part__number"))
    lying: dict[int, list[Balance]] = {}
    for balance in (
        Balance.objects.there()
        .filter(location=count.location_id, part__in=[line.part_id for line in lines])
        .select_related("lot")
    ):
        lying.setdefault(balance.part_id, []).append(balance)
    return [Variance(line, _worth(line, lying.get(line.part_id, []))) for line in lines]


def places_to_count(*, today: date, since: datetime) -> list[PlaceToCount]:
    """Places that hold stock, the longest due first.

    since: a year ago; the use from then on gives classes where there is no advice yet.
    """
    every = dict(EVERY_DAYS)
    every.update(StockClass.objects.values_list("letter", "count_every_days"))
    classes = value_classes(since)
    parts_in: dict[int, set[int]] = {}
    there = Balance.objects.there().exclude(location__kind=Location.Kind.TRAY)
    for place, part in there.values_list("location", "part"):
        parts_in.setdefault(place, set()).add(part)
    last = dict(
        Count.objects.filter(state=Count.State.POSTED)
        .order_by()
        .values_list("location")
        .annotate(last=Max("counted_at"))
    )
    rows = []
    for location in Location.objects.in_use().filter(pk__in=parts_in):
        letter = min(classes.get(part, "C") for part in parts_in[location.pk])
        counted = last.get(location.pk)
        on = day_of(counted) if counted else None
        due = due_for_count(on, letter, every, today)
        rows.append(PlaceToCount(location, letter, len(parts_in[location.pk]), on, due))
    return sorted(rows, key=lambda row: (row.due_on, row.value_class, row.location.code))


def value_classes(since: datetime) -> dict[int, str]:
    """By part, its class as advised; without advice, by the value of what was used since."""
    used = Movement.objects.used_since(since)
    uses = [
        YearlyUse(str(pk), max(0, used.get(pk, 0)) / steps, cents)
        for pk, steps, cents in Part.objects.values_list("pk", "steps_per_unit", "usual_cost_cents")
    ]
    classes = {int(each.part): each.letter for each in rank(uses)}
    advised = StockAdvice.objects.filter(location__isnull=True)
    classes.update(advised.values_list("part", "value_class"))
    return classes


def books_of(count: Count) -> dict[int, int]:
    """By part, what the books have in the place now. [steps] For a drawer check, which is open."""
    there = Balance.objects.there().filter(location=count.location_id).order_by()
    return dict(there.values_list("part").annotate(total=Sum("quantity_steps")))


def _books_locked(parts: Collection[Part], location: Location) -> dict[int, int]:
    """By part, what the books have in a place, read once its lots are locked. [steps]"""
    pks = {part.pk for part in parts}
    lots = Lot.objects.select_for_update().filter(part__in=pks, quantity_left_steps__gt=0)
    locked = [lot.pk for lot in lots.order_by("pk")]
    books = dict.fromkeys(pks, 0)
    for part, steps in Balance.objects.filter(location=location, lot__in=locked).values_list(
        "part", "quantity_steps"
    ):
        books[part] += steps
    return books


def _locked(count: Count, state: str, event_id: UUID | None = None) -> Count:
    row = Count.objects.select_for_update().get(pk=count.pk)
    # What was entered before the count was finished and is sent again was heard.
    if event_id is None or not row.lines.filter(event_id=event_id).exists():
        _refuse_unless(row, state)
    return row


def _refuse_blind(count: Count) -> None:
    if count.kind != Count.Kind.DRAWER:
        raise StockRefused("This count is blind: enter what you see of each part.")


def _heard(count: Count, part: Part, counted_steps: int | None, event_id: UUID) -> CountLine | None:
    """The line that this very entry made before. Raises where the id came with another figure."""
    lines = CountLine.objects.select_related("part", "counted_by")
    line = lines.filter(event_id=event_id).first()
    if line is None:
        return None
    steps = line.books_steps if counted_steps is None else counted_steps
    if (line.count_id, line.part_id, line.counted_steps) != (count.pk, part.pk, steps):
        raise EnteredMeanwhile(line)
    return line


def _refuse_unless(count: Count, *states: str) -> None:
    if count.state not in states:
        raise CountClosed(count)


def _write_line(
    count: Count,
    part: Part,
    counted_steps: int,
    books_steps: int,
    author: AbstractBaseUser,
    at: datetime,
    event_id: UUID,
) -> CountLine:
    line, _ = CountLine.objects.update_or_create(
        count=count,
        part=part,
        defaults={
            "counted_steps": counted_steps,
            "books_steps": books_steps,
            "counted_by_id": author.pk,
            "counted_at": at,
            "event_id": event_id,
        },
    )
    return line


def _figures(lines: Iterable[CountLine]) -> list[tuple[int, int, int]]:
    return [(line.part_id, line.counted_steps, line.books_steps) for line in lines]


def _post_line(posting: Posting, line: CountLine, location: Location) -> None:
    difference = line.difference_steps
    if not difference:
        return
    lot = None
    if difference > 0:
        lying = posting.lots_there(line.part, location)
        lot = max(lying, key=lambda each: (each.received_at, each.pk), default=None)
    try:
        change_stock(posting, Movement.Kind.COUNT, line.part, location, lot, difference)
    except NotEnoughOnHand as short:
        raise NoLongerThere(line, location, short.there_steps) from short


def _worth(line: CountLine, lying: list[Balance]) -> int | None:
    """The value of a line's difference, as `_post_line` would post it. [cents]"""
    difference = line.difference_steps
    if difference < 0:
        layers = [
            LotLayer(
                lot_id=each.lot_id,
                expires_on=each.lot.expires_on,
                received_at=each.lot.received_at,
                quantity_steps=each.quantity_steps,
                value_cents=each.lot.value_left_cents,
                lot_quantity_steps=each.lot.quantity_left_steps,
            )
            for each in lying
        ]
        try:
            return -sum(each.value_cents for each in draw(layers, -difference))
        except NotEnough:
            return None
    if difference and lying:
        lot = max((each.lot for each in lying), key=lambda each: (each.received_at, each.pk))
        return receipt_value_cents(
            quantity_steps=difference,
            steps_per_unit=lot.quantity_left_steps,
            unit_cost_cents=lot.value_left_cents,
        )
    return line.part.cost_of(difference)
