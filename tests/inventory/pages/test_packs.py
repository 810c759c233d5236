"""Packs and makers' codes on the form of a part, and quantities given in packs."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Balance, Location, Part, PartCode
from inventory.services.packs import CodeTaken, set_codes, set_packs
from tests.inventory.factories import PartFactory
from tests.inventory.pages.browsing import Page, text_of


@pytest.fixture
def oil(db: None) -> Part:
    return PartFactory(number="OIL", name="Pump oil", unit_name="gal", steps_per_unit=100)


def typed(oil: Part, **more: Any) -> dict[str, Any]:
    return {
        "number": oil.number,
        "name": oil.name,
        "unit_name": "gal",
        "steps_per_unit": "100",
        **more,
    }


def test_packs_and_codes_are_kept_and_shown_again(desk: Client, oil: Part) -> None:
    page = Page(desk, "inventory:change_part", oil.number)
    answer = page.send(**typed(oil, packs="pail 5\ndrum 55", codes="0123\n 0456 \n0123"))
    assert answer.status_code == 302
    assert dict(oil.packs.values_list("name", "quantity_steps")) == {"pail": 500, "drum": 5_500}
    assert sorted(oil.codes.values_list("code", flat=True)) == ["0123", "0456"]
    shown = desk.get(page.url).content.decode()
    assert "pail 5\ndrum 55" in shown
    assert "0123\n0456" in shown
    page.send(**typed(oil, packs="", codes="0456"))
    assert not oil.packs.exists()
    assert PartCode.objects.get().code == "0456"


@pytest.mark.parametrize(
    ("packs", "why"),
    [
        ("pail", "write one word and what it holds"),
        ("big pail 5", "write one word and what it holds"),
        ("pail 5\nPail 6", "write one word and what it holds"),
        ("gal 5", "gal is the unit already"),
        ("pail 0", "holds more than nothing"),
        ("pail 0.001", "pail: Give at most 2 decimals"),
        ("pail five", "is not a number"),
    ],
)
def test_packs_that_make_no_sense_are_refused_and_stay(
    desk: Client, oil: Part, packs: str, why: str
) -> None:
    answer = Page(desk, "inventory:change_part", oil.number).send(**typed(oil, packs=packs))
    assert answer.status_code == 422
    assert why in text_of(answer)
    assert packs in answer.content.decode()
    assert not oil.packs.exists()


def test_a_code_names_one_part(desk: Client, oil: Part) -> None:
    set_codes(part=PartFactory(number="X-1", name="Other"), codes=["0123"])
    answer = Page(desk, "inventory:change_part", oil.number).send(**typed(oil, codes="0123"))
    assert answer.status_code == 422
    assert "0123 is the code of X-1 Other already." in text_of(answer)
    with pytest.raises(CodeTaken):
        set_codes(part=oil, codes=["0123"])
    assert not oil.codes.exists()


def test_what_comes_may_be_given_in_packs_and_lies_so(
    desk: Client, oil: Part, bin_k3: Location
) -> None:
    set_packs(part=oil, packs={"pail": 500})
    page = Page(desk, "inventory:receive", oil.number)
    receipt = {"amount": "25", "cost": "each", "location": bin_k3.pk}
    refused = page.send(**receipt, quantity="2 buckets")
    assert refused.status_code == 422
    assert "“buckets” is not known here. Write pail, gal or a number alone." in text_of(refused)
    assert not Balance.objects.exists()
    page.send(**receipt, quantity="2 pails 1.5 gal", sure="on")
    assert Balance.objects.get().quantity_steps == 1_150
    assert "2 pails 1.50 gal" in text_of(desk.get(reverse("inventory:part", args=[oil.number])))
