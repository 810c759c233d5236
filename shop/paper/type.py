"""Type on the sheet: its faces, text widths and line breaking.

A line is broken once and drawn as it was measured, so nothing can run out of its cell. Widths
are cached by word:
a sheet says "done" and "n/a" forty times.
"""

import re
import unicodedata
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from shop.paper import scripts

TEXT = 9.75  # [pt] the size of everything read while working
READ = 9.0  # [pt] what is read before work starts: cautions, lockout
SMALL = 8.5  # [pt] captions, hints, sources, the foot
LEADING = 1.22  # [line height ÷ size]
CAP_HEIGHT = 0.686  # [cap height ÷ size] of Archivo, from its OS/2 table

_FONTS = Path(__file__).parent / "fonts"
#: By weight, in the order in which a letter is looked for. The last has one weight alone.
_FACES = {
    False: (
        ("Archivo", "Archivo-Regular.ttf"),
        ("DejaVu", "DejaVuSansCondensed-Regular.ttf"),
        ("Droid", "DroidSansFallback.ttf"),
    ),
    True: (
        ("Archivo-Bold", "Archivo-Bold.ttf"),
        ("DejaVu-Bold", "DejaVuSansCondensed-Bold.ttf"),
        ("Droid", "DroidSansFallback.ttf"),
    ),
}
_MISSING = "□"  # stands for what no face can draw and no Latin letters say; DejaVu has it
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
def _face(*, bold: bool, place: int) -> TTFont:
    """Load and register a face once a process. place: in the order of the faces, from 0."""
    name, file = _FACES[bold][place]
    font = TTFont(name, str(_FONTS / file))
    pdfmetrics.registerFont(font)
    return font


def upright() -> str:
    """The name of the face of ordinary text, ready to be drawn with."""
    name: str = _face(bold=False, place=0).fontName
    return name


def _place(letter: str, *, bold: bool) -> int | None:
    """The first face that has a letter; None where none has. Later faces load when asked."""
    return next(
        (
            place
            for place in range(len(_FACES[bold]))
            if ord(letter) in _face(bold=bold, place=place).face.charToGlyph
        ),
        None,
    )


@lru_cache(maxsize=8192)
def runs(text: str, bold: bool) -> tuple[Run, ...]:
    """Split cleaned text where the face must change, its letters in the order they are drawn."""
    pieces: list[tuple[int, str]] = []
    known = _face(bold=bold, place=0).face.charToGlyph
    if all(ord(letter) in known for letter in text):
        pieces.append((0, text))
    else:
        for letter in scripts.drawn(text):
            place = _place(letter, bold=bold)
            drawn = _MISSING if place is None else letter
            place = 1 if place is None else place
            if pieces and pieces[-1][0] == place:
                pieces[-1] = (place, pieces[-1][1] + drawn)
            else:
                pieces.append((place, drawn))
    found = []
    for place, piece in pieces:
        font = _face(bold=bold, place=place)
        found.append(Run(face=font.fontName, text=piece, width=font.stringWidth(piece, 1)))
    return tuple(found)


@lru_cache(maxsize=8192)
def _em(text: str, bold: bool) -> float:
    return sum(run.width for run in runs(text, bold))


def clean(text: str) -> str:
    """Compose accents, join Arabic letters, say in Latin letters what no face has, and drop what
    cannot be printed; line breaks stay, thin spaces become plain no-break ones.
    """
    text = _UNPRINTABLE.sub(" ", text)
    return text if text.isascii() else _composed(text)


@lru_cache(maxsize=2048)
def _composed(text: str) -> str:
    text = unicodedata.normalize("NFC", text)
    text = text.replace("\u202f", "\u00a0").replace("\u2009", "\u00a0")
    known = _face(bold=False, place=0).face.charToGlyph
    if all(ord(letter) in known for letter in text):
        return text
    return scripts.said(text, has=lambda letter: _place(letter, bold=False) is not None)


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


def at_most(most: int, text: str, *, width: float, size: float = TEXT) -> tuple[Line, ...]:
    """The same in no more than so many lines; what is left out is an ellipsis. most: > 0."""
    lines = plain(text, width=width, size=size)
    if len(lines) <= most:
        return lines
    words = text.split()

    def shortened(count: int) -> tuple[Line, ...]:
        return plain(" ".join([*words[:count], "…"]), width=width, size=size)

    # Halved, since each try breaks all its lines: as many words as leave room.
    fits = bisect_right(range(len(words)), most, key=lambda count: len(shortened(count)))
    return shortened(fits - 1)
