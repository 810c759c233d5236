"""What the shop knows about a make of component or a service: kept, replaced, taken off."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from typing import Final
from uuid import UUID

from django.contrib.auth.base_user import AbstractBaseUser
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.db.models import Q

from equipment.models import ComponentType, Known, Service
from equipment.pdfs import Pdf
from equipment.services.photos import DIGEST

FOLDER: Final = "known"
#: Under this key `former` gives what was taken off.
TAKEN_OFF: Final = 0

Kind = Known.Kind


class KnowingRefused(ValueError):
    """It cannot be kept or changed as asked; its text is meant for the person."""


class ReplacedMeanwhile(KnowingRefused):
    def __init__(self) -> None:
        super().__init__("There is a newer one by now. Read it first.")


class TakenOff(KnowingRefused):
    def __init__(self) -> None:
        super().__init__("It is taken off already.")


class NoPrintedPicture(KnowingRefused):
    def __init__(self) -> None:
        super().__init__("Only a picture of a type is printed on sheets.")


@dataclass(slots=True)
class KnownAbout:
    """What is in force about one type or service, newest first, each kind by itself."""

    notes: list[Known] = field(default_factory=list)
    pictures: list[Known] = field(default_factory=list)
    files: list[Known] = field(default_factory=list)

    def put(self, row: Known) -> None:
        """Add one row to those of its kind."""
        {Kind.NOTE: self.notes, Kind.PICTURE: self.pictures, Kind.FILE: self.files}[
            Kind(row.kind)
        ].append(row)

    @property
    def rows(self) -> list[Known]:
        """All of it."""
        return [*self.pictures, *self.notes, *self.files]

    def __bool__(self) -> bool:
        return bool(self.notes or self.pictures or self.files)


def store_pdf(pdf: Pdf) -> str:
    """Put a PDF into the file storage, once; return its hash. Raises OSError."""
    if not is_pdf_stored(pdf.digest):
        default_storage.save(pdf_name(pdf.digest), ContentFile(pdf.content))
    return pdf.digest


def is_pdf_stored(digest: str) -> bool:
    """Whether there is a PDF of that hash. Any text may be asked about."""
    return bool(DIGEST.fullmatch(digest)) and default_storage.exists(pdf_name(digest))


def pdf_name(digest: str) -> str:
    """The name of a PDF in the file storage."""
    return f"{FOLDER}/{digest[:2]}/{digest}.pdf"


def keep_known(
    *,
    about: ComponentType | Service,
    kind: str,
    text: str,
    document: str = "",
    page: str = "",
    digest: str = "",
    pages: int = 0,
    replaces: Known | None = None,
    author: AbstractBaseUser,
    at: datetime,
    request_id: UUID,
) -> Known:
    """Keep a note, a stored picture or a stored file. at: now.

    replaces: what it stands for from now on; that stays to be read. A picture that replaces the
    printed one is printed in its stead.
    The same request_id again returns the same row. Raises ValidationError, ReplacedMeanwhile,
    TakenOff.
    """
    with transaction.atomic():
        _lock(about)
        if earlier := Known.objects.filter(request_id=request_id).first():
            return earlier
        if replaces is not None:
            replaces = _still_in_force(replaces)
        made = Known(
            type=about if isinstance(about, ComponentType) else None,
            service=about if isinstance(about, Service) else None,
            kind=kind,
            text=text.strip(),
            document=document.strip(),
            page=page.strip(),
            digest=digest,
            pages=pages,
            replaces=replaces,
            author_id=author.pk,
            recorded_at=at,
            request_id=request_id,
        )
        if replaces is not None and replaces.printed_since and kind == Kind.PICTURE:
            made.printed_by_id, made.printed_since = replaces.printed_by_id, at
            _take_off_sheets(replaces)
        made.clean_fields()
        made.validate_constraints()
        made.save(force_insert=True)
        return made


def take_off_known(*, known: Known, author: AbstractBaseUser, at: datetime, reason: str) -> Known:
    """Say that something is not right any more, with nothing in its stead. at: now.

    It stays to be read with its reason. Raises TakenOff, ReplacedMeanwhile.
    """
    with transaction.atomic():
        _lock(known.about)
        fresh = _still_in_force(known)
        if fresh.printed_since:
            _take_off_sheets(fresh)
        fresh.taken_off_by_id, fresh.taken_off_at = author.pk, at
        fresh.taken_off_because = reason.strip()
        fresh.save(update_fields=["taken_off_by", "taken_off_at", "taken_off_because"])
        return fresh


def print_on_sheets(
    *, known: Known, is_printed: bool, author: AbstractBaseUser, at: datetime
) -> Known:
    """Choose the picture of a type that service sheets show, in place of another; or none.

    Raises NoPrintedPicture, TakenOff, ReplacedMeanwhile.
    """
    with transaction.atomic():
        _lock(known.about)
        fresh = _still_in_force(known)
        if fresh.kind != Kind.PICTURE or fresh.type_id is None:
            raise NoPrintedPicture
        if bool(fresh.printed_since) == is_printed:
            return fresh
        for each in Known.objects.filter(type=fresh.type_id, printed_since__isnull=False):
            _take_off_sheets(each)
        if is_printed:
            fresh.printed_by_id, fresh.printed_since = author.pk, at
            fresh.save(update_fields=["printed_by", "printed_since"])
        return fresh


def known_about(
    types: Iterable[int] = (), services: Iterable[int] = ()
) -> tuple[dict[int, KnownAbout], dict[int, KnownAbout]]:
    """What is in force about types and services, by their keys. One query."""
    by_type: dict[int, KnownAbout] = {}
    by_service: dict[int, KnownAbout] = {}
    rows = Known.objects.in_force().filter(Q(type__in=set(types)) | Q(service__in=set(services)))
    for row in rows.select_related("author").order_by("-recorded_at", "-pk"):
        if row.type_id is not None:
            by_type.setdefault(row.type_id, KnownAbout()).put(row)
        else:
            assert row.service_id is not None  # the database says so
            by_service.setdefault(row.service_id, KnownAbout()).put(row)
    return by_type, by_service


def former(about: ComponentType | Service) -> dict[int, list[Known]]:
    """What each thing in force replaced, newest first, by its key. One query.

    Under TAKEN_OFF: what was taken off, each followed by what it had replaced.
    """
    rows = {
        row.pk: row
        for row in about.known.select_related("author", "taken_off_by").order_by(
            "-recorded_at", "-pk"
        )
    }
    replaced = {row.replaces_id for row in rows.values()}
    found: dict[int, list[Known]] = {}
    for row in rows.values():
        if row.pk in replaced:
            continue
        chain, each = [], rows.get(row.replaces_id or 0)
        while each is not None:
            chain.append(each)
            each = rows.get(each.replaces_id or 0)
        if row.taken_off_at is not None:
            found.setdefault(TAKEN_OFF, []).extend([row, *chain])
        elif chain:
            found[row.pk] = chain
    return found


def _lock(about: ComponentType | Service) -> None:
    """What is known about one thing changes by one person at a time."""
    type(about).objects.select_for_update().get(pk=about.pk)


def _still_in_force(known: Known) -> Known:
    fresh = Known.objects.select_related("replaced_by").get(pk=known.pk)
    if getattr(fresh, "replaced_by", None) is not None:
        raise ReplacedMeanwhile
    if fresh.taken_off_at is not None:
        raise TakenOff
    return fresh


def _take_off_sheets(known: Known) -> None:
    known.printed_by_id, known.printed_since = None, None
    known.save(update_fields=["printed_by", "printed_since"])
