"""Run by the crash tests in a process of its own: an ingest with simple events that is killed before its n-th step.

Given by the caller: `folder` (the fleet folder), `step` (from 1). Steps are everything that changes a file by name, and
every writing call on the ledger and the working database.
"""

from __future__ import annotations

import itertools
import os
import runpy
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import extract, readings
from pipeline.ingest import ingest
from pipeline.ledger import Ledger
from pipeline.register import load_register
from pipeline.working import Working

if TYPE_CHECKING:
    from collections.abc import Callable

FOLDER: str = globals()["folder"]
STEP: int = globals()["step"]

CHANGES_A_FILE = {"os.rename", "os.remove", "shutil.copyfile"}
COUNTER = itertools.count(1)


def stop_here(*_: object) -> None:
    if next(COUNTER) == STEP:
        os.kill(os.getpid(), signal.SIGKILL)


def watch(event: str, _: tuple[Any, ...]) -> None:
    if event in CHANGES_A_FILE:
        stop_here()


def stopping(method: Callable[..., Any]) -> Callable[..., Any]:
    def before_and_after(*arguments: Any) -> Any:
        stop_here()
        result = method(*arguments)
        stop_here()
        return result

    return before_and_after


stand_ins = runpy.run_path(str(Path(__file__).with_name("conftest.py")))
extract.extract = stand_ins["simple_events"]
extract.empty_tables = lambda: stand_ins["simple_events"](())
readings.refresh = stand_ins["simple_readings"]
Ledger.record = stopping(Ledger.record)
Ledger.forget_discarded = stopping(Ledger.forget_discarded)
Working.add = stopping(Working.add)
Working.remember = stopping(Working.remember)
sys.addaudithook(watch)
ingest(load_register(Path(FOLDER)))
