"""Which logs of an engine are measured together. The 10 s come from the contract's definition of a run."""

from __future__ import annotations

from itertools import pairwise, permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.chains import Span, chain_key, linked

RPM = frozenset({"rpm"})


def _span(name: str, started_s: float, ended_s: float, channels: frozenset[str] = RPM) -> Span:
    return Span(name, "key", f"{name}.parquet", started_s, ended_s, channels)


def _chains(*spans: Span) -> list[str]:
    return ["".join(span.log_id for span in chain) for chain in linked(spans).chains]


@pytest.mark.parametrize(
    ("gap_s", "chains"), [(0.05, ["ab"]), (10.0, ["ab"]), (10.001, ["a", "b"]), (0.0, ["a", "b"]), (-5.0, ["a", "b"])]
)
def test_a_gap_of_up_to_ten_seconds_links_two_logs(gap_s: float, chains: list[str]) -> None:
    assert _chains(_span("a", 0, 100), _span("b", 100 + gap_s, 200)) == chains


def test_the_order_of_arrival_does_not_matter() -> None:
    spans = [_span("a", 0, 100), _span("b", 105, 200), _span("c", 300, 400), _span("d", 401, 500), _span("e", 10, 20)]
    assert {tuple(_chains(*order)) for order in permutations(spans)} == {("ab", "cd")}


def test_a_log_wholly_inside_another_is_covered() -> None:
    assert linked([_span("short", 0, 50), _span("long", 0, 100)]).covered == {"short": "long"}
    assert linked([_span("inner", 10, 50), _span("outer", 0, 100)]).covered == {"inner": "outer"}


def test_a_log_inside_another_with_a_channel_of_its_own_is_measured() -> None:
    own = _span("b", 10, 50, frozenset({"shift_position"}))
    assert _chains(_span("a", 0, 100), own) == ["a", "b"]


def test_of_two_logs_of_the_same_time_the_richer_is_measured() -> None:
    rich = _span("b", 0, 100, frozenset({"rpm", "battery"}))
    assert linked([_span("a", 0, 100), rich]).covered == {"a": "b"}


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(0, 30)), max_size=12))
def test_every_log_is_in_one_chain_or_covered_and_chains_rise(times: list[tuple[int, int]]) -> None:
    spans = [_span(str(number), start, start + length) for number, (start, length) in enumerate(times)]
    found = linked(spans)
    placed = [span.log_id for chain in found.chains for span in chain]
    assert sorted([*placed, *found.covered]) == sorted(span.log_id for span in spans)
    for chain in found.chains:
        for before, after in pairwise(chain):
            assert 0 < after.started_s - before.ended_s <= 10


def test_the_key_changes_with_whatever_the_events_depend_on() -> None:
    chain = [_span("a", 0, 1), _span("b", 2, 3)]
    again = [_span("a", 0, 1), Span("b", "other key", "b.parquet", 2, 3, RPM)]
    keys = [
        chain_key(chain, None),
        chain_key(chain[:1], None),
        chain_key(again, None),
        chain_key(chain, {"neutral": 50}),
    ]
    assert len(set(keys)) == 4
    assert chain_key(chain, {"neutral": 50, "forward": 90}) == chain_key(chain, {"forward": 90, "neutral": 50})
