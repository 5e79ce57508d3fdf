"""Following the inbox: a file is taken once it is whole, and whatever happens in one round, the next goes on."""

from __future__ import annotations

import os
import signal
import threading
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import pytest

from pipeline import follow
from pipeline.follow import LOOK_S, ROUND_S, Follower, Round
from pipeline.inbox_files import is_unfinished
from pipeline.watch import Watch, until_asked_to_stop

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0
Step = "Callable[[], object]"


@dataclass
class Script:
    """Stands for the inbox's events and the clock: each wait does the next step and lets the time asked for pass."""

    steps: list[Callable[[], object]]
    now_s: float = 0.0
    waits: list[float] = field(default_factory=list)
    is_stopping: bool = False

    def wait(self, seconds: float) -> frozenset[str]:
        self.waits.append(seconds)
        self.now_s += seconds
        if not self.steps:
            self.is_stopping = True
            return frozenset()
        renamed = self.steps.pop(0)()
        return renamed if isinstance(renamed, frozenset) else frozenset()

    def clock(self) -> float:
        return self.now_s


def _follow(fleet: Fleet, *steps: Callable[[], object]) -> tuple[list[Round], Script]:
    script, rounds = Script(list(steps)), []
    Follower(fleet.folder, script, rounds.append, clock=script.clock).run()
    return rounds, script


def _taken(rounds: list[Round]) -> list[tuple[int, int, int]]:
    return [
        (each.result.taken, each.result.replaced, len(each.result.refused))
        for each in rounds
        if each.result is not None
    ]


def _nothing() -> None:
    """Time passes."""


def test_a_file_is_taken_once_two_looks_saw_it_at_rest(fleet: Fleet) -> None:
    rounds, script = _follow(
        fleet,
        lambda: fleet.log("heron/a.csv", seconds=3),
        lambda: fleet.log("heron/a.csv", seconds=6),
        lambda: fleet.log("heron/a.csv", seconds=9),
        _nothing,
        _nothing,
    )
    assert _taken(rounds) == [(0, 0, 0), (1, 0, 0)]
    assert fleet.spans() == [("heron/main", "heron/a.csv", 10)]
    assert script.waits == [LOOK_S, 4.0, 8.0, 16.0, LOOK_S, LOOK_S]


def test_a_file_that_was_renamed_into_place_is_whole_at_once(fleet: Fleet) -> None:
    part = fleet.path("heron/a.csv.part")

    def rename() -> frozenset[str]:
        part.replace(fleet.path("heron/a.csv"))
        return frozenset({"inbox/heron/a.csv"})

    rounds, _ = _follow(fleet, lambda: fleet.log("heron/a.csv.part"), _nothing, rename)
    assert _taken(rounds) == [(0, 0, 0), (1, 0, 0)]


def test_a_file_that_grows_for_hours_is_looked_at_less_often_and_holds_up_no_other(fleet: Fleet) -> None:
    lengths = iter(range(5, 100))

    def grow() -> None:
        fleet.log("heron/grows.csv", seconds=next(lengths))

    def grow_beside_another() -> None:
        grow()
        fleet.log("petrel/port/new.csv")

    rounds, script = _follow(fleet, *[grow] * 6, grow_beside_another, grow, grow)
    assert _taken(rounds) == [(0, 0, 0), (1, 0, 0)]
    assert fleet.listed() == [("petrel/port/new.csv", "taken")]
    assert max(script.waits) == LOOK_S


def test_a_known_file_that_is_written_again_keeps_its_log_until_it_is_whole(fleet: Fleet) -> None:
    fleet.log("heron/a.csv", seconds=3)
    seen: list[object] = []
    rounds, _ = _follow(
        fleet,
        _nothing,
        lambda: fleet.log("heron/a.csv", seconds=6),
        lambda: (fleet.log("petrel/port/b.csv"), fleet.log("heron/a.csv", seconds=9)),
        lambda: fleet.log("heron/a.csv", seconds=12),
        lambda: seen.append(fleet.spans()),
        _nothing,
    )
    assert seen == [[("heron/main", "heron/a.csv", 4), ("petrel/port", "petrel/port/b.csv", 6)]]
    assert fleet.spans()[0] == ("heron/main", "heron/a.csv", 13)
    assert _taken(rounds)[-2:] == [(1, 0, 0), (0, 1, 0)]


def test_without_any_event_a_round_comes_when_its_time_has_come(fleet: Fleet) -> None:
    fleet.log("heron/a.csv")
    rounds, script = _follow(fleet, *[_nothing] * 70)
    assert _taken(rounds) == [(0, 0, 0), (1, 0, 0), (0, 0, 0), (0, 0, 0)]
    assert [each.has_news for each in rounds] == [False, True, False, False]
    assert 2 * ROUND_S < script.now_s < 3 * ROUND_S


def test_a_register_that_was_changed_is_read_again_at_the_next_look(fleet: Fleet) -> None:
    text = (fleet.folder / "fleet.toml").read_text(encoding="utf-8")
    fleet.log("heron/a.csv")
    rounds, _ = _follow(fleet, _nothing, lambda: fleet.register("mistake"), lambda: fleet.register(text + "\n"))
    assert [each.result is not None for each in rounds] == [True, True, False, True]
    assert "fleet.toml" in str(rounds[2].error)


def test_an_error_is_told_and_the_next_round_goes_on(fleet: Fleet, monkeypatch: pytest.MonkeyPatch) -> None:
    ingest, calls = follow.ingest, []

    def fails_once(*arguments: object, **options: object) -> object:
        calls.append(1)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")
        return ingest(*arguments, **options)

    monkeypatch.setattr(follow, "ingest", fails_once)
    rounds, _ = _follow(fleet, lambda: fleet.log("heron/a.csv"), _nothing, _nothing, _nothing)
    assert "No space left" in str(rounds[1].error)
    assert _taken(rounds) == [(0, 0, 0), (1, 0, 0)]


def test_a_refused_file_is_news_once(fleet: Fleet) -> None:
    fleet.write("heron/bad.csv", "")
    rounds, _ = _follow(fleet, *[_nothing] * 40)
    assert [each.has_news for each in rounds] == [False, True, False]
    assert _taken(rounds)[1:] == [(0, 0, 1), (0, 0, 1)]


def test_a_request_to_stop_lets_the_file_in_hand_be_finished_and_the_next_ingest_go_on(fleet: Fleet) -> None:
    for number in range(20):
        fleet.log(f"heron/{number:02}.csv", start_s=START_S + number * 3600)
    script = Script([_nothing])
    rounds: list[Round] = []
    follower = Follower(fleet.folder, script, rounds.append, clock=script.clock)
    advance = follower._advance  # noqa: SLF001 - the seam at which a signal arrives

    def stop_at_the_third(done: int, total: int) -> None:
        script.is_stopping = script.is_stopping or done == 3
        advance(done, total)

    follower._advance = stop_at_the_third  # type: ignore[method-assign]  # noqa: SLF001
    follower.run()
    assert len(rounds) == 1
    with fleet.ledger() as ledger:
        assert len(ledger.logs()) == 3
    assert fleet.counts() == (17, 0, 3, 0)


def test_rounds_leave_nothing_behind_in_memory(fleet: Fleet) -> None:
    """After twenty files came and went the follower remembers as much as after one."""

    def come(number: int) -> Callable[[], None]:
        return lambda: fleet.write(f"heron/{number}.csv.part", str(number)).replace(fleet.path(f"heron/{number}.md"))

    script = Script([come(number) for number in range(20)])
    follower = Follower(fleet.folder, script, lambda _: None, clock=script.clock)
    follower.run()
    assert len(follower._moving) <= 1  # noqa: SLF001 - what it remembers is what is asked


@pytest.mark.parametrize(
    "name",
    [
        ".hidden.csv", "~log.csv", "#log.csv#", "log.csv~", "log.csv.part", "log.csv.PARTIAL", "log.csv.filepart",
        "log.csv.tmp", "log.csv.temp", "log.csv.crdownload", "log.csv.download", "log.csv.part-12ab", "log.csv.tmp_3",
        "log.csv.part7", ".log.csv.Xy12Ab", "log.csv.incomplete", "log.swp",
    ],
)  # fmt: skip
def test_a_name_that_says_unfinished_is_passed_over(name: str) -> None:
    assert is_unfinished(name)


@pytest.mark.parametrize(
    "name", ["log.csv", "oil_temp.csv", "part.csv", "temp.2026.csv", "tmp", "log (1).csv", "a#b.mf4"]
)
def test_a_log_whose_name_only_resembles_that_is_not(name: str) -> None:
    assert not is_unfinished(name)


def test_the_watch_tells_of_a_file_that_is_renamed_into_place(tmp_path: Path) -> None:
    inbox = tmp_path / "inbox" / "heron"
    inbox.mkdir(parents=True)
    with Watch(tmp_path) as watch:
        (inbox / "a.csv.part").write_text("time", encoding="utf-8")
        (inbox / "a.csv.part").rename(inbox / "a.csv")
        heard: frozenset[str] = frozenset()
        while not heard:  # each wait ends with an event: writing, closing, renaming
            heard = watch.wait(30)
    assert heard == {"inbox/heron/a.csv"}


def test_the_watch_takes_up_an_inbox_that_comes_later(tmp_path: Path) -> None:
    with Watch(tmp_path) as watch:
        assert watch.wait(0) == frozenset()
        (tmp_path / "inbox").mkdir()
        watch.wait(0)
        (tmp_path / "inbox" / "a.part").write_text("", encoding="utf-8")
        (tmp_path / "inbox" / "a.part").rename(tmp_path / "inbox" / "a.csv")
        heard: frozenset[str] = frozenset()
        while not heard:
            heard = watch.wait(30)
    assert heard == {"inbox/a.csv"}


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_wait_and_is_handled_as_before_afterwards(tmp_path: Path, number: signal.Signals) -> None:
    before = signal.getsignal(number)
    with until_asked_to_stop(tmp_path) as watch:
        threading.Timer(0, os.kill, (os.getpid(), number)).start()
        while not watch.is_stopping:
            watch.wait(30)
    assert signal.getsignal(number) == before
