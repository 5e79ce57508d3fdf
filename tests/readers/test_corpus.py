"""Every file of the corpus, named after its one dialect or defect, against what is written beside it.

Beside `NAME` stands `NAME.toml`: `status`, and for a log that is taken its `start`, its rows as `seconds` and `values`
(a blank text is a null) or their number, and the codes of its remarks; for a refused one `code` and what the sentence
`says`. A log is read as 2026-06-14_0710, which gives its start, unless `read_as` names it. Expected values are the
file's own, worked out by hand: three or so rows of 600, 610 and 620 rpm, half a second apart.
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest

Read = Callable[..., Any]

CORPUS = Path(__file__).parent / "corpus"
CASES = sorted(path.relative_to(CORPUS).as_posix().removesuffix(".toml") for path in CORPUS.rglob("*.toml"))
WRITTEN_AT_S = datetime(2026, 11, 1, tzinfo=UTC).timestamp()
"""The files' own time, after all that is in them."""


def answer_of(name: str, expected: dict[str, Any], read: Read, folder: Path) -> Any:
    """What reading a file of the corpus gives."""
    suffix = "".join(Path(name).suffixes)
    path = folder / expected.get("read_as", f"2026-06-14_0710{suffix}")
    path.write_bytes((CORPUS / name).read_bytes())
    os.utime(path, (WRITTEN_AT_S, WRITTEN_AT_S))
    return read(path, expected.get("channel_map"), timezone=expected.get("timezone", "UTC"))


@pytest.mark.parametrize("name", CASES)
def test_a_file_of_the_corpus_gives_what_is_written_beside_it(name: str, read: Read, tmp_path: Path) -> None:
    expected = tomllib.loads((CORPUS / f"{name}.toml").read_text(encoding="utf-8"))
    answer = answer_of(name, expected, read, tmp_path)
    assert answer.log.status == expected["status"], answer.log.problems
    if expected["status"] == "refused":
        assert_refused(answer, expected)
    else:
        assert_taken(answer, expected)
    if "line" in expected:
        assert answer.log.problems[0].line == expected["line"]


def assert_refused(answer: Any, expected: dict[str, Any]) -> None:
    """It was refused for the right reason, in words that show a way out."""
    problem = answer.log.problems[0]
    assert problem.code == expected["code"], problem.sentence()
    assert expected.get("says", "") in problem.sentence()
    assert problem.way_out
    assert len(problem.sentence()) < 1000
    assert problem.sentence().isprintable()


def assert_taken(answer: Any, expected: dict[str, Any]) -> None:
    """Its rows are those of the file, at their times."""
    seconds = np.array(answer.column("time_s")) - expected["start"].timestamp()
    assert seconds[0] == pytest.approx(0, abs=1e-6)
    assert np.all(np.diff(seconds) > 0)
    if "seconds" in expected:
        assert seconds == pytest.approx(expected["seconds"], abs=1e-5)
    if "last_s" in expected:
        assert seconds[-1] == pytest.approx(expected["last_s"], abs=1e-5)
    for count in {"rows", "rows_dropped", "rows_spread"} & expected.keys():
        assert getattr(answer.log, count) == expected[count], count
    for channel, cells in expected.get("values", {}).items():
        read = [cell if cell is not None else float("nan") for cell in answer.column(channel)]
        assert read == pytest.approx([cell if cell != "" else float("nan") for cell in cells], rel=1e-6, nan_ok=True)
    for channel, cell in expected.get("last", {}).items():
        assert answer.column(channel)[-1] == cell
    assert answer.codes == expected["problems"]


def test_every_file_of_the_corpus_has_its_expectation_beside_it() -> None:
    files = {path.relative_to(CORPUS).as_posix() for path in CORPUS.rglob("*") if path.is_file()}
    assert files - {f"{name}{end}" for name in CASES for end in ("", ".toml")} == {".gitattributes"}
