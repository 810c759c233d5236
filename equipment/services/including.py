"""Which smaller services a bigger one includes, and on which components.

What is included is said by the version of the bigger service; of the smaller ones their current
versions count, and in turn what those include. A retired service is included no longer.
"""

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

from equipment.models import Component, Due, Service, ServiceVersion
from equipment.services import locks
from equipment.services.care_refusals import IncludesItself, OfAnotherKind, ServiceRetired

Node = TypeVar("Node", bound=Hashable)
#: By version: the current versions of the services that it includes directly.
Children = Mapping[int, Sequence[ServiceVersion]]
#: What services cover on their components, by (component, version).
Covers = Mapping[tuple[int, int], Sequence[ServiceVersion]]


def children_of(versions: Iterable[ServiceVersion]) -> Children:
    """Return what these versions include, and what those include, to the end.

    The versions found come with their services and `only_rigs`; one query where nothing is
    included, else three for each step down.
    """
    through = ServiceVersion.includes.through.objects
    found: dict[int, list[ServiceVersion]] = {}
    asked = {version.pk for version in versions}
    known = set(asked)
    while asked:
        wanted: dict[int, list[int]] = defaultdict(list)
        pairs = through.filter(serviceversion__in=asked).order_by("serviceversion", "service")
        for version, service in pairs.values_list("serviceversion", "service"):
            wanted[service].append(version)
        if not wanted:
            break
        asked = set()
        current = (
            ServiceVersion.objects.filter(
                service__in=wanted, is_current=True, service__is_retired=False
            )
            .select_related("service")
            .prefetch_related("service__only_rigs")
            .order_by("pk")
        )
        for child in current:
            for parent in wanted[child.service_id]:
                found.setdefault(parent, []).append(child)
            asked.add(child.pk)
        asked -= known
        known |= asked
    return found


def applies(service: Service, component: Component, rig_id: int | None) -> bool:
    """Whether a service is one of this component where it sits now.

    rig_id: the rig it is fitted in; None: on the bench, where services of some rigs only are not.
    """
    if service.kind_id != component.type.kind_id or service.side not in ("", component.side):
        return False
    only = {rig.pk for rig in service.only_rigs.all()}
    return not only or rig_id in only


def inside(
    version: ServiceVersion, component: Component, *, rig_id: int | None, children: Children
) -> Iterator[tuple[ServiceVersion, ServiceVersion]]:
    """Yield what is done on this component within a bigger service: (version, the bigger one).

    Each service once, from the biggest down; what does not apply to the component is left out
    with all that only it includes.
    """
    seen = {version.service_id}
    level = [version]
    while level:
        below = []
        for bigger in level:
            for child in children.get(bigger.pk, ()):
                if child.service_id in seen or not applies(child.service, component, rig_id):
                    continue
                seen.add(child.service_id)
                below.append(child)
                yield child, bigger
        level = below


def reached(start: Node, below: Callable[[Node], Iterable[Node]]) -> set[Node]:
    """Return what is included by `start` and by what it includes, to the end; not itself."""
    found: set[Node] = set()
    waiting = [start]
    while waiting:
        for each in below(waiting.pop()):
            if each not in found and each != start:
                found.add(each)
                waiting.append(each)
    return found


def covered(
    pairs: Iterable[tuple[ServiceVersion, Component]],
) -> dict[tuple[int, int], list[ServiceVersion]]:
    """Return what each of these services covers on its component, by (component, version).

    Only those that cover something are in it.
    """
    asked = list(pairs)
    children = children_of(version for version, _ in asked)
    if not children:
        return {}
    rigs = locks.rig_by_component(component.pk for _, component in asked)
    found = {}
    for version, component in asked:
        smaller = inside(version, component, rig_id=rigs.get(component.pk), children=children)
        if covers := [child for child, _ in smaller]:
            found[component.pk, version.pk] = covers
    return found


def folded(dues: Sequence[Due]) -> tuple[list[Due], Covers]:
    """Return these rows without the smaller services that another of them stands for, in their
    order, and what the services of all of them cover.

    dues: with their components' types and their versions' services.
    """
    covers = covered((due.version, due.component) for due in dues)

    def stands_for(bigger: Due, due: Due) -> bool:
        within = covers.get((bigger.component_id, bigger.version_id), ())
        return bigger.component_id == due.component_id and any(
            child.service_id == due.version.service_id for child in within
        )

    def is_stood_for(due: Due) -> bool:
        # Of two that include each other, put there round the services, the first one stays.
        return any(
            stands_for(other, due) and not (stands_for(due, other) and due.pk < other.pk)
            for other in dues
        )

    return [due for due in dues if not is_stood_for(due)], covers


def refuse_circles(service: Service, includes: Sequence[Service]) -> None:
    """Refuse a service that would include itself, another kind's, or one that is retired.

    The caller holds the locks of all services of the kind. Raises IncludesItself, OfAnotherKind,
    ServiceRetired.
    """
    for each in includes:
        if each.pk == service.pk:
            raise IncludesItself(service, each)
        if each.kind_id != service.kind_id:
            raise OfAnotherKind(each)
        if each.is_retired:
            raise ServiceRetired(each)
    current = ServiceVersion.objects.filter(service__in=includes, is_current=True)
    for version in current.select_related("service"):
        below = children_of([version])
        if any(child.service_id == service.pk for found in below.values() for child in found):
            raise IncludesItself(service, version.service)
