"""Values measured on components: only added to; what watches them follows at once.

A service sheet gives them when it is signed. A wrong one is not taken back, as nothing signed is:
the next value is the last one from then on, and one wild value moves a trend little.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from uuid import UUID
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import transaction
from django.utils.translation import gettext_lazy

from equipment import due as dates
from equipment.models import Component, Measurement, Trigger
from equipment.services import dues, locks
from equipment.services.care_refusals import CareRefused
from equipment.services.readings import SLACK


class NotYetMeasured(CareRefused):
    def __init__(self) -> None:
        super().__init__(gettext_lazy("That time has not come yet. Check when it was measured."))


@dataclass(frozen=True, slots=True)
class NewMeasurement:
    """A value measured on a component.

    name: as the check that asked for it names it. value: in `unit`.
    request_id: of this value; sent twice, it counts once.
    """

    component: Component
    name: str
    unit: str
    value: Decimal
    at: datetime
    request_id: UUID


def record_measurements(
    *,
    measured: Sequence[NewMeasurement],
    author: AbstractBaseUser,
    recorded_at: datetime,
    zone: ZoneInfo,
    source_kind: str,
    source_number: int = 0,
) -> list[Measurement]:
    """Record values measured on components; the due rows that watch them follow at once.

    Returns the rows in the order given, those that were there already among them.
    Raises NotYetMeasured.
    """
    if any(each.at > recorded_at + SLACK for each in measured):
        raise NotYetMeasured
    with transaction.atomic():
        locked = locks.lock_all_behind(each.component.pk for each in measured)
        there = {
            row.request_id: row
            for row in Measurement.objects.filter(
                request_id__in=[each.request_id for each in measured]
            )
        }
        new = {
            each.request_id: Measurement(
                component=locked[each.component.pk],
                name=each.name,
                unit=each.unit,
                value=each.value,
                at=each.at,
                source_kind=source_kind,
                source_number=source_number,
                author_id=author.pk,
                recorded_at=recorded_at,
                request_id=each.request_id,
            )
            for each in measured
            if each.request_id not in there
        }
        Measurement.objects.bulk_create(new.values())
        dues.recompute(_watched(new.values()), zone=zone)
        rows = there | new
        return [rows[each.request_id] for each in measured]


def _watched(rows: Collection[Measurement]) -> list[Component]:
    """The components of those values that a service in use watches."""
    watching = set(
        Trigger.objects.filter(
            measure=dates.VALUE,
            watched__in={row.name for row in rows},
            version__is_current=True,
            version__service__is_retired=False,
        ).values_list("version__service__kind_id", "watched")
    )
    return [row.component for row in rows if (row.component.type.kind_id, row.name) in watching]
