"""The measured values that the services of a component watch, as its page shows them."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from equipment import due as dates
from equipment.models import Component, Due, Renewal, ServiceVersion, Trigger
from equipment.services.measured import Measured, ValueDue, value_due


@dataclass(frozen=True, slots=True)
class Watched:
    """One value that a service watches on a component, and what it says."""

    version: ServiceVersion
    trigger: Trigger
    due: ValueDue


def watched_values(component: Component, dues: Sequence[Due], *, zone: ZoneInfo) -> list[Watched]:
    """Return what these due rows of a component watch, by the names of the services.

    Every value is of this life: since the service that watches it was last done. One query where
    they watch nothing, five more where they do.
    """
    versions = list(
        ServiceVersion.objects.filter(
            pk__in=[each.version_id for each in dues], triggers__measure=dates.VALUE
        )
        .distinct()
        .select_related("service")
        .prefetch_related("triggers")
    )
    if not versions:
        return []
    measured = Measured.of([component.pk], versions)
    done: dict[int, Renewal] = {}
    for renewal in (
        Renewal.objects.in_force()
        .select_related("version")
        .filter(component=component, version__service__in=[each.service_id for each in versions])
        .order_by("done_at", "pk")
    ):
        done[renewal.version.service_id] = renewal
    return [
        Watched(
            version,
            trigger,
            value_due(
                measured=measured,
                component=component,
                version=version,
                trigger=trigger,
                renewal=done.get(version.service_id),
                zone=zone,
            ),
        )
        for version in sorted(versions, key=lambda each: (each.service.name, each.pk))
        for trigger in version.triggers.all()
        if trigger.measure == dates.VALUE
    ]
