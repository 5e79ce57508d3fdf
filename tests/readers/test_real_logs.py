"""Real logs that stay out of the repository. Expected values come from the SOURCE.md beside each set."""

from __future__ import annotations

import csv
import os
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from pipeline.proposal import propose
from pipeline.register import Register, load_register

Read = Callable[..., Any]

REAL_LOGS = Path(os.environ.get("MORNINGWATCH_REAL_LOGS", Path(__file__).parents[3] / "shared" / "data"))
REGISTERS = Path(__file__).parents[1] / "real_logs"


def real(folder: str, name: str) -> Path:
    """A real log; the test is skipped where it is not."""
    path = REAL_LOGS / folder / name
    if not path.exists():
        pytest.skip(f"the real log {folder}/{name} is not beside the repository")
    return path


def register_of(name: str, tmp_path: Path) -> Register:
    """One of the example registers for real logs, loaded."""
    (tmp_path / "fleet.toml").write_text((REGISTERS / f"{name}.toml").read_text(encoding="utf-8"), encoding="utf-8")
    return load_register(tmp_path)


def taken(read: Read, folder: str, name: str, tmp_path: Path) -> Any:
    """A real log, read with its example register."""
    path = real(folder, name)
    register = register_of(folder, tmp_path)
    boat = register.boats[0]
    entries = {channel: entry.model_dump() for channel, entry in register.channel_maps[str(boat.channel_map)].items()}
    return read(path, entries, boat.engines, register.timezone)


def cells(path: Path, column: int) -> list[float]:
    """One column of a text log by the standard library's reader, the cut last row left out."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if len(row) >= 27]
    return [float(row[column]) for row in rows[1:]]


def test_a_trailing_comma_on_every_row_does_not_shift_the_columns(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "carobd", "idle23.csv", tmp_path)
    truth = cells(real("carobd", "idle23.csv"), 5)
    assert answer.column("only.coolant_temp") == truth
    assert min(truth) > 20, "a shifted column would hold the fuel trim, -4.69 %"
    assert answer.log.start_assumed


def test_warm_idle_of_idle23_is_the_speed_measured_independently(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "carobd", "idle23.csv", tmp_path)
    warm = [
        rpm
        for rpm, temp, rest in zip(
            answer.column("only.rpm"),
            answer.column("only.coolant_temp"),
            answer.column("only.idle_active"),
            strict=True,
        )
        if temp >= 75 and rest == 1
    ]
    assert np.mean(warm) == pytest.approx(651.6, abs=2.0)  # SOURCE.md: idle23 651.6, sd 5.0


def test_equal_integer_seconds_are_spread_and_the_times_rise(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "carobd", "idle12.csv", tmp_path)
    times = np.array(answer.column("time_s"))
    assert np.all(np.diff(times) > 0)
    assert answer.log.rows == 1275
    assert answer.log.rows_spread / answer.log.rows == pytest.approx(0.73, abs=0.01)  # SOURCE.md: 73 % repeat
    assert answer.log.rows_dropped == 0


def test_a_log_without_the_trailing_comma_reads_like_those_with_it(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "carobd", "live5.csv", tmp_path)
    assert answer.log.rows == 2384
    assert answer.column("only.coolant_temp") == cells(real("carobd", "live5.csv"), 5)


def test_24_fields_under_27_names_are_refused(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "carobd", "live6.csv", tmp_path)
    assert answer.codes == ["fields_short"]
    assert "27 fields" in answer.log.problems[0].expected
    assert "24 fields" in answer.log.problems[0].got


def test_the_cut_last_row_of_idle1_is_named_with_its_line(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "carobd", "idle1.csv", tmp_path)
    assert [(problem.code, problem.line) for problem in answer.log.problems] == [("cut_last_row", 1214)]
    assert (answer.log.rows, answer.log.rows_dropped) == (1212, 1)


@pytest.mark.parametrize("name", ["2017-07-13_Seat_Leon_KA_KA_Normal.csv", "2018-04-23_Seat_Leon_KA_KA_Frei.csv"])
def test_degree_signs_encoded_once_or_twice_are_the_same_header(read: Read, tmp_path: Path, name: str) -> None:
    answer = taken(read, "kit_obd2", name, tmp_path)
    assert answer.log.problems == ()
    assert "coolant_temp" in answer.log.columns["only"]


def test_the_date_comes_from_the_name_and_the_clock_from_the_rows(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "kit_obd2", "2017-07-13_Seat_Leon_KA_KA_Normal.csv", tmp_path)
    local = datetime.fromtimestamp(answer.log.started_s, UTC).astimezone(ZoneInfo("Europe/Berlin"))
    assert local.isoformat(timespec="milliseconds") == "2017-07-13T19:28:52.752+02:00"
    assert not answer.log.start_assumed


def test_the_staircase_of_the_first_rows_is_blank(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "kit_obd2", "2017-07-13_Seat_Leon_KA_KA_Normal.csv", tmp_path)
    assert answer.column("only.coolant_temp")[0] == 32.0
    assert answer.column("only.rpm")[:2] == [None, None]
    assert answer.column("only.pedal")[0] is None


def test_the_one_step_back_in_time_costs_its_rows_only(read: Read, tmp_path: Path) -> None:
    answer = taken(read, "kit_obd2", "2017-08-01_Seat_Leon_KA_KA_Frei.csv", tmp_path)
    assert answer.codes == ["rows_step_back"]
    assert answer.log.rows_dropped <= 5
    assert np.all(np.diff(answer.column("time_s")) > 0)


@pytest.mark.parametrize(
    "name", ["j1939_11111111_00000012_00000001.MF4", "j1939_FCBF0606_00003482_00000001-60B621D9.MF4"]
)
def test_raw_bus_frames_are_refused_with_what_to_do(read: Read, name: str) -> None:
    answer = read(real("mf4_j1939", name))
    assert answer.codes == ["raw_frames"]
    assert ".dbc" in answer.log.problems[0].way_out


def test_a_map_for_carobd_is_proposed_as_a_person_would_write_it() -> None:
    proposal = propose(real("carobd", "idle1.csv"))
    columns = {line.channel: line.column.removesuffix(" ()") for line in proposal.chosen}
    assert columns == {
        "time": "ENGINE_RUN_TINE",
        "rpm": "ENGINE_RPM",
        "throttle": "THROTTLE",
        "pedal": "PEDAL_D",
        "coolant_temp": "COOLANT_TEMPERATURE",
        "air_temp": "INTAKE_AIR_TEMP",
        "battery": "CONTROL_MODULE_VOLTAGE",
        "fuel_trim": "SHORT_TERM_FUEL_TRIM_BANK_1",
        "manifold_pressure": "INTAKE_MANIFOLD_PRESSURE",
    }
    assert "'FUEL_AIR_COMMANDED_EQUIV_RATIO ()' is called like lambda_target, but holds 0 to 0. Is it?" in {
        each.text for each in proposal.questions
    }


def test_a_map_for_kit_obd2_is_proposed_as_a_person_would_write_it() -> None:
    proposal = propose(real("kit_obd2", "2017-07-13_Seat_Leon_KA_KA_Normal.csv"))
    assert [line.channel for line in proposal.chosen] == [
        "time",
        "rpm",
        "throttle",
        "pedal",
        "coolant_temp",
        "air_temp",
        "manifold_pressure",
    ]
    assert not proposal.maybe


@pytest.mark.parametrize("name", ["carobd", "kit_obd2"])
def test_every_channel_of_the_map_that_was_written_by_hand_is_proposed_and_none_is_wrong(name: str) -> None:
    """The maps beside the real logs were written by a person; standing still for an idle flag is a person's idea."""
    register = REGISTERS / f"{name}.toml"
    (by_hand,) = tomllib.loads(register.read_text(encoding="utf-8"))["channel_map"].values()
    log = sorted(path for path in (REAL_LOGS / name).glob("*.csv") if path.name != "live6.csv")
    if not log:
        pytest.skip(f"the real logs of {name} are not beside the repository")
    for path in log:
        found = {line.channel: line for line in propose(path).chosen}
        assert set(found) == set(by_hand) - {"idle_active"}, path.name
        for channel, line in found.items():
            wanted = by_hand[channel]
            # the plate and its command read alike to half a per cent; either serves
            columns = {wanted["column"], "THROTTLE"} if channel == "throttle" else {wanted["column"]}
            assert any(line.column.startswith(each) for each in columns), (path.name, channel)
            assert line.zero == pytest.approx(wanted.get("zero"), abs=0.1) or line.zero is None, (path.name, channel)


def test_no_channel_is_proposed_for_an_actuator_on_a_bench(tmp_path: Path) -> None:
    """Raw counts of a hydraulic actuator: no engine is in them, and no column is a channel of one."""
    logs = sorted((REAL_LOGS / "actuator_vtnsi").glob("*/*.txt"))
    if not logs:
        pytest.skip("the real logs of actuator_vtnsi are not beside the repository")
    for log in logs[::4]:
        assert [line.channel for line in propose(log).chosen] == ["time"], log.name
