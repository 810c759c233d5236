"""What a measured value asks for before it is taken, once it lies past a limit: as found, as left.

Pure: yes and no in, what is missing out. `phone/as_left.js` decides the same before anything is
kept on a phone; one table tests both.
"""

from enum import StrEnum
from typing import Final

#: What was done that makes it as it should be, so that it is read again.
READ_AGAIN: Final = frozenset({"put_right", "replaced"})
#: What leaves it as it is, to be seen to.
SEEN_TO: Final = frozenset({"found_work", "stop"})


class Lack(StrEnum):
    """What is missing, by the name of the words in which it is said on a page."""

    REMEDY = "say_remedy"
    FOUND = "say_found"
    LEFT = "say_left"
    STILL_OUT = "still_out"


def lacking(*, is_out: bool, left_is_out: bool | None, remedy: str, has_text: bool) -> Lack | None:
    """Return what a measured value still asks for; None where nothing.

    is_out: past a limit as found. left_is_out: past it as left; None where it was not read again.
    remedy: what was done about it, one of READ_AGAIN or SEEN_TO. has_text: what was found is said.
    Within its limits it asks for nothing, read again or not; a value that the work itself put past
    a limit is out of limit, too.
    """
    if not (is_out or left_is_out):
        return None
    if remedy in READ_AGAIN:
        if left_is_out is None:
            return Lack.LEFT
        return Lack.STILL_OUT if left_is_out else None
    if remedy in SEEN_TO:
        return None if has_text else Lack.FOUND
    return Lack.REMEDY
