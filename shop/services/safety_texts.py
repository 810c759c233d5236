"""Safety texts in another language: which of them somebody of the trade has read in it.

Marked are the cautions and every text of `shop.isolation` (what is locked out, what must read zero,
the way back, what to mind while the rig runs): who follows one of them in a wrong translation may
be hurt, so its English stands below it until somebody of the trade who speaks the language has read
both. Checks and names of services are not: a slip there is seen in the work.

What a shop wrote itself has no translation, and is shown as it was written.
"""

import hashlib
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.utils.translation import get_language, gettext, override

from equipment.models import Caution
from shop import isolation, spoken
from shop.models import Person, Shop, TextReading

#: The one language beside the shop's, for now.
LANGUAGE = "es"


class TextsRefused(ValueError):
    """A reading that cannot be recorded; the text is meant for the page."""


@dataclass(frozen=True, slots=True)
class SafetyText:
    """A safety text of the catalogues in two languages."""

    english: str
    said: str
    digest: str


@dataclass(frozen=True, slots=True)
class ToRead:
    """What is read as one: a caution with its hazard, or one text of the isolation steps.

    reading: who read it last of all, where each of its texts is read.
    """

    texts: tuple[SafetyText, ...]
    reading: TextReading | None = None

    @property
    def key(self) -> str:
        return self.texts[-1].digest


@dataclass(frozen=True, slots=True)
class AllTexts:
    """Every safety text of the shop, as a manager goes through them. own: those without another
    language."""

    cautions: list[ToRead]
    steps: list[ToRead]
    own: list[Caution]

    @property
    def all(self) -> list[ToRead]:
        return [*self.cautions, *self.steps]

    @property
    def read(self) -> int:
        return sum(each.reading is not None for each in self.all)


@dataclass(frozen=True, slots=True)
class Read:
    """The safety texts that are read in the language that is spoken now, by their digests."""

    digests: frozenset[str]

    def lacks(self, *texts: str) -> bool:
        """Whether any of these kept texts is said in words that nobody of the trade has read."""
        of = frozenset[str]().union(*map(spoken.texts_of, texts))
        return any(_safety_text(text).digest not in self.digests for text in of)


def digest_of(*, language: str, english: str, said: str) -> str:
    """What a reading speaks of: these two texts and no others."""
    return hashlib.sha256("\0".join((language, english, said)).encode()).hexdigest()


def read_texts() -> Read:
    """Which are read in the language that is spoken now; one query, none in English."""
    language = get_language()
    if language != LANGUAGE:
        return Read(frozenset())
    standing = TextReading.objects.filter(language=language, taken_back_at__isnull=True)
    return Read(frozenset(standing.values_list("digest", flat=True)))


def all_texts() -> AllTexts:
    """What the shop's sheets may show, each with who read it."""
    readings = {
        reading.digest: reading
        for reading in TextReading.objects.filter(
            language=LANGUAGE, taken_back_at__isnull=True
        ).select_related("recorded_by")
    }
    cautions, own = [], []
    with override(LANGUAGE):
        for caution in Caution.objects.order_by("code"):
            found = list(_safety_texts((caution.hazard, caution.text)))
            if spoken.is_left(caution.text):
                own.append(caution)
            else:
                cautions.append(_to_read(found, readings))
        steps = [text for step in isolation.every_step() for text in (step.title, step.text)]
        listed = dict.fromkeys(_safety_texts([*steps, *isolation.NOTES]))
        return AllTexts(cautions, [_to_read([text], readings) for text in listed], own)


def record_readings(
    *,
    keys: Collection[str],
    reader: str,
    trade: str,
    read_on: date,
    author: Person,
    at: datetime,
) -> int:
    """Record that somebody read these; return how many were not read before.

    keys: `ToRead.key` of each. Sent twice, the second finds nothing to record. Raises
    TextsRefused where a text is another by now, and ValidationError for a name that is too long.
    """
    with transaction.atomic():
        Shop.objects.select_for_update().get()
        chosen = _chosen(keys)
        new = [each for each in chosen if each.reading is None]
        standing = set(
            TextReading.objects.filter(taken_back_at__isnull=True).values_list("digest", flat=True)
        )
        for text in {text.digest: text for each in new for text in each.texts}.values():
            if text.digest in standing:
                continue
            row = TextReading(
                language=LANGUAGE,
                english=text.english,
                said=text.said,
                digest=text.digest,
                reader=reader.strip(),
                trade=trade.strip(),
                read_on=read_on,
                recorded_by=author,
                recorded_at=at,
            )
            row.full_clean()
            row.save()
        return len(new)


def take_back(*, key: str, author: Person, at: datetime) -> int:
    """A reading does not stand after all, the mark comes back; return how many rows that took."""
    with transaction.atomic():
        Shop.objects.select_for_update().get()
        digests = [text.digest for each in _chosen([key]) for text in each.texts]
        return TextReading.objects.filter(digest__in=digests, taken_back_at__isnull=True).update(
            taken_back_by=author, taken_back_at=at
        )


def _chosen(keys: Collection[str]) -> list[ToRead]:
    by_key = {each.key: each for each in all_texts().all}
    if not by_key.keys() >= set(keys):
        raise TextsRefused("Some of these texts are others by now. Look at them again.")
    return [by_key[key] for key in dict.fromkeys(keys)]


def _to_read(texts: list[SafetyText], readings: dict[str, TextReading]) -> ToRead:
    found = [readings[text.digest] for text in texts if text.digest in readings]
    is_read = len(found) == len(texts)
    return ToRead(tuple(texts), max(found, key=lambda each: each.recorded_at) if is_read else None)


def _safety_texts(kept: Iterable[str]) -> Iterator[SafetyText]:
    for text in kept:
        yield from map(_safety_text, sorted(spoken.texts_of(text)))


def _safety_text(english: str) -> SafetyText:
    language, said = get_language() or LANGUAGE, gettext(english)
    return SafetyText(english, said, digest_of(language=language, english=english, said=said))
