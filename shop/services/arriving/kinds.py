"""What may arrive: one row for each kind of entry, on a sheet or of a rig."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from equipment.models import Rig
from shop.models import ServiceSheet
from shop.services.arriving import around, walking, work
from shop.services.arriving.entry import Entry
from shop.services.arriving.reading import (
    Read,
    drawing,
    figure,
    flag,
    key,
    keys,
    moment,
    rows,
    text,
)


@dataclass(frozen=True, slots=True)
class Kind:
    """How entries of one kind are read, and what they do.

    fields: by name, the reader of each. post: does it inside the transaction that holds the
    lock of the sheet or rig, and returns what is said of it; raises one of `entry.REFUSALS`.
    """

    fields: Mapping[str, Read]
    post: Callable[[Entry], str]


#: What one face showed.
FACE: Final[dict[str, Read]] = {
    "counter": key,
    "value": text,
    "step": text,
    "before_reset": text,
    "face_start": text,
    "sure": text,
}

#: On a sheet.
KINDS: Final[dict[str, Kind]] = {
    "answer": Kind(
        {
            "step": key,
            "answer": text,
            "value": text,
            "left_value": text,
            "unit": text,
            "choice": text,
            "note": text,
            "remedy": text,
            "finding_text": text,
            "is_grave": flag,
            "seen": text,
        },
        work.answer,
    ),
    "pick": Kind({"event": text}, work.pick),
    "used": Kind({"row": key, "part": text, "used": text}, work.used),
    "add": Kind(
        {"part": text, "quantity": text, "place": text, "sure": text, "expired_reason": text},
        work.add,
    ),
    "take": Kind({}, work.take),
    # event: of the entry that added it; row: of a part that nobody planned. part: for who reads it.
    "take_off": Kind({"event": text, "row": key, "part": text}, work.take_off),
    "reading": Kind(FACE, work.reading),
    "sign": Kind(
        {
            "signature": text,
            "drawn": drawing,
            "labour_minutes": figure,
            "leave_undone": flag,
            "sure": text,
            "no_parts": flag,
        },
        work.sign,
    ),
    "found": Kind({"text": text, "is_grave": flag, "line": key}, work.found),
    "clock": Kind({"does": text, "until": text, "sure": flag}, around.clock),
    "wait": Kind({"missing": text, "parts": keys}, around.wait),
    "next": Kind({"line": key, "text": text}, around.note_for_next),
    "hand_over": Kind({"words": text, "to": key}, around.hand_over),
}

#: Of a rig.
RIG_KINDS: Final[dict[str, Kind]] = {
    "round": Kind(
        {
            "began": moment,
            "answers": rows({"item": key, "answer": text, "note": text, "is_grave": flag}),
            "readings": rows(FACE),
        },
        walking.walk,
    ),
    "reading": Kind(FACE, walking.reading),
    "found": Kind({"text": text, "is_grave": flag}, walking.found),
}


def kind_of(of: ServiceSheet | Rig, name: str) -> Kind | None:
    """What an entry of that name is there; None where there is no such kind."""
    return (RIG_KINDS if isinstance(of, Rig) else KINDS).get(name)
