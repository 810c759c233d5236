"""Each order of the due list, filtered as people filter it, is read in the order of an index."""

from typing import Any

import pytest
from django.db import connection
from django.http import QueryDict
from django.utils import timezone

from equipment.models import ComponentKind, Due
from equipment.services import turning
from shop import duelist
from shop.filters import DueFilter
from tests.benchmarks import worlds

pytestmark = pytest.mark.django_db

SORTS = (duelist.DATE, duelist.RIG, duelist.ODDS, duelist.KITS)


@pytest.fixture
def shop(db: None) -> Any:
    now = timezone.now()
    shop, manager = worlds.shop(at=now)
    worlds.fleet(rigs=1, readings=2, author=manager, at=now)
    worlds.Copies().grow(100)
    turning.tell_planner()
    if connection.vendor == "postgresql":
        # So few rows are sorted sooner than looked up: ask what it would do with very many.
        with connection.cursor() as cursor:
            for way in ("seqscan", "bitmapscan", "sort", "incremental_sort"):
                cursor.execute(f"SET LOCAL enable_{way} = off")
    return shop


def plan(rows: Any) -> str:
    """How the database would read due rows, without what it joins to each."""
    told = str(rows.values_list("pk")[: duelist.ROWS_A_PAGE + 1].explain())
    return "\n".join(line.strip() for line in told.splitlines())


def is_by_index(told: str) -> bool:
    if connection.vendor == "postgresql":
        return "Sort" not in told and "Index" in told
    return "TEMP B-TREE" not in told and "SEARCH equipment_due USING" in told


def test_every_order_of_every_filter_is_that_of_an_index(shop: Any) -> None:
    today = timezone.localdate(timezone.now(), shop.zone)
    kind = ComponentKind.objects.get(name="pump").pk
    spans = ("", "before=month", "before=overdue")
    asked = [
        f"{who}&{span}&sort={sort}"
        for who in ("", f"kind={kind}", "skill=technician")
        for span in spans
        for sort in SORTS
    ]
    sorted_by_hand = {}
    for query in [*asked, "rig=1&sort=date"]:
        found = DueFilter(
            QueryDict(query),
            queryset=Due.objects.listed(),
            today=today,
            warning_days=shop.warning_days,
        )
        assert found.form.is_valid(), query
        told = plan(duelist.ordered(found.qs, sort=found.order))
        if not is_by_index(told):
            sorted_by_hand[query] = told
    assert sorted_by_hand == {}


def test_twin_an_order_without_an_index_is_noticed(shop: Any) -> None:
    assert not is_by_index(plan(Due.objects.listed().order_by("-since")))
