"""The file itself, kept whole and compressed under its hash."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import BinaryIO, Final, cast

import zstandard
from django.core.files import File
from django.core.files.storage import default_storage

from equipment.models import ShiftLog

FOLDER: Final = "shift-logs"
#: Above this, what is unpacked goes to the disk. [bytes]
IN_MEMORY: Final = 8 * 1024**2


@contextmanager
def stored(packed: BinaryIO, digest: str) -> Iterator[str]:
    """Store a packed file; where what follows fails, take it away again. Yields its name there.

    Each call stores a file of its own, whose name begins with the digest: of two people who read
    the same log at once, the one who is refused takes away no file of the other's.
    """
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
