"""What is known on the way to a layout: roles so far, doubts about columns, questions."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.preamble import Said
from equipment.shiftlogs.layout import Question

COUNTERS: Final = (h.STROKES, h.CYCLES, h.COUNT)
MEASURED: Final = (h.TEMP, h.PRESSURE, h.FLOW, h.VOLUME)


@dataclass(slots=True)
class Draft:
    """Role and unit by place, and what is in doubt.

    given: roles that a person or a layout settled, by place. sign: -1 where the file runs newest
    first, else 1. muddles: doubts about columns, as sentences. notes: for the person.
    """

    given: Mapping[int, tuple[str, str]] | None
    answers: Mapping[str, str]
    said: Said
    sign: int
    roles: dict[int, tuple[str, str]] = field(default_factory=dict)
    muddles: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
