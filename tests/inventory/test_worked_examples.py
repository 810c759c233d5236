"""Costs against published worked examples, through the services a person's clicks go through."""

import json
from pathlib import Path
from typing import Any

import pytest
from django.db.models import Sum

from inventory.models import Lot
from inventory.services import IssueLine, issue, prove
from tests.inventory.factories import BinFactory, PartFactory, received, who_and_when

CASES = Path(__file__).parents[1] / "reference" / "data" / "worked_examples.json"


def cases(form: str) -> list[dict[str, Any]]:
    return [each for each in json.loads(CASES.read_text()) if each["form"] == form]


def test_there_is_a_case() -> None:
    assert "H04" in {case["id"] for case in cases("specific_identification")}


@pytest.mark.django_db
@pytest.mark.parametrize("case", cases("specific_identification"), ids=lambda case: case["id"])
def test_an_issue_costs_what_the_lot_it_drew_cost(case: dict[str, Any]) -> None:
    """OpenStax, Principles of Accounting, Volume 1, sec. 10.3: perpetual, specific identification.

    By hand for H04: 120 × 21 = 2,520; 20 × 21 + 160 × 27 = 4,740; left 10 × 21 + 65 × 27 +
    210 × 33 = 8,895.
    """
    part, shelf = PartFactory(), BinFactory()
    lots = {
        given["lot"]: received(
            part,
            shelf,
            given["received"],
            given["received"] * given["unit_cost"] * 100,
            lot_code=str(given["lot"]),
        )
        for given in case["inputs"]["lots"]
    }
    costs = []
    for asked in case["inputs"]["issues"]:
        lines = [IssueLine(part, shelf, each["quantity"], lots[each["lot"]]) for each in asked]
        rows = issue(lines=lines, **who_and_when())
        costs.append(-sum(row.value_cents for row in rows))
    expected = case["expected"]
    assert costs == [cost * 100 for cost in expected["cost_of_issues"]]
    assert sum(costs) == expected["total_cost_of_issues"] * 100
    left = Lot.objects.aggregate(total=Sum("value_left_cents"))["total"]
    assert left == expected["closing_value"] * 100
    assert prove() == []


@pytest.mark.django_db
def test_twin_drawn_in_another_order_the_example_comes_out_differently() -> None:
    """First in, first out would give 2,520 and 30 × 21 + 150 × 27 = 4,680: the lot named counts."""
    [case] = [each for each in cases("specific_identification") if each["id"] == "H04"]
    part, shelf = PartFactory(), BinFactory()
    for given in case["inputs"]["lots"]:
        received(part, shelf, given["received"], given["received"] * given["unit_cost"] * 100)
    quantities = [sum(each["quantity"] for each in asked) for asked in case["inputs"]["issues"]]
    costs = [
        -sum(
            row.value_cents
            for row in issue(lines=[IssueLine(part, shelf, quantity)], **who_and_when())
        )
        for quantity in quantities
    ]
    assert costs == [252_000, 468_000]
    assert costs != [cost * 100 for cost in case["expected"]["cost_of_issues"]]
