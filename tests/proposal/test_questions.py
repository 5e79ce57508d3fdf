"""What a log cannot tell is asked; what is said twice in it or cannot be is said; a person's answers are taken."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pipeline.proposal import OverrideError, Proposal, parse_override, propose, with_picks
from pipeline.register import Boat, Engine

ROWS = 1200
RNG = np.random.default_rng(11)
SPEED = np.where(np.arange(ROWS) < 20, 0, np.where(np.arange(ROWS) % 400 < 200, 620, 2400)) + 0.0


def _log(folder: Path, name: str = "2026-06-14_0710.csv", **columns: Any) -> Path:
    """A log at 10 Hz with these columns; underscores in a name stand for spaces."""
    cells = {"Time": np.arange(ROWS) / 10, **{key.replace("_", " "): value for key, value in columns.items()}}
    lines = [",".join(cells), *(",".join(f"{each:.10g}" for each in row) for row in zip(*cells.values(), strict=True))]
    path = folder / name
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def _warming(slowness: float) -> np.ndarray:
    return (15 + 65 * (1 - np.exp(-np.arange(ROWS) / slowness)) + RNG.normal(0, 0.1, ROWS)).round(1)


def _asked(proposal: Proposal) -> str:
    return "\n".join(question.text for question in proposal.questions)


def test_two_temperatures_that_rise_alike_are_asked_about_and_not_guessed(tmp_path: Path) -> None:
    warming = _warming(300)
    proposal = propose(_log(tmp_path, rpm=SPEED, A=warming, B=warming + 0.1))
    assert {line.channel for line in proposal.chosen} == {"time", "rpm"}
    assert "Which of 'A' and 'B', if any, is oil_temp and which coolant_temp?" in _asked(proposal)
    (question,) = proposal.questions
    assert set(question.answers) == {"oil_temp=A", "oil_temp=B", "coolant_temp=A", "coolant_temp=B"}


def test_one_temperature_that_rises_is_asked_about_too(tmp_path: Path) -> None:
    proposal = propose(_log(tmp_path, rpm=SPEED, A=_warming(300)))
    assert "Is 'A' oil_temp or coolant_temp?" in _asked(proposal)


def test_an_answer_settles_the_question(tmp_path: Path) -> None:
    warming = _warming(300)
    path = _log(tmp_path, rpm=SPEED, A=warming, B=warming + 0.1)
    answered = propose(path, overrides=[parse_override("oil_temp=B"), parse_override("coolant_temp=A:degF")])
    lines = {line.channel: line for line in answered.chosen}
    assert (lines["oil_temp"].column, lines["coolant_temp"].column, lines["coolant_temp"].unit) == ("B", "A", "degF")
    assert not answered.questions
    assert "oil_temp" not in answered.lacking


def test_which_fuel_an_air_fuel_ratio_is_of_is_asked_and_can_be_answered(tmp_path: Path) -> None:
    path = _log(tmp_path, rpm=SPEED, AFR=14.6 + RNG.normal(0, 0.2, ROWS))
    assert "Which stoichiometric air-fuel ratio" in _asked(propose(path))
    answered = propose(path, overrides=[parse_override("stoich=14.1")])
    assert next(line for line in answered.chosen if line.channel == "lambda").stoich == 14.1
    assert "stoichiometric" not in _asked(answered)


@pytest.mark.parametrize(
    ("name", "unit", "values", "better"),
    [
        # 30 psi at idle and 60 at speed are 207 and 414 kPa; as kPa no engine would live by them
        ("Oil_Pressure_[kPa]", "kPa", np.where(SPEED > 2000, 60.0, np.where(SPEED > 0, 30.0, 0.0)), "psi"),
        # an engine warms to 80 °C, which is 176 °F
        ("Coolant_Temp_[degC]", "degC", _warming(300) * 1.8 + 32, "degF"),
    ],
)
def test_a_unit_that_is_unlikely_is_said(tmp_path: Path, name: str, unit: str, values: np.ndarray, better: str) -> None:
    proposal = propose(_log(tmp_path, rpm=SPEED, **{name: values + RNG.normal(0, 0.05, ROWS)}))
    line = next(each for each in proposal.chosen if each.channel not in {"time", "rpm"})
    assert line.doubt is not None
    assert f"{unit} is unlikely" in line.doubt
    assert f"as {better} it would fit" in line.doubt
    assert "Is the unit of" in _asked(proposal)


def test_a_column_whose_values_cannot_be_what_it_is_called_is_left_out_and_asked_about(tmp_path: Path) -> None:
    proposal = propose(_log(tmp_path, rpm=SPEED, lambda_target=np.zeros(ROWS)))
    assert "lambda_target" not in {line.channel for line in proposal.chosen}
    assert "'lambda target' is called like lambda_target, but holds 0 to 0. Is it?" in _asked(proposal)


def test_a_time_that_may_only_count_rows_is_asked_about(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_text("Time,RPM\n" + "".join(f"{row},{600 + row % 7}\n" for row in range(1, 100)), encoding="utf-8")
    assert "Does 'Time' count seconds, or only the rows?" in _asked(propose(path))


def test_a_pedal_that_does_not_rest_at_zero_gets_the_value_it_rests_at(tmp_path: Path) -> None:
    pedal = np.where(SPEED > 2000, 40.0, 16.08)
    line = next(each for each in propose(_log(tmp_path, rpm=SPEED, Pedal=pedal)).chosen if each.channel == "pedal")
    assert line.zero == 16.08
    assert tomllib.loads(line.toml())["pedal"] == {"column": "Pedal", "zero": 16.08}


def test_a_log_of_a_boat_with_two_engines_that_names_none_asks_of_which_it_is(tmp_path: Path) -> None:
    engines = tuple(
        Engine(id=each, boat_id="petrel", label=each, serial=None, shift_targets=None, service=None, limits={})
        for each in ("port", "starboard")
    )
    boat = Boat(id="petrel", name="Petrel", channel_map=None, engines=engines, limits={})
    assert "Of which engine is it (port, starboard)?" in _asked(propose(_log(tmp_path, rpm=SPEED), boat))


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ("oil_temp", "is no answer"),
        ("oil_tempp=A", "Did you mean oil_temp?"),
        ("oil_temp=AA", "The log has no column 'AA'. Did you mean A?"),
        ("oil_temp=A:psi", "'psi' is no unit of oil_temp"),
        ("time=A:fortnights", "no unit of time"),
        ("stoich=rich", "is no number"),
    ],
)
def test_an_answer_that_fits_nothing_is_an_error_that_says_what_would(tmp_path: Path, answer: str, said: str) -> None:
    path = _log(tmp_path, rpm=SPEED, A=_warming(300))
    with pytest.raises(OverrideError, match=said.replace("?", r"\?")):
        propose(path, overrides=[parse_override(answer)])


def test_an_answer_of_nothing_takes_the_channel_out(tmp_path: Path) -> None:
    answered = propose(_log(tmp_path, rpm=SPEED, Battery=np.full(ROWS, 13.8)), overrides=[parse_override("battery=")])
    assert "battery" in answered.lacking
    assert answered.unused == ("Battery",)


def test_a_column_that_a_person_names_keeps_what_its_cells_say(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    rows = "".join(
        f"{row / 10},{600 + row % 7},{'RNF'[row // 40 % 3]},{16.5 + row // 60 % 2 * 20}\n" for row in range(240)
    )
    path.write_text(f"Time,RPM,Odd,Strange\n{rows}", encoding="utf-8")
    answered = propose(path, overrides=[parse_override("gear=Odd"), parse_override("pedal=Strange")])
    lines = {line.channel: line.entry() for line in answered.chosen}
    assert lines["gear"] == {"column": "Odd", "values": {"R": "reverse", "N": "neutral", "F": "forward"}}
    assert lines["pedal"] == {"column": "Strange", "zero": 16.5}
    picked = with_picks(propose(path), {"gear": ("Odd", None), "pedal": ("Strange", None)})
    assert {line.channel: line.entry() for line in picked.chosen} == lines


def _lever(neutral: int, ahead: int, astern: int) -> np.ndarray:
    """Neutral, ahead, neutral, astern by turns, every twelfth of the log another one."""
    return np.asarray([neutral, ahead, neutral, astern] * 3)[np.arange(ROWS) * 12 // ROWS].astype(float)


@pytest.mark.parametrize("codes", [(0, 1, 2), (0, 2, 1), (1, 2, 0), (1, 0, 2), (2, 0, 1)])
def test_a_gear_of_0_1_and_2_is_told_by_what_the_lever_passes_and_the_speed_ahead(
    tmp_path: Path, codes: tuple[int, int, int]
) -> None:
    neutral, ahead, astern = codes
    lever = _lever(*codes)
    speed = np.where(lever == ahead, 2500.0, np.where(lever == astern, 1100.0, 620.0)) + RNG.normal(0, 5, ROWS)
    proposal = propose(_log(tmp_path, rpm=speed, Gear=lever))
    line = next(each for each in proposal.chosen if each.channel == "gear")
    assert line.values == dict(sorted({f"{neutral}": "neutral", f"{ahead}": "forward", f"{astern}": "reverse"}.items()))
    assert "forward" not in _asked(proposal)


def test_where_the_speed_does_not_tell_ahead_from_astern_it_is_asked(tmp_path: Path) -> None:
    lever = _lever(0, 1, 2)
    speed = np.where(lever == 0, 620.0, 900.0) + RNG.normal(0, 5, ROWS)
    proposal = propose(_log(tmp_path, rpm=speed, Gear=lever))
    line = next(each for each in proposal.chosen if each.channel == "gear")
    assert line.values == {"0": "neutral", "1": "forward", "2": "reverse"}
    assert "Is 1 forward and 2 reverse in 'Gear'?" in _asked(proposal)


def test_a_counter_of_0_1_and_2_that_no_lever_would_make_is_no_gear(tmp_path: Path) -> None:
    rounds = (np.arange(ROWS) * 12 // ROWS % 3).astype(float)  # 0, 1, 2, 0, 1, 2: from 2 straight to 0
    proposal = propose(_log(tmp_path, rpm=SPEED, Mode=rounds))
    assert "gear" not in {line.channel for line in proposal.chosen}


def test_picks_keep_the_reasons_of_what_is_as_proposed_and_serve_two_channels_if_told(tmp_path: Path) -> None:
    proposal = propose(_log(tmp_path, rpm=SPEED, A=_warming(300)))
    picked = with_picks(proposal, {"rpm": ("rpm", None), "oil_temp": ("A", None), "coolant_temp": ("A", "degF")})
    lines = {line.channel: line for line in picked.chosen}
    assert lines["rpm"] == next(line for line in proposal.chosen if line.channel == "rpm")
    assert (lines["oil_temp"].column, lines["coolant_temp"].entry()) == ("A", {"column": "A", "unit": "degF"})


@pytest.mark.parametrize(
    "names",
    [
        ("Drehzahl", "Öltemperatur", "Kühlmitteltemperatur", "Batteriespannung"),
        ("Régime moteur", "Température huile", "Température eau", "Tension batterie"),
        ("Revoluciones motor", "Temperatura aceite", "Temperatura agua", "Tensión batería"),
    ],
)
def test_names_in_other_languages_find_their_channels(tmp_path: Path, names: tuple[str, ...]) -> None:
    values = (SPEED, _warming(500), _warming(300), 13.8 + RNG.normal(0, 0.05, ROWS))
    proposal = propose(_log(tmp_path, **dict(zip(names, values, strict=True))))
    found = {line.channel: line.column for line in proposal.chosen}
    assert found == dict(zip(("time", "rpm", "oil_temp", "coolant_temp", "battery"), ("Time", *names), strict=True))
