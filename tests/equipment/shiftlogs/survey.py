"""One drawn log, put to the importer and judged."""

from collections.abc import Callable
from dataclasses import dataclass, field

from equipment.shiftlogs.layout import AnswerRefused, LogRefused

from .doubts import MUST
from .drawn import Draw
from .oracle import differences, truth_of
from .subject import talk


@dataclass(frozen=True, slots=True)
class Verdict:
    """faults: what is wrong, in words. needless: by key, why it was asked though the text decided.

    first: what was asked at the first look, where anything was.
    """

    number: int
    faults: list[str] = field(default_factory=list)
    needless: dict[str, str] = field(default_factory=dict)
    asked: frozenset[str] = frozenset()


def judge(number: int, family: Callable[[int], Draw] = Draw) -> Verdict:
    """Read a drawn log in a dialogue with somebody truthful.

    family: Stranger: there `columns` may always be asked, and settles what else was in doubt.
    """
    log = family(number).written
    try:
        talked = talk(log)
    except (LogRefused, AnswerRefused) as refused:
        return Verdict(number, [f"refused: {refused}"])
    truth = truth_of(log.rows, log.rig)
    faults = [
        f"{'silently' if talked.silent else 'after the answers'}: {each}"
        for each in differences(talked.days, truth)
    ]
    unasked = {key for key, how in log.doubts.items() if how == MUST} - talked.asked.keys()
    if "columns" in talked.asked:
        unasked -= {"counts", "sides", "pressure_unit", "temp_unit"}
    if unasked:
        faults.append(f"decides in silence: {sorted(unasked)}")
    if talked.bad != log.bad:
        faults.append(f"{talked.bad} bad rows, truly {log.bad}")
    allowed = set(log.doubts) | ({"columns", "counts", "sides"} if family is not Draw else set())
    if any(day["at_least"] for day in truth.days):
        allowed.add("reset")  # began anew over unlogged time: reset, or read wrongly
    needless = {key: why for key, why in talked.asked.items() if key not in allowed}
    return Verdict(number, faults, needless, frozenset(talked.asked))
