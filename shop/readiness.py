"""Whether a rig may leave, in a word and why: ready, ready with, held, laid up."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.db.models import F, Q
from django.utils.translation import gettext, gettext_noop

from equipment import due as due_math
from equipment.due import FAR_DATE
from equipment.models import Due, Rig
from shop import odds, rigview, words
from shop.duelist import FIELDS, ListedDue
from shop.models import Shop
from shop.spoken import own

READY: Final = gettext_noop("ready")
READY_WITH: Final = gettext_noop("ready with")
HELD: Final = gettext_noop("held")
LAID_UP: Final = gettext_noop("laid up")

#: So many reasons are named; the rest are counted.
NAMED: Final = 3
#: The tag beside each word; "ready with" has that of its gravest service.
TAGS: Final = {READY: "clear", HELD: "held", LAID_UP: "out_of_service"}
#: The gravest first.
BY_WEIGHT: Final = (
    "held",
    due_math.OVERDUE,
    due_math.DUE,
    due_math.SOON,
    "out_of_service",
    "clear",
)


@dataclass(frozen=True, slots=True)
class Readiness:
    """word: ready, ready with, held or laid up. reasons: what falls due, or the found work.

    tag, tag_word: the state it is drawn with: that of the gravest service where it is ready with
    some, and the word itself elsewhere.
    """

    word: str
    reasons: tuple[str, ...] = ()
    tag: str = "clear"
    tag_word: str = READY

    @property
    def is_held(self) -> bool:
        return self.word == HELD

    @property
    def weight(self) -> int:
        """Where it stands in a list that has the gravest first."""
        return BY_WEIGHT.index(self.tag)

    @property
    def why(self) -> str:
        """The reasons in a row, the first few of many."""
        more = len(self.reasons) - NAMED
        said = "; ".join(self.reasons[:NAMED])
        if more <= 0:
            return said
        return gettext("{reasons}; and {count} more").format(reasons=said, count=more)

    @property
    def text(self) -> str:
        return f"{self.word}: {self.why}" if self.reasons else self.word


def of_rig(rig: Rig, *, today: date, shop: Shop) -> Readiness:
    """Say whether a rig may leave today."""
    return of_rigs([rig], today=today, shop=shop)[rig.pk]


def of_rigs(rigs: Iterable[Rig], *, today: date, shop: Shop) -> dict[int, Readiness]:
    """Say of each rig whether it may leave today; as many queries for a fleet as for one rig.

    Found work that is grave holds it. Else it leaves with what is as likely as not to fall due
    before its next stay, or within the days of warning where no stay is known.
    """
    rigs = list(rigs)
    holds = rigview.holds(rigs)
    likely: dict[int, list[ListedDue]] = {}
    for row in _likely(rigs, today=today, shop=shop):
        likely.setdefault(row.rig_id, []).append(row)
    found = {}
    for rig in rigs:
        if rig.is_laid_up:
            found[rig.pk] = _plain(LAID_UP)
        elif held := holds.get(rig.pk):
            found[rig.pk] = _plain(HELD, tuple(each.text for each in held))
        elif rows := likely.get(rig.pk):
            found[rig.pk] = _with(rows, today=today)
        else:
            found[rig.pk] = _plain(READY)
    return found


def _likely(rigs: Sequence[Rig], *, today: date, shop: Shop) -> list[ListedDue]:
    """What falls due on these rigs before the next stay of each, in one query."""
    soon = today + timedelta(days=shop.warning_days)
    stays = ~Q(rig__stay_on=FAR_DATE)
    # A stay kept for a day gone by still shows what has fallen due since. A bigger service that
    # falls due by then stands for the smaller ones.
    before_stay = (Q(due_date__lt=F("rig__stay_on")) | Q(due_date__lte=today)) & Q(
        bigger_date__gte=F("rig__stay_on"), bigger_date__gt=today
    )
    within_warning = Q(due_date__lte=soon, bigger_date__gt=soon)
    rows = (
        Due.objects.listed()
        .filter(rig_number__in=[rig.number for rig in rigs if not rig.is_laid_up])
        .filter((stays & before_stay) | (~stays & within_warning))
        .order_by("rig_number", "due_date", "pk")
    )
    return [ListedDue._make(row) for row in rows.values_list(*FIELDS)]


def _plain(word: str, reasons: tuple[str, ...] = ()) -> Readiness:
    return Readiness(word, reasons, tag=TAGS[word], tag_word=word)


def _with(rows: Sequence[ListedDue], *, today: date) -> Readiness:
    states = {row.pk: _state(row, today=today) for row in rows}
    rows = sorted(rows, key=lambda row: (BY_WEIGHT.index(states[row.pk]), row.due_date, row.pk))
    worst = states[rows[0].pk]
    return Readiness(
        READY_WITH,
        tuple(
            f"{own(row.place)}, {own(row.service_name)} ({_when(row, states[row.pk], today=today)})"
            for row in rows
        ),
        tag=worst,
        tag_word=words.STATE_WORDS[worst],
    )


def _state(row: ListedDue, *, today: date) -> str:
    """Overdue, due, or soon: likely before the next stay is soon, however far off that is."""
    state = words.state_of(row, today=today, warning_days=0)
    return due_math.SOON if state == due_math.CLEAR else state


def _when(row: ListedDue, state: str, *, today: date) -> str:
    """ "2 Dec" where the day is known, else the odds before its next stay: "63 %"."""
    if state == due_math.OVERDUE:
        return gettext("overdue")
    chance = odds.kept(row)
    if odds.is_known_due(row, today=today) or (chance and not words.is_certain(row)):
        return odds.text_of(row, chance, today=today)
    return words.date_text(row, today=today)
