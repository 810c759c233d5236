"""Style sheets, scripts and fonts as a phone on a weak signal wants them, with no build step.

- The style sheets that every page needs are one file (`ONE_SHEET`), joined from their parts.
- Texts are compressed once, when the server starts, and kept by what they hold.
- An address carries a part of the hash of its file (`?v=…`), so that a browser asks for each file
  once and keeps it until it changes.

All of it goes through Django's own finders and storage, so every server that serves static files
serves these: gunicorn, the demo, tests.
"""

import gzip
import os
import re
from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.contrib.staticfiles import finders
from django.contrib.staticfiles.finders import BaseFinder
from django.contrib.staticfiles.storage import StaticFilesStorage
from django.core.files.storage import FileSystemStorage
from django.http import HttpRequest, HttpResponseBase
from django.middleware.gzip import GZipMiddleware
from whitenoise.middleware import WhiteNoiseMiddleware
from whitenoise.responders import StaticFile

#: What every page links, and the parts that it is joined from, in the order in which they count.
ONE_SHEET: Final = "shop/all.css"
PARTS: Final = ("tokens", "page", "forms", "tables", "sheet", "drawing")
#: Files that shrink; pictures and fonts are small already.
SHRINK: Final = (".css", ".js", ".svg", ".json", ".webmanifest", ".txt")
#: Answers that shrink.
TEXTS: Final = ("text/", "application/json", "application/javascript", "image/svg+xml")
_HERE: Final = Path(__file__).resolve().parent / "static" / "shop"
_FONT: Final = re.compile(r'url\("(fonts/[^"]+)"\)')
_VERSION_DIGITS: Final = 12


def kept_in() -> Path:
    """The folder of what is made here; it may be emptied while no server runs."""
    return Path(settings.DATA_DIR) / "served"


def joined() -> str:
    """The one style sheet."""
    text = "\n".join((_HERE / f"{name}.css").read_text(encoding="utf-8") for name in PARTS)
    # A font has one address, here and where the page asks for it early.
    return _FONT.sub(lambda found: f'url("{_versioned(found[1], f"shop/{found[1]}")}")', text)


class JoinedFinder(BaseFinder):
    """Finds the one style sheet, written anew whenever a part of it has changed."""

    def find(self, path: str, find_all: bool = False, **older: Any) -> Any:
        if path != ONE_SHEET:
            return []
        found = str(self._written())
        return [found] if find_all or older.get("all") else found

    def list(self, ignore_patterns: Any) -> Iterator[tuple[str, FileSystemStorage]]:
        self._written()
        yield ONE_SHEET, FileSystemStorage(location=kept_in())

    def _written(self) -> Path:
        path, text = kept_in() / ONE_SHEET, joined().encode()
        if not path.exists() or path.read_bytes() != text:
            _write(path, text)
        return path


class VersionedStorage(StaticFilesStorage):
    """Addresses of static files that change with what the files hold."""

    def url(self, name: str | None) -> str:
        plain = super().url(name)
        return _versioned(plain, name) if name else plain


class StaticFiles(WhiteNoiseMiddleware):
    """Serves static files: texts compressed; kept for ever where the address names their hash."""

    def get_static_file(self, path: str, url: str, stat_cache: Any = None) -> StaticFile:
        plain = super().get_static_file(path, url, stat_cache=stat_cache)
        if self.autorefresh or not path.endswith(SHRINK):
            return plain
        *_, (_, _, headers) = plain.alternatives
        told = [each for each in headers if each[0] not in ("Content-Length", "Vary")]
        return StaticFile(path, told, encodings={"gzip": str(compressed(Path(path)))})

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        answer: HttpResponseBase = super().__call__(request)
        asked = request.META.get("QUERY_STRING", "")
        if asked.startswith("v=") and request.path_info in self.files:
            name = request.path_info.removeprefix(self.static_prefix)
            if asked == f"v={version_of(name)}":
                answer["Cache-Control"] = f"max-age={self.FOREVER}, public, immutable"
        return answer


class CompressPages(GZipMiddleware):
    """Compresses pages and other texts on their way.

    A page that holds a secret and something an attacker chose could be guessed from its compressed
    length (the attack called BREACH). Django's own middleware makes that length random (it follows
    "Heal the Breach", https://doi.org/10.1109/TDSC.2022.3157871 by its documentation), and the one
    secret on our pages, the key against forged forms, is masked anew on each.
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> Any:
        if not response.get("Content-Type", "").startswith(TEXTS):
            return response
        return super().process_response(request, response)


def compressed(path: Path) -> Path:
    """The compressed form of a file, made where it is not there yet."""
    plain = path.read_bytes()
    smaller = kept_in() / f"{sha256(plain).hexdigest()}.gz"
    if not smaller.exists():
        _write(smaller, gzip.compress(plain, compresslevel=9, mtime=0))
    return smaller


@cache
def version_of(name: str) -> str:
    """A part of the hash of a static file; empty where there is none, and for a developer, whose
    files change under a server that runs."""
    if settings.DEBUG:
        return ""
    path = finders.find(name)
    if not path:
        return ""
    return sha256(Path(path).read_bytes()).hexdigest()[:_VERSION_DIGITS]


def _versioned(address: str, name: str) -> str:
    version = version_of(name)
    return f"{address}?v={version}" if version else address


def _write(path: Path, content: bytes) -> None:
    """Write a file whole before it has its name, so that no other process serves half of it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f"{path.name}-{os.getpid()}")
    draft.write_bytes(content)
    draft.replace(path)
