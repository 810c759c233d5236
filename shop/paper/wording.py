"""The paper's own words in the language of its sheet: the one door to translation."""

from django.utils.translation import gettext, gettext_noop, ngettext, override, pgettext

__all__ = ["gettext", "gettext_noop", "ngettext", "override", "pgettext"]
