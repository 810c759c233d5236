"""What the program says in other languages is whole, current, and fits where it stands."""

import io
import re

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import read_mo

from tests import wording

EACH = [(folder, language) for folder in wording.CATALOGUES for language in wording.LANGUAGES]
MEND = "Run `python -m tests.wording` and translate what it names."


@pytest.mark.parametrize(("folder", "language"), EACH)
def test_every_text_that_is_said_is_translated(folder: str, language: str):
    catalogue = wording.gathered(folder, wording.read(wording.path_of(folder, language)))
    assert wording.open_in(catalogue) == [], MEND


@pytest.mark.parametrize(("folder", "language"), EACH)
def test_the_catalogue_holds_what_is_said_and_nothing_else(folder: str, language: str):
    path = wording.path_of(folder, language)
    assert path.read_bytes() == wording.written(wording.gathered(folder, wording.read(path))), MEND


@pytest.mark.parametrize(("folder", "language"), EACH)
def test_what_django_reads_is_what_people_edit(folder: str, language: str):
    path = wording.path_of(folder, language)
    kept, compiled = wording.read(path), read_mo(io.BytesIO(path.with_suffix(".mo").read_bytes()))
    assert _by_key(kept) == _by_key(compiled), MEND


def _by_key(catalogue: Catalog) -> dict[tuple[str, ...], tuple[str, ...]]:
    """Translations by text and context; where Babel reads a plural, it hands out lists."""
    return {
        (*_each(message.id), message.context or ""): _each(message.string)
        for message in catalogue
        if message.id
    }


def _each(texts: str | list[str] | tuple[str, ...]) -> tuple[str, ...]:
    return (texts,) if isinstance(texts, str) else tuple(texts)


@pytest.mark.parametrize("language", wording.LANGUAGES)
def test_what_two_catalogues_say_they_say_alike(language: str):
    """Django puts them into one, where the last wins whoever speaks."""
    said: dict[tuple[str, ...], set[tuple[str, ...]]] = {}
    for folder in wording.CATALOGUES:
        for key, strings in _by_key(wording.read(wording.path_of(folder, language))).items():
            said.setdefault(key, set()).add(strings)
    assert {key: strings for key, strings in said.items() if len(strings) > 1} == {}


@pytest.mark.parametrize(("folder", "language"), EACH)
def test_a_translation_names_the_same_figures(folder: str, language: str):
    """A name in braces that is lost in translation loses a number; a new one breaks the page."""
    kept = wording.read(wording.path_of(folder, language))
    assert [message.id for message in kept if message.id and not _fits(message)] == []


def _fits(message: Message) -> bool:
    sources = message.id if isinstance(message.id, tuple) else (message.id,)
    strings = message.string if isinstance(message.string, tuple) else (message.string,)
    # The plural says every figure; "one check is open" may leave its number out.
    wanted = _named(sources[-1])
    return _named(strings[-1]) == wanted and all(_named(each) <= wanted for each in strings)


def _named(text: str) -> set[str]:
    return set(re.findall(r"\{\w+\}|%\(\w+\)[sd]", text))
