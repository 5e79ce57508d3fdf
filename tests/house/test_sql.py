"""How SQL is kept: a file a table, opened by what it is, in lower case, reading its own layer or an earlier one."""

from __future__ import annotations

import re
from pathlib import PurePosixPath

LAYERS = ("events", "indicators", "marts", "checks")
"""Folders of `pipeline/sql` in the order in which they are made; other folders have no place in that order."""

_ASIDE = re.compile(r"/\*.*?\*/|--[^\n]*|'(?:[^']|'')*'|\"(?:[^\"]|\"\")*\"", re.DOTALL)
"""Comments, text and quoted names: what is no SQL word."""

_READ = re.compile(r"\b(?:from|join)\s+(?:([a-z_0-9]+)\.)?([a-z_0-9]+)\b")
_NAMED_HERE = re.compile(r"\b([a-z_0-9]+)\s+as\s+(?:not\s+materialized\s+|materialized\s+)?\(")


def _code(text: str) -> str:
    """The statements alone, every line where it was."""
    return _ASIDE.sub(lambda aside: "\n" * aside.group().count("\n") + " ", text)


def _layer(path: str) -> str:
    return PurePosixPath(path).parent.name


def _tables_read(text: str) -> set[tuple[str, str]]:
    """Schema (empty where none is named) and name of what a query reads, its own steps left out."""
    code = _code(text)
    own = set(_NAMED_HERE.findall(code))
    return {(schema, name) for schema, name in _READ.findall(code) if schema or name not in own}


def test_every_sql_file_opens_with_a_comment_that_says_what_it_is(queries: dict[str, str]) -> None:
    silent = [path for path, text in queries.items() if not re.match(r"/\*\s*\S.{10}|--\s*\S.{10}", text, re.DOTALL)]
    assert silent == []


def test_sql_is_written_in_lower_case(queries: dict[str, str]) -> None:
    loud = [
        f"{path}:{number}: {line.strip()}"
        for path, text in queries.items()
        for number, line in enumerate(_code(text).splitlines(), start=1)
        if line != line.lower()
    ]
    assert loud == []


def test_a_query_reads_its_own_layer_or_an_earlier_one(queries: dict[str, str]) -> None:
    made_in = {(_layer(path), PurePosixPath(path).stem) for path in queries if _layer(path) in LAYERS}
    later = []
    for path, text in queries.items():
        layer = _layer(path)
        if layer not in LAYERS:
            continue
        after = LAYERS[LAYERS.index(layer) + 1 :]
        before = LAYERS[: LAYERS.index(layer) + 1]
        for schema, name in sorted(_tables_read(text)):
            is_unnamed_later = not schema and not any((each, name) in made_in for each in before)
            if schema in after or (is_unnamed_later and any((each, name) in made_in for each in after)):
                later.append(f"{path} reads {schema}.{name}")
    assert later == []


def test_no_indicator_reads_another(queries: dict[str, str]) -> None:
    indicators = {PurePosixPath(path).stem for path in queries if _layer(path) == "indicators"}
    readers = [
        f"{path} reads {name}"
        for path, text in queries.items()
        if _layer(path) == "indicators"
        for schema, name in sorted(_tables_read(text))
        if schema in {"", "indicators"} and name in indicators and name != PurePosixPath(path).stem
    ]
    assert readers == []


def test_every_indicator_has_its_cases_and_every_case_file_its_indicator(files: dict[str, str]) -> None:
    def stems(folder: str, ending: str) -> set[str]:
        return {PurePosixPath(path).stem for path in files if re.fullmatch(rf"{folder}/[^/]+{re.escape(ending)}", path)}

    assert stems("pipeline/sql/indicators", ".sql") == stems("tests/indicators/cases", ".toml")


def test_the_reading_of_tables_sees_through_comments_text_and_steps() -> None:
    assert _tables_read(
        """
        /* from marts.a */
        with step as (select 'from marts.b' as x from events.shifts), -- join marts.c
        other as materialized (select 1 from step)
        select x from other left join marts.readings on true cross join runs
        """
    ) == {("events", "shifts"), ("marts", "readings"), ("", "runs")}
