"""Kept due rows beside the second opinion, after anything that may happen in a shop."""

import os

import pytest

from tests.equipment.dueoracle.against import try_seed

pytestmark = pytest.mark.django_db

#: Each is a shop of its own; `python -m tests.equipment.dueoracle 200` tries more.
SEEDS = range(6 if os.environ.get("CI") else 2)


@pytest.mark.parametrize("seed", SEEDS)
def test_whatever_happens_each_row_says_what_a_walk_of_the_days_says(seed: int) -> None:
    assert not try_seed(seed, steps=30, every=10)
