"""How wide and long a make of hose is: said on a page, then on its component's and on sheets."""

from decimal import Decimal
from typing import Any

import pytest
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client

from equipment.models import Component, ComponentType
from equipment.services import hoses_of, set_hose
from shop.models import Role
from tests.equipment.factories import SprayRig, a_hose
from tests.equipment.pages.browsing import keeps, said, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def hose(spray: SprayRig) -> Component:
    return a_hose()


def send(desk: Client, **typed: str) -> Any:
    return desk.post("/components/HOS-1/hose/", typed)


def test_it_is_kept_in_inches_and_feet_and_shown(desk: Client, hose: Component) -> None:
    answer = send(desk, inner_diameter_in="3/8", length_ft="64.008 m")
    assert said(answer) == "One line of “heated hose of ours” holds 1.20 gal (4.56 L)."
    make = ComponentType.objects.get(pk=hose.type_id)
    assert (make.hose_diameter_in, make.hose_length_ft) == (Decimal("0.375"), 210)
    assert "1.20 gal (4.56 L)" in text_of(desk.get("/components/HOS-1/"))
    assert keeps(desk.get("/components/HOS-1/hose/"), "inner_diameter_in", "0.375")
    assert "is not known now" in said(send(desk, inner_diameter_in="", length_ft=""))
    assert "One line holds" not in text_of(desk.get("/components/HOS-1/"))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"inner_diameter_in": "3/8", "length_ft": ""}, "Give both, or neither."),
        ({"inner_diameter_in": "10", "length_ft": "210"}, "In millimetres, write 10 mm."),
        ({"inner_diameter_in": "3/8", "length_ft": "long"}, "Write a length like 210 ft or 64 m."),
    ],
)
def test_a_slip_is_refused_beside_its_field_with_nothing_kept(
    desk: Client, hose: Component, typed: dict[str, str], words: str
) -> None:
    answer = send(desk, **typed)
    assert answer.status_code == 422
    assert words in text_of(answer)
    assert all(keeps(answer, name, value) for name, value in typed.items() if value)
    assert ComponentType.objects.get(pk=hose.type_id).hose_diameter_in is None


def test_only_hoses_have_it_and_only_a_manager_says_it(
    desk: Client, hose: Component, client_as: Any
) -> None:
    assert desk.get("/components/HOS-1/hose/").status_code == 200
    other = Component.objects.exclude(pk=hose.pk)[0]
    assert desk.get(f"/components/{other.tag}/hose/").status_code == 404
    assert client_as(Role.TECHNICIAN).get("/components/HOS-1/hose/").status_code == 403
    assert "What it holds" in text_of(desk.get("/components/HOS-1/"))
    assert "What it holds" not in text_of(desk.get(f"/components/{other.tag}/"))


def test_a_width_without_a_length_is_kept_nowhere(hose: Component) -> None:
    with pytest.raises(ValidationError, match="both above zero"):
        set_hose(type=hose.type, inner_diameter_in=Decimal(1), length_ft=None)
    with pytest.raises(IntegrityError), transaction.atomic():
        ComponentType.objects.filter(pk=hose.type_id).update(hose_length_ft=Decimal(5))


def test_on_the_bench_there_are_no_hoses(hose: Component) -> None:
    assert hoses_of(None) == []
