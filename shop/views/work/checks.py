"""Cautions, lockout, gauges and checks: one step after the other, each with its answer."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import uuid4

from django.db.models import QuerySet

from equipment import values
from shop.isolation import RUN_NOTE
from shop.models import ServiceSheet, SheetLine, SheetStep, StepEntry
from shop.services import working
from shop.services.knowledge import known_for
from shop.services.paper import limit_text, line_place
from shop.services.refusals import BadAnswer

Section = SheetStep.Section


@dataclass(frozen=True, slots=True)
class RefusedAnswer:
    """An answer that was not taken: of which step, why, and what was typed."""

    step: int
    why: str
    typed: Any


def checks_context(sheet: ServiceSheet, refused: RefusedAnswer | None) -> dict[str, Any]:
    """The steps before the checks by their section, and the lines of the sheet with theirs."""
    shown: dict[str, list[dict[str, Any]]] = {section: [] for section in Section.values}
    by_line: dict[int | None, list[dict[str, Any]]] = {}
    for step in _steps(sheet):
        of_step = _shown(step, refused if refused and refused.step == step.pk else None)
        shown[step.section].append(of_step)
        if step.section == Section.CHECK:
            by_line.setdefault(step.line_id, []).append(of_step)
    every = list(_lines(sheet))
    known = known_for(every)
    lines = [
        {
            "line": line,
            "place": line_place(line),
            "short_place": _short_place(line, before),
            "steps": by_line.get(line.pk, []),
            "known": known[line.pk],
            "note_id": uuid4(),
        }
        for before, line in zip([None, *every], every, strict=False)
    ]
    return {
        "cautions": shown[Section.CAUTION],
        "lockouts": shown[Section.LOCKOUT],
        "gauges": shown[Section.ZERO],
        "returns": shown[Section.RETURN],
        "lines": lines,
        "run_note": RUN_NOTE,
        "remedies": [(r.value, r.label) for r in StepEntry.Remedy if r.value],
    }


def _shown(step: SheetStep, refused: RefusedAnswer | None) -> dict[str, Any]:
    """One step with what is typed into it now, or was before it was refused."""
    entry = step.entry
    typed = refused.typed if refused else {}
    value = typed.get("value", "")
    if not value and entry is not None and entry.value is not None:
        value = typeable(step, entry.value)
    measured = _measured(step, str(value))
    return {
        "step": step,
        "entry": entry,
        "event_id": typed.get("event_id") or uuid4(),
        "error": refused.why if refused else "",
        "value": value,
        "measured": measured,
        "limit": limit_text(step),
        "asks": bool(typed) and measured is not None and step.is_outside(measured),
        "typed": typed,
        "low": "" if step.low is None else typeable(step, step.low),
        "high": "" if step.high is None else typeable(step, step.high),
        "is_code": values.is_code(step.unit),
        "increment": _increment(step),
        "start": step.last_value if step.last_value is not None else (step.low or step.high or 0),
    }


def _short_place(line: SheetLine, before: SheetLine | None) -> str:
    """Where the hands move to: the position, or the service where they stay at the same one."""
    if line.position is None or (before and before.position_id == line.position_id):
        return line.title
    return line.position.label


def _increment(step: SheetStep) -> str:
    """The step of the minus and plus buttons: a digit of the limit."""
    limit = step.high if step.high is not None else step.low
    if limit is None:
        return "1"
    exponent = limit.normalize().as_tuple().exponent
    places = -exponent if isinstance(exponent, int) and exponent < 0 else 0
    return f"{Decimal(1).scaleb(-places):f}"


def _steps(sheet: ServiceSheet) -> QuerySet[SheetStep]:
    return sheet.steps.select_related("entry__author", "entry__finding").order_by(
        "section", "order"
    )


def _lines(sheet: ServiceSheet) -> QuerySet[SheetLine]:
    return sheet.lines.select_related(
        "version__service", "component__type__kind", "position__kind", "finding"
    ).order_by("order")


def typeable(step: SheetStep, value: Decimal) -> str:
    """A value as one would type it: "1182.5", "-40", "18/16/13"."""
    return values.figure(value, step.unit).replace(",", "").replace("−", "-")


def _measured(step: SheetStep, text: str) -> Decimal | None:
    """What stands in the box as a value; None where it is none, which is said beside it."""
    try:
        return working.typed_value(step, text)
    except BadAnswer:
        return None
