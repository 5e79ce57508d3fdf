"""A few small damaged logs for one boat's inbox, as they come off real loggers."""

from __future__ import annotations

import gzip
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from pathlib import Path

HEADER: Final = "time,rpm,gear,shift_target,shift_position\n"
BINARY: Final = bytes(range(256)) * 8
DAMAGED: Final[dict[str, bytes]] = {
    "power_lost_empty.csv": b"",
    "power_lost_header_only.csv": HEADER.encode(),
    "not_a_log.csv": BINARY,
    "no_engine_named.csv": (HEADER + "".join(f"{n / 10:.1f},{610 + n % 7},0,50,50.1\n" for n in range(40))).encode(),
}
"""Names and contents of the damaged logs; the last is whole but does not say which engine it is of."""


def write_damaged(inbox: Path) -> None:
    """Write them below a boat's inbox folder, and cut one of its whole logs in the middle of the last row."""
    whole = sorted(path for path in inbox.rglob("*") if path.name.endswith((".csv", ".tsv", ".csv.gz")))
    for name, content in DAMAGED.items():
        (inbox / name).write_bytes(content)
    if whole:
        _cut_last_row(whole[len(whole) // 2])


def _cut_last_row(log: Path) -> None:
    is_packed = log.name.endswith(".gz")
    text = gzip.decompress(log.read_bytes()) if is_packed else log.read_bytes()
    last_line = text.rstrip(b"\n").rfind(b"\n") + 1
    cut = text[: last_line + max(1, (len(text) - last_line) // 3)]
    log.write_bytes(gzip.compress(cut, 1, mtime=0) if is_packed else cut)
