"""Where logs come from: files, folders and ZIPs, one source for each file inside."""

import tempfile
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Any, BinaryIO, Final, cast

#: Of one file inside a ZIP, unpacked, and of all of them together. [bytes]
LARGEST_FILE: Final = 4 * 1024**3
LARGEST_ZIP: Final = 8 * 1024**3
#: Rows that hardly change pack to a fiftieth; what claims far more is no log.
MOST_PACKED: Final = 200
MOST_FILES: Final = 2000
#: Above this, what is unpacked goes to the disk. [bytes]
IN_MEMORY: Final = 8 * 1024**2
_PIECE: Final = 1024**2
_ZIP: Final = (b"PK\x03\x04", b"PK\x05\x06")
#: First bytes of packed files that are no ZIP.
_PACKED: Final = (b"\x1f\x8b", b"BZh", b"7z\xbc\xaf", b"Rar!", b"\xfd7zXZ", b"\x28\xb5\x2f\xfd")
#: What systems leave in folders and archives, and no person put there.
_LITTER: Final = ("__MACOSX", ".DS_Store", "Thumbs.db", "desktop.ini")
#: A ZIP that is a spreadsheet says so by a file of this name inside.
_SPREADSHEET: Final = ("[Content_Types].xml", "content.xml")


class SourceRefused(ValueError):
    """A file that is not even opened; its text is meant for the person."""


@dataclass(frozen=True, slots=True)
class Source:
    """One file that may be a log.

    name: as the person knows it; inside a ZIP "archive.zip/day.csv".
    opener: opens it anew for reading, seekable. Raises SourceRefused, OSError.
    refusal: why it cannot be one; "" where nothing speaks against it.
    """

    name: str
    opener: Callable[[], BinaryIO]
    refusal: str = ""

    def open(self) -> BinaryIO:
        if self.refusal:
            raise SourceRefused(self.refusal)
        return self.opener()


def source_of(content: BinaryIO, name: str) -> Source:
    """A source from something that is open already, such as an upload; it stays the caller's."""

    def again() -> BinaryIO:
        content.seek(0)
        return cast(BinaryIO, _Unclosed(content))

    return Source(_shown(name), again)


def as_source(source: Source | BinaryIO, name: str) -> Source:
    """A source as it is, or from something open."""
    return source if isinstance(source, Source) else source_of(source, name)


def sources(paths: Iterable[Path]) -> Iterator[Source]:
    """Yield a source for each file: those given, those in folders and those in ZIPs, by name.

    What cannot be a log comes as a source that says why. Nothing is unpacked before it is opened.
    """
    for path in paths:
        if path.is_dir():
            for inside in sorted(path.rglob("*")):
                if inside.is_file() and not _is_litter(inside.relative_to(path).parts):
                    yield from _file(inside, inside.relative_to(path.parent).as_posix())
        else:
            yield from _file(path, path.name)


def unzipped(content: BinaryIO, name: str) -> Iterator[Source]:
    """Yield what is in an upload: the files inside where it is a ZIP, else itself."""
    head = content.read(4)
    content.seek(0)
    if head.startswith(_ZIP):
        yield from _zip(lambda: cast(BinaryIO, _Unclosed(content)), _shown(name))
    else:
        yield _plain(source_of(content, name), head)


def _file(path: Path, name: str) -> Iterator[Source]:
    shown = _shown(name)
    try:
        with path.open("rb") as opened:
            head = opened.read(4)
    except OSError as unread:
        yield _refused(shown, f"It cannot be opened: {(unread.strerror or str(unread)).lower()}.")
        return
    if head.startswith(_ZIP):
        yield from _zip(lambda: path.open("rb"), shown)
    else:
        yield _plain(Source(shown, lambda: path.open("rb")), head)


def _plain(source: Source, head: bytes) -> Source:
    if head.startswith(_PACKED):
        return _refused(
            source.name, "It is packed in a way that is not read here. Unpack it, or use a ZIP."
        )
    return source


def _zip(opener: Callable[[], BinaryIO], name: str) -> Iterator[Source]:
    try:
        with opener() as content, zipfile.ZipFile(content) as archive:
            inside = [each for each in archive.infolist() if not each.is_dir()]
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError):
        yield _refused(name, "It is a ZIP that cannot be opened: it is damaged or cut short.")
        return
    if any(each.filename in _SPREADSHEET for each in inside):
        yield _refused(
            name, "It is a spreadsheet, not a text file. Save it as CSV, and read that instead."
        )
        return
    wanted = [each for each in inside if not _is_litter(PurePosixPath(each.filename).parts)]
    if fault := _too_much(wanted):
        yield _refused(name, fault)
        return
    for each in sorted(wanted, key=lambda one: one.filename):
        yield _member(opener, each, f"{name}/{_shown(each.filename)}")


def _too_much(inside: Sequence[zipfile.ZipInfo]) -> str:
    if not inside:
        return "There is nothing in the ZIP."
    if len(inside) > MOST_FILES:
        return f"There are {len(inside):,} files in the ZIP; at most {MOST_FILES:,} are read."
    if sum(each.file_size for each in inside) > LARGEST_ZIP:
        return f"Unpacked it would be larger than {LARGEST_ZIP // 1024**3} GB, so it stays packed."
    return ""


def _member(opener: Callable[[], BinaryIO], inside: zipfile.ZipInfo, name: str) -> Source:
    if inside.flag_bits & 1:
        return _refused(name, "It is locked by a password.")
    if inside.file_size > max(inside.compress_size, 1) * MOST_PACKED + IN_MEMORY:
        return _refused(name, "It would unpack to far more than a text can, so it stays packed.")
    if inside.file_size > LARGEST_FILE:
        return _refused(name, f"Unpacked it is larger than {LARGEST_FILE // 1024**3} GB.")

    def unpack() -> BinaryIO:
        spool = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 (handed out)
        try:
            with (
                opener() as content,
                zipfile.ZipFile(content) as archive,
                archive.open(inside) as packed,
            ):
                _copy(packed, cast(BinaryIO, spool), inside.file_size)
        except (zipfile.BadZipFile, EOFError, OSError, NotImplementedError, ValueError) as damaged:
            spool.close()
            if isinstance(damaged, SourceRefused):
                raise
            raise SourceRefused("It is damaged inside the ZIP, so nothing of it is read.") from (
                damaged
            )
        spool.seek(0)
        head = spool.read(4)
        spool.seek(0)
        if head.startswith((*_ZIP, *_PACKED)):
            spool.close()
            raise SourceRefused(
                "It is packed again inside the ZIP. Unpack it, and read what is in it."
            )
        return cast(BinaryIO, spool)

    return Source(name, unpack)


def _copy(packed: IO[bytes], to: BinaryIO, most: int) -> None:
    """Copy, but never more than the archive said there was."""
    copied = 0
    while piece := packed.read(_PIECE):
        copied += len(piece)
        if copied > most:
            raise SourceRefused("More is in it than the ZIP says, so nothing of it is read.")
        to.write(piece)


def _refused(name: str, why: str) -> Source:
    def never() -> BinaryIO:
        raise SourceRefused(why)

    return Source(name, never, why)


def _is_litter(parts: Sequence[str]) -> bool:
    return any(part in _LITTER or part.startswith("._") for part in parts)


def _shown(name: str) -> str:
    """A name as it is kept and shown: it opens nothing, whatever it says."""
    parts = [part for part in name.replace("\\", "/").split("/") if part not in ("", ".", "..")]
    text = "".join(each if each.isprintable() else "�" for each in "/".join(parts))
    return text[-200:] or "unnamed"


class _Unclosed:
    """Somebody else's open file, read from but not closed."""

    def __init__(self, content: BinaryIO) -> None:
        self._content = content

    def __getattr__(self, name: str) -> Any:
        return getattr(self._content, name)

    def __iter__(self) -> Iterator[bytes]:
        return iter(self._content)

    def __enter__(self) -> "_Unclosed":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def close(self) -> None:
        pass
