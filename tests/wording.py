"""Gather what the program says, and keep its translations: `python -m tests.wording`.

Reads the marked texts of code and templates and the texts of the starting library, brings each
catalogue (`locale/es/LC_MESSAGES/django.po`) up to date, compiles it, and names what has no
Spanish yet. A text that nobody says any more leaves its catalogue.

Written with Babel, so that it needs no gettext on the machine; Django reads what it compiles.
"""

import csv
import io
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_python
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from django.utils.translation.template import templatize

from shop.isolation import citation

ROOT: Final = Path(__file__).resolve().parent.parent
LANGUAGES: Final = ("es",)
#: By the folder of a catalogue, the folders of the code that speaks through it.
CATALOGUES: Final = {
    "equipment": ("equipment", "inventory"),
    "shop": ("shop", "templates"),
    "shop/paper": ("shop/paper",),
}
#: Whose texts are in the starting library: file, columns; `choices` are several, apart by "|".
LIBRARY: Final = {
    "checks.csv": ("text", "hint", "choices"),
    "kinds.csv": ("name",),
    "names.csv": ("name",),
    "safety_cautions.csv": ("hazard", "caution_text", "source"),
    "service_intervals.csv": ("task", "condition_trigger"),
}
#: Set apart by their context from what people write: what is said of where a text comes from.
SOURCE: Final = "source"
KEYWORDS: Final = {
    "gettext": None,
    "gettext_lazy": None,
    "gettext_noop": None,
    "ngettext": (1, 2),
    "ngettext_lazy": (1, 2),
    "pgettext": ((1, "c"), 2),
    "pgettext_lazy": ((1, "c"), 2),
    "source_noop": None,
    "_": None,
}


class Said(NamedTuple):
    """One text: with its plural where it has one, the context that tells it apart, and where."""

    text: str | tuple[str, str]
    context: str | None
    file: str


def said_in(folder: str) -> Iterator[Said]:
    """Every marked text of the code that speaks through the catalogue in a folder."""
    for source in CATALOGUES[folder]:
        for path in sorted((ROOT / source).rglob("*")):
            name = str(path.relative_to(ROOT))
            inner = [each for each in CATALOGUES if each != folder and each.startswith(folder)]
            if "migrations" in path.parts or any(name.startswith(f"{each}/") for each in inner):
                continue
            if path.suffix in (".py", ".html"):
                yield from _marked(path, name)
    if folder == "equipment":
        yield from _of_the_library()


def _marked(path: Path, name: str) -> Iterator[Said]:
    code = path.read_text()
    if path.suffix == ".html":
        # What Django leaves of a template is code by its words alone, not by how it is indented.
        code = "\n".join(line.strip() for line in templatize(code).splitlines())
    found = extract_python(io.BytesIO(code.encode()), KEYWORDS, (), {"encoding": "utf-8"})
    for _, keyword, arguments, _ in found:
        texts = (arguments,) if isinstance(arguments, str) else arguments
        match keyword, texts:
            case "pgettext" | "pgettext_lazy", (str(context), str(text), *_):
                yield Said(text, context, name)
            case "ngettext" | "ngettext_lazy", (str(one), str(many), *_):
                yield Said((one, many), None, name)
            case "pgettext" | "pgettext_lazy" | "ngettext" | "ngettext_lazy", _:
                raise ValueError(f"{name}: {keyword} of something that is no plain text")
            case _, (str(text), *_):
                yield Said(text, SOURCE if keyword == "source_noop" else None, name)


def _of_the_library() -> Iterator[Said]:
    for file, columns in LIBRARY.items():
        name = f"equipment/library/{file}"
        with (ROOT / name).open(newline="") as rows:
            for row in csv.DictReader(rows):
                for column in columns:
                    texts = row[column].split("|") if column == "choices" else [row[column]]
                    context = None
                    if column == "source":
                        context, texts = SOURCE, [citation(row[column])]
                    yield from (Said(text, context, name) for text in texts if text)


def path_of(folder: str, language: str) -> Path:
    """The catalogue of a folder in a language, as people edit it."""
    return ROOT / folder / "locale" / language / "LC_MESSAGES" / "django.po"


def read(path: Path) -> Catalog:
    """A catalogue as it is kept; an empty one where there is none yet."""
    if not path.exists():
        return _empty(path.parts[-3])
    with path.open("rb") as file:
        return read_po(file, locale=path.parts[-3])


def _empty(language: str) -> Catalog:
    return Catalog(
        locale=language,
        project="Strokebook",
        version="1",
        msgid_bugs_address="none",
        last_translator="none",
        language_team="none",
        fuzzy=False,
    )


def gathered(folder: str, kept: Catalog) -> Catalog:
    """A new catalogue with what is said now, and the translations that are kept."""
    new = _empty(str(kept.locale))
    new.revision_date = new.creation_date = kept.creation_date
    new.header_comment = f"# What {folder} says. See DEVELOPERS.md: `python -m tests.wording`."
    for text, context, file in said_in(folder):
        old = kept.get(text, context)
        new.add(text, old.string if old else None, locations=[(file, 0)], context=context)
    return new


def written(catalogue: Catalog) -> bytes:
    """A catalogue as a file for people, in the order of the texts."""
    file = io.BytesIO()
    write_po(
        file, catalogue, width=100, sort_output=True, include_lineno=False, ignore_obsolete=True
    )
    return file.getvalue()


def compiled(catalogue: Catalog) -> bytes:
    """A catalogue as Django reads it."""
    file = io.BytesIO()
    write_mo(file, catalogue)
    return file.getvalue()


def open_in(catalogue: Catalog) -> list[str]:
    """The texts without a translation."""
    return [
        str(message.id)
        for message in catalogue
        if message.id and not all(message.string if message.pluralizable else [message.string])
    ]


def main() -> int:
    left = 0
    for folder in CATALOGUES:
        for language in LANGUAGES:
            path = path_of(folder, language)
            catalogue = gathered(folder, read(path))
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(written(catalogue))
            path.with_suffix(".mo").write_bytes(compiled(catalogue))
            missing = open_in(catalogue)
            left += len(missing)
            print(f"{path.relative_to(ROOT)}: {len(catalogue)} texts, {len(missing)} open")
            for text in missing:
                print(f"    {text}")
    return 1 if left else 0


if __name__ == "__main__":
    sys.exit(main())
