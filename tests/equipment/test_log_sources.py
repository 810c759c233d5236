"""Where logs come from: files, folders and ZIPs, none of which does harm."""

import io
import zipfile
from collections.abc import Sequence
from pathlib import Path

import pytest

from equipment.services.shiftlogs import files as module
from equipment.services.shiftlogs.files import (
    Source,
    SourceRefused,
    source_of,
    sources,
    unzipped,
)

TEXT = b"Time,A\n2026-01-12 07:00:00,1\n"


def packed(*files: tuple[str, bytes], way: int = zipfile.ZIP_DEFLATED) -> bytes:
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", way) as archive:
        for name, content in files:
            archive.writestr(name, content)
    return made.getvalue()


def found(content: bytes, name: str = "logs.zip") -> list[Source]:
    return list(unzipped(io.BytesIO(content), name))


def why_not(each: Source) -> str:
    with pytest.raises(SourceRefused) as refused, each.open():
        pass
    return str(refused.value)


def names(given: Sequence[Source]) -> list[str]:
    return [each.name for each in given]


def test_a_file_is_a_source_and_opens_anew_each_time(tmp_path: Path) -> None:
    path = tmp_path / "day.csv"
    path.write_bytes(TEXT)
    (each,) = sources([path])
    assert each.name == "day.csv"
    for _ in range(2):
        with each.open() as opened:
            assert opened.read() == TEXT


def test_an_upload_stays_open_for_whoever_sent_it() -> None:
    content = io.BytesIO(TEXT)
    each = source_of(content, "day.csv")
    for _ in range(2):
        with each.open() as opened:
            assert opened.read() == TEXT
            assert list(source_of(content, "x").open()) == TEXT.splitlines(keepends=True)
    assert not content.closed


def test_a_folder_gives_all_files_below_it_in_order(tmp_path: Path) -> None:
    for name in ("march/2.csv", "march/10/1.txt", "march/.DS_Store", "march/._2.csv"):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(TEXT)
    (tmp_path / "march" / "inside.zip").write_bytes(packed(("3.csv", TEXT)))
    assert names(list(sources([tmp_path / "march"]))) == [
        "march/10/1.txt",
        "march/2.csv",
        "march/inside.zip/3.csv",
    ]


def test_a_file_that_is_not_there_is_refused_in_words(tmp_path: Path) -> None:
    (each,) = sources([tmp_path / "gone.csv"])
    assert why_not(each) == "It cannot be opened: no such file or directory."


def test_a_zip_gives_a_source_for_each_file_inside() -> None:
    given = found(packed(("b.csv", TEXT), ("a/c.csv", TEXT * 2), ("__MACOSX/._b.csv", b"x")))
    assert names(given) == ["logs.zip/a/c.csv", "logs.zip/b.csv"]
    with given[0].open() as opened:
        assert opened.read() == TEXT * 2
        opened.seek(5)
        assert opened.read(1) == b"A"


def test_names_inside_a_zip_open_nothing(tmp_path: Path) -> None:
    given = found(packed(("../../etc/passwd", TEXT), ("/etc/x", TEXT), ("c:\\x\u202e\n", TEXT)))
    assert names(given) == ["logs.zip/etc/passwd", "logs.zip/etc/x", "logs.zip/c:/x��"]
    for each in given:
        with each.open() as opened:
            assert opened.read() == TEXT


def test_an_archive_inside_an_archive_stays_packed() -> None:
    (each,) = found(packed(("inner.csv", packed(("a.csv", TEXT)))))
    assert "packed again inside" in why_not(each)


def test_a_text_that_is_packed_otherwise_is_refused_in_words() -> None:
    (each,) = found(b"\x1f\x8b\x08rest", "day.csv.gz")
    assert "Unpack it" in why_not(each)


@pytest.mark.parametrize("inside", ["[Content_Types].xml", "content.xml"])
def test_a_spreadsheet_is_told_from_a_zip_of_logs(inside: str) -> None:
    (each,) = found(packed((inside, b"<xml/>"), ("xl/sheet1.xml", b"<xml/>")), "day.xlsx")
    assert "spreadsheet" in why_not(each)
    assert each.name == "day.xlsx"


def test_a_bomb_is_not_unpacked() -> None:
    (each,) = found(packed(("day.csv", b"0" * 30_000_000)))
    assert "far more than a text can" in why_not(each)


def test_more_than_a_zip_says_is_never_unpacked(monkeypatch: pytest.MonkeyPatch) -> None:
    """The sizes in the directory of a ZIP are whatever its maker wrote there."""
    (each,) = found(packed(("day.csv", TEXT * 100)))
    with each.open() as opened:
        assert len(opened.read()) == len(TEXT) * 100

    def without_a_size(packed_: object, to: object, most: int) -> None:
        copy(packed_, to, 10)  # type: ignore[arg-type]

    copy = module._copy
    monkeypatch.setattr(module, "_copy", without_a_size)
    assert "More is in it than the ZIP says" in why_not(each)


@pytest.mark.parametrize(
    ("limit", "value", "words"),
    [
        ("MOST_FILES", 1, "2 files in the ZIP; at most 1"),
        ("LARGEST_ZIP", 10, "larger than"),
        ("LARGEST_FILE", 10, "larger than"),
    ],
)
def test_a_zip_has_limits(
    monkeypatch: pytest.MonkeyPatch, limit: str, value: int, words: str
) -> None:
    monkeypatch.setattr(module, limit, value)
    assert words in why_not(found(packed(("a.csv", TEXT), ("b.csv", TEXT)))[0])


def test_a_damaged_or_locked_zip_is_refused_in_words() -> None:
    whole = packed(("a.csv", TEXT * 1000), way=zipfile.ZIP_STORED)
    assert "damaged or cut short" in why_not(found(whole[: len(whole) // 2])[0])
    changed = whole.replace(b"2026-01-12", b"2027-01-12", 1)
    assert "damaged inside" in why_not(found(changed)[0])
    locked = bytearray(whole)
    for mark, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        locked[locked.index(mark) + place] |= 1
    assert "locked by a password" in why_not(found(bytes(locked))[0])
    assert "nothing in the ZIP" in why_not(found(packed())[0])
