"""Where a rig is by its jobs: in the shop on every day that none is booked.

Jobs that follow each other without a free day are one absence.
"""

from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from statistics import median_low
from typing import Final

from equipment.due import FAR_DATE
from equipment.triggers import Away

ONE_DAY: Final = timedelta(days=1)


def free_after(job: Away, later: Iterable[Away]) -> date:
    """Return the first free day after a job. later: those that begin after it, in order."""
    free = job.ends_on + ONE_DAY
    for each in later:
        if each.begins_on > free:
            break
        free = max(free, each.ends_on + ONE_DAY)
    return free


def first_open_day(last_days: Iterable[date], *, today: date) -> date:
    """Return the first day that a shop has not planned yet; until then, a rig without a job stays.

    last_days: of the rigs that have a job ahead, the last day that is booked.
    The lower of their middle ones counts: what one rig has far ahead does not stretch the book of
    all. Where no rig has a job ahead, nothing is planned, from today on.
    """
    ahead = [day for day in last_days if day >= today]
    return median_low(ahead) + ONE_DAY if ahead else today


def next_stay(jobs: Sequence[Away], *, today: date) -> date:
    """Return the first day of the next stay in the shop: after this absence, or after the next
    where the rig is here. FAR_DATE where nothing takes it away.

    jobs: in any order; those that are over do not count.
    """
    coming = sorted(
        (job for job in jobs if job.ends_on >= today), key=lambda job: (job.begins_on, job.ends_on)
    )
    return free_after(coming[0], coming[1:]) if coming else FAR_DATE
