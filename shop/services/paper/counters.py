"""The faces to read when the work is done, and what they showed."""

from collections.abc import Mapping
from decimal import Decimal
from zoneinfo import ZoneInfo

from equipment.models import Counter, Reading
from shop import words
from shop.models import ServiceSheet
from shop.paper.content import PaperReading
from shop.services.paper.entries import by_text, keyer_of


def counters_of(sheet: ServiceSheet) -> list[Counter]:
    """The faces to read when the work is done: the rig's, and those of what is fitted in it."""
    if sheet.rig_id:
        return counters_aboard(sheet.rig_id)
    counters = Counter.objects.filter(component=sheet.component_id, is_retired=False)
    return list(counters.order_by("order", "pk"))


def counters_aboard(rig: int) -> list[Counter]:
    """The faces of a rig, by its key, and those of what is fitted in it."""
    fitted = Counter.objects.filter(
        component__installations__position__rig=rig,
        component__installations__removed_at__isnull=True,
    )
    counters = Counter.objects.filter(rig=rig) | fitted
    return list(counters.filter(is_retired=False).distinct().order_by("order", "pk"))


def readings_of(
    sheet: ServiceSheet, last_values: Mapping[int, Decimal], zone: ZoneInfo
) -> tuple[PaperReading, ...]:
    entries = {
        entry.counter_id: entry
        for entry in sheet.readings.filter(is_in_force=True).select_related("author", "written_by")
    }
    papers = []
    for counter in counters_of(sheet):
        entry = entries.get(counter.pk)
        now = ""
        if entry:
            now = words.exactly(entry.value)
            if entry.step != Reading.Step.CONTINUED:
                now += f", {entry.get_step_display()}"
        papers.append(
            PaperReading(
                counter=words.counter_name(counter),
                last_text=words.exactly(last_values.get(counter.pk, counter.last_value)),
                now_text=now,
                by_text=by_text(entry, zone=zone, keyer=keyer_of(sheet)) if entry else "",
            )
        )
    return tuple(papers)
