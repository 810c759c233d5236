"""The readings of a rig as a file to take away."""

from collections.abc import Iterator
from typing import Final

from django.db.models import Q
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from equipment.models import Component, Reading, Rig
from shop import exporting
from shop.http import PageRequest

HEAD: Final = [
    "Rig", "Counter", "Travels with", "Day", "Time", "Shows", "Unit", "What happened",
    "Last value before that", "New face began at", "Counted in all", "At least", "Source",
    "Number of the source", "Author", "Entered", "Taken back", "Note",
]  # fmt: skip
AT_ONCE: Final = 2000


@require_safe
def readings_file(
    request: PageRequest, number: int, way: str
) -> HttpResponse | StreamingHttpResponse:
    """Every reading of the counters of a rig and of what sits in it, the oldest first.

    Also those taken back: the file shows them as such, so that it tells what the list tells.
    """
    if way not in exporting.KINDS:
        raise Http404
    rig = get_object_or_404(Rig, number=number)
    fitted = Component.objects.filter(
        installations__position__rig=rig, installations__removed_at__isnull=True
    )
    found = (
        Reading.objects.filter(Q(counter__rig=rig) | Q(counter__component__in=fitted))
        .filter(reverses__isnull=True)
        .select_related("counter__component", "author", "reversal")
        .order_by("at", "counter_id", "pk")
    )
    zone = request.shop.zone

    def rows() -> Iterator[list[exporting.Value]]:
        for row in found.iterator(chunk_size=AT_ONCE):
            local, entered = row.at.astimezone(zone), row.recorded_at.astimezone(zone)
            counter = row.counter
            back = "" if row.is_in_force else "yes"
            yield [
                str(rig),
                counter.name,
                counter.component.tag if counter.component else "",
                local.date(),
                "" if row.is_day_only else f"{local:%H:%M}",
                row.value,
                counter.unit,
                row.get_step_display(),
                row.before_reset,
                row.face_start,
                None if back else row.total,
                "yes" if row.is_at_least and not back else "",
                row.get_source_display(),
                row.source_number or None,
                row.author.name,
                f"{entered:%Y-%m-%d %H:%M}",
                back,
                row.reversal.note if back else row.note,
            ]

    name = f"readings-rig-{rig.number:02d}"
    return exporting.file_of(way, name=name, head=HEAD, rows=rows())
