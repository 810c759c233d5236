"""Drums against counters: the arithmetic, its uncertainty, and the line a person reads."""

from datetime import timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from equipment.drums import DRUM, TOTE, Dip, compare, rises, sentence, uncertainty, used
from tests.equipment.factories import START

GALLONS = st.decimals(0, 275, places=1)


def dips(*levels: object) -> list[Dip]:
    """Dips a day apart: a level, or (level, full size of the new drum)."""
    found = []
    for place, level in enumerate(levels):
        left, new = level if isinstance(level, tuple) else (level, None)
        at = START + timedelta(days=place)
        found.append(Dip(at, Decimal(str(left)), None if new is None else Decimal(new)))
    return found


class TestUsed:
    def test_out_of_one_drum(self) -> None:
        assert used(dips(50, 32.5)) == Decimal("17.5")

    def test_over_changes_of_drum(self) -> None:
        """50 − 0, then 55 − 0, then 55 − 20: 50 + 55 + 35."""
        assert used(dips(50, (55, DRUM), (20, DRUM))) == 50 + 55 + 35

    def test_a_tote(self) -> None:
        assert used(dips(4, (260, TOTE), 88)) == 4 + 275 - 88

    def test_one_dip_tells_nothing(self) -> None:
        with pytest.raises(ValueError, match="Two dips"):
            used(dips(50))

    @given(st.lists(st.tuples(GALLONS, st.sampled_from([None, 55, 275])), min_size=3, max_size=9))
    def test_what_lies_between_adds_up(self, levels: list[tuple[Decimal, int | None]]) -> None:
        """However a time is cut, its parts add up to the whole."""
        line = dips(*levels)
        for cut in range(1, len(line) - 1):
            assert used(line[: cut + 1]) + used(line[cut:]) == used(line)


class TestUncertainty:
    @pytest.mark.parametrize("changes", [0, 1, 3])
    def test_against_simulation(self, changes: int) -> None:
        """Dips and changes wrong by anything within ± a, all alike: 95 % lie inside, about."""
        line = dips(50, *[(40, DRUM)] * changes, 30)
        chance = np.random.default_rng(11)
        errors = chance.uniform(-1.5, 1.5, size=(200_000, 2 + changes)).sum(axis=1)
        given = float(uncertainty(line, error=Decimal("1.5")))
        assert given / 2 == pytest.approx(errors.std(), rel=0.01)
        assert 0.94 < (np.abs(errors) <= given).mean() < 0.98

    def test_the_step_of_a_counter_counts_too(self) -> None:
        coarse = uncertainty(dips(50, 30), error=Decimal(1), count=Decimal(10))
        assert coarse > uncertainty(dips(50, 30), error=Decimal(1))

    def test_refuses_an_error_below_zero(self) -> None:
        with pytest.raises(ValueError, match="below zero"):
            uncertainty(dips(50, 30), error=Decimal(-1))


class TestSaid:
    def test_within(self) -> None:
        found = compare(dips(30, 28.5), counters=Decimal(1))
        assert found.is_within
        assert sentence("A", found) == (
            "Drums say 1.5 gal of A, counters 1: 50 % apart, within what a dip stick can tell."
        )

    def test_apart(self) -> None:
        found = compare(dips(50, (55, DRUM), (55, DRUM), (3, DRUM)), counters=Decimal(204))
        assert found.drums == 212
        assert found.percent == pytest.approx(Decimal("3.92"), abs=Decimal("0.01"))
        assert sentence("A", found) == (
            "Drums say 212 gal of A, counters 204: 4 % apart, more than a dip stick can be wrong "
            "(± 2.6 gal)."
        )

    def test_a_shop_that_reads_worse_calls_the_same_within(self) -> None:
        line = dips(50, (55, DRUM), (55, DRUM), (3, DRUM))
        found = compare(line, counters=Decimal(204), error=Decimal(4))
        assert sentence("A", found) == (
            "Drums say 212 gal of A, counters 204: 4 % apart, within what a dip stick can tell."
        )

    def test_counters_that_counted_nothing(self) -> None:
        found = compare(dips(50, 38), counters=Decimal(0))
        assert found.percent is None
        assert sentence("B", found).startswith("Drums say 12 gal of B, counters 0: more than")

    def test_a_reset_that_hid_something(self) -> None:
        found = compare(dips(50, 20), counters=Decimal(10), at_least=True)
        assert sentence("B", found) == (
            "Drums say 30 gal of B, counters at least 10: 200 % apart, and a reset hid some of "
            "what they counted."
        )
        short = compare(dips(50, 48), counters=Decimal(10), at_least=True)
        assert not short.is_within

    def test_counters_never_count_below_zero(self) -> None:
        with pytest.raises(ValueError, match="below zero"):
            compare(dips(50, 30), counters=Decimal(-1))


@pytest.mark.parametrize(
    ("before", "after", "new", "rose"),
    [(30, 20, None, False), (30, 32, None, False), (30, 32.1, None, True), (30, 54, 55, False)],
)
def test_more_in_the_drum_than_before(
    before: float, after: float, new: int | None, rose: bool
) -> None:
    first, second = dips(before, (after, new))
    assert rises(first, second) is rose
