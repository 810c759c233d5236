"""Who made an entry: shown by a pen that the page was given when its person was signed in.

A session says who is signed in now; a phone changes hands, and an entry made this morning is
still this morning's author's. So each entry carries its own proof, signed by us, which opens
nothing but the entries of a sheet.
"""

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

from django.core import signing

from shop import words
from shop.models import Person, Role

SALT: Final = "shop.pen"
#: A phone that was not signed in for so long has been somewhere else.
KEEPS: Final = timedelta(days=60)


class NotOurs(ValueError):
    """A pen that we did not sign, or of nobody we know."""


@dataclass(frozen=True, slots=True)
class Pen:
    """Who made an entry; why it cannot simply be taken as theirs any more, or nothing."""

    person: Person
    doubt: str


def pen_of(person: Person) -> str:
    """Return the pen of somebody who is signed in, for the page to keep."""
    return signing.dumps({"p": person.pk, "h": _digest(person)}, salt=SALT)


def read_pen(text: str, *, at: datetime) -> Pen:
    """Return whose pen that is, as they stand at a moment. Raises NotOurs."""
    try:
        said = signing.loads(text, salt=SALT)
        made_at = datetime.fromtimestamp(signing.b62_decode(text.split(":")[-2]), UTC)
        person = Person.objects.filter(pk=said["p"]).first()
    except (signing.BadSignature, ValueError, KeyError, TypeError) as wrong:
        raise NotOurs from wrong
    if person is None:
        raise NotOurs
    return Pen(person, _doubt(person, said.get("h"), made_at, at))


def _doubt(person: Person, digest: object, made_at: datetime, at: datetime) -> str:
    if not person.is_active:
        return words.SIGNS_IN_NO_MORE.format(who=person.name)
    if person.role not in (Role.MANAGER, Role.TECHNICIAN):
        return words.WORKS_NO_MORE.format(who=person.name)
    if digest != _digest(person):
        return words.OTHER_PASSWORD.format(who=person.name)
    if at - made_at > KEEPS:
        return words.NOT_SIGNED_IN.format(who=person.name, days=KEEPS.days)
    return ""


def _digest(person: Person) -> str:
    """Changes with the password; says nothing about it."""
    return hashlib.sha256(person.get_session_auth_hash().encode()).hexdigest()[:16]
