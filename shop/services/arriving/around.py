"""What goes on around the work, from phones: time, handing over, waiting for parts."""

from datetime import UTC, datetime, timedelta
from typing import Any

from django.utils.translation import gettext, gettext_lazy

from inventory.models import Part
from shop.models import Person
from shop.services import clocking, handing_over, waiting
from shop.services.arriving.entry import Entry, NotTaken
from shop.services.knowledge import leave_note


def clock(entry: Entry) -> str:
    """Begin or end time. `until`: an earlier end, as the phone's own instant; `sure`: meant,
    however long it was."""
    said = entry.said
    given: dict[str, Any] = {
        "sheet": entry.sheet,
        "event_id": entry.event_id,
        "author": entry.author,
        "recorded_at": entry.recorded_at,
    }
    match said["does"]:
        case "start":
            runs = clocking.clock_of(entry.author, now=entry.at, zone=entry.zone).running
            clocking.start_time(at=entry.at, **given)
            if runs and runs[0].pk != entry.sheet.pk:
                return gettext("Your time stopped on sheet {sheet}.").format(sheet=runs[0])
        case "stop":
            at = _until(entry) if said["until"] else entry.at
            clocking.stop_time(at=at, is_sure=said["sure"] or bool(said["until"]), **given)
        case _:
            raise NotTaken(gettext_lazy("Time starts or stops."), "does")
    return ""


def _until(entry: Entry) -> datetime:
    """The earlier end of work that was named, by our clock."""
    try:
        named = datetime.fromisoformat(entry.said["until"])
        if named.tzinfo is None:
            raise ValueError
        at = named.astimezone(UTC) + timedelta(seconds=entry.clock_error_seconds)
    except (ValueError, OverflowError) as wrong:
        raise NotTaken(gettext_lazy("Say until when, like 17:30."), "until") from wrong
    return min(max(at, entry.sheet.drafted_at), entry.at)


def wait(entry: Entry) -> str:
    """Wait for `parts` of the sheet and for what `missing` says; with neither, go on."""
    given: dict[str, Any] = {
        "sheet": entry.sheet,
        "event_id": entry.event_id,
        "author": entry.author,
        "at": entry.at,
        "recorded_at": entry.recorded_at,
    }
    named = entry.said["parts"]
    if not named and not entry.said["missing"]:
        waiting.go_on(**given)
        return ""
    parts = list(Part.objects.filter(pk__in=named))
    waiting.wait_for_parts(missing=entry.said["missing"], parts=parts, **given)
    return ""


def hand_over(entry: Entry) -> str:
    """Leave the sheet to `to`, or to whoever comes next, with `words`."""
    to = None
    if entry.said["to"]:
        to = Person.objects.filter(pk=entry.said["to"]).first()
        if to is None:
            raise NotTaken(gettext_lazy("Choose one of the crew."), "to")
    handing_over.hand_over(
        sheet=entry.sheet,
        words=entry.said["words"],
        to=to,
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
    )
    return ""


def note_for_next(entry: Entry) -> str:
    """Leave a note for whoever does the work of a `line` next; without a `text` take it back."""
    line = entry.sheet.lines.filter(order=entry.said["line"]).first()
    if line is None:
        raise NotTaken(gettext_lazy("That service is not on this sheet."), "line")
    leave_note(
        line=line,
        text=entry.said["text"],
        event_id=entry.event_id,
        author=entry.author,
        at=entry.at,
        recorded_at=entry.recorded_at,
    )
    return ""
