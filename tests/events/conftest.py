"""Puts this folder on the import path, so that its tests share the log maker and the oracles; and a folder for logs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

sys.path.append(str(Path(__file__).parent))

from log_maker import Bench

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Where logs are written and measured; it holds no state that a test could see."""
    return Bench(tmp_path_factory.mktemp("samples"))
