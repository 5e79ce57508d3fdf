"""Lets the tests on real logs use the log maker of the event tests, and says where the real logs are."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

sys.path.append(str(Path(__file__).parents[1] / "events"))

from log_maker import Bench

if TYPE_CHECKING:
    from collections.abc import Callable

REAL_LOGS = Path(os.environ.get("MORNINGWATCH_REAL_LOGS", Path(__file__).parents[3] / "shared" / "data"))


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    """Where samples are written and measured."""
    return Bench(tmp_path_factory.mktemp("samples"))


@pytest.fixture(scope="session")
def real() -> Callable[[str, str], list[Path]]:
    """The real logs of a folder that match a pattern; the test is skipped where they are not."""

    def found(folder: str, pattern: str) -> list[Path]:
        paths = sorted((REAL_LOGS / folder).glob(pattern))
        if not paths:
            pytest.skip(f"the real logs {folder}/{pattern} are not beside the repository")
        return paths

    return found
