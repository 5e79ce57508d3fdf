"""Ingests beside other ingests, beside readers, and in other kinds of executors."""

from __future__ import annotations

import multiprocessing
import shutil
import threading
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.database import rows

if TYPE_CHECKING:
    from collections.abc import Callable

    from tests.store.conftest import Fleet

START_S = 1_700_000_000.0


class AtOnce(Executor):
    """Runs each job in the calling thread at the moment it is submitted."""

    def submit(self, job: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        future: Future[Any] = Future()
        future.set_result(job(*args, **kwargs))
        return future


def test_a_second_ingest_waits_for_the_first_and_says_for_whom(fleet: Fleet) -> None:
    """The second waits inside the lock until the first has ended; the first ends only after the second has asked."""
    fleet.log("heron/one.csv")
    told: list[str] = []
    asked = threading.Event()
    results: list[tuple[int, int, int, int]] = []

    def hear(sentence: str) -> None:
        told.append(sentence)
        asked.set()

    second = threading.Thread(target=lambda: results.append(fleet.counts(waiting=hear)))
    with fleet.store.exclusive():
        second.start()
        assert asked.wait(timeout=30)
    second.join()
    assert results == [(1, 0, 0, 0)]
    assert len(told) == 1


def test_two_ingests_at_once_take_each_log_once(fleet: Fleet) -> None:
    for number in range(4):
        fleet.log(f"heron/{number}.csv", start_s=START_S + number * 3600)
    results: list[tuple[int, int, int, int]] = []
    threads = [threading.Thread(target=lambda: results.append(fleet.counts())) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(results) == [(0, 0, 4, 0), (4, 0, 0, 0)]
    assert len(fleet.spans()) == 4


def test_a_reader_beside_an_ingest_always_sees_a_whole_snapshot(fleet: Fleet) -> None:
    """As many logs as readings speak of: the two tables are of one moment, and the count never falls."""
    fleet.log("heron/0.csv")
    fleet.ingest()
    store = fleet.store
    seen: list[tuple[int, int]] = []
    done = threading.Event()

    def look() -> None:
        while not done.is_set():
            sql = "select (select count(*) from events.runs) as logs, (select sum(logs) from marts.readings) as known"
            found = rows(store.reader(), sql)
            seen.append((found[0]["logs"], found[0]["known"]))

    reader = threading.Thread(target=look)
    reader.start()
    for number in range(1, 8):
        fleet.log(f"heron/{number}.csv", start_s=START_S + number * 3600)
        fleet.ingest()
    done.set()
    reader.join()
    assert all(logs == known for logs, known in seen)
    assert [logs for logs, _ in seen] == sorted(logs for logs, _ in seen)
    assert rows(store.reader(), "select count(*) as logs from events.runs") == [{"logs": 8}]


@pytest.mark.parametrize("kind", ["forkserver", "spawn"])
def test_processes_make_the_same_store_as_threads(true_fleet: Fleet, kind: str) -> None:
    for number in range(3):
        true_fleet.log(f"heron/{number}.csv", start_s=START_S + number * 3600)
    context = multiprocessing.get_context(kind)
    with ProcessPoolExecutor(1, mp_context=context) as processes:
        assert true_fleet.counts(executor=processes) == (3, 0, 0, 0)
    by_processes = true_fleet.rows("from events.runs order by all")
    shutil.rmtree(true_fleet.store.folder)
    assert true_fleet.counts(executor=AtOnce()) == (3, 0, 0, 0)
    assert true_fleet.rows("from events.runs order by all") == by_processes
    assert len(by_processes) == 3


def test_a_run_split_over_two_files_is_one_run(true_fleet: Fleet) -> None:
    true_fleet.log("heron/2.csv", start_s=START_S + 65, seconds=60)
    true_fleet.ingest()
    assert len(true_fleet.rows("from events.runs")) == 1
    true_fleet.log("heron/1.csv", start_s=START_S, seconds=60)
    true_fleet.ingest()
    runs = true_fleet.rows("select samples, seconds from events.runs")
    assert runs == [{"samples": 122, "seconds": pytest.approx(125.0)}]
