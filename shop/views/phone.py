"""What a phone carries: the program's files, the day's sheets and rounds, a page for no signal."""

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

from equipment.models import Known, Rig
from shop.http import PageRequest
from shop.models import ServiceSheet, SheetLine
from shop.services.knowledge import known_for
from shop.statics import ONE_SHEET, PAGE_SCRIPT

#: The modules of a round, and of the page in place of one that is not here.
MODULES: Final = tuple(
    f"shop/phone/{name}.js"
    for name in (
        "no_signal",
        "walk",
        "reporting",
        "bar",
        "carry",
        "figures",
        "saying",
        "sending",
        "store",
    )
)
#: What a page on a phone asks for: a sheet for its font alone, a round and the one in place of a
#: page for all.
FILES: Final = (
    "shop/icon.svg",
    "shop/fonts/archivo.woff2",
    ONE_SHEET,
    "equipment/pages.css",
    PAGE_SCRIPT,
)
WORKER: Final = "shop/phone/worker.js"
#: No technician does more in a day.
MOST_SHEETS: Final = 20
#: Rigs whose round is taken along: of the sheets, then all that work, by number.
MOST_ROUNDS: Final = 30


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The script that answers without signal, at the root so that it may answer for every page."""
    # Modules import each other by their plain names, so they have no version in their address.
    plain = [f"{PrefixNode.handle_simple('STATIC_URL')}{name}" for name in MODULES]
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
    """What the phone of this person should carry today: their open sheets, each whole, and rounds.

    Sheets: theirs by name or under way by their hands, and those of nobody yet, planned until
    tomorrow.
    """
    theirs = Q(technician=request.user) | Q(steps__entries__author=request.user)
    sheets = (
        ServiceSheet.objects.open()
        .filter(theirs | Q(technician=None, planned_on__lte=request.today + timedelta(days=1)))
        .distinct()
        .order_by("planned_on", "number")
    )
    drafted = list(sheets.values_list("number", "rig__number")[:MOST_SHEETS])
    numbers = [number for number, _ in drafted]
    working = Rig.objects.working().order_by("number").values_list("number", flat=True)
    of_the_day = [rig for _, rig in drafted if rig is not None]
    rigs = list(dict.fromkeys([*of_the_day, *working]))[:MOST_ROUNDS]
    known = known_for(SheetLine.objects.filter(sheet__number__in=numbers)).values()
    return JsonResponse(
        {
            "person": request.user.pk,
            "language": request.user.language,
            "now": request.now.isoformat(),
            "pages": [
                *(reverse("shop:work", args=[number]) for number in numbers),
                *(reverse("equipment:round", args=[number]) for number in rigs),
            ],
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
    for name in (*FILES, *MODULES, WORKER):
        digest.update(_file(name))
    return digest.hexdigest()[:12]


def _file(name: str) -> bytes:
    path = finders.find(name)
    assert isinstance(path, str), f"{name} is no file of ours"
    return Path(path).read_bytes()
