"""A log's bytes to lines and cells: what is looked at, encoding, delimiter, quotes."""

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import BinaryIO, Final

from equipment.shiftlogs.layout import LogRefused

HEAD_BYTES: Final = 128 * 1024
TAIL_BYTES: Final = 32 * 1024
PIECE_BYTES: Final = 4 * 1024
PIECES: Final = 32
PROBE_BYTES: Final = 1024
CHANGES: Final = 3
DELIMITERS: Final = (",", ";", "\t", "|", " ")


@dataclass(frozen=True, slots=True)
class Sample:
    """What of a file is looked at before it is read.

    head: its first bytes. tail: its last ones, b"" where head reaches the end.
    pieces: bytes of its middle, in order; each may begin and end within a line. size: of the file.
    """

    head: bytes
    tail: bytes = b""
    pieces: tuple[bytes, ...] = ()
    size: int = 0


@dataclass(frozen=True, slots=True)
class Lines:
    """The lines of a sample.

    head: from the first line on, so that the place in it is the line's number less one.
    later: stretches further on, in order, the last one the end of the file.
    """

    encoding: str
    head: tuple[str, ...]
    later: tuple[tuple[str, ...], ...]

    def stretches(self) -> tuple[tuple[str, ...], ...]:
        return (self.head, *self.later)


def sample_of(source: BinaryIO) -> Sample:
    """Return what of a file is looked at.

    source: open for bytes, seekable; is left at its start.
    """
    size = source.seek(0, 2)
    source.seek(0)
    head = source.read(HEAD_BYTES)
    tail = b""
    pieces: list[bytes] = []
    if size > len(head):
        # Even places, so that a piece of UTF-16 begins at a character.
        start = max(len(head), size - TAIL_BYTES) // 2 * 2
        room = start - len(head)
        number = PIECES if room > PIECES * PIECE_BYTES else 0
        places = [(len(head) + room * each // PIECES) // 2 * 2 for each in range(number)]
        changes = _changes(source, [len(head) - PROBE_BYTES, *places, start])
        end = len(head)
        for place in sorted({*places, *changes}):
            begin = max(place, end)  # no row twice
            end = min(begin + PIECE_BYTES, start)
            source.seek(begin)
            pieces.append(source.read(end - begin))
        source.seek(start)
        tail = source.read()
    source.seek(0)
    return Sample(head, tail, tuple(pieces), size)


#: What may be a date in figures, from which a change of date is found.
_DATE = re.compile(rb"\d{1,4}[-/.]\s?\d{1,2}[-/.]\s?\d{1,4}")


def _date_at(source: BinaryIO, place: int) -> bytes:
    """Return the date of the last line that begins in some bytes from a place on, as written."""
    source.seek(place)
    found = _DATE.findall(source.read(PROBE_BYTES).replace(b"\x00", b""))
    return found[-1] if found else b""


def _changes(source: BinaryIO, places: list[int]) -> list[int]:
    """Return where between places a date changes, for the first few: it tells day from month."""
    found: list[int] = []
    dates = [_date_at(source, place) for place in places]
    for at in range(1, len(places)):
        if not dates[at] or dates[at] == dates[at - 1] or not dates[at - 1]:
            continue
        low, high = places[at - 1], places[at]
        while high - low > PROBE_BYTES:
            middle = (low + high) // 4 * 2
            if _date_at(source, middle) == dates[at - 1]:
                low = middle
            else:
                high = middle
        found.append(max(0, low - PROBE_BYTES))
        if len(found) == CHANGES:
            break
    return found


_FORMATS: Final[tuple[tuple[bytes, str], ...]] = (
    (b"PK\x03\x04", "This is a workbook or a ZIP file. Save the sheet as CSV and read that."),
    (b"PK\x05\x06", "This ZIP file is empty."),
    (b"\xd0\xcf\x11\xe0", "This is an old workbook (XLS). Save the sheet as CSV and read that."),
    (b"%PDF", "This is a PDF. Ask the controller for its log as text or CSV."),
    (b"\x89PNG", "This is a picture, not a log."),
    (b"\xff\xd8\xff", "This is a picture, not a log."),
    (b"GIF8", "This is a picture, not a log."),
    (b"BM6", "This is a picture, not a log."),
    (b"II*\x00", "This is a picture, not a log."),
    (b"MM\x00*", "This is a picture, not a log."),
    (b"\x1f\x8b", "This file is packed (gzip). Unpack it and read what is inside."),
    (b"BZh", "This file is packed (bzip2). Unpack it and read what is inside."),
    (b"7z\xbc\xaf", "This file is packed (7z). Unpack it and read what is inside."),
    (b"Rar!", "This file is packed (RAR). Unpack it and read what is inside."),
    (b"\x28\xb5\x2f\xfd", "This file is packed (zstandard). Unpack it and read what is inside."),
    (b"\xfd7zXZ", "This file is packed (xz). Unpack it and read what is inside."),
    (b"SQLite format 3", "This is a database file. Ask the controller for its log as text or CSV."),
    (b"{\\rtf", "This is a text document (RTF). Save it as plain text and read that."),
    (b"MZ", "This is a program, not a log."),
    (b"\x7fELF", "This is a program, not a log."),
)
_MARKUP = re.compile(rb"\s*<(?:\?xml|!doctype|html|svg|table|body|div|workbook)", re.IGNORECASE)
_MARKS: Final = (
    (b"\xef\xbb\xbf", "utf-8-sig"),
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\xff\xfe", "utf-16"),
    (b"\xfe\xff", "utf-16"),
)


_CONTROLS: Final = bytes(each for each in range(32) if each not in b"\t\n\r\x00\x1a\x1b\x0c")


def _encoding(sample: Sample) -> str:
    head = sample.head
    for start, words in _FORMATS:
        if head.startswith(start) and (start != b"MZ" or b"\x00" in head[:512]):
            raise LogRefused(words)
    if _MARKUP.match(head[:200]):
        raise LogRefused("This is a web page or XML, not a log in columns. Export it as CSV.")
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return encoding
    zeros = head.rstrip(b"\x00").count(0)
    if zeros > len(head) // 8:
        even, odd = head[0::2].count(0), head[1::2].count(0)
        if odd > 4 * even and odd > len(head) // 8:
            return "utf-16-le"
        if even > 4 * odd and even > len(head) // 8:
            return "utf-16-be"
        raise LogRefused("This is a binary file, not a log in columns of text.")
    if zeros > len(head) // 100 or len(head.translate(None, _CONTROLS)) < 0.98 * len(head):
        raise LogRefused("This is a binary file, not a log in columns of text.")
    everything = (head, *sample.pieces, sample.tail)
    if all(each.isascii() for each in everything):
        return "utf-8"
    if all(_is_utf8(each, is_cut=True) for each in everything):
        return "utf-8"
    return _one_byte(b"".join(everything))


def _is_utf8(data: bytes, *, is_cut: bool) -> bool:
    """Say whether bytes are UTF-8; is_cut: a character at either end may be cut off."""
    start = 0
    while is_cut and start < min(3, len(data)) and data[start] & 0xC0 == 0x80:
        start += 1
    try:
        data[start:].decode("utf-8")
    except UnicodeDecodeError as refusal:
        return is_cut and refusal.reason == "unexpected end of data"
    return True


#: Letters of the trade's headings in the code pages of DOS and of old Macs, beside a degree sign.
_DOS = re.compile(
    rb"\xf8\s?[CF]\b|[a-zA-Z][\x81\x84\x94\x82\x8a\xa1\xa2][a-zA-Z]|\x9a[a-z]|\x8e[a-z]"
)
_WINDOWS = re.compile(rb"\xb0\s?[CFcf]\b|[A-Za-z][\xc0-\xff][a-z]|[\xc0-\xde][a-z]")
_MAC = re.compile(rb"\xa1[CF]\b")


def _one_byte(data: bytes) -> str:
    data = data[: 64 * 1024]
    if _DOS.search(data) and not _WINDOWS.search(data):
        return "cp850"
    if _MAC.search(data) and not _WINDOWS.search(data):
        return "mac_roman"
    try:
        data.decode("cp1252")
    except UnicodeDecodeError:
        return "latin-1"
    return "cp1252"


def _split(text: str) -> list[str]:
    # Not str.splitlines: that also parts lines at characters which no logger means so.
    if "\n" in text:
        return [each.rstrip("\r") for each in text.split("\n")]
    return text.split("\r")


def lines_of(sample: Sample) -> Lines:
    """Return the lines of a sample.

    A line ends at LF, CR LF, or where there is no LF at all at CR. Line ends inside quotes are not
    told apart here. Raises LogRefused for what is no text, in words for the person.
    """
    if not sample.head.strip():
        raise LogRefused("The file is empty.")
    encoding = _encoding(sample)
    head = sample.head.decode(encoding, errors="replace")
    middle = encoding
    if encoding == "utf-16":
        middle = "utf-16-le" if sample.head.startswith(b"\xff\xfe") else "utf-16-be"
    elif encoding == "utf-32":
        middle = "utf-32-le" if sample.head.startswith(b"\xff\xfe") else "utf-32-be"
    first = _split(head.replace("\x00", ""))
    if sample.tail and len(first) > 1:
        first.pop()  # may go on beyond the head
    while first and not first[-1].strip():
        first.pop()
    if not first:
        raise LogRefused("The file is empty.")
    later: list[tuple[str, ...]] = []
    for number, data in enumerate((*sample.pieces, sample.tail)):
        found = _split(data.decode(middle, errors="replace").replace("\x00", ""))[1:]
        if number < len(sample.pieces):
            found = found[:-1]
        if found:
            later.append(tuple(each for each in found if each.strip()))
    return Lines(encoding, tuple(first), tuple(each for each in later if each))


def cells_of(lines: Sequence[str], delimiter: str) -> list[list[str]]:
    """Return the cells of each line, quotes taken off, blanks around them too."""
    if delimiter == " ":
        if any('"' in each for each in lines):
            return [_quoted(" ".join(each.split()), " ") for each in lines]
        return [each.split() for each in lines]
    return [
        _quoted(each, delimiter)
        if '"' in each
        else [cell.strip() for cell in each.split(delimiter)]
        for each in lines
    ]


def _quoted(line: str, delimiter: str) -> list[str]:
    try:
        row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return [cell.strip() for cell in line.split(delimiter)]
    return [cell.strip() for cell in row]


def widths(rows: Sequence[Sequence[str]]) -> Counter[int]:
    """Return how many rows have how many cells."""
    return Counter(map(len, rows))
