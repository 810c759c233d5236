"""What a version asks for, read into `equipment.asked`, for pages that say it or compare it."""

from collections.abc import Iterable, Mapping

from django.db.models import Prefetch, QuerySet

from equipment import due as dates
from equipment.asked import Asked, CheckAsked, TriggerAsked, spoken_name
from equipment.models import Check, ComponentKind, Service, ServiceVersion, Trigger

#: (kind, name of a measured value) → its unit.
Units = Mapping[tuple[int, str], str]

# Use, time, what happens: the order in which a page says them.
_ORDER = {measure: place for place, measure in enumerate(dates.MEASURES)}


def versions_to_read() -> QuerySet[ServiceVersion]:
    """Versions with everything that `asked_of` reads, in as many queries for one as for all."""
    return ServiceVersion.objects.select_related("service__kind", "author").prefetch_related(
        Prefetch("triggers", Trigger.objects.select_related("season", "after__kind")),
        Prefetch("checks", Check.objects.order_by("order")),
        "cautions",
        "includes",
        "service__only_rigs",
    )


def measured_values(kinds: Iterable[int]) -> list[Check]:
    """The checks by which something is measured on components of these kinds, as of now."""
    return list(
        Check.objects.filter(
            kind=Check.Kind.VALUE,
            version__is_current=True,
            version__service__is_retired=False,
            version__service__kind__in=kinds,
        )
        .select_related("version__service")
        .order_by("version__service__name", "order")
    )


def value_units(kinds: Iterable[int]) -> Units:
    """The unit in which each value of these kinds is measured."""
    return {
        (check.version.service.kind_id, check.text): check.unit
        for check in reversed(measured_values(kinds))
    }


def asked_of(version: ServiceVersion, *, units: Units) -> Asked:
    """What a version of `versions_to_read` asks for.

    The rigs and the name are those of its service today: they are not kept by version.
    """
    service = version.service
    own = {check.text: check.unit for check in version.checks.all() if check.unit}
    return Asked(
        name=service.name,
        kind=str(service.kind),
        side=service.side,
        only_rigs=tuple(
            f"{rig.number:02d}"
            for rig in sorted(service.only_rigs.all(), key=lambda rig: rig.number)
        ),
        rule=version.rule,
        triggers=tuple(
            _trigger(each, service.kind, units, own)
            for each in sorted(
                version.triggers.all(), key=lambda each: (_ORDER[each.measure], each.pk)
            )
        ),
        checks=tuple(_check(each) for each in version.checks.all()),
        tolerance_percent=version.tolerance_percent,
        early_percent=version.early_percent,
        is_hard_limit=version.is_hard_limit,
        renews=version.get_renews_display(),
        instructions=version.instructions,
        condition_sign=version.condition_sign,
        labour_minutes=version.labour_minutes,
        skill=version.get_skill_display(),
        is_rebuild=version.is_rebuild,
        second_look=version.second_look,
        source=version.source,
        basis=version.get_basis_display(),
        cautions=tuple(sorted(caution.hazard for caution in version.cautions.all())),
        includes=tuple(sorted(service.name for service in version.includes.all())),
    )


def _name_of(other: Service, *, among: ComponentKind) -> str:
    return spoken_name(other.name, other.kind.name, other.side, among=among.name)


def _trigger(
    each: Trigger, kind: ComponentKind, units: Units, own: Mapping[str, str]
) -> TriggerAsked:
    return TriggerAsked(
        measure=each.measure,
        interval=each.interval,
        first_at=each.first_at,
        season=each.season.name if each.season else "",
        season_month=each.season.month if each.season else 0,
        season_day=each.season.day if each.season else 0,
        after=_name_of(each.after, among=kind) if each.after else "",
        watched=each.watched,
        low=each.low,
        high=each.high,
        unit=own.get(each.watched) or units.get((kind.pk, each.watched), ""),
    )


def _check(each: Check) -> CheckAsked:
    return CheckAsked(
        text=each.text,
        kind=each.get_kind_display(),
        hint=each.hint,
        choices=tuple(each.choices),
        unit=each.unit,
        low=each.low,
        high=each.high,
        needs_electrician=each.needs_electrician,
        opens=tuple(Check.Opens(one).label for one in each.opens),
        is_run=each.is_run,
    )
