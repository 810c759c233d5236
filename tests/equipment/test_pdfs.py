"""A PDF is kept as it came, once it was looked into: what would act by itself is refused."""

import random
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfWriter

from equipment import pdfs
from equipment.pdfs import PdfRefused, looks_like_pdf, read_pdf
from tests.equipment.papers import pdf_file, rewritten, with_action, with_page_action, with_script
from tests.equipment.photographs import photo_file


def test_is_kept_byte_for_byte() -> None:
    sent = pdf_file(pages=3)
    kept = read_pdf(sent)
    assert (kept.content, kept.pages, len(kept.digest)) == (sent.getvalue(), 3, 64)
    assert read_pdf(pdf_file(pages=3)).digest == kept.digest


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"%PD",
        b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
        b"<!DOCTYPE html><script>alert(1)</script>",
        b"\n" + pdf_file().getvalue(),
        photo_file().getvalue(),
        b"PK\x03\x04" + b"\x00" * 40,
    ],
)
def test_what_does_not_begin_as_a_pdf_is_none(content: bytes) -> None:
    assert not looks_like_pdf(BytesIO(content))
    with pytest.raises(PdfRefused, match="no PDF"):
        read_pdf(BytesIO(content))


@pytest.mark.parametrize("content", [b"%PDF-1.7", pdf_file().getvalue()[:300], b"%PDF-<html>"])
def test_a_broken_one_is_refused_in_words(content: bytes) -> None:
    with pytest.raises(PdfRefused, match=r"broken|no page"):
        read_pdf(BytesIO(content))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda writer: writer.encrypt("secret"), "locked with a password"),
        (with_script, "carries a program"),
        (with_page_action, "carries a program"),
        (lambda writer: writer.add_attachment("x.exe", b"MZ"), "carries a program"),
        (with_action("/JavaScript", JS="app.alert(1)"), "carries a program"),
        (with_action("/Launch", F="cmd.exe"), "carries a program"),
        (with_action("/SubmitForm", F="https://example.org"), "carries a program"),
    ],
)
def test_what_is_locked_or_acts_by_itself_is_refused(change: Any, words: str) -> None:
    with pytest.raises(PdfRefused, match=words):
        read_pdf(rewritten(change))


@pytest.mark.parametrize("kind", ["/GoTo", "/Named", "/URI"])
def test_where_it_opens_does_no_harm(kind: str) -> None:
    """Actions of ISO 32000-1, 12.6.4 (the list from memory)."""
    assert read_pdf(rewritten(with_action(kind))).pages == 2


def test_twin_without_the_look_inside_a_program_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdfs, "_acts_by_itself", lambda reader: False)
    assert read_pdf(rewritten(with_script)).pages == 2


def test_larger_than_we_keep_is_refused_and_its_twin(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pdfs, "MOST_MEGABYTES", 0)
    with pytest.raises(PdfRefused, match="larger than 0 MB"):
        read_pdf(pdf_file())
    monkeypatch.setattr(pdfs, "MOST_MEGABYTES", 1)
    assert read_pdf(pdf_file()).pages == 2


def test_without_a_page_or_with_too_many(monkeypatch: pytest.MonkeyPatch) -> None:
    empty = BytesIO()
    PdfWriter().write(empty)
    empty.seek(0)
    with pytest.raises(PdfRefused, match="no page"):
        read_pdf(empty)
    monkeypatch.setattr(pdfs, "MOST_PAGES", 2)
    with pytest.raises(PdfRefused, match="more than 2 pages"):
        read_pdf(pdf_file(pages=3))


def test_a_damaged_file_is_read_or_refused_and_nothing_else() -> None:
    chance = random.Random(11)
    whole = pdf_file().getvalue()
    for _ in range(150):
        damaged = bytearray(whole)
        for _ in range(chance.randint(1, 12)):
            damaged[chance.randrange(len(damaged))] = chance.randrange(256)
        try:
            assert read_pdf(BytesIO(bytes(damaged))).pages
        except PdfRefused as refused:
            assert "PDF" in str(refused)  # noqa: PT017 (either is right)
