"""Pictures and files, to people who have signed in."""

import logging
from collections.abc import Iterable
from typing import Final

from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpRequest
from django.utils.translation import gettext_lazy
from django.views.decorators.http import etag, require_safe

from equipment.pictures import Picture
from equipment.services.photos import file_of, is_stored, store_picture

logger = logging.getLogger(__name__)

NOT_STORED: Final = gettext_lazy("The photo could not be stored. Tell whoever runs the server.")


def _tag(request: HttpRequest, digest: str) -> str | None:
    if not is_stored(digest):
        return None
    return f'"{digest}{"-small" if "small" in request.GET else ""}"'


@require_safe
@etag(_tag)
def photo(request: HttpRequest, digest: str) -> FileResponse:
    """One picture as it is kept, or small with ?small."""
    if not is_stored(digest):
        raise Http404("There is no such photo.")
    name = file_of(digest, is_small="small" in request.GET)
    shown = f'inline; filename="{digest[:12]}.jpg"'
    return handed_out(name, content_type="image/jpeg", disposition=shown)


def handed_out(name: str, *, content_type: str, disposition: str) -> FileResponse:
    """A stored file with headers that leave no way to misuse it, and that a phone may keep."""
    answer = FileResponse(default_storage.open(name), content_type=content_type)
    answer["Content-Disposition"] = disposition
    # Its name is its hash, so it never changes; nobody between us and the person keeps it.
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer["Cross-Origin-Resource-Policy"] = "same-origin"
    answer["X-Content-Type-Options"] = "nosniff"
    return answer


def stored_all(request: HttpRequest, pictures: Iterable[Picture]) -> list[str]:
    """The hashes of pictures, now stored: a full disk takes the photos and not what was typed."""
    try:
        return [store_picture(each) for each in pictures]
    except OSError:
        logger.exception("A photo could not be stored.")
        messages.warning(request, NOT_STORED)
        return []
