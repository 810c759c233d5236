"""The parts list and a part's own page."""

from collections.abc import Callable
from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.models import Location, Movement, Part
from inventory.services import (
    IssueLine,
    Need,
    TransferLine,
    issue,
    reserve,
    scrap,
    transfer,
)
from inventory.services import (
    reverse as undo,
)
from shop.models import Role
from tests.inventory.factories import (
    AT,
    BinFactory,
    PartFactory,
    PersonFactory,
    kit_of,
    received,
    who_and_when,
)
from tests.inventory.pages.browsing import buy_at, text_of

PARTS = reverse("inventory:parts")


def part_url(part: Part) -> str:
    return reverse("inventory:part", args=[part.number])


def promise(part: Part, place: Location, steps: int, sheet: int) -> None:
    reserve(
        needs=[Need(part=part, quantity_steps=steps)],
        places=[place],
        source_kind="sheet",
        source_number=sheet,
        author=PersonFactory(),
        at=AT,
    )


def queries_of(client: Client, url: str) -> int:
    client.get(url)
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(url).status_code == 200
    return len(seen)


class TestPartsList:
    def test_says_what_is_there_promised_free_and_worth(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 4, 20_000)
        promise(part, bin_k3, 1, sheet=412)
        read = text_of(desk.get(PARTS))
        assert "GK-1 Gun rebuild kit 4 1 3" in read
        assert "$200.00" in read

    def test_measured_parts_show_their_unit(self, desk: Client, bin_k3: Location) -> None:
        received(PartFactory(measured=True), bin_k3, 250)
        assert "2.50 qt" in text_of(desk.get(PARTS))

    def test_finds_by_any_piece_of_number_or_name(self, desk: Client, part: Part) -> None:
        PartFactory(number="SS-9", name="Side seal")
        read = text_of(desk.get(PARTS, {"q": "rebuild gk"}))
        assert "GK-1" in read
        assert "SS-9" not in read

    def test_a_search_without_a_find_says_what_to_do(self, desk: Client, part: Part) -> None:
        read = text_of(desk.get(PARTS, {"q": "nothing like it"}))
        assert "No part is found so." in read
        assert "show all parts" in read

    def test_an_empty_list_says_what_comes_next(self, desk: Client) -> None:
        assert "No parts yet." in text_of(desk.get(PARTS))

    def test_narrows_to_kits_category_and_what_fell(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        kit, (seal,) = kit_of(seal=2)
        Part.objects.filter(pk=seal.pk).update(category="seals")
        received(part, bin_k3, 4)
        buy_at(part, 4, 8)
        shown = {
            show: text_of(desk.get(PARTS, query))
            for show, query in {
                "kits": {"show": "kits"},
                "seals": {"category": "seals"},
                "fell": {"show": "reorder"},
            }.items()
        }
        assert kit.number in shown["kits"]
        assert "GK-1" not in shown["kits"]
        assert " seal " in shown["seals"]
        assert "GK-1" not in shown["seals"]
        assert "4 at reorder point" in shown["fell"]
        assert kit.number not in shown["fell"]

    def test_retired_parts_show_only_when_asked(self, desk: Client) -> None:
        PartFactory(number="OLD-1", retired=True)
        assert "OLD-1" not in text_of(desk.get(PARTS))
        assert "OLD-1" in text_of(desk.get(PARTS, {"show": "retired"}))

    def test_a_filter_that_does_not_exist_is_refused_beside_it(
        self, desk: Client, part: Part
    ) -> None:
        answer = desk.get(PARTS, {"category": "nonsense"})
        assert answer.status_code == 422
        assert "GK-1" in text_of(answer)

    @pytest.mark.parametrize(
        "column",
        [
            "number",
            "name",
            "on_hand",
            "reserved",
            "available",
            "drawers",
            "point",
            "value",
        ],
    )
    def test_sorts_by_every_column_both_ways(self, desk: Client, column: str) -> None:
        few, many = PartFactory(number="B-1", name="B"), PartFactory(number="C-1", name="C")
        shelf, drawer = BinFactory(), BinFactory(drawer=True)
        for part, steps in ((few, 2), (many, 9)):
            received(part, shelf, steps, steps * 100)
            received(part, drawer, steps, steps * 100)
            buy_at(part, steps, 20)
        promise(many, shelf, 1, sheet=1)
        rising = text_of(desk.get(PARTS, {"sort": column}))
        falling = text_of(desk.get(PARTS, {"sort": f"-{column}"}))
        assert rising.index("B-1") < rising.index("C-1")
        assert falling.index("C-1") < falling.index("B-1")

    def test_sorts_by_units_not_by_steps(self, desk: Client, bin_k3: Location) -> None:
        oil, seals = PartFactory(number="OIL", measured=True), PartFactory(number="SEAL")
        received(oil, bin_k3, 50)  # half a quart
        received(seals, bin_k3, 2)
        read = text_of(desk.get(PARTS, {"sort": "on_hand"}))
        assert read.index("OIL") < read.index("SEAL")

    def test_as_many_queries_for_thirty_parts_as_for_three(
        self, desk: Client, bin_k3: Location
    ) -> None:
        def stock(count: int) -> None:
            for _ in range(count):
                part = PartFactory(category="seals")
                received(part, bin_k3, 4)
                buy_at(part, 2, 8)

        stock(3)
        at_three = queries_of(desk, PARTS)
        stock(27)
        assert queries_of(desk, PARTS) == at_three

    def test_pages_of_fifty(self, desk: Client) -> None:
        PartFactory.create_batch(53)
        assert "1 – 50 of 53 shown. Next 50" in text_of(desk.get(PARTS))
        assert "51 – 53 of 53 shown." in text_of(desk.get(PARTS, {"page": 2}))

    def test_htmx_gets_the_results_alone(self, desk: Client, part: Part) -> None:
        answer = desk.get(PARTS, {"q": "gun"}, headers={"HX-Request": "true"})
        assert "GK-1" in text_of(answer)
        assert b"<html" not in answer.content
        assert "HX-Request" in answer["Vary"]

    def test_going_back_gets_the_whole_page(self, desk: Client, part: Part) -> None:
        headers = {"HX-Request": "true", "HX-History-Restore-Request": "true"}
        assert b"<html" in desk.get(PARTS, headers=headers).content

    def test_a_technician_reads_and_is_offered_no_change(
        self, client_as: Callable[..., Client], part: Part
    ) -> None:
        read = text_of(client_as(Role.TECHNICIAN).get(PARTS))
        assert "GK-1" in read
        assert "New part" not in read


class TestPartPage:
    def test_the_sentence_comes_from_the_figures(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 4)
        promise(part, bin_k3, 1, sheet=412)
        buy_at(part, 3, 8, reason="27 days to get more")
        read = text_of(desk.get(part_url(part)))
        assert "Buy when 3 are left. 4 here, 1 reserved for sheet 0412." in read
        assert "“27 days to get more” S. Keeper" in read

    def test_where_it_lies_names_lots_and_drawers(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        drawer = BinFactory(drawer=True, code="04-D2", name="drawer of Kestrel")
        received(part, bin_k3, 2, lot_code="8814", expires_on=date(2032, 3, 1))
        received(part, bin_k3, 1, lot_code="8702", expires_on=date(2031, 2, 1))
        received(part, drawer, 1, lot_code="8702-b")
        read = text_of(desk.get(part_url(part)))
        assert "8702 1 Feb 2031 use first 1" in read
        assert "8814 1 Mar 2032 2" in read
        assert "04-D2 rig drawer, drawer of Kestrel 8702-b keeps 1" in read

    def test_expired_stock_says_so(self, desk: Client, part: Part, bin_k3: Location) -> None:
        received(part, bin_k3, 1, expires_on=date(2020, 1, 1))
        assert "1 Jan 2020 expired" in text_of(desk.get(part_url(part)))

    def test_ledger_runs_with_the_shop_bins(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        drawer = BinFactory(drawer=True)
        received(part, bin_k3, 5, 5_000, source_text="slip 77")
        line = TransferLine(part=part, from_location=bin_k3, to_location=drawer, quantity_steps=2)
        transfer(lines=[line], **who_and_when())
        issue(
            lines=[IssueLine(part=part, location=bin_k3, quantity_steps=1)],
            **who_and_when(source_kind="sheet", source_number=399),
        )
        answer = desk.get(part_url(part))
        rows = answer.context["ledger"]
        assert [(row["quantity"], row["on_hand"]) for row in rows] == [
            ("−1", "2"),  # issued from the bin
            ("+2", "3"),  # into the drawer: the bins stay as they are
            ("−2", "3"),
            ("+5", "5"),
        ]
        read = text_of(answer)
        assert f"from {bin_k3.code}" in read
        assert f"to {drawer.code}" in read
        assert "sheet 0399" in read
        assert "slip 77" in read
        assert "−$10.00" in read

    def test_what_went_to_a_tray_names_tray_and_sheet(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        tray = BinFactory(tray=True, code="tray-0412")
        received(part, bin_k3, 5)
        line = TransferLine(part=part, from_location=bin_k3, to_location=tray, quantity_steps=1)
        transfer(lines=[line], **who_and_when(source_kind="sheet", source_number=412))
        assert "to tray-0412, sheet 0412" in text_of(desk.get(part_url(part)))

    def test_a_reversal_names_what_it_reverses_and_back(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 5)
        (scrapped,) = scrap(
            part=part, location=bin_k3, quantity_steps=1, **who_and_when(reason="torn")
        )
        undo(movement=scrapped, **who_and_when(reason="counted in wrong bin"))
        read = text_of(desk.get(part_url(part)))
        assert "reverses the scrap of 2 Mar" in read
        assert "counted in wrong bin" in read
        assert "scrap reversed 2 Mar" in read

    def test_ledger_pages_by_key_and_keeps_the_running_figure(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        for _ in range(30):
            received(part, bin_k3, 1)
        first = desk.get(part_url(part))
        assert [row["on_hand"] for row in first.context["ledger"]] == [
            str(n) for n in range(30, 5, -1)
        ]
        second = desk.get(part_url(part), {"before": first.context["older"]})
        assert [row["on_hand"] for row in second.context["ledger"]] == ["5", "4", "3", "2", "1"]
        assert second.context["older"] is None

    @pytest.mark.parametrize("before", ["x", "-1", "9" * 40, "²"])
    def test_no_such_page_of_the_ledger(self, desk: Client, part: Part, before: str) -> None:
        assert desk.get(part_url(part), {"before": before}).status_code == 404

    def test_a_kit_says_what_is_in_it_and_how_many_could_be_made(
        self, desk: Client, bin_k3: Location
    ) -> None:
        kit, (seal, spring) = kit_of(seal=2, spring=1)
        received(seal, bin_k3, 5)
        received(spring, bin_k3, 7)
        read = text_of(desk.get(part_url(kit)))
        assert "seal Packing set 2 5" in read
        assert "2 more could be made from loose parts." in read
        assert f"{kit.number} Fluid section kit 2 in each" in text_of(desk.get(part_url(seal)))

    def test_as_many_queries_for_thirty_movements_as_for_three(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 3)
        received(part, bin_k3, 3)
        received(part, bin_k3, 3)
        promise(part, bin_k3, 1, sheet=1)
        at_three = queries_of(desk, part_url(part))
        for n in range(24):
            received(part, bin_k3, 3)
            promise(part, bin_k3, 1, sheet=n + 2)
        assert Movement.objects.count() > 25
        assert queries_of(desk, part_url(part)) == at_three

    def test_a_kit_takes_as_many_queries_with_thirty_lines_as_with_three(
        self, desk: Client
    ) -> None:
        small, _ = kit_of(**{f"s{n}": 1 for n in range(3)})
        large, _ = kit_of(**{f"l{n}": 1 for n in range(30)})
        assert queries_of(desk, part_url(large)) == queries_of(desk, part_url(small))

    def test_an_unknown_number_is_not_found(self, desk: Client) -> None:
        assert desk.get(reverse("inventory:part", args=["GK-9"])).status_code == 404

    def test_others_may_look_and_are_offered_nothing(
        self, client_as: Callable[..., Client], part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 1)
        for role in (Role.TECHNICIAN, Role.OWNER):
            read = text_of(client_as(role).get(part_url(part)))
            assert "Where it lies" in read
            assert "Reverse" not in read
            assert "Set by hand" not in read


class TestNewAndChangedPart:
    new = reverse("inventory:new_part")

    def typed(self, **more: str) -> dict[str, str]:
        return {
            "request_id": str(uuid4()),
            "number": "SS-1",
            "name": "Side seal",
            "unit_name": "piece",
            "steps_per_unit": "1",
            "usual_cost_cents": "12.50",
            **more,
        }

    def test_a_part_is_added_once_however_often_it_is_sent(self, desk: Client) -> None:
        typed = self.typed(category="seals")
        assert desk.post(self.new, typed).status_code == 302
        assert desk.post(self.new, typed).status_code == 422
        made = Part.objects.get()
        assert (made.number, made.usual_cost_cents, made.category) == ("SS-1", 1_250, "seals")

    @pytest.mark.parametrize(
        ("typed", "said"),
        [
            ({"number": ""}, "This is needed."),
            ({"number": "a/b"}, "Use letters, digits"),
            ({"number": "New"}, "Use letters, digits"),
            ({"number": "gk-1"}, "That number is taken: GK-1 Gun rebuild kit."),
            ({"usual_cost_cents": "-3"}, "This cannot be below zero."),
            ({"usual_cost_cents": "1.005"}, "Give at most 2 decimals."),
            ({"usual_cost_cents": "99999999"}, "That is more than 10,000,000."),
            ({"is_kit": "on", "steps_per_unit": "100"}, "Kits come whole."),
        ],
    )
    def test_refused_beside_the_field_and_what_was_typed_stays(
        self, desk: Client, part: Part, typed: dict[str, str], said: str
    ) -> None:
        answer = desk.post(self.new, self.typed(**{"notes": "from the old book", **typed}))
        assert answer.status_code == 422
        assert said in text_of(answer)
        assert "from the old book" in text_of(answer)
        assert Part.objects.count() == 1

    def test_a_page_without_its_number_comes_back_and_can_be_sent(self, desk: Client) -> None:
        answer = desk.post(self.new, self.typed(request_id="nonsense"))
        assert answer.status_code == 422
        assert "The page came incomplete. Send it again." in text_of(answer)
        assert answer.context["form"]["request_id"].value() != "nonsense"

    def test_a_kit_goes_on_to_its_lines(self, desk: Client) -> None:
        answer = desk.post(self.new, self.typed(is_kit="on"))
        assert answer["Location"] == reverse("inventory:kit_lines", args=["SS-1"])

    def test_the_unit_of_a_part_that_moved_stays(
        self, desk: Client, part: Part, bin_k3: Location
    ) -> None:
        received(part, bin_k3, 1)
        url = reverse("inventory:change_part", args=[part.number])
        assert "Fixed, since the part has moved." in text_of(desk.get(url))
        typed = self.typed(number="GK-1", name="Gun kit", unit_name="gal", steps_per_unit="100")
        assert desk.post(url, typed).status_code == 302
        part.refresh_from_db()
        assert (part.name, part.unit_name, part.steps_per_unit) == ("Gun kit", "piece", 1)

    def test_a_part_is_retired_and_keeps_its_page(self, desk: Client, part: Part) -> None:
        url = reverse("inventory:change_part", args=[part.number])
        desk.post(url, self.typed(number="GK-1", retired="on"))
        assert "retired" in text_of(desk.get(part_url(part)))
