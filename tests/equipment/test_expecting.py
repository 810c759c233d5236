"""What a counter may plausibly show next: the odds behind it, and the figures a person reads."""

from collections.abc import Sequence
from datetime import timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from equipment.counters import Total
from equipment.expecting import (
    EVENEST_SHAPE,
    STANDSTILL,
    TAIL,
    USUAL_SHAPE,
    Gain,
    likely_gain,
    narrowest_gain,
    on_the_face,
)
from tests.equipment.factories import START

DAYS = st.floats(0, 400)
RATES = st.floats(0.01, 50_000)
KNOWN = st.floats(7, 90)


def history(gains: Sequence[float], *, apart: float = 1) -> list[Total]:
    """Totals so many days apart that gained so much each."""
    counted, found = 0.0, [Total(START, Decimal(0), False)]
    for place, gained in enumerate(gains, start=1):
        counted += gained
        found.append(Total(START + timedelta(days=apart * place), Decimal(counted), False))
    return found


def odds(shape: float, days: float, known: float) -> Any:
    """What a counter of 120 a day gains in so many days, by scipy."""
    return stats.betaprime(shape * days, shape * known, scale=120 * known)


class TestOdds:
    def test_the_ends_are_quantiles_of_the_beta_of_the_second_kind(self) -> None:
        """Against scipy: gain ÷ (rate × T) follows betaprime(v·t, v·T)."""
        for known, days in ((7.0, 4.5), (30.0, 6.0), (90.0, 40.0)):
            seen = narrowest_gain(rate_per_day=120, known_days=known, days=days)
            assert seen is not None
            low, high = (
                odds(EVENEST_SHAPE, days - STANDSTILL, known),
                odds(EVENEST_SHAPE, days, known),
            )
            assert seen.low == pytest.approx(low.ppf(TAIL))
            assert seen.high == pytest.approx(high.ppf(1 - TAIL))

    def test_with_one_stretch_the_usual_spread_is_taken(self) -> None:
        seen = likely_gain(rate_per_day=120, known_days=20, days=6)
        assert seen is not None
        assert seen.low == pytest.approx(odds(USUAL_SHAPE, 2, 20).ppf(TAIL))
        assert seen.high == pytest.approx(odds(USUAL_SHAPE, 6, 20).ppf(1 - TAIL))

    def test_of_simulated_rigs_one_reading_in_two_hundred_lies_above(self) -> None:
        """The rate of each rig is unknown and learnt from its own 30 days, whatever it is."""
        chance = np.random.default_rng(4)
        above, below, tries = 0, 0, 4000
        for _ in range(tries):
            scale = float(chance.lognormal(5, 1))
            seen = chance.gamma(30 * EVENEST_SHAPE) * scale
            new = chance.gamma(5 * EVENEST_SHAPE) * scale
            gain = narrowest_gain(rate_per_day=seen / 30, known_days=30, days=5)
            assert gain is not None
            above += new > gain.high
            below += new < gain.low
        # Binomial, 4 standard deviations of 4,000 tries at 0.5 %: 18.
        assert above == pytest.approx(tries * TAIL, abs=18)
        assert below < tries * TAIL

    def test_a_long_weekend_is_never_too_little(self) -> None:
        gain = narrowest_gain(rate_per_day=120, known_days=90, days=4)
        assert gain is not None
        assert gain.low == 0

    @pytest.mark.parametrize("gains", [[100] * 60, [0, 0, 300] * 20, [0] * 40 + [300] * 20])
    def test_a_rig_that_works_in_blocks_is_rarely_asked(self, gains: list[float]) -> None:
        """Its own past readings, each judged by the range that a month of history gives."""
        asked = 0
        for place in range(30, len(gains)):
            past = history(gains[place - 30 : place])
            rate = sum(gains[place - 30 : place]) / 30
            gain = likely_gain(rate_per_day=rate, known_days=30, days=1, totals=past)
            asked += gain is not None and gains[place] > gain.high
        assert asked <= 1

    def test_uneven_use_widens_it_and_more_history_narrows_it(self) -> None:
        def width(totals: Sequence[Total], known: float) -> float:
            gain = likely_gain(rate_per_day=100, known_days=known, days=7, totals=totals)
            assert gain is not None
            return gain.high - gain.low

        even, uneven = history([700] * 12, apart=7), history([0, 1400] * 6, apart=7)
        assert width(even, 84) < width(uneven, 84)
        assert width((), 84) < width((), 20)

    def test_nothing_known_nothing_said(self) -> None:
        assert likely_gain(rate_per_day=0, known_days=90, days=3) is None
        assert likely_gain(rate_per_day=100, known_days=6.9, days=3) is None
        assert narrowest_gain(rate_per_day=100, known_days=6.9, days=3) is None

    @pytest.mark.parametrize("wrong", ["rate_per_day", "known_days", "days"])
    def test_refuses_what_cannot_be(self, wrong: str) -> None:
        given = {"rate_per_day": 1.0, "known_days": 30.0, "days": 1.0, wrong: -1.0}
        with pytest.raises(ValueError, match="below zero"):
            likely_gain(**given)  # type: ignore[arg-type]

    @given(rate=RATES, known=KNOWN, days=DAYS, gains=st.lists(st.floats(0, 5000), max_size=30))
    def test_whatever_the_spread_the_narrowest_lies_inside(
        self, rate: float, known: float, days: float, gains: list[float]
    ) -> None:
        narrow = narrowest_gain(rate_per_day=rate, known_days=known, days=days)
        wide = likely_gain(
            rate_per_day=rate, known_days=known, days=days, totals=history(gains, apart=3)
        )
        assert narrow is not None
        assert wide is not None
        assert 0 <= wide.low <= narrow.low <= narrow.high <= wide.high


class TestFace:
    def test_round_figures_that_hold_it(self) -> None:
        seen = on_the_face(Gain(8.4, 1742.9), last_value=Decimal(41_872), step=Decimal(1))
        assert (seen.low, seen.high) == (41_872, 43_700)
        far = on_the_face(Gain(428.4, 1742.9), last_value=Decimal(41_872), step=Decimal(1))
        assert (far.low, far.high) == (42_300, 43_700)

    def test_no_finer_than_the_face_shows(self) -> None:
        seen = on_the_face(Gain(0.26, 1.31), last_value=Decimal("412.7"), step=Decimal("0.1"))
        assert (seen.low, seen.high) == (Decimal("412.9"), Decimal("414.1"))

    def test_no_more_than_the_clock_allows(self) -> None:
        seen = on_the_face(
            Gain(0, 60),
            last_value=Decimal(100),
            step=Decimal(1),
            possible=Decimal(24),
        )
        assert seen.high == 125

    def test_ends_where_the_face_begins_again(self) -> None:
        seen = on_the_face(
            Gain(0, 600), last_value=Decimal(9_700), step=Decimal(1), rollover=Decimal(10_000)
        )
        assert seen.high == 9_999

    @given(
        last=st.decimals(0, 10**7, places=1),
        low=st.floats(0, 10**5),
        more=st.floats(0, 10**6),
        step=st.sampled_from([Decimal("0.1"), Decimal(1), Decimal(10)]),
    )
    def test_never_below_the_last_value_and_holds_the_gain(
        self, last: Decimal, low: float, more: float, step: Decimal
    ) -> None:
        seen = on_the_face(Gain(low, low + more), last_value=last, step=step)
        assert last <= seen.low <= seen.high
        assert seen.holds(last + Decimal(repr(low + more / 2)))
