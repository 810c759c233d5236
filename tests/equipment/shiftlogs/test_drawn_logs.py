"""Five hundred logs at random: none is read wrongly without a question.

Drawn by number and so always the same (`drawn.Draw`); outside CI every fourth batch. A batch that
fails names the draws:
`python -m tests.equipment.shiftlogs 137` shows one, and without a number it counts what was asked
although the text decided; with `strange` in front it does so in other words than those of
`headings` (`strangers`).
"""

import pytest

from tests.depth import share_of

from .strangers import Stranger
from .survey import judge

DRAWS = 500
STRANGERS = 200
BATCH = 25
#: Of all draws, in which share something may be asked that the text decides. [1]
MOST_ASKED_NEEDLESSLY = 0.04


@pytest.mark.parametrize("batch", share_of(range(DRAWS // BATCH), every=4))
def test_none_is_read_wrongly(batch: int) -> None:
    verdicts = [judge(number) for number in range(batch * BATCH, (batch + 1) * BATCH)]
    wrong = {each.number: each.faults for each in verdicts if each.faults}
    assert wrong == {}
    # A batch is small: it may hold a few more than the share of all.
    needless = {each.number: each.needless for each in verdicts if each.needless}
    assert len(needless) <= max(3, BATCH * MOST_ASKED_NEEDLESSLY), needless


@pytest.mark.parametrize("batch", share_of(range(STRANGERS // BATCH), every=4))
def test_no_stranger_is_read_wrongly(batch: int) -> None:
    """In words that were held back until the importer stood: a column that it does not know but
    that holds data it asks about, and never drops in silence."""
    numbers = range(batch * BATCH, (batch + 1) * BATCH)
    faults = {number: judge(number, Stranger).faults for number in numbers}
    assert {number: said for number, said in faults.items() if said} == {}
