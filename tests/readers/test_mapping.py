"""Which column becomes which channel of which engine, and how coded values are read. Rules: the contract's own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from pipeline.register import Engine

Read = Callable[..., Any]
Write = Callable[..., Any]


def engine(name: str, label: str | None = None) -> Engine:
    """An engine of the boat 'petrel'."""
    return Engine(
        boat_id="petrel", id=name, label=label or name, serial=None, shift_targets=None, service=None, limits={}
    )


TWINS = (engine("port"), engine("starboard", "Stbd"))


def test_engine_in_a_column_name_is_the_label_or_the_id(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "rpm": {"column": "{engine} RPM"}, "oil_temp": {"column": "Oil {engine}"}}
    answer = read(
        write("t,port RPM,Stbd RPM,Oil port,Oil starboard\n0,600,700,80,90\n1,601,701,81,91\n"), channel_map, TWINS
    )
    assert answer.log.columns == {"port": ("rpm", "oil_temp"), "starboard": ("rpm", "oil_temp")}
    assert answer.column("starboard.rpm") == [700.0, 701.0]
    assert answer.column("starboard.oil_temp") == [90.0, 91.0]


def test_a_shared_column_belongs_to_every_engine_the_log_holds(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "rpm": {"column": "{engine} rpm"}, "air_temp": {"column": "Air"}}
    answer = read(write("t,port rpm,Stbd rpm,Air\n0,600,700,18\n1,601,701,19\n"), channel_map, TWINS)
    assert answer.column("port.air_temp") == answer.column("starboard.air_temp") == [18.0, 19.0]


def test_an_engine_folder_picks_its_own_engine_out_of_a_log_of_two(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "rpm": {"column": "{engine} rpm"}}
    answer = read(write("t,port rpm,Stbd rpm\n0,600,700\n1,601,701\n"), channel_map, TWINS[1:])
    assert answer.log.columns == {"starboard": ("rpm",)}


def test_a_log_without_an_engine_name_of_a_boat_with_two_is_refused_with_the_way_out(read: Read, write: Write) -> None:
    for channel_map in (None, {"time": {"column": "time"}, "rpm": {"column": "rpm"}}):
        answer = read(write("time,rpm\n0,600\n1,601\n"), channel_map, TWINS)
        assert answer.codes == ["several_engines"]
        assert "{engine}" in answer.log.problems[0].way_out


@pytest.mark.parametrize(
    "names", ["port_rpm,stbd_rpm", "rpm_port,rpm_Stbd", "port rpm,starboard rpm", "Port.RPM,STBD.RPM"]
)
def test_canonical_names_may_bear_the_engine_before_or_after(read: Read, write: Write, names: str) -> None:
    answer = read(write(f"time,{names},air_temp\n0,600,700,18\n1,601,701,18\n"), None, TWINS)
    assert answer.column("port.rpm") == [600.0, 601.0]
    assert answer.column("starboard.rpm") == [700.0, 701.0]
    assert answer.column("starboard.air_temp") == [18.0, 18.0]


def test_canonical_names_may_bear_their_unit(read: Read, write: Write) -> None:
    answer = read(
        write("time_s,oil_temp_f,coolant_temp_c,oil_pressure_psi,throttle_pct\n0,212,80,14.7,5\n1,32,81,14.7,6\n")
    )
    assert answer.column("oil_temp") == pytest.approx([100.0, 0.0], abs=1e-5)  # NIST SP 811
    assert answer.column("coolant_temp") == [80.0, 81.0]
    assert answer.column("oil_pressure") == pytest.approx([101.3529] * 2, rel=1e-6)
    assert answer.column("throttle") == [5.0, 6.0]


def test_target_is_not_taken_for_the_channel_it_is_the_target_of(read: Read, write: Write) -> None:
    answer = read(write("time,rpm_target,rpm,lambda_target,lambda\n0,620,601,0.98,1\n1,620,602,0.98,1.01\n"))
    assert answer.column("rpm_target") == [620.0, 620.0]
    assert answer.column("rpm") == [601.0, 602.0]
    assert answer.column("lambda") == pytest.approx([1.0, 1.01])


def test_an_air_fuel_ratio_needs_the_fuel_and_its_channel_is_left_out_without_it(read: Read, write: Write) -> None:
    answer = read(write("time,rpm,lambda_afr\n0,600,14.6\n1,601,14.6\n"))
    assert answer.log.columns == {"port": ("rpm",)}
    assert answer.codes == ["wrong_unit"]
    channel_map = {"time": {"column": "time"}, "lambda": {"column": "lambda_afr", "unit": "afr", "stoich": 14.6}}
    assert read(write("time,rpm,lambda_afr\n0,600,14.6\n1,601,7.3\n"), channel_map).column("lambda") == pytest.approx(
        [1, 0.5]
    )


def test_a_unit_that_does_not_fit_refuses_the_log_and_lists_those_that_do(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "time"}, "rpm": {"column": "rpm", "unit": "kPa"}}
    answer = read(write("time,rpm\n0,600\n1,601\n"), channel_map)
    assert answer.codes == ["wrong_unit"]
    assert "1/min" in answer.log.problems[0].expected


def test_a_map_column_the_log_does_not_have_is_a_lacking_channel_and_no_error(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "rpm": {"column": "n"}, "oil_temp": {"column": "Oil"}}
    answer = read(write("t,n\n0,600\n1,601\n"), channel_map)
    assert answer.log.columns == {"port": ("rpm",)}
    assert answer.log.problems == ()


@pytest.mark.parametrize("cells", ["reverse,neutral,forward", "Reverse,NEUTRAL, forward ", "-1,0,1", "-1.0,0.0,1.0"])
def test_gear_is_read_from_words_and_from_codes(read: Read, write: Write, cells: str) -> None:
    lines = "".join(f"{at},{cell}\n" for at, cell in enumerate(cells.split(",")))
    assert read(write("time,gear\n" + lines)).column("gear") == [-1.0, 0.0, 1.0]


def test_values_map_listed_texts_and_others_are_null(read: Read, write: Write) -> None:
    values = {"R": "reverse", "N": "neutral", "F": "forward"}
    channel_map = {"time": {"column": "t"}, "gear": {"column": "Lever", "values": values}}
    answer = read(write("t,Lever\n0,R\n1,N\n2,F\n3,X\n4,\n5,n\n"), channel_map)
    assert answer.column("gear") == [-1.0, 0.0, 1.0, None, None, 0.0]


def test_values_match_numbers_as_numbers_whether_the_log_writes_0_or_0_000000(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "idle_active": {"column": "Speed", "values": {"0": 1.0}}}
    assert read(write("t,Speed\n0,0.000000\n1,3.5\n2,0\n"), channel_map).column("idle_active") == [1.0, 0.0, 1.0]
    # NMEA 2000, PGN 127493: gear 0 = forward, 1 = neutral, 2 = reverse, 3 = not available.
    gears = {"0": "forward", "1": "neutral", "2": "reverse"}
    channel_map = {"time": {"column": "t"}, "gear": {"column": "Gear", "values": gears}}
    assert read(write("t,Gear\n0,0\n1,1\n2,2\n3,3\n"), channel_map).column("gear") == [1.0, 0.0, -1.0, None]


def test_a_flag_may_be_written_as_a_word(read: Read, write: Write) -> None:
    answer = read(write("time,idle_active,fuel_closed_loop\n0,true,closed\n1,False,open\n2,on,1\n"))
    assert answer.column("idle_active") == [1.0, 0.0, 1.0]
    assert answer.column("fuel_closed_loop") == [1.0, 0.0, 1.0]


def test_the_resting_value_of_a_pedal_sensor_is_subtracted(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": "t"}, "pedal": {"column": "Pedal", "zero": 16.08}}
    assert read(write("t,Pedal\n0,16.08\n1,26.08\n"), channel_map).column("pedal") == pytest.approx(
        [0.0, 10.0], abs=1e-5
    )


def test_engine_hours_keep_their_minutes_over_a_long_life(read: Read, write: Write) -> None:
    # FLOAT resolves 20,000 h to 0.002 h; the channel is DOUBLE.
    assert read(write("time,engine_hours\n0,20000.0001\n1,20000.0004\n")).column("engine_hours")[0] == 20000.0001


def test_names_that_sql_would_misread_are_only_names(read: Read, write: Write) -> None:
    channel_map = {"time": {"column": 't"; drop table x; --'}, "rpm": {"column": "it's select * from"}}
    assert read(write('"t""; drop table x; --",it\'s select * from\n0,600\n1,601\n'), channel_map).column("rpm") == [
        600.0,
        601.0,
    ]
