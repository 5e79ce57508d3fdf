"""Damages the small logs of the corpus at random and holds every answer of the readers against what always must hold.

    python tests/readers/fuzz.py [--cases 100000] [--seed 1] [--keep FOLDER]
    python tests/readers/fuzz.py --drawn 10000 [--seed 1]

A case is told by its seed and number alone. One that breaks a rule is printed, and kept as a file with `--keep`; one
that takes longer than a minute ends the run with a traceback. With `--drawn` whole sound logs are drawn instead (see
`drawn.py`) and must be read as they were written; the smallest that is not is printed. A sample of both runs with the
tests.
"""

from __future__ import annotations

import argparse
import faulthandler
import gzip
import random
import sys
import tempfile
import tomllib
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import numpy as np
from hypothesis import HealthCheck, given, seed, settings

ROOT: Final = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(Path(__file__).parent)]

from drawn import Drawn, broken_promises  # noqa: E402 - the paths above come first
from drawn import logs as drawn_logs  # noqa: E402

from pipeline.database import scratch  # noqa: E402 - the path above comes first
from pipeline.problems import CATALOGUE  # noqa: E402
from pipeline.readers import LogRead, ReadRequest, read_log  # noqa: E402
from pipeline.register import Engine, MapEntry, ReadingLimits  # noqa: E402

CORPUS: Final = Path(__file__).parent / "corpus"
LONGEST_S: Final = 60
ENGINE: Final = Engine(
    boat_id="petrel", id="port", label="port", serial=None, shift_targets=None, service=None, limits={}
)
PIECES: Final = (
    b"", b",", b";", b"\t", b"|", b"\n", b"\r", b"\r\n", b'"', b"'", b"\0", b"\xff", b"\xc2\xb0", b"#", b"//",
    b" ", b".", b"-", b"+", b"e", b"9" * 40, b"1e999", b"NaN", b"inf", b"n/a", b"time", b"rpm", b"1970-01-01",
    b"2026-06-14 07:10", b"03/04/2026", b"24:00:00", b"AM", b"[degF]", b"\xe2\x80\xae", b"1,234.5", b"1.234,5",
    b"\xef\xbb\xbf", b",,,,",
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """A damaged log: what it was, under which name it is read, its bytes and its channel map."""

    origin: str
    name: str
    content: bytes
    channel_map: dict[str, MapEntry] | None


def originals() -> dict[str, tuple[bytes, dict[str, Any]]]:
    """Every file of the corpus but the bomb, with what is written beside it."""
    found = {}
    for told in sorted(CORPUS.rglob("*.toml")):
        path = told.with_suffix("")
        if path.stat().st_size < 20_000:
            expected = tomllib.loads(told.read_text(encoding="utf-8"))
            found[path.relative_to(CORPUS).as_posix()] = (path.read_bytes(), expected)
    return found


def case(seed: int, number: int, logs: dict[str, tuple[bytes, dict[str, Any]]]) -> Case:
    """The damaged log of this seed and number."""
    draw = random.Random(f"{seed}/{number}")  # noqa: S311 - damage, not secrets
    origin = draw.choice(sorted(logs))
    content, expected = logs[origin]
    damaged = _joined(draw, content, logs) if draw.random() < 0.1 else _damaged(draw, content)
    entries = {name: MapEntry(**entry) for name, entry in expected.get("channel_map", {}).items()}
    suffix = "".join(Path(origin).suffixes)
    if suffix == ".csv" and draw.random() < 0.1:
        damaged, suffix = gzip.compress(damaged, 1, mtime=0), ".csv.gz"
    name = draw.choice([f"2026-06-14_0710{suffix}", f"run{suffix}"])
    return Case(origin, name, damaged, entries or None)


def _joined(draw: random.Random, content: bytes, logs: dict[str, tuple[bytes, dict[str, Any]]]) -> bytes:
    """Two logs of the corpus, or one of them twice, one after the other."""
    other, _ = logs[draw.choice(sorted(logs))]
    return content + draw.choice([content, other, other[len(other) // 2 :]])


def _damaged(draw: random.Random, content: bytes) -> bytes:
    """The log with a few bytes changed, lines lost, doubled or exchanged, or its end cut off."""
    damaged = bytearray(content)
    for _ in range(draw.choice([1, 1, 2, 5, 20])):
        place = draw.randrange(len(damaged) + 1)
        match draw.randrange(6):
            case 0 | 1:
                damaged[place : place + draw.choice([0, 1, 1, 8, 40])] = draw.choice(PIECES)
            case 2:
                damaged[place : place + 1] = bytes([draw.randrange(256)])
            case 3:
                del damaged[place:]
            case 4:
                _shuffle_lines(draw, damaged)
            case _:
                end = draw.randrange(place, min(place + 200, len(damaged)) + 1)
                damaged[place:place] = damaged[place:end]
    return bytes(damaged)


def _shuffle_lines(draw: random.Random, damaged: bytearray) -> None:
    lines = bytes(damaged).splitlines(keepends=True)
    if len(lines) > 1:
        first, second = draw.randrange(len(lines)), draw.randrange(len(lines))
        lines[first], lines[second] = lines[second], draw.choice([lines[first], b"", lines[second]])
        damaged[:] = b"".join(lines)


def broken_rules(damaged: Case, folder: Path) -> tuple[str, list[str]]:
    """The answer's status or first code, and what of the rules for every answer it breaks."""
    path = folder / damaged.name
    path.write_bytes(damaged.content)
    limits = ReadingLimits(max_mb=50, max_rows=100_000)
    request = ReadRequest(path, f"inbox/petrel/{path.name}", (ENGINE,), damaged.channel_map, "Europe/Berlin", limits)
    try:
        log = read_log(scratch(), request)
    except Exception as error:  # noqa: BLE001 - that nothing is raised is the rule
        return "raised", [f"raised {type(error).__name__}: {str(error)[:300]}"]
    told = [
        f"no way out: {problem}"
        for problem in log.problems
        if not problem.way_out or problem.code not in CATALOGUE or not _is_one_line(problem.sentence())
    ]
    if log.status == "refused":
        return log.problems[0].code, told + (["rows of a refused log"] if log.rows else [])
    return "taken", told + _broken_by_rows(log, damaged.content)


def _is_one_line(sentence: str) -> bool:
    """Whether a sentence can be printed and stays on its line; spaces of any width may be in it."""
    return sentence.splitlines() == [sentence] and "".join(sentence.split()).isprintable()


def _broken_by_rows(log: LogRead, content: bytes) -> list[str]:
    """What a taken log's rows break: counts, order of times, finite values."""
    held = scratch().execute("select * from log_rows").fetchnumpy()
    times = np.ma.filled(np.ma.asarray(held.pop("time_s"), dtype=np.float64), np.nan)
    lines = sum(content.count(end) for end in (b"\n", b"\r")) + 1
    rules = {
        "its rows are counted": log.rows == times.size > 0,
        "no count is negative": min(log.rows_dropped, log.rows_spread) >= 0,
        "no more rows than lines": content[:2] == b"\x1f\x8b" or log.rows + log.rows_dropped <= lines,
        "times rise": bool(np.isfinite(times).all() and (np.diff(times) > 0).all()),
        "start and end": (log.started_s, log.ended_s) == (times[0], times[-1]),
        "at most a twentieth is lost": log.rows_dropped <= max(3, 0.1 * (log.rows + log.rows_dropped)) + 3,
        "values are finite": all(np.isfinite(np.ma.compressed(np.ma.asarray(each))).all() for each in held.values()),
        "its columns are told": set(held) == {f"port.{name}" for name in log.columns.get("port", ())},
    }
    return [rule for rule, holds in rules.items() if not holds]


def main() -> None:
    """Run the cases asked for and say what came of them."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--drawn", type=int, default=0)
    asked = parser.parse_args()
    if asked.drawn:
        _run_drawn(asked.drawn, asked.seed)
        return
    if asked.keep:
        asked.keep.mkdir(parents=True, exist_ok=True)
    logs, answers, broken = originals(), Counter[str](), 0
    with tempfile.TemporaryDirectory() as folder:
        for number in range(asked.cases):
            faulthandler.dump_traceback_later(LONGEST_S, exit=True)
            damaged = case(asked.seed, number, logs)
            answer, told = broken_rules(damaged, Path(folder))
            answers[answer] += 1
            if told:
                broken += 1
                sys.stdout.write(f"case {number} of {damaged.origin}: {'; '.join(told)}\n")
                if asked.keep:
                    (asked.keep / f"{number}-{damaged.name}").write_bytes(damaged.content)
            if (number + 1) % 1000 == 0:
                sys.stdout.write(f"{number + 1} cases, {broken} broken: {dict(answers.most_common())}\n")
                sys.stdout.flush()
    faulthandler.cancel_dump_traceback_later()
    sys.exit(1 if broken else 0)


def _run_drawn(number: int, seed_of_all: int) -> None:
    """So many drawn logs; hypothesis makes the first that is not read as written as small as it can and raises."""
    answers = Counter[str]()
    with tempfile.TemporaryDirectory() as folder:

        @seed(seed_of_all)
        @settings(max_examples=number, deadline=None, database=None, suppress_health_check=list(HealthCheck))
        @given(drawn_logs())
        def read_as_written(log: Drawn) -> None:
            answer, told = broken_promises(log, Path(folder))
            answers[answer] += 1
            if told:
                raise AssertionError(f"{'; '.join(told)}\n{log.name} {log.told}\n{log.content.decode('latin-1')}")

        read_as_written()
    sys.stdout.write(f"{answers.total()} logs, 0 broken: {dict(answers.most_common())}\n")


if __name__ == "__main__":
    main()
