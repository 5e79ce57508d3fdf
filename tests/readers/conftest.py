"""Small logs written where a test can read them, and the reader's answer with its rows."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from pipeline.database import rows as fetch
from pipeline.database import scratch
from pipeline.readers import LogRead, ReadRequest, read_log
from pipeline.register import Engine, MapEntry


@dataclass(frozen=True)
class Answer:
    """What `read_log` said and the rows it left."""

    log: LogRead
    rows: list[dict[str, Any]]

    def column(self, name: str) -> list[Any]:
        """One column of the rows; a channel's name alone means the only engine's."""
        key = name if name == "time_s" or "." in name else f"port.{name}"
        return [row[key] for row in self.rows]

    @property
    def codes(self) -> list[str]:
        """The codes of the problems, in their order."""
        return [problem.code for problem in self.log.problems]


Read = Callable[..., Answer]
Write = Callable[..., Path]


def engine(name: str, label: str | None = None) -> Engine:
    """An engine of the boat 'petrel'."""
    return Engine(
        boat_id="petrel", id=name, label=label or name, serial=None, shift_targets=None, service=None, limits={}
    )


@pytest.fixture
def read() -> Read:
    """Read a log: `channel_map` as in fleet.toml, engines by name."""

    def reading(
        path: Path,
        channel_map: Mapping[str, Mapping[str, Any]] | None = None,
        engines: tuple[Engine, ...] = (engine("port"),),
        timezone: str = "UTC",
    ) -> Answer:
        entries = None if channel_map is None else {name: MapEntry(**entry) for name, entry in channel_map.items()}
        before = path.read_bytes()
        log = read_log(scratch(), ReadRequest(path, f"inbox/petrel/{path.name}", engines, entries, timezone))
        assert path.read_bytes() == before, "a reader never changes a file of the inbox"
        return Answer(log, fetch(scratch(), "select * from log_rows") if log.status == "taken" else [])

    return reading


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a log; the default name gives its start, 2026-06-14 07:10 UTC, where that is needed."""

    def writing(content: str | bytes, name: str = "2026-06-14_0710.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        return path

    return writing
