"""Months and days of the week as pages write them, in the language that is spoken."""

from django.utils.translation import pgettext_lazy

#: As they are written in a date, in the language that is spoken.
MONTHS = (
    pgettext_lazy("in a date", "Jan"),
    pgettext_lazy("in a date", "Feb"),
    pgettext_lazy("in a date", "Mar"),
    pgettext_lazy("in a date", "Apr"),
    pgettext_lazy("in a date", "May"),
    pgettext_lazy("in a date", "Jun"),
    pgettext_lazy("in a date", "Jul"),
    pgettext_lazy("in a date", "Aug"),
    pgettext_lazy("in a date", "Sep"),
    pgettext_lazy("in a date", "Oct"),
    pgettext_lazy("in a date", "Nov"),
    pgettext_lazy("in a date", "Dec"),
)
WEEKDAYS = (
    pgettext_lazy("before a date", "Mon"),
    pgettext_lazy("before a date", "Tue"),
    pgettext_lazy("before a date", "Wed"),
    pgettext_lazy("before a date", "Thu"),
    pgettext_lazy("before a date", "Fri"),
    pgettext_lazy("before a date", "Sat"),
    pgettext_lazy("before a date", "Sun"),
)
