"""A few small damaged logs for one boat's inbox, as they come off real loggers."""

from __future__ import annotations

from pathlib import Path
from typing import Final

HEADER: Final = "time,rpm,gear,shift_target,shift_position\n"
BINARY: Final = bytes(range(256)) * 8


def write_damaged(inbox: Path) -> tuple[str, ...]:
    """Write them below a boat's inbox folder; returns their names."""
    inbox.mkdir(parents=True, exist_ok=True)
    contents = {
        "2000-00-00_empty.csv": b"",
        "2000-00-00_header_only.csv": HEADER.encode(),
        "2000-00-00_binary.csv": BINARY,
        "2000-00-00_no_engine_named.csv": (HEADER + "".join(_rows(40))).encode(),
    }
    for name, content in contents.items():
        (inbox / name).write_bytes(content)
    return tuple(contents)


def cut_last_row(log: Path) -> None:
    """Cut a text log in the middle of its last row, as a logger does that lost its power."""
    text = log.read_bytes()
    last_line = text.rstrip(b"\n").rfind(b"\n") + 1
    log.write_bytes(text[: last_line + max(1, (len(text) - last_line) // 3)])


def _rows(count: int) -> list[str]:
    return [f"{number / 10:.1f},{610 + number % 7},0,50,50.1\n" for number in range(count)]
