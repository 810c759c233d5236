"""Readings, what is still open, and the signature."""

from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django.utils import timezone

from equipment.forms.readings import FaceForm
from equipment.models import Finding
from shop.models import ReadingEntry, ServiceSheet
from shop.services import clocking, sheet_parts
from shop.services.paper import counters_of


@dataclass(frozen=True, slots=True)
class RefusedSignature:
    """A signature that was not taken: the faces as typed, why, and the rest of what was typed."""

    faces: list[FaceForm]
    why: str
    typed: Any


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


def sign_context(
    sheet: ServiceSheet, refused: RefusedSignature | None, name: str
) -> dict[str, Any]:
    """The faces to read, what was found, and what the signature asks for."""
    typed = refused.typed if refused else {}
    return {
        "faces": [(face, uuid4()) for face in (refused.faces if refused else faces_of(sheet))],
        "found": Finding.objects.filter(
            source_kind=sheet_parts.SOURCE, source_number=sheet.number
        ).order_by("pk"),
        "sign_error": refused.why if refused else "",
        "leaves_undone": bool(typed.get("leave_undone")),
        "minutes": typed.get("labour_minutes", "")
        or clocking.likely_minutes(sheet, now=timezone.now(), zone=timezone.get_current_timezone())
        or "",
        "signing_id": typed.get("signing_id") or uuid4(),
        "signature": typed.get("signature", name),
    }
