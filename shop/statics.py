"""Style sheets, scripts and fonts as a phone on a weak signal wants them, with no build step.

- The style sheets that every page needs are one file (`ONE_SHEET`), joined from their parts.
- The technician's copy of a sheet holds its style and its script itself (`copy_style`,
  `copy_script`): on slow 4G each turn to the server costs half a second, and a page that is kept
  on a phone then needs nothing beside it, whatever the server has become since.
- Texts are compressed once, when the server starts, and kept by what they hold.
- An address carries a part of the hash of its file (`?v=…`), so that a browser asks for each file
  once and keeps it until it changes.

All of it goes through Django's own finders and storage, so every server that serves static files
serves these: gunicorn, the demo, tests.
"""

import gzip
import os
import re
from collections.abc import Callable, Iterator
from functools import cache, wraps
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
from django.templatetags.static import static
from django.utils.safestring import SafeString, mark_safe
from whitenoise.middleware import WhiteNoiseMiddleware
from whitenoise.responders import StaticFile

#: What every page links, and the parts that it is joined from, in the order in which they count.
ONE_SHEET: Final = "shop/all.css"
PARTS: Final = ("tokens", "page", "forms", "tables", "sheet", "drawing")
#: What the technician's copy needs beside that, and what it has no use for.
COPY_SHEETS: Final = ("equipment/pages.css", "shop/around.css")
NOT_OF_THE_COPY: Final = ("tables",)
#: What every page runs, and the module that the copy's own script begins with.
PAGE_SCRIPT: Final = "shop/page.js"
FIRST_MODULE: Final = "sheet"
#: Files that shrink; pictures and fonts are small already.
SHRINK: Final = (".css", ".js", ".svg", ".json", ".webmanifest", ".txt")
#: Answers that shrink.
TEXTS: Final = ("text/", "application/json", "application/javascript", "image/svg+xml")
_HERE: Final = Path(__file__).resolve().parent / "static" / "shop"
_FONT: Final = re.compile(r'url\("(fonts/[^"]+)"\)')
#: A comment that has its lines to itself, as all of ours have.
_COMMENT: Final = re.compile(r"^[ \t]*(?://[^\n]*|/\*(?:(?!\*/).)*\*/)\n", re.MULTILINE | re.DOTALL)
_VERSION_DIGITS: Final = 12
_IMPORT: Final = re.compile(
    r'^import (?:(?P<named>\{[^}]*\}|\* as \w+) from )?"\./(?P<module>\w+)\.js";\n', re.MULTILINE
)
_EXPORT: Final = re.compile(
    r"^export (?=(?:const|let|class|(?:async )?function\*?) (?P<name>\w+))", re.MULTILINE
)


def kept_in() -> Path:
    """The folder of what is made here; it may be emptied while no server runs."""
    return Path(settings.DATA_DIR) / "served"


def joined(parts: tuple[str, ...] = PARTS) -> str:
    """The one style sheet, or some parts of it."""
    text = "\n".join((_HERE / f"{name}.css").read_text(encoding="utf-8") for name in parts)
    # A font has one address: here, in the copy, and where the page asks for it early.
    return _FONT.sub(lambda found: f'url("{static(f"shop/{found[1]}")}")', text)


def _once(make: Callable[[], SafeString]) -> Callable[[], SafeString]:
    """Made once; anew each time for a developer, whose files change under a server that runs."""
    kept = cache(make)
    return wraps(make)(lambda: make() if settings.DEBUG else kept())


@_once
def copy_style() -> SafeString:
    """All style of the technician's copy, to stand in the page."""
    parts = tuple(each for each in PARTS if each not in NOT_OF_THE_COPY)
    texts = (joined(parts), *map(_text_of, COPY_SHEETS))
    return _within("style", *texts)


@_once
def copy_script() -> SafeString:
    """All that runs in the technician's copy, to stand in the page."""
    return _within("script", _text_of(PAGE_SCRIPT), joined_script())


def _within(element: str, *texts: str) -> SafeString:
    """Texts as the content of a style or a script, without their comments: a fifth of what travels.

    Raises ValueError where they would end it.
    """
    text = "\n".join(_COMMENT.sub("", text) for text in texts)
    if f"</{element}" in text.lower() or "<!--" in text:
        raise ValueError(f"What stands in a {element} of a page cannot hold </{element} or <!--.")
    return mark_safe(text)


def _text_of(name: str) -> str:
    """A static file of ours, by its name."""
    return Path(str(finders.find(name))).read_text(encoding="utf-8")


def joined_script() -> str:
    """The script of the technician's copy: each module a function that gives what it exports, in
    the order in which they need each other, and the first one last.

    Our modules import by `import {…}`, `import * as` and `import "./…"` alone, and export what they
    declare where they declare it. Raises ValueError for one that is written otherwise.
    """
    done: dict[str, str] = {}
    _join(FIRST_MODULE, done, ())
    return "\n".join(done.values())


def _join(module: str, done: dict[str, str], behind: tuple[str, ...]) -> None:
    """Add a module to what is joined, after those that it needs."""
    if module in behind:
        raise ValueError(f"{' needs '.join((*behind, module))}: modules cannot need each other.")
    if module in done:
        return
    text = (_HERE / "phone" / f"{module}.js").read_text(encoding="utf-8")
    for found in _IMPORT.finditer(text):
        _join(found["module"], done, (*behind, module))
    body = _EXPORT.sub("", _IMPORT.sub(_imported, text))
    if re.search(r"^(?:import|export)\b", body, re.MULTILINE):
        raise ValueError(f"{module}.js imports or exports in a way that cannot be joined.")
    if module == FIRST_MODULE:
        done[module] = body
        return
    names = ", ".join(found["name"] for found in _EXPORT.finditer(text))
    done[module] = f"const in_{module} = (() => {{\n{body}return {{ {names} }};\n}})();\n"


def _imported(found: re.Match[str]) -> str:
    """What stands for an import where the module is a name."""
    named = found["named"]
    if named is None:
        return ""
    names = named.removeprefix("* as ").replace(" as ", ": ")
    return f"const {names} = in_{found['module']};\n"


#: What is joined here, by its name.
JOINED: Final = {ONE_SHEET: joined}


class JoinedFinder(BaseFinder):
    """Finds what is joined, written anew whenever a part of it has changed."""

    def find(self, path: str, find_all: bool = False, **older: Any) -> Any:
        if path not in JOINED:
            return []
        found = str(self._written(path))
        return [found] if find_all or older.get("all") else found

    def list(self, ignore_patterns: Any) -> Iterator[tuple[str, FileSystemStorage]]:
        for name in JOINED:
            self._written(name)
            yield name, FileSystemStorage(location=kept_in())

    def _written(self, name: str) -> Path:
        path, text = kept_in() / name, JOINED[name]().encode()
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
