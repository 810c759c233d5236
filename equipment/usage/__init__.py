"""How fast a counter counts, and how widely that varies. Nothing here knows Django or the clock.

    recent    the mean rate of the last days that hold a reading: for a counter too new for the rest
    wiener    drift and variance a day from irregular readings; first passage of a level
    usedays   time counted in use-days: a booked day as hard as the job, an unbooked one in part
    gamma     use as a gamma process in use-days: what one rig's readings and its fleet teach
    learning  both put together for all counters of one kind, and days that nobody has planned yet

Formulas: design, "The mathematics", 4.
"""

from equipment.usage.recent import (
    SHORTEST_HISTORY,
    WINDOW_DAYS,
    mean_rate_per_day,
    recent_rate_per_day,
    window_start,
)

__all__ = [
    "SHORTEST_HISTORY",
    "WINDOW_DAYS",
    "mean_rate_per_day",
    "recent_rate_per_day",
    "window_start",
]
