"""What phones send: who made it, when, what becomes of it, how the sheet then stands.

A phone keeps each entry with the pen of its author until the server has it. Entries come in
batches, in the order made, perhaps hours late, perhaps twice, perhaps by a clock that is wrong.
Most belong to a sheet, the daily round to its rig. Each is posted once through the services that
the pages call. What cannot be posted is kept whole and waits for a manager; nothing that came with
a pen of ours is dropped.
"""

from shop.services.arriving.batch import Arrived, arrive
from shop.services.arriving.entry import Asked, Entry, NotTaken, Outcome
from shop.services.arriving.keeping import TAKEN
from shop.services.arriving.kinds import KINDS, RIG_KINDS, Kind
from shop.services.arriving.pens import NotOurs, Pen, pen_of, read_pen
from shop.services.arriving.reading import Batch, Unreadable, read_batch
from shop.services.arriving.settling import (
    AlreadySettled,
    may_post,
    not_issued,
    part_meant,
    post,
    post_all,
    set_aside,
    waiting_of,
)
from shop.services.arriving.snapshot import answer_in_words, snapshot

__all__ = [
    "KINDS",
    "RIG_KINDS",
    "TAKEN",
    "AlreadySettled",
    "Arrived",
    "Asked",
    "Batch",
    "Entry",
    "Kind",
    "NotOurs",
    "NotTaken",
    "Outcome",
    "Pen",
    "Unreadable",
    "answer_in_words",
    "arrive",
    "may_post",
    "not_issued",
    "part_meant",
    "pen_of",
    "post",
    "post_all",
    "read_batch",
    "read_pen",
    "set_aside",
    "snapshot",
    "waiting_of",
]
