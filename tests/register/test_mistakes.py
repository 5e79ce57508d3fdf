"""Every mistake in a `fleet.toml` is named with its line, its key and the way out."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import pytest

from pipeline.problems import CATALOGUE, Problem
from pipeline.register import RegisterError, load_register
from pipeline.register.tables import keys_at

if TYPE_CHECKING:
    from pathlib import Path

Mistakes = Callable[[str], tuple[Problem, ...]]


def test_an_unknown_key_is_named_with_the_nearest_known_one_wherever_it_stands(mistakes: Mistakes) -> None:
    found = mistakes("""
        flet = 1  # wrong
        [fleet]
        name = "Fleet"
        timezone = "UTC"
        currency_day = 3  # wrong
        [limits.shift_reach_error]
        "wach" = 1.0  # wrong
        [channel_map.bench]
        rpm = { column = "Engine Speed", units = "rpm" }  # wrong
        [[boat]]
        id = "petrel"
        [[boat.engine]]
        id = "port"
        serail = "A-1041"  # wrong
        [[boat]]
        id = "gannet"
        [[boat.engine]]
        id = "port"
        service = { every_hours = 100, last_hours = 0, next_hours = 3 }  # wrong
        [[boat.engine]]
        id = "starboard"
        limits.shift_reach_error.hodl = 2.0  # wrong
    """)

    assert {problem.code for problem in found} == {"register_unknown_key"}
    assert [problem.got for problem in found] == [
        "flet", "currency_day", "wach", "units", "serail", "next_hours", "hodl",
    ]  # fmt: skip
    nearest = ["fleet", "currency_days", "watch", "unit", "serial", "", "hold"]
    offers = [f"Did you mean {key}?" if key else "Known: every_hours, last_hours." for key in nearest]
    assert [offer in problem.way_out for offer, problem in zip(offers, found, strict=True)] == [True] * 7
    assert found[4].expected == "a key of boat.petrel.engine.port"
    assert found[6].expected == "a key of boat.gannet.engine.starboard.limits.shift_reach_error"


def test_a_mistake_reads_as_one_sentence_with_file_line_key_and_way_out(mistakes: Mistakes) -> None:
    (problem,) = mistakes("""
        [fleet]
        name = "Fleet"
        timezone = "UTC"
        curency_days = 3  # wrong
    """)

    assert problem.sentence() == (
        "fleet.toml, line 5: unknown key: expected a key of fleet, got curency_days. "
        "Did you mean currency_days? Known: name, timezone, currency_days, simulated."
    )


@pytest.mark.parametrize(
    ("line", "expected", "got"),
    [
        ("name = 3", "text in quotes", "3 for fleet.name"),
        ('name = ""', "text that is not empty", '"" for fleet.name'),
        ('currency_days = "3"', "a number", '"3" for fleet.currency_days'),
        ("currency_days = true", "a number", "true for fleet.currency_days"),
        ("currency_days = 0", "a number greater than 0", "0 for fleet.currency_days"),
        ("currency_days = nan", "a finite number", "nan for fleet.currency_days"),
        ('simulated = "yes"', "true or false", '"yes" for fleet.simulated'),
        ("simulated = 1", "true or false", "1 for fleet.simulated"),
        ("simulated = 2026-06-14", "true or false", "2026-06-14 for fleet.simulated"),
    ],
)
def test_a_value_of_the_wrong_type_is_named(mistakes: Mistakes, line: str, expected: str, got: str) -> None:
    written = {"name": 'name = "Fleet"', line.split(" ", 1)[0]: line + "  # wrong"}
    (problem,) = mistakes("\n".join(["[fleet]", 'timezone = "UTC"', *written.values()]))

    assert (problem.expected, problem.got) == (expected, got)


def test_a_table_that_should_be_an_array_and_the_like_are_named(mistakes: Mistakes) -> None:
    found = mistakes("""
        limits = 3  # wrong
        [fleet]
        name = "Fleet"
        timezone = "UTC"
        [channel_map]
        bench = "Time"  # wrong
        [channel_map.other]
        rpm = "Engine Speed"  # wrong
        [boat]  # wrong
        id = "petrel"
    """)

    assert [problem.expected for problem in found] == [
        "a table", "a table", "a table", "an array of tables, each opened by [[…]]",
    ]  # fmt: skip
    assert [problem.code for problem in found] == ["register_wrong_type"] * 4


def test_a_missing_key_is_named_at_the_line_of_its_table(mistakes: Mistakes) -> None:
    found = mistakes("""
        [fleet]  # wrong
        name = "Fleet"
        [channel_map.bench]
        rpm = { unit = "rpm" }  # wrong
        [[boat]]
        id = "petrel"
        [[boat.engine]]  # wrong
        serial = "A-1041"
        [[boat.engine]]
        id = "starboard"
        service.every_hours = 100  # wrong
    """)

    assert [problem.expected for problem in found] == [
        "timezone in fleet",
        "column in channel_map.bench.rpm",
        "id in boat.petrel.engine.#1",
        "last_hours in boat.petrel.engine.starboard.service",
    ]


def test_an_empty_register_lacks_its_fleet(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").touch()

    with pytest.raises(RegisterError, match=r"line 1: a key is missing: expected fleet in fleet\.toml"):
        load_register(tmp_path)


@pytest.mark.parametrize(
    ("zone", "nearest"),
    [("Pacific/Aukland", "Pacific/Auckland"), ("europe/berlin", "Europe/Berlin"), ("Pacific", ""), ("../UTC", "")],
)
def test_a_time_zone_that_is_none_is_named(mistakes: Mistakes, zone: str, nearest: str) -> None:
    (problem,) = mistakes(f"""
        [fleet]
        name = "Fleet"
        timezone = "{zone}"  # wrong
    """)

    assert f'"{zone}"' in problem.got
    assert nearest in problem.way_out


FLEET = 'fleet = { name = "Fleet", timezone = "UTC" }\n'


@pytest.mark.parametrize("wrong", ["Petrel", "sea bird", "", "pétrel", "a/b", "..", "petrel\\n"])
def test_an_id_that_could_be_no_folder_of_the_inbox_is_refused(mistakes: Mistakes, wrong: str) -> None:
    (problem,) = mistakes(f'{FLEET}[[boat]]\nid = "{wrong}"  # wrong\n')

    assert problem.expected == "an id of lower-case letters, digits, _ and - alone"


def test_the_same_id_twice_is_named_with_the_line_of_the_first(mistakes: Mistakes) -> None:
    found = mistakes(f"""{FLEET}
[[boat]]
id = "petrel"
[[boat.engine]]
id = "port"
[[boat.engine]]
id = "port"  # wrong
[[boat]]
id = "gannet"
engine = [
  {{ id = "port", label = "P" }},
  {{ id = "starboard", label = "P" }},  # wrong
]
[[boat]]
id = "petrel"  # wrong
""")

    assert [problem.got for problem in found] == [
        'engine id "port", already in line 6',
        'engine label "P", already in line 12',
        'boat id "petrel", already in line 4',
    ]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("20", "an array of numbers"),
        ('"0, 20"', "an array of numbers"),
        ("[20]", "two temperatures or more, each above the one before"),
        ("[0, 40, 20]", "two temperatures or more, each above the one before"),
        ("[0, 20, 20]", "two temperatures or more, each above the one before"),
        ('[0, "20"]', "a number"),
        ("[0, nan]", "a finite number"),
    ],
)
def test_rows_of_an_idle_table_that_are_none_are_named(mistakes: Mistakes, rows: str, expected: str) -> None:
    (problem,) = mistakes(f"""{FLEET}
[[boat]]
id = "petrel"
[[boat.engine]]
id = "port"
idle_rows_c = {rows}  # wrong
""")

    assert problem.expected == expected
    assert "boat.petrel.engine.port.idle_rows_c" in problem.got


def test_engines_of_two_boats_may_share_an_id(tmp_path: Path) -> None:
    boats = [f'[[boat]]\nid = "{name}"\n[[boat.engine]]\nid = "port"\n' for name in ("petrel", "gannet")]
    (tmp_path / "fleet.toml").write_text(FLEET + "".join(boats))

    assert [engine.engine_id for engine in load_register(tmp_path).engines()] == ["petrel/port", "gannet/port"]


def test_an_unknown_channel_is_named_with_the_nearest_once_whatever_its_entry(mistakes: Mistakes) -> None:
    found = mistakes(f"""{FLEET}
[channel_map.bench]
time = {{ column = "Time", unit = "s" }}
oil_temprature = {{ column = "Oil Temp" }}  # wrong
'RPM' = {{ columns = 3 }}  # wrong
xyzzy = {{ column = "x" }}  # wrong
[channel_map."my \\"own\\" log".shift_pos]  # wrong
column = "Position"
""")

    assert [problem.code for problem in found] == ["register_unknown_key"] * 4
    for problem, nearest in zip(found, ["oil_temp", "rpm", "Known: time, rpm", "shift_position"], strict=True):
        assert nearest in problem.way_out
    assert found[3].expected == 'a key of channel_map.my "own" log'


def test_a_map_that_is_defined_nowhere_is_named_with_the_nearest(mistakes: Mistakes) -> None:
    first, second = mistakes(f"""{FLEET}
[channel_map.bench.rpm]
column = "Engine Speed"
[[boat]]
id = "petrel"
channel_map = "bnech"  # wrong
[[boat]]
id = "gannet"
channel_map = "zzz"  # wrong
""")

    assert first.way_out == "Did you mean bench? Known: bench."
    assert second.way_out == "Known: bench."


def test_limits_for_an_indicator_that_is_none_are_named_where_they_stand(mistakes: Mistakes) -> None:
    found = mistakes(f"""{FLEET}
[limits.shift_reach_eror]  # wrong
watch = 1.0
[[boat]]
id = "petrel"
[boat.limits]
batery_idle.hold = 11.0  # wrong
[[boat.engine]]
id = "port"
limits = {{ battery_idle = {{ hold = 11.0 }}, zzz = {{ hold = 1.0 }} }}  # wrong
""")

    assert [problem.got for problem in found] == ["shift_reach_eror", "batery_idle", "zzz"]
    assert "shift_reach_error" in found[0].way_out
    assert found[2].way_out == "Known: battery_idle, shift_reach_error."


@pytest.mark.parametrize(
    ("entry", "way_out"),
    [
        ('time = { column = "Time", unit = "epoch" }', "Did you mean epoch_s?"),
        ('rpm = { column = "x", unit = "degC" }', "rpm"),
        ('oil_temp = { column = "x", unit = "degX" }', "deg"),
        ('lambda = { column = "x", unit = "afr" }', "Give stoich in channel_map.bench.lambda."),
        ('lambda = { column = "x", unit = "phi" }', "lambda"),
        ('time = { column = "x", stoich = 14.6 }', "Known: column, unit, date, format."),
        ('time = { column = "x", zero = 1 }', "Known: column, unit, date, format."),
        ('gear = { column = "x", values = { R = "revers" } }', "Did you mean reverse?"),
        ('gear = { column = "x", values = { R = 2 } }', "reverse, neutral or forward"),
        ('gear = { column = "x", values = { R = true } }', "Correct R."),
        ('pedal = { column = "x", values = { R = "reverse" } }', "in the unit of pedal"),
        ('idle_active = { column = "x", values = { R = "actve" } }', "Did you mean active?"),
        ('shift_position = { column = "x", zero = "low" }', "Correct zero."),
        ('lambda = { column = "x", unit = "afr", stoich = -14.6 }', "Correct stoich."),
    ],
)
def test_a_map_entry_that_cannot_work_is_named(mistakes: Mistakes, entry: str, way_out: str) -> None:
    (problem,) = mistakes(f"{FLEET}[channel_map.bench]\n{entry}  # wrong\n")

    assert way_out in problem.way_out


def test_shift_targets_are_numbers_for_the_three_gears(mistakes: Mistakes) -> None:
    first, second = mistakes(f"""{FLEET}
[[boat]]
id = "petrel"
[[boat.engine]]
id = "port"
shift_targets = {{ revers = 12, neutral = 50 }}  # wrong
[[boat.engine]]
id = "starboard"
[boat.engine.shift_targets]
forward = "90 %"  # wrong
""")

    assert "Did you mean reverse?" in first.way_out
    assert second.got == '"90 %" for boat.petrel.engine.starboard.shift_targets.forward'


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('[fleet]\nname = "Fleet\ntimezone = "UTC"\n', 2),
        ("[fleet]\nname = Fleet\n", 2),
        ("[fleet\nname = 1\n", 1),
        ('[fleet]\nname = "A"\nname = "B"\n', 3),
        ('[fleet]\nname = "A"\n\n[fleet]\ntimezone = "UTC"\n', 4),
        ("[fleet]\nname =", 2),
        ('[fleet]\nname = "A"\n[[boat]\n', 3),
        ("boat = [\n  { id = 1 },\n", 2),
        ("nonsense\n", 1),
    ],
)
def test_wrong_syntax_is_named_with_its_line(tmp_path: Path, text: str, line: int) -> None:
    (tmp_path / "fleet.toml").write_text(text)

    with pytest.raises(RegisterError) as raised:
        load_register(tmp_path)
    (problem,) = raised.value.problems

    assert (problem.code, problem.line) == ("register_syntax", line)
    assert text.splitlines()[line - 1].strip() in problem.got


def test_a_register_that_is_not_there_is_said_with_the_way_out(tmp_path: Path) -> None:
    with pytest.raises(RegisterError) as raised:
        load_register(tmp_path / "nowhere")

    assert "morningwatch init" in str(raised.value)
    assert "nowhere" in str(raised.value)
    assert list(tmp_path.iterdir()) == []


def test_a_register_in_another_encoding_is_said_with_its_line(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").write_bytes('[fleet]\nname = "Möwe"\n'.encode("latin-1"))

    with pytest.raises(RegisterError, match=r"line 2.*UTF-8"):
        load_register(tmp_path)


def test_a_folder_in_the_place_of_the_register_is_said(tmp_path: Path) -> None:
    (tmp_path / "fleet.toml").mkdir()

    with pytest.raises(RegisterError, match="cannot be read"):
        load_register(tmp_path)


def test_all_mistakes_are_told_at_once_in_the_order_of_their_lines(mistakes: Mistakes) -> None:
    found = mistakes(f"""{FLEET}
[[boat]]
id = "Petrel"  # wrong
nam = "Petrel"  # wrong
[[boat.engine]]
id = 3  # wrong
""")

    assert len(found) == 3


def test_an_error_survives_the_way_between_processes(tmp_path: Path) -> None:
    with pytest.raises(RegisterError) as raised:
        load_register(tmp_path)

    assert pickle.loads(pickle.dumps(raised.value)).problems == raised.value.problems  # noqa: S301 - our own bytes


def test_every_code_of_the_register_has_a_meaning_and_every_place_its_keys() -> None:
    assert [code for code in CATALOGUE if code.startswith(("register_", "schedule_")) and not CATALOGUE[code]] == []
    assert keys_at(("boat", 0, "engine", 1, "service")) == ("every_hours", "last_hours")
    with pytest.raises(LookupError):
        keys_at(("boat", 0, "crew"))


WRONG_VALUES = ["1", "-0.5", "nan", '"x"', '""', "true", "2026-06-14", "[]", "[1]", "[{}]", "{}", "{ x = 1 }"]

Tree = str | dict[str, "Tree"] | list["Tree"]

WHOLE: dict[str, Tree] = {
    "fleet": {"name": '"F"', "timezone": '"UTC"', "currency_days": "3", "simulated": "true"},
    "limits": {"battery_idle": {"watch": "12.0", "hold": "11.0"}},
    "channel_map": {"bench": {"gear": {"column": '"Lever"', "values": {"R": '"reverse"'}, "zero": "1"}}},
    "boat": [
        {
            "id": '"petrel"',
            "limits": {"battery_idle": {"watch": "12.0"}},
            "engine": [
                {"id": '"port"', "shift_targets": {"reverse": "12"}, "service": {"every_hours": "1", "last_hours": "0"}}
            ],
        }
    ],
}


def _written(tree: Tree) -> str:
    if isinstance(tree, dict):
        return "{ " + ", ".join(f"{key} = {_written(value)}" for key, value in tree.items()) + " }"
    return tree if isinstance(tree, str) else "[" + ", ".join(_written(value) for value in tree) + "]"


def _with_one_value_replaced(tree: Tree, value: str) -> Iterator[Tree]:
    """The tree once for each of its values, that value replaced."""
    yield value
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, below in items:
        for replaced in _with_one_value_replaced(below, value):
            copy: Any = tree.copy() if isinstance(tree, dict | list) else tree
            copy[key] = replaced
            yield copy


def _problems(folder: Path, text: str) -> tuple[Problem, ...]:
    (folder / "fleet.toml").write_text(text)
    try:
        load_register(folder, frozenset({"battery_idle"}))
    except RegisterError as error:
        return error.problems
    return ()


@pytest.mark.parametrize("value", WRONG_VALUES)
def test_whatever_stands_wherever_it_is_taken_or_named_with_its_line(tmp_path: Path, value: str) -> None:
    told = 0
    for line, (key, table) in enumerate(WHOLE.items(), start=1):
        for replaced in _with_one_value_replaced(table, value):
            written = {**WHOLE, key: replaced}
            problems = _problems(tmp_path, "\n".join(f"{name} = {_written(tree)}" for name, tree in written.items()))
            assert {problem.line for problem in problems} <= {line}
            assert all(problem.sentence() for problem in problems)
            told += bool(problems)
    assert told >= 8
