"""A file's hash and its copy are those of its bytes, whatever the file is and however it ends."""

import gzip
import hashlib
import io
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

import pytest
import zstandard

from equipment.services.shiftlogs import packing
from equipment.services.shiftlogs.packing import Packing

DATA = b"".join(b"2026-03-04 12:00:%02d,%d\n" % (n % 60, n) for n in range(60_000))


def on_disk(folder: Path) -> IO[bytes]:
    path = folder / "log.csv"
    path.write_bytes(DATA)
    return path.open("rb")


def unpacked(folder: Path) -> Any:
    # Its descriptor is that of the packed file.
    path = folder / "log.gz"
    path.write_bytes(gzip.compress(DATA))
    return gzip.open(path, "rb")


def in_memory(folder: Path) -> IO[bytes]:
    return io.BytesIO(DATA)


def spooled(folder: Path) -> Any:
    spool = tempfile.SpooledTemporaryFile(100)  # noqa: SIM115
    spool.write(DATA)
    return spool


@pytest.mark.parametrize("opened", [on_disk, unpacked, in_memory, spooled])
def test_hash_size_and_copy_are_of_the_bytes(opened: Callable[[Path], Any], tmp_path: Path) -> None:
    with opened(tmp_path) as content, Packing(keeps=True) as made:
        content.seek(77)
        made.begin(content)
        # Somebody reads meanwhile, from the start.
        assert content.read(1000) == DATA[:1000]
        assert made.digest == hashlib.sha256(DATA).hexdigest()
        assert made.size == len(DATA)
        copy = zstandard.ZstdDecompressor().stream_reader(made.copy()).read()
        assert copy == DATA


def test_what_is_given_up_ends_soon_and_leaves_the_file_open(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(packing, "_at_places", lambda number, size: iter(lambda: b"row", b""))
    with on_disk(tmp_path) as content:
        with Packing(keeps=True) as made:
            made.begin(content)
        assert content.read() == DATA
