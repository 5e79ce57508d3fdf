"""Text logs that DuckDB cannot read as they lie: unpacked or rewritten into a temporary file, outside the inbox."""

from __future__ import annotations

import io
import tempfile
import zlib
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

from pipeline.readers.packed import damaged, guarded, is_packed, opened, unpack
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pipeline.readers.header import Header
    from pipeline.readers.request import ReadRequest


@dataclass(frozen=True)
class Text:
    """Where DuckDB finds the rows: a path, the lines to skip there, and how many lines of the log lie before."""

    path: Path
    skip: int
    lines_before: int


@contextmanager
def as_it_is(request: ReadRequest, header: Header) -> Iterator[Text]:
    """The log itself, or its unpacked bytes.

    Raises:
        Refusal: the archive is damaged or a bomb.
    """
    skip = header.first_line - 1
    if not is_packed(request.path):
        yield Text(request.path, skip, 0)
        return
    with _folder() as folder:
        unpack(request, folder / "log.csv")
        yield Text(folder / "log.csv", skip, 0)


@contextmanager
def rewritten(request: ReadRequest, header: Header) -> Iterator[Text]:
    """The rows of the log as UTF-8 with single line ends and without zero bytes.

    Raises:
        Refusal: the file is damaged, or an archive becomes too large.
    """
    with _folder() as folder:
        copy = folder / "rows.csv"
        try:
            _write_rows(request, header, copy)
        except (OSError, EOFError, zlib.error, UnicodeError) as error:
            raise Refusal(damaged(request, error)) from error
        yield Text(copy, 0, header.first_line - 1)


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="morningwatch-") as folder:
        yield Path(folder)


def _write_rows(request: ReadRequest, header: Header, copy: Path) -> None:
    with opened(request.path) as raw, copy.open("w", encoding="utf-8", newline="\n") as plain:
        bounded: Any = io.BufferedReader(_Chunks(guarded(raw, request)))
        text = io.TextIOWrapper(bounded, encoding=header.encoding, errors="replace", newline=None)
        plain.writelines(line.replace("\0", "") for line in islice(text, header.first_line - 1, None))


class _Chunks(io.RawIOBase):
    """Chunks of bytes as a stream."""

    def __init__(self, chunks: Iterator[bytes]) -> None:
        self._chunks = chunks
        self._held = b""

    def readable(self) -> bool:
        """It can be read."""
        return True

    def readinto(self, into: Any) -> int:
        """Fill a buffer with what comes next."""
        self._held = self._held or next(self._chunks, b"")
        part = self._held[: len(into)]
        into[: len(part)] = part
        self._held = self._held[len(part) :]
        return len(part)


def ends_with_line_end(path: Path) -> bool:
    """Whether the last line of a file is whole."""
    with path.open("rb") as file:
        _to_end(file, 1)
        return file.read() in {b"\n", b"\r"}


def tail_of(path: Path, size: int = 1 << 16) -> bytes:
    """The last bytes of a file, without line ends and zero bytes."""
    with path.open("rb") as file:
        _to_end(file, size)
        return file.read().rstrip(b"\r\n\0 ")


def _to_end(file: IO[bytes], size: int) -> None:
    length = file.seek(0, io.SEEK_END)
    file.seek(max(0, length - size))
