"""The importer under test, behind one small adapter: bytes in, questions or days out.

Pure as the importer is: no database and no clock. It puts its parts together as
`equipment/services/shiftlogs/studying.py` does, and answers its questions as somebody would who
knows the controller.
"""

import io
from collections.abc import Mapping
from dataclasses import dataclass

from equipment.shiftlogs.blocks import Block, RigFacts, Rules
from equipment.shiftlogs.days import joining
from equipment.shiftlogs.days import reckoning as days
from equipment.shiftlogs.guessing import guess
from equipment.shiftlogs.layout import Question
from equipment.shiftlogs.reading import stream as reading

from .blocks import facts_of
from .layouts import Written
from .world import Rig

#: A dialogue longer than this goes in circles.
MOST_ROUNDS = 8


@dataclass(frozen=True, slots=True)
class Look:
    """What came of a file: open questions, or the days in the form of `--json`."""

    questions: tuple[Question, ...]
    days: list[dict[str, object]]
    bad: int = 0
    torn: bool = False
    duplicates: int = 0


def look(*files: bytes, rig: Rig, answers: Mapping[str, str] | None = None) -> Look:
    """Read files that may share days. Raises LogRefused, AnswerRefused."""
    facts, answers = facts_of(rig), dict(answers or {})
    readers, streams = [], []
    for data in files:
        reader, blocks, questions = _read(data, facts, answers)
        if questions:
            return Look(questions, [])
        assert reader is not None
        readers.append(reader)
        streams.append(blocks)
    bad = sum(reader.bad.count for reader in readers)
    if bad and answers.get("bad_rows") != "skip":
        asked = Question("bad_rows", (("skip", "leave them out"),), f"{bad} rows are bad.")
        return Look((asked,), [], bad)
    if len(streams) == 1:
        reckoner = days.Reckoner(facts, Rules(), answers)
        for block in streams[0]:
            reckoner.add(block)
        found = reckoner.close()
    else:
        found = joining.join(streams, facts=facts, rules=Rules(), answers=answers)
    return Look(
        tuple(found.questions),
        [days.day_json(day) for day in found.days],
        bad,
        any(reader.torn for reader in readers),
        sum(reader.duplicates for reader in readers),
    )


def _read(
    data: bytes, facts: RigFacts, answers: Mapping[str, str]
) -> tuple[reading.Reader | None, list[Block], tuple[Question, ...]]:
    sample = guess.sample_of(io.BytesIO(data))
    evidence = None
    for _ in range(3):
        understood = guess.understand(sample, facts=facts, answers=answers, evidence=evidence)
        if understood.questions:
            return None, [], understood.questions
        reader = reading.read(
            io.BytesIO(data), understood.layout, facts=facts, answers=answers, date=understood.date
        )
        blocks = list(reader)
        if not reader.misfit:
            return reader, blocks, ()
        evidence = guess.Evidence((reader.misfit_cell,))
    raise AssertionError(f"the layout never fits: {reader.misfit}")


@dataclass(frozen=True, slots=True)
class Talk:
    """A dialogue to its end: what was asked at the first look and in all, and the days."""

    first: frozenset[str]
    asked: Mapping[str, str]
    days: list[dict[str, object]]
    bad: int
    silent: bool


def talk(log: Written, *files: bytes) -> Talk:
    """Read a log (or its files), answering whatever is asked truthfully."""
    answers: dict[str, str] = {}
    first: frozenset[str] = frozenset()
    asked: dict[str, str] = {}
    for number in range(MOST_ROUNDS):
        seen = look(*(files or (log.data,)), rig=log.rig, answers=answers)
        if number == 0:
            first = frozenset(question.key for question in seen.questions)
        if not seen.questions:
            return Talk(first, asked, seen.days, seen.bad, silent=not asked)
        for question in seen.questions:
            assert question.key not in answers, f"asks {question.key} again after {answers}"
            asked[question.key] = question.why
            answers[question.key] = reply(question, log)
    raise AssertionError(f"asks for ever: {asked}")


def reply(question: Question, log: Written) -> str:
    """Return the truth in the words of a choice, or freely where a free answer is taken."""
    truth = log.answers.get(question.key, "")
    tokens = [token for token, _ in question.choices]
    if question.key == "sides":
        # Choices say of the first side named, A or 1, whether it is isocyanate.
        is_iso = "swapped" not in log.style.sides and log.style.sides != "crossed"
        wanted = "is_iso" if is_iso else "is_resin"
        return next(token for token in tokens if token.endswith(wanted))
    if truth in tokens or question.free:
        return truth
    raise AssertionError(f"{question.key}: no choice of {tokens} is the truth, {truth!r}")


def words(talked: Talk) -> str:
    """Return what was asked, to be read in a failure."""
    return "; ".join(f"{key}: {why}" for key, why in talked.asked.items())
