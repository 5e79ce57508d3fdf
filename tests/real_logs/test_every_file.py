"""Every file of the real logs' folder, read as an inbox would hand it over: taken with its rows, or refused with why.

Rows are those of the files (lines less the header); what their values are is asked by the tests beside this one and by
`tests/readers/test_real_logs.py`. A file that is none of these, or one that is lacking, fails.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from pipeline.database import scratch
from pipeline.readers import ReadRequest, read_log
from pipeline.register import Register, load_register

HERE = Path(__file__).parent
REAL_LOGS = Path(os.environ.get("MORNINGWATCH_REAL_LOGS", HERE.parents[2] / "shared" / "data"))

STROKES = """\
[fleet]
name = "Bench"
timezone = "UTC"
[channel_map.strokes]
time = { column = "Time", unit = "s" }
shift_position = { column = "Angle", unit = "%" }
[[boat]]
id = "bench"
channel_map = "strokes"
[[boat.engine]]
id = "actuator"
"""
"""For the folders without a register of their own."""

TAKEN: dict[str, tuple[int, int, tuple[str, ...]]] = {
    "carobd/idle1.csv": (1212, 1, ("cut_last_row",)),
    "carobd/idle12.csv": (1275, 0, ()),
    "carobd/idle23.csv": (1593, 0, ()),
    "carobd/idle3.csv": (1360, 0, ()),
    "carobd/idle30.csv": (1295, 0, ()),
    "carobd/idle31.csv": (1360, 0, ()),
    "carobd/idle32.csv": (1255, 0, ()),
    "carobd/idle4.csv": (1347, 0, ()),
    "carobd/idle7.csv": (1930, 0, ()),
    "carobd/live13.csv": (2418, 0, ()),
    "carobd/live14.csv": (1291, 0, ()),
    "carobd/live5.csv": (2384, 0, ()),
    "kit_obd2/2017-07-13_Seat_Leon_KA_KA_Normal.csv": (11216, 0, ()),
    "kit_obd2/2017-07-14_Seat_Leon_KA_KA_Frei.csv": (6829, 0, ()),
    "kit_obd2/2017-08-01_Seat_Leon_KA_KA_Frei.csv": (14507, 3, ("rows_step_back",)),
    "kit_obd2/2018-02-20_Seat_Leon_KA_KA_Frei.csv": (8903, 0, ()),
    "kit_obd2/2018-02-26_Seat_Leon_RT_RT_Frei.csv": (11534, 0, ()),
    "kit_obd2/2018-04-23_Seat_Leon_KA_KA_Frei.csv": (9701, 0, ()),
}
"""File → rows kept, rows left out, codes of the remarks."""

REFUSED = {"carobd/live6.csv": "fields_short"}
REFUSED_BY_ENDING = {".MF4": "raw_frames", ".json": "unknown_format", ".dbc": "unknown_format",
                     ".md": "unknown_format", "": "unknown_format"}  # fmt: skip
STROKE_ROWS = 3000


@pytest.fixture(scope="module")
def found() -> list[str]:
    """Every file of the folder."""
    if not REAL_LOGS.is_dir():
        pytest.skip("the real logs are not here; set MORNINGWATCH_REAL_LOGS to the folder that holds them")
    return sorted(path.relative_to(REAL_LOGS).as_posix() for path in REAL_LOGS.rglob("*") if path.is_file())


def _register(top: str, folder: Path) -> Register:
    own = HERE / f"{top}.toml"
    text = own.read_text(encoding="utf-8") if own.exists() else STROKES
    (folder / "fleet.toml").write_text(text, encoding="utf-8")
    return load_register(folder)


def _expected(file: str) -> tuple[str, int, int, tuple[str, ...]]:
    if file in TAKEN:
        return ("taken", *TAKEN[file])
    if file.startswith("actuator_vtnsi/") and file.endswith(".txt"):
        return ("taken", STROKE_ROWS, 0, ())
    return ("refused", 0, 0, (REFUSED.get(file) or REFUSED_BY_ENDING[Path(file).suffix],))


def test_every_file_is_taken_whole_or_refused_for_its_own_reason(found: list[str], tmp_path: Path) -> None:
    pytest.importorskip("asammdf", reason="asammdf, the MDF4 extra, is not installed")
    answers = {}
    for file in found:
        register = _register(file.partition("/")[0], tmp_path)
        (boat,) = register.boats
        channel_map = register.channel_maps[str(boat.channel_map)]
        request = ReadRequest(REAL_LOGS / file, file, boat.engines, channel_map, register.timezone)
        log = read_log(scratch(), request)
        answers[file] = (log.status, log.rows, log.rows_dropped, tuple(problem.code for problem in log.problems))
        assert [problem.sentence() for problem in log.problems if not problem.way_out] == []
    assert answers == {file: _expected(file) for file in found}
    assert TAKEN.keys() | REFUSED.keys() <= answers.keys()
