"""Finished chunks on disk: each a file of typed columns that is whole or does not count.

A file is a mark, a SHA-256, and Arrow streams (one a table) under zstd. The digest also covers the chunk's key, so that
a file that was cut short, changed or put in another's place is computed again and never believed.
"""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pyarrow as pa

from planner.errors import Fault, OutputError

MARK = b"chunk 1\n"
ENDING = ".chunk"
FORMER = (".json", ".npz", ".npy")  # as earlier versions kept chunks
DIGEST = hashlib.sha256().digest_size

Tables = tuple[pa.Table, ...]


def pack(tables: Tables) -> bytes:
    """Tables as bytes; the same tables give the same bytes."""
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as out:
        for table in tables:
            with pa.ipc.new_stream(out, table.schema) as stream:
                stream.write_table(table)
    return bytes(sink.getvalue())


def unpack(packed: bytes) -> Tables:
    """The tables that were packed."""
    with pa.CompressedInputStream(pa.BufferReader(packed), "zstd") as stream:
        whole = pa.BufferReader(stream.read())
    found = []
    while whole.tell() < whole.size():
        found.append(pa.ipc.open_stream(whole).read_all())
    return tuple(found)


class Store:
    """Chunks by task and key, in a folder that is ours alone."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._used: dict[str, set[str]] = {}

    def path(self, task: str, key: str) -> Path:
        """Where a chunk is kept, whether it is there or not."""
        return self.folder / task / f"{key[:32]}{ENDING}"

    def find(self, task: str, key: str) -> bytes | None:
        """A whole chunk, packed; None where there is none. Raises OutputError where a file may not be read."""
        path = self.path(task, key)
        self._used.setdefault(task, set()).add(path.name)
        try:
            found = path.read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            expected = "a file that can be read; or delete it, it is then computed again"
            raise OutputError([Fault(str(path), "stored chunk", error.strerror or str(error), expected)]) from error
        head, packed = found[: len(MARK) + DIGEST], found[len(MARK) + DIGEST :]
        return packed if head == _head(key, packed) else None

    def keep(self, task: str, key: str, packed: bytes) -> None:
        """Keep a chunk; it is there whole or not at all."""
        path = self.path(task, key)
        part = path.with_suffix(f".{os.getpid()}.part")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            part.write_bytes(_head(key, packed) + packed)
            part.replace(path)
        except OSError as error:
            raise type(error)(error.errno, error.strerror, str(path)) from error

    def clear(self) -> None:
        """Forget every chunk."""
        for path in self._files(ENDING, *FORMER):
            path.unlink(missing_ok=True)

    def drop_others(self) -> None:
        """Drop chunks of other plans, of the tasks of this run, and what killed processes left half written."""
        for path in self._files(ENDING):
            if path.name not in self._used.get(path.parent.name, {path.name}):
                path.unlink(missing_ok=True)
        for path in self._files(*FORMER):
            path.unlink(missing_ok=True)
        for path in self._files(".part"):
            path.unlink(missing_ok=True)  # one run at a time works in a folder: nobody writes it any more

    def _files(self, *endings: str) -> list[Path]:
        return [path for path in sorted(self.folder.rglob("*")) if path.suffix in endings and path.is_file()]


def _head(key: str, packed: bytes) -> bytes:
    return MARK + hashlib.sha256(key.encode() + packed).digest()
