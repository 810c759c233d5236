"""What a phone carries: the program's own files, the day's sheets, a page for without signal."""

import hashlib
import json
from datetime import timedelta
from functools import cache
from pathlib import Path
from typing import Final

from django.contrib.staticfiles import finders
from django.db.models import Q
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.templatetags.static import PrefixNode, static
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from equipment.models import Known
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetLine
from shop.services.knowledge import known_for
from shop.statics import ONE_SCRIPT, ONE_SHEET

#: The modules of the page in place of one that is not here.
NO_SIGNAL: Final = tuple(f"shop/phone/{name}.js" for name in ("no_signal", "carry", "store"))
#: What else a sheet needs to be opened, beside its own page.
FILES: Final = (
    "shop/icon.svg",
    "shop/fonts/archivo.woff2",
    ONE_SHEET,
    "equipment/pages.css",
    "shop/around.css",
    "shop/page.js",
    ONE_SCRIPT,
)
WORKER: Final = "shop/phone/worker.js"
#: No technician does more in a day.
MOST_SHEETS: Final = 20


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that answers without signal, at the root so that it may answer for every page."""
    # Modules import each other by their plain names, so they have no version in their address.
    plain = [f"{PrefixNode.handle_simple('STATIC_URL')}{name}" for name in NO_SIGNAL]
    shell = [*(static(name) for name in FILES), *plain, reverse("shop:no_signal")]
    head = f"const VERSION = {json.dumps(_version())};\nconst SHELL = {json.dumps(shell)};\n"
    response = HttpResponse(head + _file(WORKER).decode(), content_type="text/javascript")
    # Asked for anew each time, so that a new version is found on the first page after it came.
    response["Cache-Control"] = "no-cache"
    return response


@require_safe
def no_signal(request: HttpRequest) -> HttpResponse:
    """What stands in place of a page that the phone does not carry; the same for everybody."""
    return render(request, "shop/no_signal.html")


@never_cache
@require_safe
def pack(request: PageRequest) -> JsonResponse:
    """What the phone of this person should carry today: their open sheets, each whole.

    Theirs by name or under way by their hands, and those of nobody yet, planned until tomorrow.
    """
    theirs = Q(technician=request.user) | Q(steps__entries__author=request.user)
    sheets = (
        ServiceSheet.objects.open()
        .filter(theirs | Q(technician=None, planned_on__lte=request.today + timedelta(days=1)))
        .distinct()
        .order_by("planned_on", "number")
    )
    numbers = list(sheets.values_list("number", flat=True)[:MOST_SHEETS])
    known = known_for(SheetLine.objects.filter(sheet__number__in=numbers)).values()
    return JsonResponse(
        {
            "person": request.user.pk,
            "sheets": len(numbers),
            "pages": [reverse("shop:work", args=[number]) for number in numbers],
            "files": sorted(
                {_picture(row) for of in known for row in of.pictures}
                | {_file_address(row) for of in known for row in of.files}
            ),
        }
    )


def _picture(row: Known) -> str:
    return reverse("equipment:photo", args=[row.digest])


def _file_address(row: Known) -> str:
    return reverse("equipment:known_file", args=[row.digest])


@cache
def _version() -> str:
    """Changes when any of the files does."""
    digest = hashlib.sha256()
    for name in (*FILES, *NO_SIGNAL, WORKER):
        digest.update(_file(name))
    return digest.hexdigest()[:12]


def _file(name: str) -> bytes:
    path = finders.find(name)
    assert isinstance(path, str), f"{name} is no file of ours"
    return Path(path).read_bytes()
