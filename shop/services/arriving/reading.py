"""What a phone sent, read before anything is believed of it: values in, dataclasses out.

No clock, no database: a batch that cannot be read has touched nothing.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy

from equipment.values import number_of

#: A day's work is some hundred entries; whoever sends more sends the rest with the next batch.
MOST_ENTRIES: Final = 500
#: Longer than any column that takes a text.
LONGEST_TEXT: Final = 2_000
LONGEST_DRAWING: Final = 8_000
LONGEST_PEN: Final = 500
MOST_KEY: Final = 2**63 - 1
_DRAWING: Final = re.compile(r"[ML0-9 ]*")

Read = Callable[[Any], Any]


class Unreadable(ValueError):
    """Something in a batch or an entry is not what it must be; the text is for the page.

    field: the name of what cannot be read.
    """

    def __init__(self, field: str, words: object = "") -> None:
        self.field = field
        unread = gettext_lazy("The phone sent something that cannot be read: {field}.")
        super().__init__(words or format_lazy(unread, field=field))


@dataclass(frozen=True, slots=True)
class Sent:
    """One entry as the phone made it: everything but the fields of its kind is read.

    at: by the phone's own clock. fields: the whole entry, for the reader of its kind.
    """

    event_id: UUID
    pen: str
    at: datetime
    is_live: bool
    kind: str
    fields: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Batch:
    """One sending: which phone, the phone's time, and its entries in the order made.

    unreadable: why, by the id that the entry gave itself.
    """

    phone: UUID
    now: datetime
    entries: tuple[Sent, ...]
    unreadable: Mapping[str, Unreadable]


def read_batch(data: Any) -> Batch:
    """Return what a phone sent. Raises Unreadable when it is no batch at all; an entry that
    cannot be read is named beside the others."""
    if not isinstance(data, dict):
        raise Unreadable("batch")
    given = data.get("entries")
    if not isinstance(given, list):
        raise Unreadable("entries")
    if len(given) > MOST_ENTRIES:
        raise Unreadable(
            "entries",
            format_lazy(gettext_lazy("Send at most {most} entries at a time."), most=MOST_ENTRIES),
        )
    entries: list[Sent] = []
    unreadable: dict[str, Unreadable] = {}
    for each in given:
        name = each.get("event_id") if isinstance(each, dict) else None
        if not isinstance(name, str) or not name or len(name) > 100:
            raise Unreadable("event_id")
        try:
            entries.append(_read_entry(each))
        except Unreadable as wrong:
            unreadable[clean(name)] = wrong
    return Batch(
        phone=_read_uuid("phone", data.get("phone")),
        now=_read_moment("now", data.get("now")),
        entries=tuple(entries),
        unreadable=unreadable,
    )


def read_fields(fields: Mapping[str, Read], entry: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of a kind, each as its reader gives it; one that is missing is empty.

    Raises Unreadable.
    """
    said: dict[str, Any] = {}
    for name, read in fields.items():
        try:
            said[name] = read(entry.get(name))
        except ValueError as wrong:
            raise Unreadable(name) from wrong
    return said


def text(value: Any) -> str:
    """A text as typed, without what no keyboard has and no database keeps."""
    if value is None:
        return ""
    if not isinstance(value, str) or len(value) > LONGEST_TEXT:
        raise ValueError
    return clean(value).strip()


def figure(value: Any) -> str:
    """A number as typed, or as the phone counted it."""
    if type(value) is int:
        return str(value)[:LONGEST_TEXT]
    return text(value)


def drawing(value: Any) -> str:
    """The lines of a drawn signature: "M 3 4 L 5 6"."""
    if value is None:
        return ""
    if not isinstance(value, str) or len(value) > LONGEST_DRAWING or not _DRAWING.fullmatch(value):
        raise ValueError
    return value.strip()


def flag(value: Any) -> bool:
    """Yes or no; nothing is no."""
    if value not in (None, True, False, "", "true", "on", 0, 1):
        raise ValueError
    return bool(value)


def key(value: Any) -> int:
    """A primary key or a place in an order, as number or as digits; nothing is 0."""
    if value in (None, ""):
        return 0
    if isinstance(value, str) and re.fullmatch(r"[0-9]{1,19}", value):
        value = int(value)
    if type(value) is not int or not 0 <= value <= MOST_KEY:
        raise ValueError
    return value


def keys(value: Any) -> list[int]:
    """A few primary keys; nothing is none."""
    if value in (None, ""):
        return []
    if not isinstance(value, list) or len(value) > MOST_ENTRIES:
        raise ValueError
    return [key(each) for each in value]


def rows(fields: Mapping[str, Read]) -> Read:
    """The reader of several things of one shape, each with these fields; nothing is none."""

    def read(value: Any) -> list[dict[str, Any]]:
        if value in (None, ""):
            return []
        if not isinstance(value, list) or len(value) > MOST_ENTRIES:
            raise ValueError
        if not all(isinstance(each, dict) for each in value):
            raise ValueError
        return [read_fields(fields, each) for each in value]

    return read


def moment(value: Any) -> str:
    """An instant by the phone's own clock, ISO 8601 with its offset; nothing is none."""
    return "" if value in (None, "") else _read_moment("moment", value).isoformat()


def number(typed: str) -> Decimal | None:
    """A number as people type it; None for anything else, and past what a column holds."""
    return number_of(typed) if len(typed.strip()) <= 24 else None


def clean(value: str) -> str:
    """A text without NUL and without halves of characters, which no database keeps."""
    return value.replace("\x00", "").encode("utf-8", "replace").decode("utf-8")


def clock_error(batch: Batch, *, recorded_at: datetime) -> timedelta:
    """How far the phone's clock is behind ours; negative where it is ahead."""
    return recorded_at - batch.now


def moment_of(
    sent: Sent,
    *,
    error: timedelta,
    recorded_at: datetime,
    not_before: datetime,
) -> datetime:
    """When an entry was made, by our clock.

    error: of the phone's clock. not_before: when the sheet was drafted, or the entry before it
    was made. Never later than it came, whatever else.
    """
    try:
        at = sent.at + error
    except OverflowError:
        at = recorded_at if sent.at > recorded_at else not_before
    return min(max(at, not_before), recorded_at)


def _read_entry(given: Mapping[str, Any]) -> Sent:
    pen, kind = given.get("pen"), given.get("kind")
    if not isinstance(pen, str) or len(pen) > LONGEST_PEN:
        raise Unreadable("pen")
    if not isinstance(kind, str) or len(kind) > 12:
        raise Unreadable("kind")
    live = given.get("live", False)
    if type(live) is not bool:
        raise Unreadable("live")
    return Sent(
        event_id=_read_uuid("event_id", given["event_id"]),
        pen=pen,
        at=_read_moment("at", given.get("at")),
        is_live=live,
        kind=kind,
        fields=given,
    )


def _read_uuid(field: str, value: Any) -> UUID:
    if not isinstance(value, str):
        raise Unreadable(field)
    try:
        return UUID(value)
    except ValueError as wrong:
        raise Unreadable(field) from wrong


def _read_moment(field: str, value: Any) -> datetime:
    if not isinstance(value, str) or len(value) > 40:
        raise Unreadable(field)
    try:
        moment = datetime.fromisoformat(value)
        if moment.tzinfo is None:
            raise Unreadable(field)
        return moment.astimezone(UTC)
    except (ValueError, OverflowError) as wrong:
        raise Unreadable(field) from wrong
