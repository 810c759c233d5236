"""In which language somebody is spoken to, and what was written down in another.

Sheets keep their texts in the language in which they were drafted; who reads one is shown them in
their own, where it is known. What people wrote themselves stays as they wrote it.
"""

import re
from collections.abc import Callable
from functools import cache
from typing import Final, NamedTuple
from urllib.parse import urlsplit

from django.conf import settings
from django.urls import Resolver404, resolve
from django.utils.text import capfirst
from django.utils.translation import get_language, gettext, override

# By another name: tests/wording.py gathers the plain texts of those it knows.
from django.utils.translation import pgettext as said_in_context

from equipment import counters, hoses
from equipment.services import refusals, rounds
from inventory import quantities
from inventory.services import naming, posting
from inventory.services.posting import unit_in_words
from shop import isolation, words
from shop.models import Person, Role

#: The pages that are spoken in each person's own language: the sheet with all that a phone sends
#: and prints of it. All others are in English, whoever reads them.
SPOKEN: Final = frozenset(
    {
        "equipment:new_finding",
        "equipment:report",
        "equipment:round",
        "shop:add_part",
        "shop:answer",
        "shop:clock",
        "shop:entries",
        "shop:hand_out",
        "shop:hand_over",
        "shop:line_note",
        "shop:own",
        "shop:reserve_again",
        "shop:rig_entries",
        "shop:rig_photo",
        "shop:set_waiting",
        "shop:sheet",
        "shop:sheet_pdf",
        "shop:sheet_photo",
        "shop:sheets_pdf",
        "shop:sign",
        "shop:take_parts",
        "shop:until",
        "shop:used",
        "shop:void_sheet",
        "shop:work",
    }
)

#: Texts that were put together from others before they were kept. The first that fits is it.
COMPOSED: Final = (
    *isolation.COMPOSED,
    *words.COMPOSED,
    *hoses.COMPOSED,
    # Why an entry waits for a manager.
    *counters.COMPOSED,
    *refusals.COMPOSED,
    *quantities.COMPOSED,
    *posting.NOT_ENOUGH,
    posting.EXPIRED,
    naming.FAR_MORE,
    rounds.ALREADY_RECORDED,
)
_FIGURE: Final = r"[\d,.−]+"
_VOLUME: Final = rf"{_FIGURE} gal \({_FIGURE} L\)"
#: As `in_words` says it: "2 pieces", "0.75 gal".
_QUANTITY: Final = rf"{_FIGURE}(?: \S+)?"
_QUANTITIES: Final = frozenset({"asked", "counted", "quantity", "taken", "there", "used"})
_FIGURES: Final = frozenset(
    {
        "before_reset",
        "later",
        "most",
        "places",
        "possible",
        "previous",
        "rollover",
        "step",
        "units",
        "value",
    }
)
#: What some names in them stand for. All others, but the two sets below, stand for a text that is
#: known itself: else it is not ours.
_SHAPES: dict[str, str] = {
    "days": _FIGURE,
    "gallons": _VOLUME,
    "interval": _FIGURE,
    "life": _FIGURE,
    "more_gallons": _VOLUME,
    "number": r"\d+",
    "order": r"\d+",
    "sheet": r"\d{4,}",
    "side": "[AB]",
    "since": "since .+?",
    "unit": "|".join(sorted(set(words.UNITS.values()))),
}
_SHAPES |= dict.fromkeys(_QUANTITIES, _QUANTITY) | dict.fromkeys(_FIGURES, _FIGURE)
#: Texts after each other, ours or people's.
_LISTS: Final = frozenset({"named", "names", "title"})
#: Components after each other, each begins with the name of its kind; by what parts them.
_FITTED: Final = {"hoses": ", ", "lines": "; "}
#: What people wrote.
_THEIRS: Final = frozenset(
    {
        "elapsed",
        "known",
        "lot",
        "part",
        "parts",
        "people",
        "place",
        "signature",
        "typed",
        "who",
        "why",
    }
)
#: A letter outside of the names.
_WORDS: Final = re.compile(r"\w(?![^{]*\})")
_DAY: Final = re.compile(r"(?P<day>\d{1,2}) (?P<month>[A-Z][a-z]{2})(?P<year> \d{4})?")


#: Whose pages differ by role: these are spoken so to technicians.
SPOKEN_TO_TECHNICIANS: Final = frozenset({"shop:today"})


def language_of(view_name: str, person: Person) -> str:
    """The language in which an address answers somebody."""
    is_technician = person.role == Role.TECHNICIAN
    if view_name in SPOKEN or (is_technician and view_name in SPOKEN_TO_TECHNICIANS):
        return person.language
    return settings.LANGUAGE_CODE


def language_at(address: str, person: Person) -> str:
    """The language in which the page at an address of ours ("/sheets/7/work/#sign") answers."""
    try:
        view_name = resolve(urlsplit(address).path).view_name
    except Resolver404:
        return settings.LANGUAGE_CODE  # no page of ours: that it is missing is said in English
    return language_of(view_name, person)


def own(text: str) -> str:
    """A kept text in the language that is spoken now; as it is where that does not know it."""
    said = _spoken(text)
    return said.text if said else text


def cited(source: str) -> str:
    """Where a kept text comes from, as it is said to who does the work."""
    return own(isolation.citation(source))


def texts_of(text: str) -> frozenset[str]:
    """The texts of the catalogues that a kept text is said from; empty where `own` leaves it."""
    said = _spoken(text)
    return said.of if said else frozenset()


def is_left(text: str) -> bool:
    """Whether a kept text stays in the language of the shop where another is spoken."""
    return bool(text) and get_language() != settings.LANGUAGE_CODE and _known(text) is None


class Said(NamedTuple):
    """A text in the language that is spoken, and the texts of the catalogues it was said from."""

    text: str
    of: frozenset[str] = frozenset()


def _spoken(text: str) -> Said | None:
    return None if get_language() == settings.LANGUAGE_CODE else _known(text)


def _known(text: str) -> Said | None:
    """A text in the language spoken now; None where it is none of ours."""
    if not text or "\r" in text:  # gettext makes one sort of line end of them all
        return None
    return _whole(text) or _day(text) or _composed(text) or _sources(text) or _sentences(text)


def _whole(text: str) -> Said | None:
    """A text that stands in the catalogue, or does so with a small first letter."""
    if (said := gettext(text)) != text:
        return Said(said, frozenset({text}))
    small = text[:1].lower() + text[1:]
    said = gettext(small)
    return Said(capfirst(said), frozenset({small})) if said != small else None


def _day(text: str) -> Said | None:
    """ "12 Nov" or "12 Nov 2026", as `words.day` says it."""
    found = _DAY.fullmatch(text)
    month = _months().get(found["month"]) if found else None
    if found is None or month is None:
        return None
    return Said(f"{found['day']} {words.MONTHS[month]}{found['year'] or ''}")


@cache
def _months() -> dict[str, int]:
    with override(settings.LANGUAGE_CODE):
        return {str(name): place for place, name in enumerate(words.MONTHS)}


def _composed(text: str) -> Said | None:
    for template in COMPOSED:
        if found := _pattern(template).fullmatch(text):
            parts = {name: _part(name, value) for name, value in found.groupdict().items()}
            known = {name: part for name, part in parts.items() if part is not None}
            if len(known) == len(parts):
                said = gettext(template).format(**{name: part.text for name, part in known.items()})
                of = frozenset[str]().union(*(part.of for part in known.values()))
                return Said(said, of | {template} if _WORDS.search(template) else of)
    return None


@cache
def _pattern(template: str) -> re.Pattern[str]:
    """What a template makes, with a group for each of its names."""
    pieces = re.split(r"\{(\w+)\}", template)
    return re.compile(
        "".join(
            f"(?P<{piece}>{_SHAPES.get(piece, '.+?')})" if place % 2 else re.escape(piece)
            for place, piece in enumerate(pieces)
        ),
        re.DOTALL,
    )


def _part(name: str, value: str) -> Said | None:
    if name in _THEIRS:
        return Said(value)
    if name == "since":
        return Said(_since(value))
    if name in _QUANTITIES:
        return Said(_quantity(value))
    if mark := _FITTED.get(name):
        return Said(mark.join(map(_fitted, value.split(mark))))
    if name in _LISTS:
        return _listed(value, ", ", _known) or Said(value)
    return _known(value) or (Said(value) if name in _SHAPES else None)


def _quantity(text: str) -> str:
    """A quantity with its unit said: what is counted in pieces has a plural of its own."""
    number, _, unit = text.partition(" ")
    one = {"pieces": "piece", "sets": "set"}.get(unit, unit)
    return f"{number} {unit_in_words(one, is_one=one == unit)}".strip()


def _since(text: str) -> str:
    """ "since 24 Nov 06:40", with the day and the rest said."""
    moment = text.removeprefix("since ")
    day, _, hour = moment.rpartition(" ")
    known = _day(day)
    return gettext(words.SINCE).format(day=f"{known.text} {hour}" if known else moment)


def _sentences(text: str) -> Said | None:
    """Sentences after each other, if each is known: else it is not ours."""
    parts = re.split(r"(?<=[.?]) ", text)
    if len(parts) == 1:
        return None
    said = [each for part in parts if (each := _whole(part) or _composed(part))]
    if len(said) < len(parts):
        return None
    of = frozenset[str]().union(*(each.of for each in said))
    return Said(" ".join(each.text for each in said), of)


def _fitted(text: str) -> str:
    """A component, "heated hose HOS-03 A", with its kind said; its tag and figures stay."""
    parts = text.split(" ")
    for end in range(len(parts) - 1, 0, -1):
        if said := _whole(" ".join(parts[:end])):
            return " ".join((said.text, *parts[end:]))
    return text


def _sources(text: str) -> Said | None:
    """Where a text comes from: citations stay, what is said in prose is known by its context."""

    def known(part: str) -> Said | None:
        said = said_in_context("source", part)
        return Said(said) if said != part else None

    return _listed(text, "; ", known)


def _listed(text: str, mark: str, known: Callable[[str], Said | None]) -> Said | None:
    """Texts after each other, each said if it is known; None where none is.

    One that has the mark in itself ("O-rings, regrease") is known from the longest that fits.
    """
    parts = text.split(mark)
    said: list[Said] = []
    is_ours = False
    at = 0
    while at < len(parts):
        for end in range(len(parts), at, -1):
            whole = mark.join(parts[at:end])
            ours = known(whole)
            if ours is not None or end == at + 1:
                said.append(ours or Said(whole))
                is_ours |= ours is not None
                at = end
                break
    of = frozenset[str]().union(*(each.of for each in said))
    return Said(mark.join(each.text for each in said), of) if is_ours else None
