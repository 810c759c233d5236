"""Layouts that a person corrected once, kept by name for the next file."""

from datetime import datetime
from typing import Final

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction

from equipment.models import LogLayout, ShiftLog
from equipment.shiftlogs.layout import Layout

LONGEST_NAME: Final = 60
#: Questions whose answers hold for every file of a layout; the others are about one file.
HOLDS: Final = ("date_order", "zone", "clock", "pressure_unit", "temp_unit", "counts", "sides",
                "columns")  # fmt: skip


class LayoutRefused(ValueError):
    """A layout that is not kept; its text is meant for the person."""


def keep_layout(*, name: str, log: ShiftLog, author: AbstractBaseUser, at: datetime) -> LogLayout:
    """Keep the layout of a log under a name, with the answers that hold for every such file.

    The same layout under the same name again is returned as it is. Raises LayoutRefused for a
    name that is empty, too long, or that another layout has.
    """
    name = " ".join(name.split())
    if not name:
        raise LayoutRefused("Give the layout a name.")
    if len(name) > LONGEST_NAME:
        raise LayoutRefused(f"A name has at most {LONGEST_NAME} characters.")
    answers = {key: each for key, each in log.answers.items() if key in HOLDS}
    try:
        with transaction.atomic():
            return LogLayout.objects.create(
                name=name, layout=log.layout, answers=answers, author_id=author.pk, at=at
            )
    except IntegrityError as taken:
        there = LogLayout.objects.filter(name=name).first()
        if there and not there.is_retired and there.kept == log.kept:
            return there
        raise LayoutRefused("Another layout has this name.") from taken


def layout_kept(name: str) -> LogLayout | None:
    """Return the layout that is kept under a name, whatever its capitals, or None."""
    return LogLayout.objects.filter(name__iexact=" ".join(name.split()), is_retired=False).first()


def retire_layout(*, layout: LogLayout) -> LogLayout:
    """Offer a layout no more; logs that were read with it keep theirs."""
    layout.is_retired = True
    layout.save(update_fields=["is_retired"])
    return layout


def layout_like(layout: Layout) -> LogLayout | None:
    """Return the newest kept layout of a file with the very same headings, or None.

    A file without headings is like none.
    """
    wanted = layout.headings()
    if not any(wanted):
        return None
    for each in LogLayout.objects.filter(is_retired=False).order_by("-at", "-pk"):
        if each.kept.headings() == wanted:
            return each
    return None
