"""The technician's copy of a sheet: cautions, checks, parts, sign. One column, one thumb."""

from shop.views.work.checks import answer, work, work_cautions, work_checks
from shop.views.work.entries import entries
from shop.views.work.parts import add_part, take_parts, used, work_parts
from shop.views.work.photos import line_note, sheet_photo
from shop.views.work.sign import work_sign

__all__ = [
    "add_part",
    "answer",
    "entries",
    "line_note",
    "sheet_photo",
    "take_parts",
    "used",
    "work",
    "work_cautions",
    "work_checks",
    "work_parts",
    "work_sign",
]
