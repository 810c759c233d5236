"""A file in pieces that end where lines end, from either end, whatever its encoding."""

import codecs
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import BinaryIO, Final

import numpy as np

from equipment.shiftlogs.layout import LogRefused

#: Bytes read at a time: large enough for a column's arithmetic, small enough for the caches. Four
#: times as much is no quicker, and takes 70 MB more.
PIECE: Final = 1 << 20
#: The longest line that any log has. [bytes]
LONGEST_LINE: Final = 8 << 20
#: Where lines end is looked up in so much of the beginning. [bytes]
HEAD: Final = 256 << 10
_ASCII: Final = bytes(range(128))


@dataclass(frozen=True, slots=True)
class Piece:
    """Whole lines. text: in UTF-8, lines ending in LF or CR LF. line: number of the first.

    is_torn: the last line is the last of the file, and has no end. before: the line before the
    piece then, where the piece has no other.
    """

    text: bytes
    line: int
    is_torn: bool = False
    before: bytes = b""

    def without_lines(self, count: int) -> "Piece":
        """Return the piece without its first lines."""
        position = 0
        for _ in range(count):
            position = self.text.find(b"\n", position) + 1
            if not position:
                return replace(self, text=b"", is_torn=False)
        return replace(self, text=self.text[position:], line=self.line + count)

    def parted(self) -> tuple["Piece", "Piece"]:
        """Return the piece as whole lines and a last line without an end."""
        cut = self.text.rfind(b"\n") + 1
        before = self.before
        if cut:
            before = self.text[self.text.rfind(b"\n", 0, cut - 1) + 1 : cut - 1]
        line = self.line + _count(self.text)
        return Piece(self.text[:cut], self.line), Piece(self.text[cut:], line, True, before)

    def parts(self, count: int) -> Iterator["Piece"]:
        """Return the piece in about so many pieces of whole lines."""
        begin, line = 0, self.line
        size = len(self.text) // count + 1
        while begin < len(self.text):
            end = self.text.find(b"\n", min(begin + size, len(self.text)) - 1) + 1
            part = self.text[begin : end or len(self.text)]
            yield Piece(part, line)
            line += _count(part)
            begin += len(part)


class Pieces:
    """The pieces of a file, in order or from its end. Raises LogRefused for no text."""

    def __init__(self, source: BinaryIO, *, encoding: str, piece_bytes: int = PIECE) -> None:
        self.source = source
        self.piece_bytes = max(piece_bytes, 1)
        #: The whole file is no more than one piece.
        self.is_one = source.seek(0, 2) <= self.piece_bytes
        source.seek(0)
        head = source.read(HEAD)
        try:
            name = codecs.lookup(encoding).name
        except LookupError as error:
            raise LogRefused(f"This program knows no encoding “{encoding[:40]}”.") from error
        self.codec, self.begin = _without_mark(name, head)
        try:
            self.end_of_line = "\n".encode(self.codec)
            if self.end_of_line not in head and "\r".encode(self.codec) in head:
                self.end_of_line = "\r".encode(self.codec)
            self.is_ascii = _ASCII.decode(self.codec, "replace") == _ASCII.decode("ascii")
        except (UnicodeError, LookupError) as error:
            raise LogRefused(f"“{encoding[:40]}” is no encoding of text.") from error
        self.is_cr = self.end_of_line[:1] == b"\r" or self.end_of_line[-1:] == b"\r"

    def forward(self) -> Iterator[Piece]:
        """From the first line to the last."""
        self.source.seek(self.begin)
        line, before = 1, b""
        for data in self._whole_lines():
            text = self._decoded(data)
            is_torn = not text.endswith(b"\n")
            yield Piece(text, line, is_torn=is_torn, before=before)
            if not is_torn:
                line += _count(text)
                before = text[text.rfind(b"\n", 0, len(text) - 1) + 1 : -1]

    def _whole_lines(self) -> Iterator[bytes]:
        """Read on, so much at a time, each time to the end of a line."""
        if self.end_of_line == b"\n":
            while data := self.source.read(self.piece_bytes):
                if not data.endswith(b"\n"):
                    rest = self.source.readline(LONGEST_LINE + 1)
                    self._refuse_endless(rest)
                    data += rest
                yield data
            return
        rest = b""
        while read := self.source.read(self.piece_bytes):
            data = rest + read
            cut = self._last_end(data)
            rest = data[cut:]
            self._refuse_endless(rest)
            if cut:
                yield data[:cut]
        if rest:
            yield rest

    def backward(self) -> Iterator[Piece]:
        """From the last line to the first."""
        line = self._count_all() + 1
        position = self.source.seek(0, 2)
        is_last, rest = True, b""
        while position > self.begin:
            size = min(self.piece_bytes, position - self.begin)
            size += (position - size - self.begin) % len(self.end_of_line)
            position -= size
            self.source.seek(position)
            data = self.source.read(size) + rest
            cut = self._first_end(data, position) if position > self.begin else 0
            # The last line comes with the one before it: it may be torn.
            if position > self.begin and (
                cut == len(data) or (is_last and self.end_of_line not in data[cut:])
            ):
                rest = data
                self._refuse_endless(rest)
                continue
            text = self._decoded(data[cut:])
            line -= _count(text)
            is_torn = is_last and not text.endswith(b"\n")
            yield Piece(text, line, is_torn=is_torn)
            is_last, rest = False, data[:cut]

    def first_lines(self, count: int) -> list[str]:
        """Return the first lines, as far as the beginning of the file has them."""
        self.source.seek(self.begin)
        text = self._decoded(self.source.read(HEAD)).decode("utf-8", "replace")
        return [line.rstrip("\r") for line in text.split("\n")[:count]]

    def _count_all(self) -> int:
        """Return how many lines end in the file."""
        self.source.seek(self.begin)
        unit = len(self.end_of_line)
        kind = np.dtype(f"u{unit}") if unit in (1, 2, 4) else np.dtype("u1")
        wanted = np.frombuffer(self.end_of_line[: kind.itemsize], dtype=kind)[0]
        count = 0
        while read := self.source.read(PIECE):
            whole = len(read) - len(read) % kind.itemsize
            count += int(np.count_nonzero(np.frombuffer(read[:whole], dtype=kind) == wanted))
        return count

    def _last_end(self, data: bytes) -> int:
        """Return where the last line end of bytes at a whole place ends, 0 where there is none."""
        unit = len(self.end_of_line)
        end = len(data)
        while (found := data.rfind(self.end_of_line, 0, end)) >= 0:
            if found % unit == 0:
                return found + unit
            end = found + unit - 1
        return 0

    def _first_end(self, data: bytes, position: int) -> int:
        """Return where the first line end of bytes read from a position ends, or all."""
        unit = len(self.end_of_line)
        begin = 0
        while (found := data.find(self.end_of_line, begin)) >= 0:
            if (position + found - self.begin) % unit == 0:
                return found + unit
            begin = found + 1
        return len(data)

    def _decoded(self, data: bytes) -> bytes:
        if self.codec != "utf-8" and not (self.is_ascii and data.isascii()):
            try:
                data = data.decode(self.codec, "replace").encode("utf-8", "replace")
            except UnicodeError as error:
                raise LogRefused(
                    "This file is not written in the encoding it is read in."
                ) from error
        return data.replace(b"\r", b"\n") if self.is_cr else data

    def _refuse_endless(self, rest: bytes) -> None:
        if len(rest) > LONGEST_LINE:
            raise LogRefused("A line of this file goes on for megabytes: it is no log.")


def _without_mark(name: str, head: bytes) -> tuple[str, int]:
    """Return the codec of the lines themselves, and where they begin behind a byte order mark."""
    if name in ("utf-8-sig", "utf-8", "ascii"):
        return "utf-8", 3 if head.startswith(codecs.BOM_UTF8) else 0
    if name == "utf-16":
        return (
            ("utf-16-be", 2)
            if head.startswith(codecs.BOM_UTF16_BE)
            else ("utf-16-le", 2 if head.startswith(codecs.BOM_UTF16_LE) else 0)
        )
    if name == "utf-32":
        return (
            ("utf-32-be", 4)
            if head.startswith(codecs.BOM_UTF32_BE)
            else ("utf-32-le", 4 if head.startswith(codecs.BOM_UTF32_LE) else 0)
        )
    marks = {
        "utf-16-le": codecs.BOM_UTF16_LE, "utf-16-be": codecs.BOM_UTF16_BE,
        "utf-32-le": codecs.BOM_UTF32_LE, "utf-32-be": codecs.BOM_UTF32_BE,
    }  # fmt: skip
    mark = marks.get(name, b"")
    return name, len(mark) if mark and head.startswith(mark) else 0


def _count(text: bytes) -> int:
    """Return how many lines end in a text; several times as quick as bytes.count."""
    return int(np.count_nonzero(np.frombuffer(text, dtype=np.uint8) == 0x0A))
