"""How far the long searches go: the whole way under CI, a fixed share of it elsewhere.

Whoever runs the README's command waits for it, and a search by number finds most of what it finds
in its first draws; `CI=true .venv/bin/pytest` searches as far as `.ci/run` does.
"""

import os
from collections.abc import Sequence
from typing import TypeVar

Thing = TypeVar("Thing")
#: Under CI nothing is left out.
IN_CI = os.environ.get("CI", "").lower() not in ("", "0", "false")


def share_of(things: Sequence[Thing], *, every: int, in_ci: bool = IN_CI) -> list[Thing]:
    """Return all things under CI, elsewhere the first of every so many of them."""
    return list(things if in_ci else things[::every])
