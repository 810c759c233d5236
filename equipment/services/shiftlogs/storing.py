"""The file itself, kept whole under its hash: compressed on the way in, unpacked on the way out."""

import hashlib
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO, Final, cast

import zstandard
from django.core.files import File
from django.core.files.storage import default_storage

from equipment.models import ShiftLog

FOLDER: Final = "shift-logs"
#: Above this, what is compressed or unpacked goes to the disk. [bytes]
IN_MEMORY: Final = 8 * 1024**2
LEVEL: Final = 3
_PIECE: Final = 1024**2


def digest_of(content: BinaryIO) -> tuple[str, int]:
    """Return the SHA-256 of a file in hexadecimal, and its size in bytes; read in pieces."""
    content.seek(0)
    digest, size = hashlib.sha256(), 0
    while piece := content.read(_PIECE):
        digest.update(piece)
        size += len(piece)
    content.seek(0)
    return digest.hexdigest(), size


@contextmanager
def stored(content: BinaryIO, digest: str) -> Iterator[str]:
    """Store a file; where what follows fails, take it away again. Yields its name in the storage.

    Each call stores a file of its own, whose name begins with the digest: of two people who read
    the same log at once, the one who is refused takes away no file of the other's.
    """
    content.seek(0)
    with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY) as packed:
        with zstandard.ZstdCompressor(level=LEVEL).stream_writer(packed, closefd=False) as writer:
            while piece := content.read(_PIECE):
                writer.write(piece)
        packed.seek(0)
        name = default_storage.save(f"{FOLDER}/{digest}.zst", File(packed, name=digest))
    try:
        yield name
    except BaseException:
        default_storage.delete(name)
        raise


def raw(log: ShiftLog) -> BinaryIO:
    """Open a kept log as it came, seekable; the caller closes it."""
    spool = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115 (handed out)
    with log.file.open("rb") as packed:
        zstandard.ZstdDecompressor().copy_stream(packed, spool)
    spool.seek(0)
    return cast(BinaryIO, spool)
