"""Rows locked in one order: rigs, components, counters; within each by primary key.

On SQLite nothing is locked here: its immediate transactions run one after the other.
"""

from collections.abc import Iterable

from django.db.models import Q

from equipment.models import Component, Counter, Installation, Rig


def lock_rigs(pks: Iterable[int | None]) -> dict[int, Rig]:
    """Lock these rigs and return them fresh."""
    wanted = {pk for pk in pks if pk is not None}
    if not wanted:
        return {}
    rows = Rig.objects.select_for_update(of=("self",)).filter(pk__in=wanted).order_by("pk")
    return {row.pk: row for row in rows}


def lock_components(pks: Iterable[int]) -> dict[int, Component]:
    """Lock these components and return them fresh, with their types and kinds."""
    wanted = set(pks)
    if not wanted:
        return {}
    rows = (
        Component.objects.select_for_update(of=("self",))
        .select_related("type__kind")
        .filter(pk__in=wanted)
        .order_by("pk")
    )
    return {row.pk: row for row in rows}


def lock_counters(pks: Iterable[int]) -> dict[int, Counter]:
    """Lock these counters and return them fresh."""
    wanted = set(pks)
    if not wanted:
        return {}
    rows = Counter.objects.select_for_update(of=("self",)).filter(pk__in=wanted).order_by("pk")
    return {row.pk: row for row in rows}


def rigs_of(component_pks: Iterable[int]) -> set[int]:
    """The rigs in which these components are fitted now."""
    return set(
        Installation.objects.filter(
            component__in=set(component_pks), removed_at__isnull=True
        ).values_list("position__rig_id", flat=True)
    )


def rig_by_component(component_pks: Iterable[int]) -> dict[int, int]:
    """Component → the rig in which it is fitted now; those on the bench are not in it."""
    fitted = Installation.objects.filter(component__in=set(component_pks), removed_at__isnull=True)
    return dict(fitted.values_list("component_id", "position__rig_id"))


def counters_behind(component_pks: Iterable[int]) -> set[int]:
    """Every counter that ever drove a wear of these components, and their own."""
    wanted = set(component_pks)
    return set(
        Counter.objects.filter(
            Q(component__in=wanted) | Q(wear_sources__installation__component__in=wanted)
        ).values_list("pk", flat=True)
    )


def lock_all_behind(component_pks: Iterable[int]) -> dict[int, Component]:
    """Lock everything that the kept rows of these components are worked out from."""
    wanted = set(component_pks)
    lock_rigs(rigs_of(wanted))
    components = lock_components(wanted)
    lock_counters(counters_behind(wanted))
    return components
