"""What stands on the tabs of a sheet: how far each part of it is, and what is counted."""

from collections.abc import Collection, Sequence
from typing import Any, Final

from django.utils.translation import gettext, gettext_noop, pgettext

from shop.models import SheetStep

Section = SheetStep.Section
#: By what is counted; said by the page and, as entries are made, by its script.
COUNTED: Final[dict[str, str]] = {
    Section.CAUTION: gettext_noop("{n} of {all} read"),
    Section.LOCKOUT: gettext_noop("{n} of {all} safe"),
    Section.ZERO: gettext_noop("{n} of {all} at zero"),
    Section.CHECK: gettext_noop("{n} of {all} done"),
    "parts": gettext_noop("{n} of {all} noted"),
}


def before_said(before: Sequence[dict[str, Any]], open_steps: Collection[int]) -> str:
    """How far the cautions are; once they are read, the lockout; then the gauges.

    before: the steps as the page shows them. open_steps: keys of those that are still missing.
    """
    for section in (Section.CAUTION, Section.LOCKOUT, Section.ZERO):
        of_it = [each["step"].pk for each in before if each["step"].section == section]
        done = [pk for pk in of_it if pk not in open_steps]
        if len(done) < len(of_it):
            return gettext(COUNTED[section]).format(n=len(done), all=len(of_it))
    return pgettext("cautions", "done")


def checks_said(done: int, of_all: int) -> str:
    """How many checks are answered."""
    return _said(Section.CHECK, done, of_all)


def parts_said(rows: Sequence[dict[str, Any]]) -> str:
    """Of how many parts somebody said how much was used. rows: as the page shows them."""
    if not rows:
        return pgettext("parts", "none")
    return _said("parts", sum(each["row"].used_steps is not None for each in rows), len(rows))


def _said(what: str, done: int, of_all: int) -> str:
    if done == of_all:
        return pgettext("cautions", "done")
    return gettext(COUNTED[what]).format(n=done, all=of_all)
