"""What open sheets hold already: what may not be drafted again, and what would be done twice."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from equipment.models import Component, Due, ServiceVersion
from equipment.services import including
from shop.models import ServiceSheet, SheetLine


@dataclass(frozen=True, slots=True)
class Overlap:
    """A service that may be drafted, and an open sheet that does some of the same work.

    services: names of what both do, whole or as a part of it.
    """

    due: Due
    sheet: ServiceSheet
    services: tuple[str, ...]

    @property
    def services_text(self) -> str:
        """ "side seals, air filter"."""
        return ", ".join(self.services)


def stood_for(components: Collection[int]) -> dict[tuple[int, int], SheetLine]:
    """Return the open line whose signature renews each smaller service: (component, service)."""
    lines = _open_lines(components)
    covers = including.covered(map(_pair, lines))
    return {
        (component.pk, smaller.service_id): line
        for line in lines
        for version, component in [_pair(line)]
        for smaller in covers.get((component.pk, version.pk), ())
    }


def overlaps(dues: Sequence[Due]) -> list[Overlap]:
    """Return what each of these services shares with open sheets on its component.

    dues: with their components' types and their versions' services; on no open sheet themselves.
    """
    lines = _open_lines({due.component_id for due in dues})
    if not lines:
        return []
    asked = [(due.version, due.component) for due in dues]
    covers = including.covered([*asked, *map(_pair, lines)])

    def names(version: ServiceVersion, component: Component) -> dict[int, str]:
        done = (version, *covers.get((component.pk, version.pk), ()))
        return {each.service_id: each.service.name for each in done}

    found = []
    for due in dues:
        own = names(due.version, due.component)
        both: dict[ServiceSheet, dict[int, str]] = {}
        for line in lines:
            if line.component_id == due.component_id:
                shared = own.keys() & names(*_pair(line)).keys()
                both.setdefault(line.sheet, {}).update((each, own[each]) for each in shared)
        found += [
            Overlap(due, sheet, tuple(shared[each] for each in own if each in shared))
            for sheet, shared in both.items()
            if shared
        ]
    return found


def _open_lines(components: Collection[int]) -> list[SheetLine]:
    return list(
        SheetLine.objects.filter(is_open=True, component__in=components, version__isnull=False)
        .select_related("sheet", "version__service", "component__type")
        .order_by("pk")
    )


def _pair(line: SheetLine) -> tuple[ServiceVersion, Component]:
    assert line.version is not None
    assert line.component is not None  # a line of a service always says on what
    return line.version, line.component
