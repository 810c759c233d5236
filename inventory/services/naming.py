"""Which part is meant by what a person typed or a scanner read, and what is usual of it."""

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Final
from urllib.parse import unquote, urlsplit

from django.db.models import Max, Q
from django.db.models.functions import Abs, Lower
from django.utils.translation import gettext, gettext_noop

from inventory.models import Movement, Part, PartCode
from inventory.plausible import is_far_more
from inventory.quantities import read_quantity
from inventory.services.posting import in_words

#: Longer than any code that a package carries, and than the address on a label.
MOST_LETTERS: Final = 300
FAR_MORE: Final = gettext_noop("{quantity} of {part} is far more than usual.")
#: What stands in the address on a label: /go/part/P-112/.
_ON_A_LABEL: Final = re.compile(r"/go/(?P<kind>[a-z]+)/(?P<code>[^/]+)/?")


def on_label(text: str) -> tuple[str, str] | None:
    """The kind and code that the address on one of our labels names; None for another text."""
    asked = text.strip()
    try:
        path = urlsplit(asked).path if "//" in asked else asked
    except ValueError:  # such as an address with half a bracket
        return None
    found = _ON_A_LABEL.search(path)
    return (found["kind"], unquote(found["code"])) if found else None


def part_named(text: str) -> Part | None:
    """The part of a number in any case, of a maker's code, or of our own label; None if there is
    none. Of two numbers that differ in case only, the one written just so."""
    asked = _meant(text)
    if not asked or "\x00" in asked:  # no column holds a NUL, and PostgreSQL will not look for it
        return None
    numbered = list(Part.objects.filter(number__iexact=asked).order_by("pk")[:10])
    if numbered:
        return next((each for each in numbered if each.number == asked), numbered[0])
    coded = PartCode.objects.filter(code=asked).select_related("part").first()
    return coded.part if coded else None


def parts_named(texts: Iterable[str]) -> dict[str, Part]:
    """Of some texts those that name a part, as `part_named` finds it; two queries."""
    asked = {text: meant for text in texts if (meant := _meant(text)) and "\x00" not in meant}
    if not asked:
        return {}
    same = Q(number__in=asked.values()) | Q(lower__in=[each.lower() for each in asked.values()])
    numbered = list(Part.objects.annotate(lower=Lower("number")).filter(same).order_by("-pk"))
    codes = PartCode.objects.filter(code__in=asked.values()).select_related("part")
    coded = {each.code: each.part for each in codes}
    exactly = {each.number: each for each in numbered}
    in_any_case = {each.number.lower(): each for each in numbered}  # the first of several
    found = {
        text: exactly.get(meant) or in_any_case.get(meant.lower()) or coded.get(meant)
        for text, meant in asked.items()
    }
    return {text: part for text, part in found.items() if part}


class KnownParts(Mapping[str, Part]):
    """Every part by whatever names it, loaded at once: for a page with many lines."""

    def __init__(self) -> None:
        parts = list(Part.objects.order_by("number").prefetch_related("packs", "codes"))
        self.parts = parts
        self._named = {each.number.casefold(): each for each in parts}
        self._coded = {row.code: each for each in parts for row in each.codes.all()}

    def __getitem__(self, text: str) -> Part:
        asked = _meant(text)
        return self._named.get(asked.casefold()) or self._coded[asked]

    def __iter__(self) -> Iterator[str]:
        return iter(self._named)

    def __len__(self) -> int:
        return len(self._named)


def quantity_of(part: Part, text: str) -> int:
    """A quantity of a part as typed, in its unit or its packs. [steps]

    Raises what `quantities.read_quantity` raises.
    """
    return read_quantity(
        text,
        steps_per_unit=part.steps_per_unit,
        unit_name=part.unit_name,
        packs=packs_of(part),
    )


def packs_of(part: Part) -> dict[str, int]:
    """What each pack of a part holds, by its name. [steps]"""
    return {each.name: each.quantity_steps for each in part.packs.all()}


def slips(
    quantities: Iterable[tuple[Part, int]], *, usual: Mapping[int, int] | None = None
) -> list[str]:
    """A question for each quantity that is far more than what ever moved of its part at once.

    quantities: >= 0. [steps] usual: by part, what is usual though it never moved, such as the
    most that is bought. [steps] One query, and none where no quantity is large.
    """
    usual = usual or {}
    given = [(part, steps) for part, steps in quantities if _is_slip(part, steps, 0)]
    if not given:
        return []
    rows = Movement.objects.filter(part__in={part.pk for part, _ in given}).order_by()
    most = dict(rows.values_list("part").annotate(most=Max(Abs("quantity_steps"))))
    return [
        gettext(FAR_MORE).format(quantity=in_words(part, steps), part=part)
        for part, steps in given
        if _is_slip(part, steps, max(most.get(part.pk, 0), usual.get(part.pk, 0)))
    ]


def _is_slip(part: Part, steps: int, most: int) -> bool:
    return is_far_more(steps, steps_per_unit=part.steps_per_unit, most_before_steps=most)


def _meant(text: str) -> str:
    """The code that was typed; of an address on a part's label, the part's number."""
    named = on_label(text)
    return named[1] if named and named[0] in ("part", "code") else text.strip()
