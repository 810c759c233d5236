"""What a service asks for, in words, and in what two of them differ. No Django, no clock.

The same words stand in the list, on the page of a service, beside a version and where two are
compared, whether what is asked comes from a version of this shop or from the starting library.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from equipment import due, hoses, values
from equipment.counters import plain

#: One and several, of what a trigger counts.
COUNTED: Final = {
    due.HOURS: ("hour", "hours"),
    due.STROKES: ("stroke", "strokes"),
    due.GALLONS: ("gallon", "gallons"),
    due.DAYS: ("day", "days"),
    due.MONTHS: ("month", "months"),
}
#: What the row of a trigger is called where two are compared.
BY: Final = {
    due.HOURS: "By hours",
    due.STROKES: "By strokes",
    due.GALLONS: "By gallons",
    due.DAYS: "By days",
    due.MONTHS: "By months",
    due.SEASON: "Before a day of the year",
    due.IDLE: "By days without use",
    due.JOB: "Before a job",
}
RULES: Final = {
    due.WHICHEVER_FIRST: "whichever falls first",
    due.ALL_OF_THEM: "only once all of them have",
}
NOT_COUNTED: Final = "not counted"
NOT_ASKED: Final = "not asked"
NOTHING: Final = "nothing"
# 29 February is a day of the year, too.
LEAP_YEAR: Final = 2000


@dataclass(frozen=True, slots=True)
class TriggerAsked:
    """One way to fall due, as `equipment.models.Trigger`, with names for what it points at.

    season_month, season_day: 0 where there is no season. after: the other service, in words.
    unit: of what is watched.
    """

    measure: str
    interval: Decimal
    first_at: Decimal | None = None
    season: str = ""
    season_month: int = 0
    season_day: int = 0
    after: str = ""
    watched: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    unit: str = ""


@dataclass(frozen=True, slots=True)
class CheckAsked:
    """One check of a sheet, as `equipment.models.Check`; kind in words."""

    text: str
    kind: str
    hint: str = ""
    choices: tuple[str, ...] = ()
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    needs_electrician: bool = False
    opens: tuple[str, ...] = ()
    is_run: bool = False


@dataclass(frozen=True, slots=True)
class Asked:
    """All that a service asks for, as its version says it. Percentages: of the interval. [%]

    only_rigs: numbers as the pages write them; none: every rig.
    renews, skill, basis, cautions, includes: in words.
    """

    name: str
    kind: str
    side: str
    triggers: tuple[TriggerAsked, ...]
    checks: tuple[CheckAsked, ...]
    rule: str
    tolerance_percent: Decimal
    early_percent: Decimal
    is_hard_limit: bool
    renews: str
    instructions: str
    condition_sign: str
    labour_minutes: int
    skill: str
    is_rebuild: bool
    source: str
    basis: str
    second_look: bool = False
    only_rigs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    includes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Difference:
    """One row of a comparison."""

    label: str
    left: str
    right: str

    @property
    def is_same(self) -> bool:
        return self.left == self.right

    @property
    def sentence(self) -> str:
        """ "Tolerance: none → 10 %"."""
        return f"{self.label}: {self.left} → {self.right}"


def spoken_name(name: str, kind: str, side: str, *, among: str) -> str:
    """A service as one of the kind `among` speaks of it: with its kind where that is another."""
    if kind == among:
        return f"{name}, side {side}" if side else name
    return f"{name} ({kind}{f' {side}' if side else ''})"


def counted(number: Decimal, measure: str) -> str:
    """ "1 day", "10,000 strokes"."""
    one, several = COUNTED[measure]
    return f"{plain(number)} {one if number == 1 else several}"


def day_of_year(month: int, day: int) -> str:
    """ "15 Oct". Raises ValueError for what is no day of a leap year."""
    return f"{day} {date(LEAP_YEAR, month, day):%b}"


def trigger_words(trigger: TriggerAsked) -> str:
    """When it falls due by this one: "every 250 hours", "1 day after “side seals”"."""
    days = counted(trigger.interval, due.DAYS)
    match trigger.measure:
        case due.SEASON:
            when = day_of_year(trigger.season_month, trigger.season_day)
            return f"before {trigger.season}, {when}; done within {days} before it, it counts"
        case due.IDLE:
            return f"after {days} without use"
        case due.AFTER:
            return f"{days} after “{trigger.after}”"
        case due.JOB:
            return f"before the rig leaves for a job; done within {days} before, it counts"
        case due.VALUE:
            return f"when “{trigger.watched}” {_past(trigger)}, or {days} before it will be"
    every = f"every {counted(trigger.interval, trigger.measure)}"
    if trigger.first_at is None:
        return every
    return f"first at {counted(trigger.first_at, trigger.measure)} of life, then {every}"


def falls_due_lines(asked: Asked) -> list[str]:
    """A line for each trigger, the rule with the last of several; what stands for none."""
    lines = [trigger_words(each) for each in asked.triggers]
    if len(lines) > 1:
        glue = "or" if asked.rule == due.WHICHEVER_FIRST else "and"
        return [lines[0], *(f"{glue} {line}" for line in lines[1:])]
    if lines:
        return lines
    return [f"when: {asked.condition_sign}" if asked.condition_sign else "never by itself"]


def tolerance_words(asked: Asked) -> str:
    """ "10 %", "none", "none, set by law"."""
    if asked.is_hard_limit:
        return "none, set by law"
    return f"{plain(asked.tolerance_percent)} %" if asked.tolerance_percent else "none"


def early_words(asked: Asked) -> str:
    """ "10 % of the interval", "not before it is due"."""
    if not asked.early_percent:
        return "not before it is due"
    return f"{plain(asked.early_percent)} % of the interval"


def check_words(check: CheckAsked) -> str:
    """ "measured value, at most 10 psi; air flowing", "tick when done"."""
    said = check.kind
    if check.choices:
        said += f": {', '.join(check.choices)}"
    elif limits := values.limits(check.low, check.high, check.unit):
        said += f", {limits}"
    if check.needs_electrician:
        said += ", by a licensed electrician"
    if check.opens:
        said += f", opens {' and '.join(check.opens)}"
    if check.is_run:
        said += ", the rig runs for it"
    hint = check.hint.replace(hoses.PLACEHOLDER, hoses.STANDS_FOR)
    return f"{said}; {hint}" if hint else said


def compare(left: Asked, right: Asked) -> list[Difference]:
    """All rows of two that are compared, equal ones too, in the order of the page of a service."""
    pairs = zip(_rows(left), _rows(right), strict=True)
    rows = [Difference(label, a, b) for (label, a), (_, b) in pairs]
    rows[4:4] = [
        *_listed(_triggers(left), _triggers(right), NOT_COUNTED),
        *_listed(_named("Includes", left.includes), _named("Includes", right.includes), "no"),
    ]
    rows += [
        *_listed(_checks(left), _checks(right), NOT_ASKED),
        *_order(left.checks, right.checks),
        *_listed(_named("Caution", left.cautions), _named("Caution", right.cautions), "no"),
    ]
    return [row for row in rows if not row.left == row.right == NOTHING]


def differences(left: Asked, right: Asked) -> list[Difference]:
    """Only the rows in which two differ."""
    return [row for row in compare(left, right) if not row.is_same]


def _rows(asked: Asked) -> list[tuple[str, str]]:
    return [
        ("Name", asked.name),
        ("Kind", asked.kind),
        ("Side", asked.side or "either side"),
        ("In", f"only rig {', '.join(asked.only_rigs)}" if asked.only_rigs else "every rig"),
        # Triggers and included services come in here.
        ("Of several", RULES[asked.rule] if len(asked.triggers) > 1 else NOTHING),
        ("Due at once when", asked.condition_sign or NOTHING),
        ("Tolerance", tolerance_words(asked)),
        ("May be done early by", early_words(asked)),
        ("The next one counts", asked.renews),
        ("What to do", asked.instructions or NOTHING),
        ("Takes", f"{asked.labour_minutes} min" if asked.labour_minutes else NOTHING),
        ("Done by", asked.skill),
        ("Renews what wears inside", "yes" if asked.is_rebuild else "no"),
        ("A manager looks again", "yes" if asked.second_look else "no"),
        ("Source", asked.source or NOTHING),
        ("Basis", asked.basis),
    ]


def _triggers(asked: Asked) -> Iterator[tuple[str, str]]:
    for each in asked.triggers:
        label = BY.get(each.measure)
        if label is None:
            label = f"After “{each.after}”" if each.after else f"By “{each.watched}”"
        yield label, trigger_words(each)


def _named(what: str, names: Iterable[str]) -> Iterator[tuple[str, str]]:
    return ((f"{what} “{name}”", "yes") for name in names)


def _checks(asked: Asked) -> Iterator[tuple[str, str]]:
    seen: Counter[str] = Counter()
    for check in asked.checks:
        seen[check.text] += 1
        again = f" ({seen[check.text]})" if seen[check.text] > 1 else ""
        yield f"Check “{check.text}”{again}", check_words(check)


def _order(left: Sequence[CheckAsked], right: Sequence[CheckAsked]) -> list[Difference]:
    common = {each.text for each in left} & {each.text for each in right}
    a, b = ([each.text for each in side if each.text in common] for side in (left, right))
    return [] if a == b else [Difference("Order of the checks", "; ".join(a), "; ".join(b))]


def _listed(
    left: Iterable[tuple[str, str]], right: Iterable[tuple[str, str]], missing: str
) -> list[Difference]:
    a, b = dict(left), dict(right)
    return [
        Difference(label, a.get(label, missing), b.get(label, missing))
        for label in dict.fromkeys([*a, *b])
    ]


def _past(trigger: TriggerAsked) -> str:
    low, high, unit = trigger.low, trigger.high, trigger.unit
    if low is not None and high is not None:
        return f"is outside {values.limits(low, high, unit)}"
    if low is not None:
        return f"is below {values.said(low, unit)}"
    assert high is not None, "a measured value has a limit"
    return f"is over {values.said(high, unit)}"
