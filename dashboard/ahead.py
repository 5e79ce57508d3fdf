"""Keeps one answer ready: a thread of its own makes it anew whenever what it is made from has changed."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from typing import Final, Generic, TypeVar

Answer = TypeVar("Answer")

POLL_S: Final = 1.0
"""How often the thread looks whether anything has changed while nobody asks."""

PATIENCE_S: Final = 0.4
"""How long whoever asks waits for a newer answer before the one at hand is given."""


class Ahead(Generic[Answer]):
    """`key` tells, quickly, what an answer would be made from now; `make` makes the answer, and may take its time.

    A mistake in either leaves no answer behind, so that whoever asks makes it alone and meets the mistake where it can
    be shown.
    """

    def __init__(self, key: Callable[[], object], make: Callable[[], Answer]) -> None:
        self._key = key
        self._make = make
        self._changed = threading.Condition()
        self._asked = threading.Event()
        self._answer: Answer | None = None
        self._made_from: object = None
        self._is_tried = False
        self.is_started = False

    def start(self) -> None:
        """Begin; the thread ends with the process."""
        self.is_started = True
        threading.Thread(target=self._run, name="ahead", daemon=True).start()

    def has_answer(self) -> bool:
        """Whether a first answer was made, or could not be made: `newest` then takes no longer than its patience."""
        with self._changed:
            return self._is_tried

    def newest(self) -> Answer | None:
        """The newest answer; None where none could be made.

        The first one is waited for. After that, a newer one is waited for only a moment, and the one at hand given.
        """
        until = time.monotonic() + PATIENCE_S
        with self._changed:
            while not self._is_tried or (self._made_from != self._now() and time.monotonic() < until):
                self._asked.set()
                self._changed.wait(PATIENCE_S / 4)
            return self._answer

    def _now(self) -> object:
        try:
            return self._key()
        except Exception:  # noqa: BLE001 - whoever asks meets it again, where it can be shown
            return None

    def _run(self) -> None:
        while True:
            wanted = self._now()
            if not self._is_tried or wanted != self._made_from:
                self._renew(wanted)
            self._asked.wait(POLL_S)
            self._asked.clear()

    def _renew(self, wanted: object) -> None:
        answer: Answer | None = None
        try:
            answer = self._make()
        except Exception:
            logging.getLogger(__name__).debug("nothing could be made ahead", exc_info=True)
        with self._changed:
            self._answer, self._made_from, self._is_tried = answer, wanted, True
            self._changed.notify_all()
