"""Which side is the isocyanate, by the words that headings have for it; a question where in doubt.

The chemical's name wins over letters: A and B change places between countries.
"""

from collections.abc import Sequence

from equipment.shiftlogs.guessing import doubts
from equipment.shiftlogs.guessing import words as h
from equipment.shiftlogs.guessing.columns import NUMBER, Found
from equipment.shiftlogs.guessing.draft import COUNTERS, MEASURED, Draft
from equipment.shiftlogs.layout import AnswerRefused


def name_sides(work: Draft, found: Sequence[Found], free: Sequence[Found]) -> dict[str, str]:
    """Return "a" (isocyanate) or "b" by the word for a side in headings; ask where in doubt."""
    sides = {h.ISO: "a", h.RESIN: "b"}
    sided = [
        e
        for e in free
        if not e.heading.is_decoy
        and e.kind == NUMBER
        and (e.heading.quantity in (*COUNTERS, *MEASURED))
    ]
    used = {e.heading.side for e in sided}
    meant = _letters(used)
    used = {meant.get(each, each) for each in used}
    pairs = [pair for pair in h.PAIRS if used & set(pair)]
    letters = {
        (e.heading.letter == "A") == (e.heading.side == h.ISO) for e in found if e.heading.letter
    }
    if work.said.a_is_iso is not None:
        letters.add(work.said.a_is_iso)
    answer = doubts.sides(work.answers)
    if answer is not None and letters == {not answer} and ("A", "B") in pairs:
        says = "isocyanate" if not answer else "resin"
        raise AnswerRefused("sides", f"The file itself says that A is {says}.")
    settled = _settled(work, found)
    for pair in pairs:
        first = answer
        if first is None:
            first = settled
        if first is None and pair == ("A", "B"):
            if len(letters) == 1:
                first = next(iter(letters))
            elif not letters and _is_english(found):
                first = True
                work.notes.append("Side A is taken for the isocyanate, as is usual in English.")
        if first is None:
            if not any(each.key == "sides" for each in work.questions):
                work.questions.append(doubts.ask_sides(pair, _why(pair, letters)))
            first = True
        sides[pair[0]], sides[pair[1]] = ("a", "b") if first else ("b", "a")
    return sides | {letter: sides[name] for letter, name in meant.items() if name in sides}


def _letters(used: set[str]) -> dict[str, str]:
    """Return what I, L and R stand for: beside I or iso, R is resin; beside L it is right."""
    if used & {"I", h.ISO} and "L" not in used:
        return {"I": "1" if "2" in used else h.ISO, "R": h.RESIN}
    return {"I": "1", "L": "left", "R": "right"}


def _settled(work: Draft, found: Sequence[Found]) -> bool | None:
    """Return what the roles that a person gave say of the first of a pair."""
    firsts = {pair[0] for pair in h.PAIRS}
    seconds = {pair[1] for pair in h.PAIRS}
    said = set()
    for at, (role, _) in (work.given or {}).items():
        side = found[at].heading.side
        if role.endswith(("_a", "_b")) and side in firsts | seconds:
            said.add((side in firsts) == role.endswith("_a"))
    return said.pop() if len(said) == 1 else None


def languages(found: Sequence[Found]) -> dict[str, float]:
    """Return how many headings have words of a language; a word of several is shared out."""
    score: dict[str, float] = {}
    for each in found:
        for language in each.heading.languages:
            score[language] = score.get(language, 0) + 1 / len(each.heading.languages)
    return score


def _is_english(found: Sequence[Found]) -> bool:
    score = languages(found)
    others = max((value for language, value in score.items() if language != "en"), default=0)
    if score.get("en", 0) != others:
        return score.get("en", 0) > others
    # Words of several languages, or of none: American units speak for English.
    is_plain = all(each.name.replace("°", "").isascii() for each in found)
    return is_plain and any(each.heading.unit in ("psi", "F", "gal", "gal/min") for each in found)


def _why(pair: tuple[str, str], letters: set[bool]) -> str:
    first, second = pair
    if len(letters) > 1:
        return "The file calls isocyanate A in one place and B in another."
    if pair == ("A", "B"):
        return "A and B change places between countries, and no heading names the chemical."
    return f"The headings say {first} and {second}, and not which is the isocyanate."
