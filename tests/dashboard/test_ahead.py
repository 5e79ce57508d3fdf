"""An answer kept ready: whoever asks gets the newest there is, and never one that was made from something else."""

from __future__ import annotations

import threading

from dashboard.ahead import Ahead


class Work:
    """Something to make answers from: what it is made from now, and a gate that holds the making up."""

    def __init__(self) -> None:
        self.source = 1
        self.gate = threading.Event()
        self.gate.set()
        self.begun = threading.Semaphore(0)

    def key(self) -> int:
        return self.source

    def make(self) -> str:
        source = self.source
        self.begun.release()
        self.gate.wait(30)
        if source < 0:
            raise ValueError(source)
        return f"made from {source}"

    def ahead(self) -> Ahead[str]:
        ahead = Ahead(self.key, self.make)
        ahead.start()
        return ahead


def test_the_first_answer_is_waited_for() -> None:
    work = Work()
    work.gate.clear()
    ahead = work.ahead()
    assert not ahead.has_answer()
    answers: list[str | None] = []
    asker = threading.Thread(target=lambda: answers.append(ahead.newest()))
    asker.start()
    work.gate.set()
    asker.join(30)
    assert answers == ["made from 1"]


def test_what_is_soon_made_anew_is_never_given_old() -> None:
    work = Work()
    ahead = work.ahead()
    assert ahead.newest() == "made from 1"
    for work.source in range(2, 8):
        assert ahead.newest() == f"made from {work.source}"


def test_what_takes_long_is_given_old_until_the_new_one_is_there() -> None:
    work = Work()
    ahead = work.ahead()
    assert ahead.newest() == "made from 1"
    assert work.begun.acquire(timeout=30)
    work.gate.clear()
    work.source = 2
    assert ahead.newest() == "made from 1"
    assert work.begun.acquire(timeout=30)
    work.gate.set()
    assert ahead.newest() == "made from 2"


def test_what_cannot_be_made_leaves_no_answer_and_the_next_may_succeed() -> None:
    work = Work()
    ahead = work.ahead()
    assert ahead.newest() == "made from 1"
    work.source = -1
    assert ahead.newest() is None
    assert ahead.has_answer()
    work.source = 3
    assert ahead.newest() == "made from 3"
