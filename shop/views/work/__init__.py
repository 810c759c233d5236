"""The technician's copy of a sheet: cautions, checks, parts, sign. One column, one thumb."""

from shop.views.work.entries import entries, rig_entries
from shop.views.work.page import work
from shop.views.work.photos import line_note, rig_photo, sheet_photo
from shop.views.work.plain import add_part, answer, sign, take_parts, used

__all__ = [
    "add_part",
    "answer",
    "entries",
    "line_note",
    "rig_entries",
    "rig_photo",
    "sheet_photo",
    "sign",
    "take_parts",
    "used",
    "work",
]
