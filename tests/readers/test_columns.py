"""Proposals of channel maps. What is expected is what a person would write who reads the header."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from pipeline.channel_words import CONTRARY, ENGINE_WORDS, GEAR_WORDS, NAMES, SAME_WORD
from pipeline.channels import CHANNELS, GEAR_CODES
from pipeline.proposal import propose

Write = Callable[..., Any]
RNG = np.random.default_rng(7)


def log(columns: dict[str, Any], rows: int = 100) -> str:
    """A log with these columns; a number is a level with a little noise, a list is repeated."""
    made = {
        name: [f"{value + RNG.normal(0, 0.01 * abs(value)):.3f}" for _ in range(rows)]
        if isinstance(value, float)
        else [str(value[row % len(value)]) for row in range(rows)]
        for name, value in columns.items()
    }
    cells = [[f"{row / 20:.2f}" for row in range(rows)], *made.values()]
    return ",".join(["Time", *made]) + "\n" + "".join(",".join(row) + "\n" for row in zip(*cells, strict=True))


def proposed(text: str, write: Write) -> dict[str, Any]:
    """The proposal as the register would read it."""
    return tomllib.loads(propose(write(text)).toml("bench"))["channel_map"]["bench"]


def test_plain_english_names_find_their_channels(write: Write) -> None:
    text = log(
        {
            "Engine Speed": 620.0,
            "Oil Temperature [degC]": 80.0,
            "Water Temp": 70.0,
            "Battery Voltage": 13.8,
            "Idle Target": 620.0,
            "Oil Pressure [kPa]": 300.0,
            "Short Term Fuel Trim": [-2, 3, 1],
            "Sea State": 2.0,
        }
    )
    found = proposed(text, write)
    assert {channel: entry["column"] for channel, entry in found.items()} == {
        "time": "Time",
        "rpm": "Engine Speed",
        "oil_temp": "Oil Temperature [degC]",
        "coolant_temp": "Water Temp",
        "battery": "Battery Voltage",
        "rpm_target": "Idle Target",
        "oil_pressure": "Oil Pressure [kPa]",
        "fuel_trim": "Short Term Fuel Trim",
    }


def test_a_unit_the_header_does_not_give_is_told_by_the_values(write: Write) -> None:
    found = proposed(
        log({"Oil Temp": 185.0, "Battery": 13800.0, "Oil Pressure": 3.2, "AFR": 14.5, "RPM": 620.0}), write
    )
    assert found["oil_temp"]["unit"] == "degF"  # 185 °F is 85 °C; 185 °C is no engine oil
    assert found["battery"]["unit"] == "mV"
    assert found["oil_pressure"]["unit"] == "bar"
    assert found["lambda"] == {"column": "AFR", "unit": "afr", "stoich": 14.6}


def test_gear_letters_are_proposed_with_their_meaning(write: Write) -> None:
    found = proposed(log({"Lever": ["R", "N", "F"], "RPM": 620.0}), write)
    assert found["gear"] == {"column": "Lever", "values": {"R": "reverse", "N": "neutral", "F": "forward"}}


def test_three_levels_far_apart_are_mentioned_as_a_shift_target_whatever_their_name(write: Write) -> None:
    held = [level for level in (50, 90, 50, 12) for _ in range(25)]
    proposal = propose(write(log({"CH07": held, "RPM": 620.0})))
    assert [(line.channel, line.column) for line in proposal.maybe] == [("shift_target", "CH07")]
    assert "shift_target" in proposal.lacking, "what is only mentioned is still lacking"


def test_two_engines_in_one_log_are_proposed_with_the_engines_name_left_open(write: Write) -> None:
    proposal = propose(
        write(
            log(
                {
                    "Port RPM": 620.0,
                    "Starboard RPM": 630.0,
                    "Port Oil Temp [degC]": 80.0,
                    "Starboard Oil Temp [degC]": 81.0,
                    "Air Temp": 18.0,
                }
            )
        )
    )
    assert proposal.engines == ("Port", "Starboard")
    assert {line.channel: line.column for line in proposal.chosen} == {
        "time": "Time",
        "rpm": "{engine} RPM",
        "oil_temp": "{engine} Oil Temp [degC]",
        "air_temp": "Air Temp",
    }


@pytest.mark.parametrize(
    ("name", "channel"),
    [
        ("RPM Target", "rpm"),
        ("Target Lambda", "lambda"),
        ("Gear Oil Temp", "oil_temp"),
        ("Fuel Pressure", "oil_pressure"),
        ("Ambient Air Temperature", "air_temp"),
        ("Long Term Fuel Trim", "fuel_trim"),
        ("Barometric Pressure", "manifold_pressure"),
    ],
)
def test_a_neighbouring_quantity_is_not_taken_for_the_channel(write: Write, name: str, channel: str) -> None:
    assert channel not in proposed(log({name: 50.0, "Throttle": 5.0}), write)


def test_a_unit_that_cannot_be_the_channels_keeps_a_column_out(write: Write) -> None:
    assert "oil_temp" not in proposed(log({"Oil Temp [V]": 3.0, "RPM": 620.0}), write)


@pytest.mark.parametrize(
    ("cells", "unit"),
    [
        (["0", "50", "100"], "ms"),
        (["0.00", "0.05", "0.10"], "s"),
        (["1781421000", "1781421001", "1781421002"], "epoch_s"),
        (["1781421000000", "1781421000050", "1781421000100"], "epoch_ms"),
        (["2026-06-14T07:10:00Z", "2026-06-14T07:10:01Z", "2026-06-14T07:10:02Z"], "iso8601"),
        (["07:10:00.1", "07:10:00.2", "07:10:00.3"], "clock"),
    ],
)
def test_the_kind_of_time_is_told_by_its_values(write: Write, cells: list[str], unit: str) -> None:
    text = "When stamp,RPM\n".replace("When stamp", "Timestamp") + "".join(f"{cell},600\n" for cell in cells)
    assert proposed(text, write)["time"] == {"column": "Timestamp", "unit": unit}


def test_every_line_says_how_sure_it_is_and_why(write: Write) -> None:
    for line in propose(write(log({"RPM": 620.0, "Oil Temp": 80.0}))).chosen:
        assert 0 < line.confidence < 1
        assert line.reasons


def test_a_proposed_map_reads_the_log_it_was_proposed_for(write: Write, read: Callable[..., Any]) -> None:
    text = log({"Engine Speed": 620.0, "Oil Temp": 185.0, "Lever": ["R", "N", "F"]})
    path = write(text)
    channel_map = tomllib.loads(propose(path).toml("bench"))["channel_map"]["bench"]
    answer = read(path, channel_map)
    assert answer.log.columns == {"port": ("rpm", "gear", "oil_temp")}
    assert answer.column("oil_temp")[0] == pytest.approx(
        (float(text.splitlines()[1].split(",")[2]) - 32) / 1.8, rel=1e-5
    )


@pytest.mark.parametrize(
    ("content", "name"), [("", "a.csv"), ("hello", "a.csv"), (b"PAR1", "a.parquet"), (b"MDF", "a.mf4")]
)
def test_a_log_that_cannot_be_read_gives_its_problem_and_no_map(write: Write, content: str | bytes, name: str) -> None:
    proposal = propose(write(content, name))
    assert proposal.chosen == ()
    assert len(proposal.problems) == 1


def test_the_tables_of_words_speak_of_channels_and_of_gears_only() -> None:
    assert list(NAMES) == list(CHANNELS)
    assert set(CONTRARY) <= set(CHANNELS)
    assert set(GEAR_WORDS.values()) == set(GEAR_CODES)
    assert all(names and all(name == name.casefold() for name in names) for names in NAMES.values())
    assert not set(SAME_WORD) & set(SAME_WORD.values()), "an abbreviation of an abbreviation would stay one"
    assert len(set(ENGINE_WORDS)) == len(ENGINE_WORDS)
