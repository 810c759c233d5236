"""Which energy of a rig is isolated, how zero is proved, and what keeps a check locked until then.

The order of the steps is that of 29 CFR 1910.147(d): prepare, shut down, isolate, lock, release
what is stored, verify; the way back is that of (e). On a construction site the same steps are
good practice ((a)(1)(ii)(A)). The wording is ours and general, after the cautions of the starting
library: the maker's instructions, local codes and licensed practice go first.

Numbers and words in, words out: no database, no clock.
"""

from shop.isolation.locks import (
    IN_ORDER,
    PROOF_HOLDS,
    Before,
    Moment,
    Wanted,
    first_before,
    still_before,
)
from shop.isolation.points import Energy, Fitted, Point, Proof, starting_points, without_a_point
from shop.isolation.sources import CAUTION_SOURCES, citation, source_noop
from shop.isolation.stages import (
    BENCH_RUN_NOTE,
    BENCH_STOPPED_NOTE,
    FOUND_NOTE,
    NOTES,
    RUN_NOTE,
    STOPPED_NOTE,
    Stage,
    stages,
)
from shop.isolation.steps import (
    COMPOSED,
    HEAT_CAUTIONS,
    LOCKOUT_CAUTIONS,
    PARAGRAPHS,
    PRESSURE_CAUTIONS,
    Phase,
    Step,
    bench_steps,
    every_step,
    lockout_steps,
    may_be_absent,
    pressures,
    return_steps,
)

__all__ = [
    "BENCH_RUN_NOTE",
    "BENCH_STOPPED_NOTE",
    "CAUTION_SOURCES",
    "COMPOSED",
    "FOUND_NOTE",
    "HEAT_CAUTIONS",
    "IN_ORDER",
    "LOCKOUT_CAUTIONS",
    "NOTES",
    "PARAGRAPHS",
    "PRESSURE_CAUTIONS",
    "PROOF_HOLDS",
    "RUN_NOTE",
    "STOPPED_NOTE",
    "Before",
    "Energy",
    "Fitted",
    "Moment",
    "Phase",
    "Point",
    "Proof",
    "Stage",
    "Step",
    "Wanted",
    "bench_steps",
    "citation",
    "every_step",
    "first_before",
    "lockout_steps",
    "may_be_absent",
    "pressures",
    "return_steps",
    "source_noop",
    "stages",
    "starting_points",
    "still_before",
    "without_a_point",
]
