"""A file's hash, and its compressed copy, made beside the reading of it."""

import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from threading import Event
from types import TracebackType
from typing import BinaryIO, Final, Self, cast

import zstandard

#: Above this, what is compressed goes to the disk. [bytes]
IN_MEMORY: Final = 8 * 1024**2
#: Of zstandard: higher ones take longer than reading does, and save a twentieth.
LEVEL: Final = 1
_PIECE: Final = 1024**2

Pieces = Callable[[], Iterator[bytes]]


class Packing:
    """What is made of one file's bytes while somebody else reads its rows.

    A file on the disk is read by threads of its own, at places of their own; anything else
    beforehand. To be used in `with`, which takes the copy away again. keeps: a copy is wanted.
    """

    def __init__(self, *, keeps: bool) -> None:
        self.keeps = keeps
        self._given_up = Event()
        self._opened = ExitStack()
        self._hash: Future[tuple[str, int]] | None = None
        self._copy: Future[BinaryIO] | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._given_up.set()
        self._opened.close()

    def begin(self, content: BinaryIO) -> None:
        """Begin with a file, seekable; it is left at its start, and may be read meanwhile."""
        pieces = self._apart(content)
        is_apart = pieces is not None
        # Closed in the reverse order: when the threads have ended.
        spool = tempfile.SpooledTemporaryFile(IN_MEMORY)  # noqa: SIM115
        copy = cast(BinaryIO, self._opened.enter_context(spool))
        pool = self._opened.enter_context(ThreadPoolExecutor(2, thread_name_prefix="pack"))
        pieces = pieces or (lambda: _in_turn(content))
        self._hash = pool.submit(self._digest_of, pieces)
        if not is_apart:
            self._hash.result()
        if self.keeps:
            self._copy = pool.submit(self._packed, pieces, copy)
            if not is_apart:
                self._copy.result()
        content.seek(0)

    @property
    def digest(self) -> str:
        """SHA-256 of the file, in hexadecimal; waits for it. Raises OSError."""
        assert self._hash is not None
        return self._hash.result()[0]

    @property
    def size(self) -> int:
        """Size of the file; waits for it. Raises OSError. [bytes]"""
        assert self._hash is not None
        return self._hash.result()[1]

    def copy(self) -> BinaryIO:
        """Return the compressed copy, open until `with` ends; waits for it. Raises OSError."""
        assert self._copy is not None
        copy = self._copy.result()
        copy.seek(0)
        return copy

    def _digest_of(self, pieces: Pieces) -> tuple[str, int]:
        digest, size = hashlib.sha256(), 0
        for piece in self._while_wanted(pieces):
            digest.update(piece)
            size += len(piece)
        return digest.hexdigest(), size

    def _packed(self, pieces: Pieces, copy: BinaryIO) -> BinaryIO:
        packer = zstandard.ZstdCompressor(level=LEVEL)
        with packer.stream_writer(copy, closefd=False) as writer:
            for piece in self._while_wanted(pieces):
                writer.write(piece)
        return copy

    def _while_wanted(self, pieces: Pieces) -> Iterator[bytes]:
        for piece in pieces():
            if self._given_up.is_set():
                return
            yield piece

    def _apart(self, content: BinaryIO) -> Pieces | None:
        """Return how to read a file at places of its own; None where that cannot be.

        Something open may be a view of another file, unpacked: then their sizes or their first
        bytes differ.
        """
        size = content.seek(0, 2)
        content.seek(0)
        head = content.read(64)
        content.seek(0)
        try:
            number = os.dup(content.fileno())
        except (AttributeError, OSError, ValueError):
            return None
        self._opened.callback(os.close, number)
        if os.fstat(number).st_size != size or os.pread(number, len(head), 0) != head:
            return None
        return lambda: _at_places(number, size)


def _at_places(number: int, size: int) -> Iterator[bytes]:
    place = 0
    while place < size and (piece := os.pread(number, _PIECE, place)):
        yield piece
        place += len(piece)


def _in_turn(content: BinaryIO) -> Iterator[bytes]:
    content.seek(0)
    while piece := content.read(_PIECE):
        yield piece
