"""What may arrive: one row for each kind of entry."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from shop.services.arriving import around, work
from shop.services.arriving.entry import Entry
from shop.services.arriving.reading import Read, drawing, figure, flag, key, keys, text


@dataclass(frozen=True, slots=True)
class Kind:
    """How entries of one kind are read, and what they do.

    fields: by name, the reader of each. post: does it inside the transaction that holds the
    sheet's lock, and returns what is said of it; raises one of `entry.REFUSALS`.
    """

    fields: Mapping[str, Read]
    post: Callable[[Entry], str]


KINDS: Final[dict[str, Kind]] = {
    "answer": Kind(
        {
            "step": key,
            "answer": text,
            "value": text,
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
    "add": Kind({"part": text, "quantity": text, "place": text, "sure": text}, work.add),
    "take": Kind({}, work.take),
    "reading": Kind(
        {
            "counter": key,
            "value": text,
            "step": text,
            "before_reset": text,
            "face_start": text,
            "sure": text,
        },
        work.reading,
    ),
    "sign": Kind(
        {
            "signature": text,
            "drawn": drawing,
            "labour_minutes": figure,
            "leave_undone": flag,
            "sure": text,
        },
        work.sign,
    ),
    "found": Kind({"text": text, "is_grave": flag, "line": key}, work.found),
    "clock": Kind({"does": text, "until": text, "sure": flag}, around.clock),
    "wait": Kind({"missing": text, "parts": keys}, around.wait),
    "next": Kind({"line": key, "text": text}, around.note_for_next),
    "hand_over": Kind({"words": text, "to": key}, around.hand_over),
}
