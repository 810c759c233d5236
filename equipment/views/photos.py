"""The photos of faces, to people who have signed in."""

from django.core.files.storage import default_storage
from django.http import FileResponse, Http404, HttpRequest
from django.views.decorators.http import require_safe

from equipment.services.photos import file_of, is_stored


@require_safe
def photo(request: HttpRequest, digest: str) -> FileResponse:
    """One photo as it is kept, or small with ?small."""
    if not is_stored(digest):
        raise Http404("There is no such photo.")
    name = file_of(digest, is_small="small" in request.GET)
    answer = FileResponse(default_storage.open(name), content_type="image/jpeg")
    answer["Content-Disposition"] = f'inline; filename="face-{digest[:12]}.jpg"'
    # Its name is its hash, so it never changes; nobody between us and the person keeps it.
    answer["Cache-Control"] = "private, max-age=31536000, immutable"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    answer["Cross-Origin-Resource-Policy"] = "same-origin"
    return answer
