"""In which order the checks of a sheet are done: as found, locked out, and with the rig running."""

from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import Final

from shop.isolation.sources import gettext_noop


class Stage(StrEnum):
    """When a check is done: before lockout, during it, or after the locks are off."""

    FOUND = "found"
    STILL = "still"
    RUN = "run"


#: Said over the checks for which the rig runs: before lockout, and after it by 29 CFR
#: 1910.147(f)(1). Of a component on the bench: common practice, no source.
FOUND_NOTE: Final = gettext_noop(
    "The rig runs for these as it came in, before anything is locked out: tools and people clear,"
    " and nothing open."
)
RUN_NOTE: Final = gettext_noop(
    "The rig runs for these: tools and people clear, own locks off, and nothing open. Afterwards"
    " lock out again and prove zero before anything else is opened."
)
BENCH_RUN_NOTE: Final = gettext_noop(
    "It runs on the bench for these: held fast, tools and people clear, and nothing open."
    " Afterwards take off what feeds it and let trapped pressure go before anything else is opened."
)
#: Said at a check that is done when what runs has been stopped again.
STOPPED_NOTE: Final = gettext_noop(
    "Not while the rig runs: lock out again first, and prove zero before anything is opened."
)
BENCH_STOPPED_NOTE: Final = gettext_noop(
    "Not while it runs: take off what feeds it, and let trapped pressure go before anything is"
    " opened."
)
NOTES: Final = (FOUND_NOTE, RUN_NOTE, BENCH_RUN_NOTE, STOPPED_NOTE, BENCH_STOPPED_NOTE)


def stages(services: Iterable[Sequence[bool]]) -> list[list[Stage]]:
    """When each check of each service is done; their order within a service stays.

    services: of each, whether the rig runs for each of its checks, in their order. What runs before
    the first check that does not was meant to be read as found. What runs after it shows the work,
    and so does a service of nothing else: it is done when all work is, on the rig as it leaves.
    Where the rig runs for every check of the sheet, nothing is locked out, and none comes after.
    """
    listed = [list(runs) for runs in services]
    if all(all(runs) for runs in listed):
        return [[Stage.STILL] * len(runs) for runs in listed]
    return [_of_one(runs) for runs in listed]


def _of_one(runs: Sequence[bool]) -> list[Stage]:
    if all(runs):
        return [Stage.RUN] * len(runs)
    found = runs.index(False)
    still = next((place for place in range(found, len(runs)) if runs[place]), len(runs)) - found
    after = len(runs) - found - still
    return [Stage.FOUND] * found + [Stage.STILL] * still + [Stage.RUN] * after
