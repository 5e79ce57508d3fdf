"""Samples and what is told of them stand side by side by their places: where orders differ, nothing is measured."""

from __future__ import annotations

import pytest
from log_maker import Bench
from random_trips import random_log

from pipeline import extract
from pipeline.catalogue import read_query


def test_samples_that_come_in_another_order_end_the_extraction(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    select = extract._select_samples  # noqa: SLF001 - the order of samples is made there
    with monkeypatch.context() as patched:
        patched.setattr(
            extract, "_select_samples", lambda pieces: f"select * from ({select(pieces)}) order by hash(time_s)"
        )
        with pytest.raises(extract.OutOfStepError, match="a sample stands before an earlier one"):
            extract.extract([bench.chain(random_log(11))])


@pytest.mark.parametrize("order", ["from_s desc", "hash(from_s)", "samples"])
def test_segments_that_come_in_another_order_end_the_extraction(
    bench: Bench, monkeypatch: pytest.MonkeyPatch, order: str
) -> None:
    making = extract._making  # noqa: SLF001 - the order of segments is made there
    shuffled = f"create or replace temp table segments as from ({read_query('events', 'segments')}) order by {order}"
    with monkeypatch.context() as patched:
        patched.setattr(extract, "_making", lambda name: shuffled if name == "segments" else making(name))
        with pytest.raises(extract.OutOfStepError, match="beside the segment of another"):
            extract.extract([bench.chain(random_log(11))])


def test_segments_that_stand_one_sample_off_end_the_extraction(bench: Bench, monkeypatch: pytest.MonkeyPatch) -> None:
    making = extract._making  # noqa: SLF001 - as above
    query = read_query("events", "segments")
    shifted = (
        "create or replace temp table segments as"
        f" select * replace (samples + case when row_number() over () = 1 then 1 else 0 end as samples) from ({query})"
    )
    with monkeypatch.context() as patched:
        patched.setattr(extract, "_making", lambda name: shifted if name == "segments" else making(name))
        with pytest.raises(extract.OutOfStepError):
            extract.extract([bench.chain(random_log(11))])


def test_after_it_the_next_extraction_is_as_ever(bench: Bench) -> None:
    assert extract.extract([bench.chain(random_log(11))])["runs"].num_rows > 0
