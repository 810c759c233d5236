"""Where in a file's lines the table is: delimiter, width, headings, units, first row of data."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final

from equipment.shiftlogs.guessing.cells import MISSING, plain, read_clock, read_date, read_moment
from equipment.shiftlogs.guessing.headings import is_unit_cell, read_heading
from equipment.shiftlogs.guessing.text import DELIMITERS, Lines, cells_of, widths
from equipment.shiftlogs.guessing.words import DATE, TIME
from equipment.shiftlogs.layout import LogRefused

_MISSING = frozenset(MISSING)
#: Lines by which the delimiter is found.
_TRIED: Final = 80
#: Lines above the data among which headings are looked for.
_ABOVE: Final = 5
_NUMBER = re.compile(
    r"[+\u2212-]?(?:\d{1,3}(?:[ .,'\u2019\u00a0\u202f]\d{3})+(?:[.,]\d+)?|\d+[.,]?\d*|[.,]\d+)"
    r"(?:[eE][+-]?\d+)?(?:\s?(?:°\s?)?[A-Za-z/%]{1,7})?$"
)


@dataclass(frozen=True, slots=True)
class Table:
    """The table in a sample.

    headings: one for each column, two lines of headings joined; () where there are none.
    units: the units row, or (). header_line: number of the last line of headings, 1 first, or 0.
    first: number of the first line of data. preamble: lines above the headings.
    rows: data in the head, those of `width` cells. later: the same for the stretches further on.
    numbers: of the lines of `rows`.
    """

    delimiter: str
    width: int
    headings: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int
    first: int
    preamble: tuple[str, ...]
    rows: list[list[str]]
    numbers: list[int]
    later: list[list[list[str]]]


@lru_cache(maxsize=8192)
def is_value(cell: str) -> bool:
    """Say whether a cell may stand in a row of data: a number, a moment, nothing."""
    if not cell or _NUMBER.match(cell):
        return True
    if not cell[0].isdigit() and not cell[-1].isdigit():
        return plain(cell) in _MISSING
    return bool(read_clock(cell) or read_date(cell) or read_moment(cell)) or plain(cell) in _MISSING


def _is_data(row: Sequence[str]) -> bool:
    filled = [each for each in row if each]
    if len(filled) < 2:
        return False
    numbers = sum(any(c.isdigit() for c in each) and is_value(each) for each in filled)
    return numbers >= 2 and numbers * 2 >= len(filled)


def find_table(lines: Lines) -> Table:
    """Return where the table is. Raises LogRefused where no table can be seen."""
    lines = replace(lines, head=_mended(lines.head))
    delimiter, width = _delimiter(lines)
    rows = cells_of(lines.head, delimiter)
    first = _first(rows, width)
    headings, units, header_line, top = _headings(lines.head, rows, delimiter, width, first)
    if not headings and delimiter == ",":
        _refuse_decimal_commas(rows, width, first)
    texts = {tuple(each) for each in rows[top:first]}
    kept, numbers = [], []
    for number, row in enumerate(rows[first:], first + 1):
        if len(row) == width:
            if tuple(row) in texts or not any(row):
                continue
            kept.append(row)
            numbers.append(number)
    later = [
        [row for row in cells_of(each, delimiter) if len(row) == width and tuple(row) not in texts]
        for each in lines.later
    ]
    table = Table(
        delimiter, width, headings, units, header_line, first + 1, lines.head[:top], kept, numbers,
        later,
    )  # fmt: skip
    _refuse_other_headings(table, rows, first, texts)
    return table


_OPEN = re.compile(r'(?:^|[,;\t|])\s*"[^"]*$')


def _mended(lines: tuple[str, ...]) -> tuple[str, ...]:
    """Join headings that a line end inside quotes parts; they stand on the last of their lines."""
    mended = list(lines)
    at = 0
    while at < min(len(mended), _TRIED):
        if not _OPEN.search(mended[at]):
            at += 1
            continue
        end = at + 1
        while end < min(len(mended), at + 40):
            text = " ".join(mended[at : end + 1])
            if text.count('"') % 2 == 0 and not _OPEN.search(mended[end]):
                mended[at:end] = [""] * (end - at)
                mended[end] = text
                break
            end += 1
        at = end + 1
    return tuple(mended)


def _delimiter(lines: Lines) -> tuple[str, int]:
    body = [each for each in lines.head if each.strip()]
    if body and (said := re.match(r'"?sep=(.)"?$', body[0].strip(), re.IGNORECASE)):
        body = body[1:]
        if said[1] in DELIMITERS:
            rows = cells_of(body[-_TRIED:], said[1])
            return said[1], widths(rows).most_common(1)[0][0] if rows else 1
    # The first lines may be a preamble, the last one torn.
    skip = min(len(body) // 3, 40)
    tried = body[skip:-1] if len(body) > 4 else body
    step = max(1, len(tried) // _TRIED)
    tried = tried[::step]
    best, found = 0.0, ("", 0)
    for delimiter in DELIMITERS:
        if not any(delimiter in each for each in tried):
            continue
        rows = cells_of(tried, delimiter)
        counted = widths([row for row in rows if len(row) > 1])
        if not counted:
            continue
        score, width = max((_fitness(rows, width), width) for width, _ in counted.most_common(4))
        if delimiter == " ":
            score *= 0.7  # blanks stand inside the cells of other tables, too
        if score > best * 1.0001:
            best, found = score, (delimiter, width)
    if best < 0.0005:
        raise LogRefused(
            "No table is seen in this file: its lines are not parted into columns by commas, "
            "semicolons, tabs, bars or blanks."
        )
    return found


def _fitness(rows: list[list[str]], width: int) -> float:
    """Return how well lines cut into cells look like a table of a width, 0 to 1."""
    chosen = [row for row in rows if len(row) == width]
    data = [row for row in chosen if _is_data(row)]
    cells = [cell for row in data or chosen for cell in row]
    good = sum(map(is_value, cells)) / len(cells)
    return (len(data) + 0.02 * len(chosen)) / len(rows) * (good**2 + 0.01)


def _first(rows: list[list[str]], width: int) -> int:
    for at, row in enumerate(rows):
        if len(row) == width and _is_data(row):
            after = [each for each in rows[at + 1 : at + 9] if any(each)]
            if not after or sum(len(each) == width for each in after) * 2 >= len(after):
                return at
    raise LogRefused(
        "No row of figures is seen in this file. A log has a line for each moment, with the time "
        "and what was measured."
    )


def _is_heading(row: Sequence[str], width: int, *, has_last: bool) -> bool:
    """Say whether a line may stand over the columns. has_last: the data fills its last column."""
    filled = [each for each in row if each]
    is_longer = len(row) == width + 1 and not row[-1]
    is_shorter = len(row) == width - 1 and not has_last
    if not filled or not (len(row) == width or is_longer or is_shorter):
        return False
    words = sum(any(c.isalpha() for c in each) and not is_value(each) for each in filled)
    return words * 2 > len(filled) and (len(filled) >= 2 or width <= 2)


def _headings(
    lines: Sequence[str], rows: list[list[str]], delimiter: str, width: int, first: int
) -> tuple[tuple[str, ...], tuple[str, ...], int, int]:
    """Return headings, units, number of the last heading line, and how many lines stand above."""
    if delimiter == " ":
        return _loose_headings(lines, rows, width, first)
    units: tuple[str, ...] = ()
    named: list[tuple[int, list[str]]] = []
    has_last = any(row[-1] for row in rows[first : first + _TRIED] if len(row) == width)
    for at in range(first - 1, max(-1, first - 1 - _ABOVE), -1):
        row = rows[at]
        if not any(row):
            if named or at < first - 2:
                break
            continue
        filled = [each for each in row if each]
        if (
            not units
            and len(filled) >= 2
            and all(map(is_unit_cell, filled))
            and len(row) <= width + 1
        ):
            units = tuple(_fit(row, width))
            continue
        if not _is_heading(row, width, has_last=has_last) or len(named) == 2:
            break
        if named and not _is_upper(row, width):
            break
        named.append((at, _fit(row, width)))
    if not named:
        return (), units, 0, first
    named.reverse()
    top = named[0][0]
    lower = named[-1][1]
    joined = lower
    if len(named) == 2:
        upper = list(named[0][1])
        if any(not each for each in upper[1:]):
            for at in range(1, width):
                if not upper[at] and lower[at]:
                    upper[at] = upper[at - 1]
        joined = [f"{a} {b}".strip() for a, b in zip(upper, lower, strict=True)]
    joined[0] = joined[0].lstrip("#%;/ ").strip() or joined[0]
    return tuple(joined), units, named[-1][0] + 1, top


def _fit(row: Sequence[str], width: int) -> list[str]:
    return [*row, *[""] * (width - len(row))][:width]


def _is_upper(row: Sequence[str], width: int) -> bool:
    """Say whether a line above the headings belongs to them, and is not the preamble's last."""
    filled = [(at, each) for at, each in enumerate(row) if each]
    if len(filled) < 2 or filled[-1][0] < 2 or any(each.endswith(":") for _, each in filled):
        return False
    known = sum(bool(_known(each)) for _, each in filled)
    return known * 2 >= len(filled)


def _known(text: str) -> bool:
    heading = read_heading(text)
    return bool(heading.quantity or heading.side or heading.is_decoy)


def _loose_headings(
    lines: Sequence[str], rows: list[list[str]], width: int, first: int
) -> tuple[tuple[str, ...], tuple[str, ...], int, int]:
    """Headings over columns that blanks part: two words may stand over one column."""
    at = first - 1
    units: tuple[str, ...] = ()
    while at >= 0 and (not rows[at] or set(lines[at].strip()) <= set("-=+ ")):
        at -= 1
    if at >= 0 and len(rows[at]) == width and all(map(is_unit_cell, rows[at])):
        units = tuple(rows[at])
        at -= 1
    if at < 0 or any(is_value(each) for each in rows[at]):
        return (), units, 0, first
    wide = [each.strip() for each in re.split(r"\s{2,}|\t", lines[at].strip()) if each.strip()]
    for names in (rows[at], wide):
        if len(names) == width:
            names = [names[0].lstrip("#%;/ ") or names[0], *names[1:]]
            return tuple(names), units, at + 1, at
    for names in (rows[at], wide):
        if spread := _spread(names, rows[first]):
            return tuple(spread), units, at + 1, at
    placed = _placed(lines[at], lines[first], width)
    if placed and sum(map(_known, placed)) * 2 >= width:
        return tuple(placed), units, at + 1, at
    return (), units, 0, at if sum(map(_known, rows[at])) > 1 else first


def _spread(names: list[str], data: list[str]) -> list[str]:
    """Return headings of which one, or two, stand over date, time of day and AM or PM together."""
    timed = [
        bool(read_date(cell) or (read_clock(cell) and ":" in cell) or plain(cell) in ("am", "pm"))
        for cell in data
    ]
    begin = timed.index(True) if True in timed else 0
    end = begin + (timed[begin:].index(False) if False in timed[begin:] else 0)
    missing = len(data) - len(names)
    named = end - begin - missing
    if missing < 1 or named < 1 or len(names) < begin + named:
        return []
    over = names[begin : begin + named]
    if not all(read_heading(each).quantity in (TIME, DATE) for each in over):
        return []
    names = [*names[:begin], *over, *[""] * missing, *names[begin + named :]]
    return [names[0].lstrip("#%;/ ") or names[0], *names[1:]]


def _placed(line: str, data: str, width: int) -> list[str]:
    """Return the headings that stand over each cell of a line of data, by their places."""
    spans = [match.span() for match in re.finditer(r"\S+", data)]
    if len(spans) != width:
        return []
    names = [""] * width
    for match in re.finditer(r"\S+(?: \S+)*", line):
        middle = (match.start() + match.end()) / 2
        near = min(range(width), key=lambda k: abs((spans[k][0] + spans[k][1]) / 2 - middle))
        names[near] = f"{names[near]} {match[0]}".strip()
    return names


def _refuse_decimal_commas(rows: list[list[str]], width: int, first: int) -> None:
    """Refuse a file whose decimal commas look like those between its columns."""
    above = next((row for row in reversed(rows[:first]) if any(row)), [])
    filled = [each for each in above if each]
    if (
        2 < len(filled) < width
        and not any(map(is_value, filled))
        and sum(map(_known, filled)) * 2 >= len(filled)
        and not any("." in cell for cell in rows[first][1:])
    ):
        raise LogRefused(
            f"There are {len(filled)} headings over rows of {width} cells: commas stand both "
            "between the columns and in the numbers. Save the log with semicolons or tabs."
        )


def _refuse_other_headings(
    table: Table, rows: list[list[str]], first: int, texts: set[tuple[str, ...]]
) -> None:
    """Refuse a file in which the columns change on the way: no one layout fits it."""
    if not table.headings:
        return
    told = {tuple(map(plain, each)) for each in texts}
    for number, row in enumerate(rows[first:], first + 1):
        if row[-1][-1:].isdigit() or row[0][:1].isdigit():
            continue
        filled = [each for each in row if each]
        if len(filled) < 3 or any(map(str.isdigit, filled)) or any(map(is_value, filled)):
            continue
        if tuple(map(plain, row)) in told or all(map(is_unit_cell, filled)):
            continue
        if sum(map(_known, filled)) * 2 >= len(filled):
            raise LogRefused(
                f"The columns change on line {number}: other headings stand there. Part the file "
                "at that line and read each part by itself."
            )
