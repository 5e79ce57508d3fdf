"""What a good `fleet.toml` becomes."""

from __future__ import annotations

import pickle
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from pydantic import ValidationError

from pipeline.register import LimitOverride, MapEntry, Register, RegisterError, load_register

Load = Callable[[str], Register]

# The example of the contract, word for word.
CONTRACT = """\
[fleet]
name = "Ninefold Charters"
timezone = "Pacific/Auckland"       # IANA; log times without an offset are local to it
currency_days = 3                   # a boat without a log for longer is 'unchecked'

[limits.shift_reach_error]          # any limit can also stand under a boat or an engine
watch = 1.0
hold = 2.0

[channel_map.bench]                 # one per shape of log; several boats can share it
time = { column = "Time", unit = "s" }
rpm = { column = "Engine Speed", unit = "rpm" }
oil_temp = { column = "Oil Temp", unit = "degF" }
lambda = { column = "AFR", unit = "afr", stoich = 14.6 }
gear = { column = "Lever", values = { R = "reverse", N = "neutral", F = "forward" } }

[[boat]]
id = "petrel"                       # [a-z0-9_-]+, also the inbox folder
name = "Petrel"
channel_map = "bench"

[[boat.engine]]
id = "port"
serial = "A-1041"
shift_targets = { reverse = 12, neutral = 50, forward = 90 }   # optional; otherwise learned from the logs
service = { every_hours = 100, last_hours = 412.0 }            # optional
"""

SMALLEST = '[fleet]\nname = "Fleet"\ntimezone = "UTC"\n'


def test_the_example_of_the_contract_loads_as_it_stands(load: Load) -> None:
    register = load(CONTRACT)

    assert (register.name, register.timezone, register.currency_days) == ("Ninefold Charters", "Pacific/Auckland", 3)
    assert register.simulated is False
    assert register.limits == {"shift_reach_error": LimitOverride(watch=1.0, hold=2.0)}
    bench = register.channel_maps["bench"]
    assert list(bench) == ["time", "rpm", "oil_temp", "lambda", "gear"]
    assert bench["lambda"] == MapEntry(column="AFR", unit="afr", stoich=14.6)
    assert bench["gear"].values == {"R": "reverse", "N": "neutral", "F": "forward"}
    (boat,) = register.boats
    assert (boat.id, boat.name, boat.channel_map) == ("petrel", "Petrel", "bench")
    (engine,) = boat.engines
    assert (engine.engine_id, engine.label, engine.serial) == ("petrel/port", "port", "A-1041")
    assert engine.shift_targets == {"reverse": 12, "neutral": 50, "forward": 90}
    assert engine.service is not None
    assert (engine.service.every_hours, engine.service.last_hours) == (100, 412)


def test_the_example_here_is_still_the_one_of_the_contract() -> None:
    contract = Path(__file__).parents[3] / "shared" / "contract.md"
    if not contract.exists():
        pytest.skip("the contract is not beside this repository")
    found = re.search(r"```toml\n(.*?)```", contract.read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    assert found.group(1) == CONTRACT


def test_a_fleet_without_boats_is_a_fleet(load: Load) -> None:
    register = load(SMALLEST)

    assert register.boats == ()
    assert register.engines() == ()
    assert register.currency_days == 3


def test_names_default_to_ids(load: Load) -> None:
    register = load(SMALLEST + '[[boat]]\nid = "petrel"\n[[boat.engine]]\nid = "port"\n')

    assert register.boat("petrel").name == "petrel"
    assert register.engine("petrel/port").label == "port"


def test_the_nearest_limit_counts_for_watch_and_hold_each_by_itself(load: Load) -> None:
    register = load("""
        [fleet]
        name = "Fleet"
        timezone = "UTC"
        [limits]
        shift_reach_error = { watch = 1.0, hold = 2.0 }
        battery_idle = { hold = 11.5 }
        [[boat]]
        id = "petrel"
        limits.shift_reach_error.watch = 1.5
        [[boat.engine]]
        id = "port"
        [boat.engine.limits.shift_reach_error]
        hold = 3.0
        [[boat.engine]]
        id = "starboard"
        [[boat]]
        id = "gannet"
        engine = [{ id = "main" }]
    """)

    assert register.limit("shift_reach_error", "petrel/port") == LimitOverride(watch=1.5, hold=3.0)
    assert register.limit("shift_reach_error", "petrel/starboard") == LimitOverride(watch=1.5, hold=2.0)
    assert register.limit("shift_reach_error", "gannet/main") == LimitOverride(watch=1.0, hold=2.0)
    assert register.limit("battery_idle", "petrel/port") == LimitOverride(watch=None, hold=11.5)
    assert register.limit("stall", "petrel/port") == LimitOverride()


def test_engines_come_in_the_order_of_the_file_and_by_name(load: Load) -> None:
    register = load("""
        fleet = { name = "Fleet", timezone = "UTC", simulated = true }
        [[boat]]
        id = "petrel"
        engine = [{ id = "port", label = "P" }, { id = "starboard", label = "S" }]
        [[boat]]
        id = "gannet"
        [[boat.engine]]
        id = "port"
    """)

    assert register.simulated is True
    assert [engine.engine_id for engine in register.engines()] == ["petrel/port", "petrel/starboard", "gannet/port"]
    assert register.engine("petrel/starboard").label == "S"
    with pytest.raises(KeyError, match="Did you mean petrel/port"):
        register.engine("petrel/prot")
    with pytest.raises(KeyError, match="Did you mean gannet"):
        register.boat("ganet")


def test_the_rows_of_an_idle_table_are_read_and_may_be_left_out(load: Load) -> None:
    register = load("""
        fleet = { name = "Fleet", timezone = "UTC" }
        [[boat]]
        id = "petrel"
        engine = [{ id = "port", idle_rows_c = [-10, 0, 22.5, 80] }, { id = "starboard" }]
    """)

    assert register.engine("petrel/port").idle_rows_c == (-10, 0, 22.5, 80)
    assert register.engine("petrel/starboard").idle_rows_c is None


def test_every_kind_of_map_entry_is_read(load: Load) -> None:
    bench = load(
        SMALLEST
        + """
[channel_map.bench]
time = { column = "Stamp", unit = "iso8601" }
gear = { column = "Lever", values = { "-1" = "reverse", 0 = 0, "1.5" = 1 } }
idle_active = { column = "Idle", values = { run = "on", stop = 0 } }
battery = { column = "{engine} Battery", unit = "mV" }
[channel_map.bench.pedal]
column = "Pedal"
zero = 16.08
"""
    ).channel_maps["bench"]

    assert bench["gear"].values == {"-1": "reverse", "0": 0, "1.5": 1}
    assert bench["idle_active"].values == {"run": "on", "stop": 0}
    assert bench["battery"].column == "{engine} Battery"
    assert bench["pedal"] == MapEntry(column="Pedal", zero=16.08)


def test_a_register_is_frozen_and_can_be_sent_to_another_process(load: Load) -> None:
    register = load(CONTRACT)

    assert pickle.loads(pickle.dumps(register)) == register  # noqa: S301 - our own bytes
    with pytest.raises(ValidationError, match="frozen"):
        register.name = "Other"


def test_a_byte_order_mark_and_windows_line_ends_are_no_trouble(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_bytes(b"\xef\xbb\xbf" + SMALLEST.replace("\n", "\r\n").encode())

    assert load_register(tmp_path).name == "Fleet"


def test_limits_of_any_name_load_where_nobody_says_which_indicators_there_are(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_text(SMALLEST + "[limits.not_known_here]\nwatch = 1\n")

    assert load_register(tmp_path).limits == {"not_known_here": LimitOverride(watch=1)}


def test_what_one_log_may_take_of_the_machine_can_be_set_and_has_defaults(tmp_path: Path) -> None:
    text = '[fleet]\nname = "x"\ntimezone = "UTC"\n'
    (tmp_path / "fleet.toml").write_text(text)
    assert load_register(tmp_path).reading.max_rows == 20_000_000
    (tmp_path / "fleet.toml").write_text(f"{text}[reading]\nmax_mb = 20\nmax_columns = 60\n")
    reading = load_register(tmp_path).reading
    assert (reading.max_mb, reading.max_columns, reading.max_memory_mb) == (20, 60, 4000)


@pytest.mark.parametrize("line", ["max_mb = 0", "max_rows = 1.5", 'max_columns = "many"', "max_gb = 1"])
def test_a_limit_that_cannot_be_one_is_named_with_its_line(tmp_path: Path, line: str) -> None:
    (tmp_path / "fleet.toml").write_text(f'[fleet]\nname = "x"\ntimezone = "UTC"\n[reading]\n{line}\n')
    with pytest.raises(RegisterError) as caught:
        load_register(tmp_path)
    assert "line 5" in str(caught.value)
