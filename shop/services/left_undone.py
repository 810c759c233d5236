"""What a signed sheet left undone and nobody has done since: it stands on the due list again."""

from collections.abc import Collection, Iterable
from datetime import datetime

from equipment.models import Renewal
from shop.models import ServiceSheet, SheetLine


def left_undone(
    wanted: Iterable[tuple[int | None, int]],
) -> dict[tuple[int, int], ServiceSheet]:
    """The last signed sheet that left each service undone, by component and service.

    wanted: component and service of due rows. A service that was done since then, on a sheet or
    without one, is not among them. Two queries at most.
    """
    asked = {(component, service) for component, service in wanted if component}
    lines = (
        SheetLine.objects.filter(
            outcome__in=[SheetLine.Outcome.LEFT],
            component__in={component for component, _ in asked},
            version__isnull=False,
            sheet__state=ServiceSheet.State.SIGNED,
        )
        .select_related("sheet", "version")
        .order_by("sheet__signed_at", "pk")
    )
    left = {
        (line.component_id, line.version.service_id): line.sheet
        for line in lines
        if line.version and line.component_id
    }
    left = {key: sheet for key, sheet in left.items() if key in asked}
    done = _last_done(left)
    return {
        key: sheet
        for key, sheet in left.items()
        if key not in done or (sheet.signed_at is not None and done[key] < sheet.signed_at)
    }


def _last_done(keys: Collection[tuple[int, int]]) -> dict[tuple[int, int], datetime]:
    """When each service of a component was last done; those never done are missing."""
    if not keys:
        return {}
    rows = Renewal.objects.in_force().filter(component__in={component for component, _ in keys})
    found = rows.order_by("done_at", "pk").values_list("component", "version__service", "done_at")
    return {(component, service): done_at for component, service, done_at in found}
