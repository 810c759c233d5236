"""Which checks of a sheet measure the same thing on side A and on side B.

Pure: names in, pairs out.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable
from dataclasses import dataclass

from equipment import values

SIDES = ("A", "B")
#: A value in one of these compares two things already: how far two such are apart says nothing.
COMPARING = ("%", values.DIFFERENCE_F, values.DIFFERENCE_C)


@dataclass(frozen=True, slots=True)
class Measured:
    """A check that is answered with a value.

    line: the line of the sheet that it is on. work: what is done there, which another line may do
    on the other side. side: of the position that the line works on, or nothing.
    """

    key: int
    line: Hashable
    work: Hashable
    side: str
    title: str
    unit: str


def pairs(checks: Iterable[Measured]) -> dict[int, int]:
    """Return the check of side A by the one of side B that it is compared with.

    Two of one line are a pair where their titles differ by the letter of the side alone; two of
    lines that do the same work on both sides, where their titles do not differ. Where several
    checks of a side would do, none is taken; nor is what compares by its unit.
    """
    found: dict[Hashable, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for check in checks:
        if check.unit in COMPARING:
            continue
        words = check.title.split()
        letters = [word for word in words if word in SIDES]
        if len(letters) == 1:
            side = letters[0]
            name = " ".join("" if word in SIDES else word.casefold() for word in words)
            found["line", check.line, name, check.unit][side].append(check.key)
        elif not letters and check.side in SIDES:
            name = check.title.casefold()
            found["work", check.work, name, check.unit][check.side].append(check.key)
    return {
        sides["B"][0]: sides["A"][0]
        for sides in found.values()
        if len(sides["A"]) == len(sides["B"]) == 1
    }
