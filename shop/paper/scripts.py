"""Names in scripts of other kinds than ours: joined letters, right to left, and what no face has.

The standard's own order (Unicode annex 9) and joining are other people's libraries; here is where
they are asked, and what is said of letters that the sheet has no face for.
"""

import re
from collections.abc import Callable
from itertools import groupby
from typing import Final

from anyascii import anyascii
from arabic_reshaper import ArabicReshaper
from bidi.algorithm import get_display  # the one that mirrors brackets

_LETTER: Final = r"[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]"
#: Words from right to left that belong together. A comma ends them: after a name comes the moment,
#: whose figures would move to its other side.
_RIGHT_TO_LEFT: Final = re.compile(rf"{_LETTER}(?:[\s\d()./'\"-]*(?:{_LETTER}|\)))*")
_ARABIC: Final = re.compile(r"[\u0600-\u06ff]")
# One sign for a whole word is a letter that no face of ours has.
_RESHAPER: Final = ArabicReshaper({"delete_harakat": False, "ARABIC LIGATURE ALLAH": False})


def said(text: str, *, has: Callable[[str], bool]) -> str:
    """Text as it can be drawn: Arabic letters joined, letters that no face has in Latin ones.

    has: whether a face has a letter. What it has not stands in square brackets, so that nobody
    takes the spelling for the person's own.
    """
    if _ARABIC.search(text):
        text = _RESHAPER.reshape(text)
    pieces = []
    for is_there, letters in groupby(text, key=lambda letter: letter == "\n" or has(letter)):
        piece = "".join(letters)
        latin = "" if is_there else anyascii(piece)
        pieces.append(f"[{latin}]" if latin else piece)
    return "".join(pieces)


def drawn(text: str) -> str:
    """The letters of a line in the order in which they are drawn, from left to right."""
    return _RIGHT_TO_LEFT.sub(lambda words: str(get_display(words[0], base_dir="R")), text)
