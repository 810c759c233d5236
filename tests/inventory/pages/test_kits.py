"""What is in a kit, and making and breaking kits, on their pages."""

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from inventory.models import Balance, KitAlternate, Location, Movement, Part, RobbedKit
from inventory.services import prove
from tests.inventory.factories import BinFactory, PartFactory, kit_of, received
from tests.inventory.pages.browsing import Page, text_of


def lines(*rows: tuple[str, str] | tuple[str, str, str], kept: int = 0) -> dict[str, Any]:
    """Lines as the page sends them: number, quantity and perhaps "on" to take the line out."""
    sent: dict[str, Any] = {"lines-TOTAL_FORMS": len(rows), "lines-INITIAL_FORMS": kept}
    for n, (number, quantity, *remove) in enumerate(rows):
        sent[f"lines-{n}-number"], sent[f"lines-{n}-quantity"] = number, quantity
        if remove:
            sent[f"lines-{n}-remove"] = "on"
    return sent


def inside(kit: Part) -> dict[str, int]:
    return dict(kit.lines.values_list("part__number", "quantity_steps"))


@pytest.fixture
def kit(db: None) -> Part:
    PartFactory(number="seal")
    PartFactory(number="oil", measured=True)
    return PartFactory(number="SK-1", kit=True)


class TestKitLines:
    def test_lines_are_set_by_number_and_empty_rows_count_for_nothing(
        self, desk: Client, kit: Part
    ) -> None:
        page = Page(desk, "inventory:kit_lines", "SK-1")
        answer = page.send(**lines(("seal", "2"), ("OIL", "0.25"), ("", "")))
        assert answer["Location"] == reverse("inventory:part", args=["SK-1"])
        assert inside(kit) == {"seal": 2, "oil": 25}

    def test_sent_twice_the_lines_are_the_same(self, desk: Client, kit: Part) -> None:
        page = Page(desk, "inventory:kit_lines", "SK-1")
        for _ in range(2):
            assert page.send(**lines(("seal", "2"))).status_code == 302
        assert inside(kit) == {"seal": 2}

    def test_a_line_is_taken_out(self, desk: Client, kit: Part) -> None:
        page = Page(desk, "inventory:kit_lines", "SK-1")
        page.send(**lines(("seal", "2"), ("oil", "1")))
        page.send(**lines(("seal", "2", "on"), ("oil", "1"), kept=2))
        assert inside(kit) == {"oil": 100}

    def test_more_rows_keep_what_was_typed_and_save_nothing(self, desk: Client, kit: Part) -> None:
        page = Page(desk, "inventory:kit_lines", "SK-1")
        answer = page.send(**lines(("seal", "two"), ("", ""), ("", "")), more="yes")
        assert answer.status_code == 200
        assert 'value="two"' in answer.content.decode()
        assert len(answer.context["formset"].forms) == 4
        assert page.request_id in answer.content.decode()
        assert inside(kit) == {}

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            (lines(("nut", "1")), "There is no part nut."),
            (lines(("seal", "1.5")), "Pieces come whole: 1.5 is not possible."),
            (lines(("seal", "-1")), "This cannot be below zero."),
            (lines(("seal", "0")), "Give a quantity above zero."),
            (lines(("seal", "")), "Give a number."),
            (lines(("", "3")), "Which part?"),
            (lines(("seal", "1"), ("seal", "2")), "seal stands in the kit once: add it up."),
            (lines(("SK-1", "1")), "A kit cannot contain itself: SK-1 → SK-1."),
        ],
    )
    def test_refused_beside_the_line_and_nothing_changes(
        self, desk: Client, kit: Part, typed: dict[str, Any], said: str
    ) -> None:
        page = Page(desk, "inventory:kit_lines", "SK-1")
        page.send(**lines(("oil", "1")))
        answer = page.send(**typed)
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert inside(kit) == {"oil": 100}

    def test_a_circle_through_other_kits_is_refused_beside_the_line(
        self, desk: Client, kit: Part
    ) -> None:
        outer = PartFactory(number="GK-1", kit=True)
        Page(desk, "inventory:kit_lines", "GK-1").send(**lines(("SK-1", "1")))
        answer = Page(desk, "inventory:kit_lines", "SK-1").send(
            **lines(("seal", "1"), ("GK-1", "1"))
        )
        assert answer.status_code == 422
        second = answer.context["formset"].forms[1]
        assert second.errors["number"] == ["A kit cannot contain itself: SK-1 → GK-1 → SK-1."]
        assert inside(outer) == {"SK-1": 1}
        assert inside(kit) == {}

    def test_a_form_without_its_count_of_lines_is_refused(self, desk: Client, kit: Part) -> None:
        assert Page(desk, "inventory:kit_lines", "SK-1").send().status_code == 422

    def test_a_plain_part_has_no_lines(self, desk: Client, kit: Part) -> None:
        for name in ("inventory:kit_lines", "inventory:kits"):
            assert desk.get(reverse(name, args=["seal"])).status_code == 404


class TestMakeAndBreak:
    def test_made_and_broken_once_each(self, desk: Client, bin_k3: Location) -> None:
        kit, (seal, spring) = kit_of(seal=2, spring=1)
        received(seal, bin_k3, 4, 400)
        received(spring, bin_k3, 2, 100)
        page = Page(desk, "inventory:kits", kit.number)
        for _ in range(2):
            answer = page.send(what="make", quantity="2", location=bin_k3.pk, reason="slow day")
            assert answer.status_code == 302
        assert Balance.objects.there().get().quantity_steps == 2
        page = Page(desk, "inventory:kits", kit.number)
        for _ in range(2):
            page.send(what="break", quantity="1", location=bin_k3.pk, reason="seals wanted")
        there = Balance.objects.there().values_list("part__number", "quantity_steps")
        assert dict(there) == {kit.number: 1, "seal": 2, "spring": 1}
        assert prove() == []

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"quantity": "3"}, "6 pieces asked, 4 pieces there."),
            ({"quantity": "0.5"}, "Pieces come whole"),
            ({"what": "break"}, "none there."),
            ({"reason": ""}, "This is needed."),
        ],
    )
    def test_refused(
        self, desk: Client, bin_k3: Location, typed: dict[str, str], said: str
    ) -> None:
        kit, (seal, spring) = kit_of(seal=2, spring=1)
        received(seal, bin_k3, 4)
        received(spring, bin_k3, 9)
        before = Movement.objects.count()
        whole = {"what": "make", "quantity": "1", "location": bin_k3.pk, "reason": "slow day"}
        answer = Page(desk, "inventory:kits", kit.number).send(**{**whole, **typed})
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert Movement.objects.count() == before

    def test_a_kit_without_lines_cannot_be_made(
        self, desk: Client, kit: Part, bin_k3: Location
    ) -> None:
        answer = Page(desk, "inventory:kits", "SK-1").send(
            what="make", quantity="1", location=bin_k3.pk, reason="slow day"
        )
        assert answer.status_code == 422
        assert "nobody has said yet what is in it" in text_of(answer)


class TestRobbed:
    @pytest.fixture
    def robbed_world(self, bin_k3: Location) -> tuple[Part, Part]:
        kit, (seal, spring) = kit_of(seal=2, spring=1)
        received(kit, bin_k3, 3, 900)
        received(seal, bin_k3, 3, 300)
        received(spring, bin_k3, 9, 900)
        return kit, seal

    def test_found_listed_and_made_whole_once_each(
        self, desk: Client, robbed_world: tuple[Part, Part], bin_k3: Location
    ) -> None:
        kit, seal = robbed_world
        shown = text_of(desk.get(reverse("inventory:part", args=[kit.number])))
        assert "3 whole in the shop, 1 more could be made from loose parts." in shown
        assert "One more needs 1 piece of seal Packing set." in shown
        page = Page(desk, "inventory:rob_kit", kit.number)
        for _ in range(2):
            sent = {f"missing-{seal.pk}": "1", "location": bin_k3.pk, "reason": "Bag open"}
            assert page.send(**sent).status_code == 302
        robbed = RobbedKit.objects.get()
        shown = text_of(desk.get(reverse("inventory:part", args=[kit.number])))
        assert "2 whole in the shop" in shown
        assert "Missing: 1 piece of seal Packing set." in shown
        assert "Bag open" in shown
        page = Page(desk, "inventory:robbed_kit", robbed.pk)
        for _ in range(2):
            assert page.send(what="whole", location=bin_k3.pk).status_code == 302
        shown = text_of(desk.get(reverse("inventory:part", args=[kit.number])))
        assert "3 whole in the shop" in shown
        assert "Missing" not in shown
        assert prove() == []

    def test_taken_apart_and_refused_in_words(
        self, desk: Client, robbed_world: tuple[Part, Part], bin_k3: Location
    ) -> None:
        kit, seal = robbed_world
        page = Page(desk, "inventory:rob_kit", kit.number)
        for sent, said in (
            ({}, "Say what is missing, of one part or more."),
            ({f"missing-{seal.pk}": "3"}, "cannot be missing: one"),
            ({f"missing-{seal.pk}": "0.5"}, "Pieces come whole"),
        ):
            answer = page.send(location=bin_k3.pk, reason="Bag open", **sent)
            assert answer.status_code == 422
            assert said in text_of(answer)
        assert not RobbedKit.objects.exists()
        page.send(location=bin_k3.pk, reason="Bag open", **{f"missing-{seal.pk}": "2"})
        robbed = RobbedKit.objects.get()
        empty = BinFactory(code="K-99")
        page = Page(desk, "inventory:robbed_kit", robbed.pk)
        answer = page.send(what="whole", location=empty.pk)
        assert answer.status_code == 422
        assert "2 pieces asked, none there." in text_of(answer)
        assert page.send(what="apart", location=empty.pk).status_code == 302
        assert Balance.objects.there().get(location=empty).part.number == "spring"
        answer = Page(desk, "inventory:robbed_kit", robbed.pk).send(what="whole", location=empty.pk)
        assert answer.status_code == 422
        assert "taken apart already" in text_of(answer)
        assert desk.get(reverse("inventory:robbed_kit", args=[99_999])).status_code == 404


class TestAlternates:
    def rows(self, *rows: tuple[str, str, str, str]) -> dict[str, Any]:
        sent: dict[str, Any] = {"others-TOTAL_FORMS": len(rows), "others-INITIAL_FORMS": 0}
        for n, row in enumerate(rows):
            for name, value in zip(("line", "number", "quantity", "rank"), row, strict=True):
                sent[f"others-{n}-{name}"] = value
        return sent

    def test_named_with_quantity_and_rank_and_kept_by_the_lines(
        self, desk: Client, kit: Part
    ) -> None:
        PartFactory(number="cup")
        Page(desk, "inventory:kit_lines", "SK-1").send(**lines(("seal", "2"), ("oil", "1")))
        page = Page(desk, "inventory:kit_alternates", "SK-1")
        answer = page.send(**self.rows(("seal", "cup", "3", ""), ("seal", "oil", "0.5", "2")))
        assert answer.status_code == 302
        Page(desk, "inventory:kit_lines", "SK-1").send(**lines(("seal", "2"), ("oil", "1")))
        said = KitAlternate.objects.values_list(
            "line__part__number", "part__number", "quantity_steps", "rank"
        )
        assert list(said) == [("seal", "cup", 3, 1), ("seal", "oil", 50, 2)]
        shown = desk.get(reverse("inventory:kit_alternates", args=["SK-1"])).content.decode()
        assert 'value="cup"' in shown

    @pytest.mark.parametrize(
        ("row", "said"),
        [
            (("seal", "nut", "1", ""), "There is no part nut."),
            (("", "cup", "1", ""), "Which line?"),
            (("seal", "seal", "1", ""), "This is the line’s own part."),
            (("seal", "cup", "1", "0"), "greater than or equal to 1"),
            (("seal", "SK-1", "1", ""), "A kit cannot contain itself: SK-1 → SK-1."),
        ],
    )
    def test_refused_beside_the_row(
        self, desk: Client, kit: Part, row: tuple[str, str, str, str], said: str
    ) -> None:
        PartFactory(number="cup")
        Page(desk, "inventory:kit_lines", "SK-1").send(**lines(("seal", "2")))
        answer = Page(desk, "inventory:kit_alternates", "SK-1").send(**self.rows(row))
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert not KitAlternate.objects.exists()


def test_a_part_says_what_is_bought_in_its_place(desk: Client, kit: Part) -> None:
    PartFactory(number="newer")
    page = Page(desk, "inventory:change_part", "seal")
    whole = {"number": "seal", "name": "Seal", "unit_name": "piece", "steps_per_unit": "1"}
    assert page.send(**whole, superseded_by="newer").status_code == 302
    shown = text_of(desk.get(reverse("inventory:part", args=["seal"])))
    assert "Bought in its place now: newer" in shown
    page = Page(desk, "inventory:change_part", "newer")
    for number, said in (
        ("seal", "A part cannot take its own place: newer → seal → newer."),
        ("nowhere", "There is no part nowhere."),
    ):
        answer = page.send(**{**whole, "number": "newer"}, superseded_by=number)
        assert answer.status_code == 422
        assert said in text_of(answer)
