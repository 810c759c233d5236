"""What is said of the rounds that a rig missed."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.utils.translation import gettext

from shop import words


def missed_text(days: Sequence[date], *, today: date) -> str:
    """ "yesterday’s round was missed", "rounds missed: 22, 23 and 25 Nov"; empty for no days.

    days: those that a job asked one of and had none, oldest first.
    """
    if not days:
        return ""
    if len(days) == 1:
        if days[0] == today - timedelta(days=1):
            return gettext("yesterday’s round was missed")
        missed_on = words.weekday(days[0], today=today)
        return gettext("the round of {day} was missed").format(day=missed_on)
    said = []
    for day, following in zip(days, [*days[1:], None], strict=True):
        # The month stands once, behind the last of its days.
        same = following is not None and (following.year, following.month) == (day.year, day.month)
        said.append(str(day.day) if same else words.day(day, today=today))
    return gettext("rounds missed: {days} and {last_day}").format(
        days=", ".join(said[:-1]), last_day=said[-1]
    )
