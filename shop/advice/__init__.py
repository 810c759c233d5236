"""When to buy a part and up to how much: from plain figures to the number, and back again.

`given` holds every figure that the number follows from; it is kept as JSON with the advice and
shown on its page. `reckoning` is the one way from it to the number, so that `keeping.recompute`
finds the number again from what is kept. Pure: no Django, no clock.

Each piece counts once:

- A service of a rig is served first from what really lies in the drawer of that rig; the rest is
  asked of the shop's bins. So is what fills the drawer: to its target now, and after a service took
  from it, to what it should still hold then (`Drawer.asked_steps`).
- What an open sheet still needs is a need with the chance 1 from its day on, and stands for the
  service on it. So what is promised to sheets is not taken off what is here.
- What is on order counts with what is here. Of an order that is late, the chance that it is still
  not here in time is demand like any other, for as much as is to come of it: it counts for as much
  as it can be relied on, and no more.

Sources: design, "The mathematics", 6 and 7; `inventory.demand`, `inventory.replenishment`. What
has no source is named so beside it.
"""

from shop.advice.given import (
    AHEAD_DAYS,
    HOLDING_RATE,
    MOST_PERIODS,
    ORDER_COST_CENTS,
    PERIOD_DAYS,
    TARGETS_PERCENT,
    YEAR_DAYS,
    Drawer,
    Given,
    LateOrder,
    LeadTime,
    Need,
    Terms,
    Unplanned,
    unobserved_lead_times,
)
from shop.advice.keeping import figures_of, found_of, given_of, recompute
from shop.advice.reckoning import (
    LIKELY,
    MAY,
    Found,
    chance_with,
    reckon,
    reckon_all,
)

__all__ = [
    "AHEAD_DAYS",
    "HOLDING_RATE",
    "LIKELY",
    "MAY",
    "MOST_PERIODS",
    "ORDER_COST_CENTS",
    "PERIOD_DAYS",
    "TARGETS_PERCENT",
    "YEAR_DAYS",
    "Drawer",
    "Found",
    "Given",
    "LateOrder",
    "LeadTime",
    "Need",
    "Terms",
    "Unplanned",
    "chance_with",
    "figures_of",
    "found_of",
    "given_of",
    "reckon",
    "reckon_all",
    "recompute",
    "unobserved_lead_times",
]
