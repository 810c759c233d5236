"""Layouts that a person corrected once, kept by name for the next file."""

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import IntegrityError, transaction

from equipment.models import LogLayout
from equipment.shiftlogs.layout import Layout

#: Questions whose answers hold for every file of a layout; the others are about one file.
HOLDS: Final = ("date_order", "zone", "clock", "pressure_unit", "temp_unit", "counts", "sides",
                "columns")  # fmt: skip


class LayoutRefused(ValueError):
    """A layout that is not kept; its text is meant for the person."""


def keep_layout(
    *,
    name: str,
    layout: Layout,
    answers: Mapping[str, str],
    author: AbstractBaseUser,
    at: datetime,
) -> LogLayout:
    """Keep a layout under a name, with the answers that hold for every such file.

    The same layout under the same name again is returned as it is. Raises LayoutRefused for a
    name that is empty, or that another layout has.
    """
    name = " ".join(name.split())
    if not name:
        raise LayoutRefused("Give the layout a name.")
    if len(name) > 60:
        raise LayoutRefused("A name has at most 60 characters.")
    kept = {key: each for key, each in answers.items() if key in HOLDS and each}
    try:
        with transaction.atomic():
            return LogLayout.objects.create(
                name=name, layout=layout.to_json(), answers=kept, author_id=author.pk, at=at
            )
    except IntegrityError as taken:
        there = LogLayout.objects.get(name=name)
        if not there.is_retired and there.kept == layout and there.answers == kept:
            return there
        raise LayoutRefused("Another layout has this name.") from taken


def retire_layout(*, layout: LogLayout) -> LogLayout:
    """Offer a layout no more; logs that were read with it keep theirs."""
    layout.is_retired = True
    layout.save(update_fields=["is_retired"])
    return layout


def layout_like(layout: Layout) -> LogLayout | None:
    """Return the newest kept layout of a file with the very same headings, or None.

    A file without headings is like none.
    """
    wanted = _headings(layout)
    if not any(wanted):
        return None
    for each in LogLayout.objects.filter(is_retired=False).order_by("-at", "-pk"):
        if _headings(each.kept) == wanted:
            return each
    return None


def _headings(layout: Layout) -> tuple[str, ...]:
    return tuple(
        column.heading.strip().casefold()
        for column in sorted(layout.columns, key=lambda one: one.index)
    )
