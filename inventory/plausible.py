"""Whether a quantity is so large that it is probably a slip of the keys."""

from typing import Final

#: So many times what was the most before is asked about. Common practice, no source.
TIMES: Final = 10
#: Up to so many units nobody is asked: the first order of a new part is not a slip.
UNITS: Final = 100


def is_far_more(quantity_steps: int, *, steps_per_unit: int, most_before_steps: int) -> bool:
    """Return whether a quantity is to be asked about before it is believed.

    It is when it is more than `TIMES` the most before and more than `UNITS` units, both.

    quantity_steps, most_before_steps: >= 0; the latter 0 where there was none. [steps]
    steps_per_unit: >= 1. Raises ValueError outside these.
    """
    if quantity_steps < 0 or most_before_steps < 0 or steps_per_unit < 1:
        raise ValueError("Quantities are 0 or more, and a unit has a step or more.")
    return quantity_steps > max(TIMES * most_before_steps, UNITS * steps_per_unit)
