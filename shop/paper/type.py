"""Type on the sheet: two faces, text widths and line breaking.

A line is broken once and drawn as it was measured, so nothing can run out of its cell. Widths
are cached by word:
a sheet says "done" and "n/a" forty times.
"""

import re
import unicodedata
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

TEXT = 9.75  # [pt] the size of everything read while working
SMALL = 8.5  # [pt] captions, hints, sources, the foot
LEADING = 1.28  # [line height ÷ size]
CAP_HEIGHT = 0.686  # [cap height ÷ size] of Archivo, from its OS/2 table

_FONTS = Path(__file__).parent / "fonts"
_FACES = {
    False: (("Archivo", "Archivo-Regular.ttf"), ("DejaVu", "DejaVuSansCondensed-Regular.ttf")),
    True: (("Archivo-Bold", "Archivo-Bold.ttf"), ("DejaVu-Bold", "DejaVuSansCondensed-Bold.ttf")),
}
_MISSING = "□"  # stands for a character neither face can draw; DejaVu has it
_UNPRINTABLE = re.compile(
    r"[\x00-\x09\x0b-\x1f\x7f\u00ad\u200b-\u200f\u202a-\u202e\u2060-\u206f\ufeff]"
)


@dataclass(frozen=True, slots=True)
class Run:
    """Text in one face. `width` is at size 1. [em]"""

    face: str
    text: str
    width: float


@dataclass(frozen=True, slots=True)
class Line:
    """One line, measured. `width` is at `size`. [pt]"""

    runs: tuple[Run, ...]
    size: float
    width: float


@cache
def _face(*, bold: bool, fallback: bool) -> TTFont:
    """Load and register a face once a process."""
    name, file = _FACES[bold][fallback]
    font = TTFont(name, str(_FONTS / file))
    pdfmetrics.registerFont(font)
    return font


def upright() -> str:
    """The name of the face of ordinary text, ready to be drawn with."""
    name: str = _face(bold=False, fallback=False).fontName
    return name


@lru_cache(maxsize=8192)
def runs(text: str, bold: bool) -> tuple[Run, ...]:
    """Split cleaned text where the face must change."""
    pieces: list[tuple[bool, str]] = []
    known = _face(bold=bold, fallback=False).face.charToGlyph
    if all(ord(letter) in known for letter in text):
        pieces.append((False, text))
    else:
        other = _face(bold=bold, fallback=True).face.charToGlyph
        for letter in text:
            fallback = ord(letter) not in known
            drawn = letter if not fallback or ord(letter) in other else _MISSING
            if pieces and pieces[-1][0] == fallback:
                pieces[-1] = (fallback, pieces[-1][1] + drawn)
            else:
                pieces.append((fallback, drawn))
    found = []
    for fallback, piece in pieces:
        font = _face(bold=bold, fallback=fallback)
        found.append(Run(face=font.fontName, text=piece, width=font.stringWidth(piece, 1)))
    return tuple(found)


@lru_cache(maxsize=8192)
def _em(text: str, bold: bool) -> float:
    return sum(run.width for run in runs(text, bold))


def clean(text: str) -> str:
    """Compose accents and drop what cannot be printed; line breaks stay, thin spaces become
    plain no-break ones.
    """
    if not text.isascii():
        text = (
            unicodedata.normalize("NFC", text)
            .replace("\u202f", "\u00a0")
            .replace("\u2009", "\u00a0")
        )
    return _UNPRINTABLE.sub(" ", text)


def line(text: str, *, size: float = TEXT, bold: bool = False) -> Line:
    """Measure text that stays on one line."""
    found = runs(clean(text).replace("\n", " "), bold)
    return Line(runs=found, size=size, width=size * sum(run.width for run in found))


@lru_cache(maxsize=8192)
def wrap(*parts: tuple[str, bool], size: float, width: float) -> tuple[Line, ...]:
    """Break text into lines no wider than `width`.

    parts: (text, bold), set one after another with a space between; a newline breaks the line.
    size, width: > 0. [pt]
    Breaks at plain spaces only, so a no-break space keeps a figure with its unit; a word wider
    than the column is cut.
    Returns no lines for empty text.
    """
    room = width / size
    lines: list[Line] = []
    now: list[tuple[str, bool]] = []
    filled = 0.0

    def finish() -> None:
        nonlocal now, filled
        if now:
            lines.append(_join(now, size))
        now, filled = [], 0.0

    for text, bold in parts:
        for index, paragraph in enumerate(clean(text).split("\n")):
            if index:
                finish()
            for word in paragraph.split(" "):
                if not word:
                    continue
                length, space = _em(word, bold), _em(" ", bold)
                if now and filled + space + length > room:
                    finish()
                while length > room:
                    head = _fitting(word, bold, room)
                    now = [(head, bold)]
                    finish()
                    word = word[len(head) :]
                    length = _em(word, bold)
                if word:
                    filled += length + (space if now else 0.0)
                    now.append((word, bold))
    finish()
    return tuple(lines)


def _fitting(word: str, bold: bool, room: float) -> str:
    """The longest start of the word that fits, at least one character."""
    filled = 0.0
    for index, letter in enumerate(word):
        filled += _em(letter, bold)
        if filled > room and index:
            return word[:index]
    return word


def _join(words: list[tuple[str, bool]], size: float) -> Line:
    found: list[Run] = []
    text, weight = words[0]
    for word, bold in words[1:]:
        if bold == weight:
            text = f"{text} {word}"
        else:
            found.extend(runs(f"{text} ", weight))
            text, weight = word, bold
    found.extend(runs(text, weight))
    return Line(runs=tuple(found), size=size, width=size * sum(run.width for run in found))


def plain(text: str, *, width: float, size: float = TEXT, bold: bool = False) -> tuple[Line, ...]:
    """Break text of one weight; see `wrap`."""
    return wrap((text, bold), size=size, width=width) if text else ()
