"""The bytes of a log, packed or not, as a stream that stops where a log may not go on: archives can be bombs."""

from __future__ import annotations

import gzip
import zlib
from contextlib import contextmanager
from typing import IO, TYPE_CHECKING, Any, Final

from pipeline.problems import Problem
from pipeline.readers.request import Refusal

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from pipeline.readers.request import ReadRequest

PACKINGS: Final = (".gz", ".zst")
MB: Final = 1_000_000
CHUNK: Final = 1 << 18

MAX_RATIO: Final = 250
"""Bytes that one packed byte may become, looked at from `RATIO_FROM` on: packed logs come to 5 to 30, and one whose
channels all stand still to some 100 (measured on simulated logs); an archive made to fill a disk to 1,000 and more."""
RATIO_FROM: Final = 16 * MB


def is_packed(path: Path) -> bool:
    """Whether the file's name says that it is an archive of one log."""
    return path.suffix.lower() in PACKINGS


def refuse_large(request: ReadRequest) -> None:
    """Refuse a file that is larger as it lies than a log may be.

    Raises:
        Refusal: it is.
    """
    size = request.path.stat().st_size
    if size > request.limits.max_mb * MB:
        raise Refusal(too_large(request, f"{size / MB:,.0f} MB"))


def too_large(request: ReadRequest, got: str) -> Problem:
    """The problem of a log beyond the limits."""
    return Problem(request.file, None, "too_large", f"at most {request.limits.max_mb:,g} MB", got,
                   "Split the log, or raise max_mb under [reading] in fleet.toml.")  # fmt: skip


def takes_too_much(request: ReadRequest) -> Problem:
    """The problem of a log that cannot be read within the memory a log may take."""
    most = f"{request.limits.max_memory_mb:,g} MB of memory"
    way_out = "Split the log, or raise max_memory_mb under [reading] in fleet.toml."
    return Problem(request.file, None, "too_large", f"at most {most}", "more", way_out)


def damaged(request: ReadRequest, error: Exception) -> Problem:
    """The problem of a file or an archive that breaks off or is none."""
    got = str(error).replace(str(request.path), request.file) or type(error).__name__
    way_out = "Copy the log from the logger again."
    return Problem(request.file, None, "damaged_file", "a readable file", got, way_out)


@contextmanager
def opened(path: Path) -> Iterator[IO[bytes]]:
    """The log's own bytes, unpacked as they are read."""
    if path.suffix.lower() == ".zst":
        import pyarrow as pa  # noqa: PLC0415 - only packed logs need it here

        with pa.OSFile(str(path)) as source, pa.CompressedInputStream(source, "zstd") as stream:
            yield stream
    elif path.suffix.lower() == ".gz":
        with gzip.open(path) as unpacked:
            yield _plain(unpacked)
    else:
        with path.open("rb") as plain:
            yield plain


def _plain(stream: Any) -> IO[bytes]:
    return stream  # type: ignore[no-any-return]


def first_bytes(request: ReadRequest, size: int) -> bytes:
    """The first `size` bytes of the log, unpacked.

    Raises:
        Refusal: the archive is damaged.
    """
    try:
        with opened(request.path) as stream:
            return bytes(stream.read(size))
    except (OSError, EOFError, zlib.error) as error:
        raise Refusal(damaged(request, error)) from error


def unpack(request: ReadRequest, copy: Path) -> None:
    """Write the log's bytes to `copy`, as they are when unpacked.

    Raises:
        Refusal: the archive is damaged, or becomes larger than a log may be.
    """
    try:
        with opened(request.path) as stream, copy.open("wb") as plain:
            for chunk in guarded(stream, request):
                plain.write(chunk)
    except (OSError, EOFError, zlib.error) as error:
        raise Refusal(damaged(request, error)) from error


def guarded(stream: IO[bytes], request: ReadRequest) -> Iterator[bytes]:
    """The stream in chunks, given up once it is longer than a log may be, or than its archive can honestly hold.

    Raises:
        Refusal: it is.
    """
    packed = request.path.stat().st_size
    most = request.limits.max_mb * MB
    length = 0
    while chunk := stream.read(CHUNK):
        length += len(chunk)
        if length > most:
            raise Refusal(too_large(request, f"more than {request.limits.max_mb:,g} MB when unpacked"))
        if is_packed(request.path) and length > max(RATIO_FROM, MAX_RATIO * packed):
            raise Refusal(_a_bomb(request, packed))
        yield bytes(chunk)


def _a_bomb(request: ReadRequest, packed: int) -> Problem:
    got = f"{packed:,} bytes that become more than {MAX_RATIO} times as many"
    way_out = "No log packs so well: look at the file before anything opens it, and copy the log unpacked."
    return Problem(request.file, None, "packed_too_well", "an archive of a log", got, way_out)
