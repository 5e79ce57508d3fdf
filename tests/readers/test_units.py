"""Units of the canonical channels, against NIST Special Publication 811, Appendix B, unless a line says else."""

from __future__ import annotations

import pickle

import pytest

from pipeline.channels import CHANNELS, UnitError, accepted_units, affine, fits, is_unit
from pipeline.readers.header import column_of


@pytest.mark.parametrize(
    ("channel", "unit", "logged", "canonical"),
    [
        ("oil_temp", "degF", 212.0, 100.0),  # (F - 32)/1.8, exact
        ("oil_temp", "°F", 32.0, 0.0),
        ("coolant_temp", "K", 273.15, 0.0),  # K = degC + 273.15, exact
        ("oil_pressure", "psi", 1.0, 6.894757293168),  # 4.4482216152605 N / (0.0254 m)^2
        ("oil_pressure", "psi", 14.7, 101.3529),  # computed from the line above
        ("manifold_pressure", "inHg", 1.0, 3.386389),  # conventional inch of mercury, as printed
        ("manifold_pressure", "inHg", 29.92, 101.3207),
        ("manifold_pressure", "bar", 1.0, 100.0),  # exact
        ("manifold_pressure", "atm", 1.0, 101.325),  # exact
        ("manifold_pressure", "hPa", 1013.25, 101.325),
        ("manifold_pressure", "mbar", 1013.25, 101.325),
        ("battery", "mV", 14200.0, 14.2),
        ("rpm", "1/min", 600.0, 600.0),
        ("rpm", "Hz", 10.0, 600.0),  # revolutions a second
        ("throttle", "fraction", 0.5, 50.0),
        ("engine_hours", "min", 90.0, 1.5),
        ("engine_hours", "s", 86400.0, 24.0),  # NMEA 2000, PGN 127489: total hours are logged in seconds
    ],
)
def test_a_logged_unit_becomes_the_canonical_one(channel: str, unit: str, logged: float, canonical: float) -> None:
    assert affine(channel, unit)(logged) == pytest.approx(canonical, rel=5e-7, abs=1e-9)


def test_an_air_fuel_ratio_is_divided_by_the_stoichiometric_one() -> None:
    # Heywood, Internal Combustion Engine Fundamentals, section 3.4: gasoline CH1.87 has 14.60, iso-octane 15.13.
    assert affine("lambda", "afr", 14.60)(14.60) == pytest.approx(1.0, rel=1e-12)
    assert affine("lambda", "AFR", 15.13)(12.0) == pytest.approx(12.0 / 15.13, rel=1e-12)


@pytest.mark.parametrize("stoich", [None, 0.0, -14.7, 147.0, float("nan")])
def test_an_air_fuel_ratio_without_a_usable_fuel_is_an_error(stoich: float | None) -> None:
    with pytest.raises(UnitError, match="stoich"):
        affine("lambda", "afr", stoich)


@pytest.mark.parametrize(
    ("channel", "unit"),
    [("oil_temp", "kPa"), ("rpm", "degC"), ("battery", "A"), ("lambda", "phi"), ("gear", "rpm"), ("pedal", "")],
)
def test_a_unit_of_another_quantity_is_an_error_that_names_the_fitting_ones(channel: str, unit: str) -> None:
    with pytest.raises(UnitError) as raised:
        affine(channel, unit)
    assert raised.value.accepted == accepted_units(channel)
    assert all(fits(channel, spelling) for spelling in raised.value.accepted)


def test_every_spelling_in_the_table_of_units_converts() -> None:
    for channel in CHANNELS:
        for unit in accepted_units(channel):
            conversion = affine(channel, unit, stoich=14.6)
            assert conversion.factor > 0, (channel, unit)


def test_every_canonical_unit_is_the_identity() -> None:
    for channel in CHANNELS.values():
        assert affine(channel.name, channel.unit)(12.5) == 12.5
        assert affine(channel.name, None)(12.5) == 12.5


def test_the_zero_of_a_sensor_is_subtracted_before_the_unit_is_converted() -> None:
    assert affine("pedal", "fraction").from_zero(0.1608)(0.1608) == pytest.approx(0.0, abs=1e-12)
    assert affine("pedal", "%").from_zero(16.08)(26.08) == pytest.approx(10.0)


@pytest.mark.parametrize("written", ["[°C]", "(degC)", "[Â°C]", "(º C)", "deg C", "Deg. C", "celsius", "℃", "C"])
def test_the_degree_sign_may_be_written_in_many_ways(written: str) -> None:
    assert fits("oil_temp", written)


def test_a_name_is_no_unit_and_a_unit_is() -> None:
    assert [is_unit(word) for word in ("rpm", "[km/h]", "°C", "%", "s")] == [True] * 5
    assert not any(is_unit(word) for word in ("Engine Speed", "oil_temp", "612.5", ""))


def test_a_header_cell_is_taken_apart_into_name_and_unit() -> None:
    assert (column_of("Oil Temp [°F]").name, column_of("Oil Temp [°F]").unit) == ("Oil Temp", "°F")
    assert (column_of("ENGINE_RPM ()").name, column_of("ENGINE_RPM ()").unit) == ("ENGINE_RPM", None)
    assert column_of("Temp [\u00c2\u00b0C]").unit == "°C"  # twice encoded


def test_every_range_is_wider_than_nothing_and_every_channel_has_a_meaning() -> None:
    assert len(CHANNELS) == 21
    assert all(channel.low < channel.high and channel.meaning for channel in CHANNELS.values())
    assert list(CHANNELS)[:4] == ["rpm", "rpm_target", "gear", "shift_target"]
    assert list(CHANNELS)[-1] == "engine_hours"


def test_a_unit_error_survives_the_way_back_from_a_worker_process() -> None:
    error = UnitError("rpm", "degC", ("rpm",), "!")
    assert str(pickle.loads(pickle.dumps(error))) == str(error)  # noqa: S301 - our own bytes
