"""Shift logs: looked at, read for good, withdrawn; their contradictions settled; layouts kept."""

from equipment.services.shiftlogs.files import Source, source_of, sources, unzipped
from equipment.services.shiftlogs.keeping import day_of, days_between
from equipment.services.shiftlogs.layouts import (
    LayoutRefused,
    keep_layout,
    layout_kept,
    layout_like,
    retire_layout,
)
from equipment.services.shiftlogs.looking import look_at
from equipment.services.shiftlogs.many import look_at_many, read_many
from equipment.services.shiftlogs.outcome import (
    ASKS,
    KNOWN,
    READ,
    REFUSED,
    BadRow,
    Outcome,
    Progress,
)
from equipment.services.shiftlogs.posting import SettlingRefused
from equipment.services.shiftlogs.reading import read_log
from equipment.services.shiftlogs.settling import settle_contradiction
from equipment.services.shiftlogs.storing import raw
from equipment.services.shiftlogs.withdrawing import withdraw_log

__all__ = [
    "ASKS",
    "KNOWN",
    "READ",
    "REFUSED",
    "BadRow",
    "LayoutRefused",
    "Outcome",
    "Progress",
    "SettlingRefused",
    "Source",
    "day_of",
    "days_between",
    "keep_layout",
    "layout_kept",
    "layout_like",
    "look_at",
    "look_at_many",
    "raw",
    "read_log",
    "read_many",
    "retire_layout",
    "settle_contradiction",
    "source_of",
    "sources",
    "unzipped",
    "withdraw_log",
]
