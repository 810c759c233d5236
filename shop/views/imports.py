"""Importing files: what a file would do is shown before anything is written."""

from typing import Any, Final

from django.contrib import messages
from django.core import signing
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shop.forms.imports import UploadForm
from shop.importing import examples
from shop.importing.cells import as_text
from shop.importing.files import FileRefused
from shop.importing.run import KINDS, ImportRefused, Outcome, import_file, try_out
from shop.models import ImportedFile

SALT: Final = "shop.imports"
#: Between looking at what a file would do and saying yes. [s]
KEEPS: Final = 60 * 60 * 24
SHOWN: Final = 200
SAMPLE: Final = 5


@require_http_methods(["GET", "HEAD", "POST"])
def imports(request: HttpRequest) -> HttpResponse:
    """Take a file, and show what it would do."""
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        kind, file = KINDS[form.cleaned_data["kind"]], form.cleaned_data["file"]
        content = file.read()
        try:
            outcome = try_out(
                kind=kind,
                content=content,
                author=request.user,  # type: ignore[arg-type]
                now=timezone.now(),
                zone=request.shop.zone,  # type: ignore[attr-defined]
            )
        except FileRefused as refused:
            form.add_error("file", str(refused))
        else:
            _keep(outcome.table.digest, content)
            return _preview(request, outcome, file.name)
    files = ImportedFile.objects.select_related("author").order_by("-at", "-pk")[:20]
    kinds = [
        (kind, [(way.upper(), _example_url(kind.slug, way)) for way in examples.EXAMPLES])
        for kind in KINDS.values()
    ]
    context = {
        "form": form,
        "kinds": kinds,
        "files": [(file, KINDS[file.kind].label) for file in files],
    }
    refused_any = request.method == "POST"
    return render(request, "shop/import.html", context, status=422 if refused_any else 200)


@require_POST
def import_confirm(request: HttpRequest) -> HttpResponse:
    """Import the file that was looked at: all of its rows, or none."""
    try:
        slug, digest, name = signing.loads(request.POST.get("file", ""), salt=SALT, max_age=KEEPS)
        with default_storage.open(_path(digest)) as kept:
            content = kept.read()
    except (signing.BadSignature, FileNotFoundError):
        messages.error(request, "That was too long ago, or the file is gone. Choose it again.")
        return redirect("shop:import")
    kind, now, zone = KINDS[slug], timezone.now(), request.shop.zone  # type: ignore[attr-defined]
    person: Any = request.user
    try:
        done = import_file(kind=kind, content=content, name=name, author=person, now=now, zone=zone)
    except ImportRefused as refused:
        # What was good a moment ago: somebody else wrote something in between, or sent it first.
        messages.error(request, str(refused))
        outcome = try_out(kind=kind, content=content, author=person, now=now, zone=zone)
        return _preview(request, outcome, name)
    rows = "1 row is" if done.rows == 1 else f"{done.rows:,} rows are"
    messages.success(request, f"{kind.label}: {rows} imported.")
    return redirect("shop:import")


@require_safe
def import_template(request: HttpRequest, kind: str, way: str) -> HttpResponse:
    """An empty file to fill in."""
    if kind not in KINDS or way not in examples.EXAMPLES:
        raise Http404
    response = HttpResponse(
        examples.EXAMPLES[way](KINDS[kind]), content_type=examples.CONTENT_TYPES[way]
    )
    response["Content-Disposition"] = f'attachment; filename="{kind}.{way}"'
    return response


def _preview(request: HttpRequest, outcome: Outcome, name: str) -> HttpResponse:
    headings = outcome.table.headings
    context = {
        "outcome": outcome,
        "name": name,
        "problems": outcome.problems[:SHOWN],
        "more_problems": max(len(outcome.problems) - SHOWN, 0),
        "bad_rows": len(outcome.table.rows) - outcome.good_rows,
        "headings": headings,
        "sample": [
            (row.number, [as_text(cell) for cell in row.cells[: len(headings)]])
            for row in outcome.table.rows[:SAMPLE]
        ],
        "sealed": signing.dumps([outcome.kind.slug, outcome.table.digest, name], salt=SALT),
    }
    status = 200 if outcome.may_be_imported else 422
    return render(request, "shop/import_preview.html", context, status=status)


def _keep(digest: str, content: bytes) -> None:
    """Keep the file by its content until it is confirmed, and after, as evidence."""
    if not default_storage.exists(_path(digest)):
        default_storage.save(_path(digest), ContentFile(content))


def _path(digest: str) -> str:
    return f"imports/{digest}"


def _example_url(kind: str, way: str) -> str:
    return reverse("shop:import_template", args=[kind, way])
