"""How far a long piece of work has come, told to whoever wants to show it."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable


class Progress:
    """Counts pieces of work; `tell` is called with how many are done and how many are expected so far."""

    def __init__(self, tell: Callable[[int, int], None] | None) -> None:
        self._tell = tell
        self._done = 0
        self._total = 0

    def expect(self, pieces: int) -> None:
        """So many more pieces lie ahead."""
        self._total += pieces
        self._report()

    def advance(self, pieces: int = 1) -> None:
        """So many more pieces are done."""
        self._done += pieces
        self._report()

    def _report(self) -> None:
        if self._tell is not None and self._total:
            self._tell(self._done, self._total)
