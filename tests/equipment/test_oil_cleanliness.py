"""Cleanliness codes of oil against the table of ISO 4406 and published and computed examples.

Sources: tests/reference/data/hydraulic_cleanliness.csv (the table, "secondary_seen") and
hydraulic_cleanliness_examples.csv, hydraulic_cleanliness_targets.csv, whose rows name theirs.
"""

import csv
from contextlib import suppress
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.oil_cleanliness import (
    OVER_THE_TABLE,
    SIZES_UM,
    NotACode,
    OilCode,
    code_of_counts,
    code_of_text,
    scale_number,
    scale_text,
    unpacked,
)

DATA = Path(__file__).parent.parent / "reference" / "data"
COUNTS = st.decimals(0, 4_000_000, places=2)
CODES = st.lists(st.integers(0, OVER_THE_TABLE), min_size=3, max_size=3).map(
    lambda numbers: OilCode(*sorted(numbers, reverse=True))
)


def rows(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


TABLE = [row for row in rows("hydraulic_cleanliness.csv") if row["value"]]
EXAMPLES = rows("hydraulic_cleanliness_examples.csv")


class TestScaleNumber:
    @pytest.mark.parametrize("row", TABLE, ids=lambda row: row["scale_number"])
    def test_each_row_of_the_table_up_to_and_including(self, row: dict[str, str]) -> None:
        number, limit = int(row["scale_number"]), Decimal(row["value"])
        assert scale_number(limit) == number
        assert scale_number(limit + Decimal("0.001")) == number + 1
        assert scale_number(Decimal(row["lower_bound_exclusive"])) == max(number - 1, 0)

    def test_past_the_table(self) -> None:
        (last,) = (row for row in rows("hydraulic_cleanliness.csv") if not row["value"])
        assert scale_number(Decimal(last["lower_bound_exclusive"])) == 28
        assert scale_number(Decimal(last["lower_bound_exclusive"]) + 1) == OVER_THE_TABLE
        assert scale_text(OVER_THE_TABLE) == last["scale_number"]
        assert scale_text(28) == "28"

    def test_the_table_is_rounded_where_a_formula_is_not(self) -> None:
        """Of worked example J01: 1305 is 18 by the table, and 17 by ⌈log2(n ÷ 0.01)⌉."""
        assert scale_number(Decimal(1305)) == 18

    @given(COUNTS, COUNTS)
    def test_more_particles_never_have_a_smaller_number(self, one: Decimal, two: Decimal) -> None:
        few, many = sorted((one, two))
        assert scale_number(few) <= scale_number(many)

    @given(st.decimals(1, 1_000_000, places=2))
    def test_twice_the_particles_are_one_number_more_or_so(self, count: Decimal) -> None:
        assert scale_number(count * 2) - scale_number(count) in (0, 1, 2)

    @pytest.mark.parametrize("count", [Decimal("-0.01"), Decimal("NaN")])
    def test_fewer_than_no_particles_are_refused(self, count: Decimal) -> None:
        with pytest.raises((ValueError, ArithmeticError)):
            scale_number(count)


class TestCode:
    @pytest.mark.parametrize("row", EXAMPLES, ids=lambda row: row["id"])
    def test_examples(self, row: dict[str, str]) -> None:
        counts = [Decimal(row[f"count_ge_{size}um_per_mL"]) for size in SIZES_UM]
        assert str(code_of_counts(counts)) == row["value"]
        assert str(code_of_text(" ".join(f"{count}" for count in counts))) == row["value"]

    def test_the_published_example_of_counts_per_100_ml(self) -> None:
        """HE01 as its source prints it: 300 000, 50 000 and 700 in 100 mL are 19/16/10."""
        assert str(code_of_text("300,000 50,000 700 per 100 mL")) == "19/16/10"
        assert str(code_of_text("300000; 50000; 700 /100ml")) == "19/16/10"

    @pytest.mark.parametrize(
        "row", rows("hydraulic_cleanliness_targets.csv"), ids=lambda r: r["id"]
    )
    def test_each_target_is_read_as_it_is_written(self, row: dict[str, str]) -> None:
        assert str(code_of_text(row["value"])) == row["value"]

    @given(CODES)
    def test_written_and_read_again_it_is_the_same(self, code: OilCode) -> None:
        assert code_of_text(str(code)) == code
        assert code_of_text(f" {str(code).replace('/', ' / ')} ") == code
        assert unpacked(code.packed) == code
        assert unpacked(Decimal(f"{code.packed}.0000")) == code

    @given(CODES, CODES)
    def test_no_two_codes_are_kept_alike(self, one: OilCode, two: OilCode) -> None:
        assert (one.packed == two.packed) == (one == two)

    @given(CODES, CODES)
    def test_past_a_limit_is_asked_number_by_number(self, code: OilCode, limit: OilCode) -> None:
        past = code.past(limit)
        assert past == tuple(
            size
            for size, mine, most in zip(SIZES_UM, code.numbers, limit.numbers, strict=True)
            if mine > most
        )
        assert not code.past(code)

    def test_one_dirty_size_is_enough_though_the_kept_number_is_smaller(self) -> None:
        code, limit = code_of_text("17/16/14"), code_of_text("18/16/13")
        assert code.packed < limit.packed
        assert code.past(limit) == (14,)

    def test_past_the_table_it_is_written_with_its_sign(self) -> None:
        code = code_of_counts([Decimal(3_000_000), Decimal(500), Decimal(60)])
        assert str(code) == ">28/16/13"
        assert code_of_text(">28/16/13") == code

    @pytest.mark.parametrize(
        ("text", "words"),
        [
            ("", "like 18/16/13"),
            ("18/16", "like 18/16/13"),
            ("18-16-13", "like 18/16/13"),
            ("18/16/13/9", "like 18/16/13"),
            ("*/16/13", "like 18/16/13"),
            ("13/16/18", "fall or stay level"),
            ("29/16/13", "between 0 and 28"),
            ("99/16/13", "between 0 and 28"),
            ("60 500 3500", "counts fall"),
            ("18 16 13", "code or are these counts"),
            ("3500 500", "like 18/16/13"),
            ("-5 -6 -7", "like 18/16/13"),
            ("1e9 5 4", "like 18/16/13"),
        ],
    )
    def test_what_is_no_code_is_refused_in_words(self, text: str, words: str) -> None:
        with pytest.raises(NotACode, match=words):
            code_of_text(text)

    def test_small_counts_are_taken_where_their_volume_stands_behind_them(self) -> None:
        assert str(code_of_text("18 16 13 per mL")) == "11/11/11"
        assert str(code_of_text("18.5 16 13")) == "11/11/11"

    @given(st.text(max_size=40))
    def test_any_text_is_a_code_or_refused_as_none(self, text: str) -> None:
        with suppress(NotACode):
            code = code_of_text(text)
            assert unpacked(code.packed) == code

    @pytest.mark.parametrize("packed", [Decimal("1.5"), -1, 131618, 999999, 50_000_000])
    def test_a_number_that_is_no_code_is_refused(self, packed: Decimal | int) -> None:
        with pytest.raises(NotACode):
            unpacked(packed)

    @pytest.mark.parametrize("counts", [[], [Decimal(5)], [Decimal(5)] * 4])
    def test_a_code_has_three_counts(self, counts: list[Decimal]) -> None:
        with pytest.raises(NotACode, match="three counts"):
            code_of_counts(counts)
