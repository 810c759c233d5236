"""Readings, what is still open, and the signature."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final
from uuid import uuid4

from django.utils import timezone
from django.utils.translation import gettext, gettext_noop

from equipment.counters import plain
from equipment.forms.readings import FaceForm
from equipment.models import Counter, Finding
from equipment.services.expecting import foreseen_of
from shop.models import Person, ReadingEntry, ServiceSheet
from shop.services import clocking, sheet_parts
from shop.services.paper.counters import counters_of
from shop.services.paper.steps import line_place

#: Said by the page and, as the clocks go on, by its script.
FROM_YOUR_CLOCK: Final = gettext_noop("From your clock.")
FROM_THE_CLOCKS: Final = gettext_noop("From the clocks of all who worked on it.")
#: For how long a page that lies on a phone says what its counters may show. [d]
FORESEEN_DAYS: Final = (0.5, 1, 2, 4, 8, 16, 32)


@dataclass(frozen=True, slots=True)
class RefusedSignature:
    """A signature that was not taken: the faces as typed, why, and the rest of what was typed.

    no_part_used: what is asked before it is.
    """

    faces: list[FaceForm]
    why: str
    typed: Any
    no_part_used: str = ""


def faces_of(sheet: ServiceSheet, sent: Any = None) -> list[FaceForm]:
    """The counters of the sheet, each with what was kept of it or is sent now."""
    kept = {entry.counter_id: entry for entry in sheet.readings.filter(is_in_force=True)}
    now = timezone.now()
    return [
        FaceForm(
            sent,
            now=now,
            counter=counter,
            initial=_kept_of(kept[counter.pk]) if counter.pk in kept else {},
        )
        for counter in counters_of(sheet)
    ]


def _kept_of(entry: ReadingEntry) -> dict[str, Any]:
    return {
        "value": entry.value,
        "step": entry.step,
        "before_reset": entry.before_reset,
        "face_start": entry.face_start,
    }


def foreseen(counters: Iterable[Counter], *, now: datetime) -> dict[str, Any]:
    """What the script asks about a reading by, for each counter by its key, for JSON.

    ahead: [until, least, most or null] of each stretch of time from now on.
    """
    rows = list(counters)
    ahead = foreseen_of(rows, moments=[now + timedelta(days=each) for each in FORESEEN_DAYS])
    return {
        str(each.pk): {
            "last": f"{each.last_value:f}",
            "said": plain(each.last_value),
            "at": each.last_at.isoformat(),
            "unit": gettext(each.unit),
            "rollover": None if each.rollover is None else f"{each.rollover:f}",
            "ahead": [
                [
                    part.until.isoformat(),
                    f"{part.low:f}",
                    None if part.high is None else f"{part.high:f}",
                ]
                for part in ahead.get(each.pk, ())
            ],
        }
        for each in rows
    }


def components_of(sheet: ServiceSheet) -> list[dict[str, Any]]:
    """What the sheet is worked on, each component once: where it is, and by which of its lines."""
    found: dict[int, dict[str, Any]] = {}
    lines = sheet.lines.filter(component__isnull=False).order_by("order")
    for line in lines.select_related("component__type__kind", "position__kind"):
        assert line.component is not None
        new = {"place": line_place(line), "of": str(line.component), "lines": []}
        found.setdefault(line.component.pk, new)["lines"].append(line.order)
    return list(found.values())


def sign_context(
    sheet: ServiceSheet, refused: RefusedSignature | None, person: Person
) -> dict[str, Any]:
    """The faces to read, what was found, and what the signature asks for."""
    typed = refused.typed if refused else {}
    faces = refused.faces if refused else faces_of(sheet)
    minutes = typed.get("labour_minutes", "")
    likely = clocking.likely_minutes(
        sheet, now=timezone.now(), zone=timezone.get_current_timezone()
    )
    return {
        "faces": [(face, uuid4()) for face in faces],
        "foreseen": foreseen((face.counter for face in faces), now=timezone.now()),
        "found_of": components_of(sheet),
        "found": Finding.objects.filter(source_kind=sheet_parts.SOURCE, source_number=sheet.number)
        .select_related("component")
        .order_by("pk"),
        "sign_error": refused.why if refused else "",
        "no_part_used": refused.no_part_used if refused else "",
        "leaves_undone": bool(typed.get("leave_undone")),
        "minutes": minutes or likely.minutes or "",
        "minutes_typed": bool(minutes),
        "minutes_from": _said_of(likely, person) if likely.minutes and not minutes else "",
        "signing_id": typed.get("signing_id") or uuid4(),
        "signature": typed.get("signature", person.name),
    }


def _said_of(likely: clocking.Likely, person: Person) -> str:
    """Where the minutes that are proposed come from."""
    if likely.persons:
        only_theirs = likely.persons == (person.pk,)
        return gettext(FROM_YOUR_CLOCK if only_theirs else FROM_THE_CLOCKS)
    return gettext("As planned.") if likely.is_planned else gettext("Since the first entry.")
