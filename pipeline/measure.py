"""Samples in the store to event rows, readings and lists in the working database: what is missing or outdated, no more.

What should be there follows from the ledger and the register; what is there, the working database knows. The
difference is the work, so new logs, logs that arrive late and a killed ingest are all the same case.
"""

from __future__ import annotations

import math
import os
import secrets
from collections import defaultdict
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

import pyarrow as pa

from pipeline import extract, readings
from pipeline.chains import Span, chain_key, linked
from pipeline.database import DatabaseError, is_no_room, is_whole, scratch
from pipeline.extract import Chain, ChainLog, GearLevel
from pipeline.gears import learn_gears
from pipeline.log_lists import engine_log_list, log_list
from pipeline.working import EngineLog, Measured, Working

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from concurrent.futures import Executor
    from pathlib import Path

    from pipeline.ledger import Ledger, LogEntry
    from pipeline.progress import Progress
    from pipeline.register import Engine, Register
    from pipeline.store import Store

BATCH_ROWS: Final = 600_000
"""Samples measured in one pass. Measured: six times as quick as 24,000 at a time, 1.4 times as quick as 200,000, hardly
slower than 1,000,000, and about 120 MB for each worker."""

_BATCHES_AT_ONCE: Final = 50
"""Batches in flight and added together: bounds the memory of a first ingest of thousands of logs."""


@dataclass(frozen=True)
class Verdict:
    """What there is to publish, and what measuring left undone.

    `edition` is a word for what the working database holds. `damaged` are sample files found broken and removed: their
    logs are to be read again. `failures` says of every log in the store that could not be measured why not.
    """

    edition: str
    damaged: frozenset[Path]
    failures: Mapping[EngineLog, str]


@dataclass(frozen=True)
class _Plan:
    """What is to be measured and removed, and what the working database is to remember of each log.

    `rows` counts samples by log, `covered` names the longer log that holds a log's samples too, `touched` is the
    moment by engine from which readings may change.
    """

    pending: tuple[Chain, ...]
    gone: frozenset[EngineLog]
    wanted: Mapping[EngineLog, Measured]
    covered: Mapping[EngineLog, str]
    rows: Mapping[str, int]
    touched: Mapping[str, datetime]


def measure(store: Store, ledger: Ledger, register: Register, workers: Executor, progress: Progress) -> Verdict:
    """Bring the working database up to date with ledger and register; one that turns out damaged is made anew."""
    try:
        return _measure(store, ledger, register, workers, progress)
    except DatabaseError:
        if is_whole(store.working_path):
            raise
    store.discard_working()
    return _measure(store, ledger, register, workers, progress)


def _measure(store: Store, ledger: Ledger, register: Register, workers: Executor, progress: Progress) -> Verdict:
    """What `measure` does, as one transaction."""
    with Working(store) as working:
        plan = _plan(working, ledger, register, store)
        revision = ledger.revision()
        damaged: frozenset[Path] = frozenset()
        if plan.pending or plan.gone or working.fact("revision") != revision:
            with working.change():
                working.forget(plan.gone)
                damaged = _add_events(working, plan, workers, progress)
                working.complete()
                readings.refresh(working.db, plan.touched)
                working.put("marts.logs", log_list(ledger, plan.covered, working.failures()))
                working.put("marts.engine_logs", engine_log_list(ledger))
                working.remember("revision", revision)
                working.remember("edition", secrets.token_hex(8))
        return Verdict(working.fact("edition") or "", damaged, working.failures())


def gear_levels(
    engine_id: str, engine: Engine | None, spans: Sequence[Span], working: Working, store: Store
) -> tuple[GearLevel, ...]:
    """What the levels of an engine's shift target stand for: the register's word, else learned from its logs.

    Empty where the gear itself is logged, or nothing tells.
    """
    if engine is not None and engine.shift_targets is not None:
        return tuple(GearLevel(target_pct, gear) for gear, target_pct in sorted(engine.shift_targets.items()))
    told = [span for span in spans if "shift_target" in span.channels and "gear" not in span.channels]
    if not told:
        return ()
    samples = {span.log_id: store.samples_path(span.samples) for span in told}
    return learn_gears(working.levels_seen(engine_id, samples))


def measured(chains: Sequence[Chain]) -> dict[str, pa.Table] | str:
    """The events of some chains, or why they could not be made out. Plain and picklable, so that it runs anywhere."""
    try:
        return extract.extract(chains)
    except (DatabaseError, OSError, pa.ArrowException, extract.OutOfStepError) as error:
        if is_no_room(error):
            raise  # it says nothing about the samples
        return str(error)


def _plan(working: Working, ledger: Ledger, register: Register, store: Store) -> _Plan:
    engines = {engine.engine_id: engine for engine in register.engines()}
    have = working.measured()
    wanted: dict[EngineLog, Measured] = {}
    covered: dict[EngineLog, str] = {}
    pending: list[Chain] = []
    logs = ledger.logs()
    for engine_id, spans in _spans(ledger, logs).items():
        levels = gear_levels(engine_id, engines.get(engine_id), spans, working, store)
        found = linked(spans)
        covered |= {(engine_id, log_id): cover for log_id, cover in found.covered.items()}
        for chain in found.chains:
            needed = _needed(engine_id, chain, levels)
            wanted |= needed
            if any(_key(have, each) != measured.chain_key for each, measured in needed.items()):
                pending.append(_chain(engine_id, chain, levels, store))
    gone = frozenset(each for each in have if _key(wanted, each) != have[each].chain_key)
    return _Plan(
        tuple(pending),
        gone,
        wanted,
        covered,
        {log.log_id: log.rows_kept for log in logs.values()},
        _touched([(each, have[each]) for each in gone], [(each, wanted[each]) for each in _logs_of(pending)]),
    )


def _spans(ledger: Ledger, logs: Mapping[str, LogEntry]) -> dict[str, list[Span]]:
    spans: dict[str, list[Span]] = defaultdict(list)
    for each in ledger.engine_logs():
        log = logs[each.log_id]
        channels = frozenset(each.channels)
        span = Span(
            log.log_id, log.reading_key, each.samples, log.started_s, log.ended_s, channels, log.is_start_assumed
        )
        spans[each.engine_id].append(span)
    return spans


def _needed(engine_id: str, chain: Sequence[Span], levels: Sequence[GearLevel]) -> dict[EngineLog, Measured]:
    key = chain_key(chain, {level.gear: level.target_pct for level in levels})
    return {(engine_id, span.log_id): Measured(key, datetime.fromtimestamp(span.started_s, UTC)) for span in chain}


def _chain(engine_id: str, spans: Sequence[Span], levels: tuple[GearLevel, ...], store: Store) -> Chain:
    logs = tuple(ChainLog(span.log_id, store.samples_path(span.samples)) for span in spans)
    return Chain(engine_id, logs, levels)


def _key(made_from: Mapping[EngineLog, Measured], each: EngineLog) -> str | None:
    measured = made_from.get(each)
    return None if measured is None else measured.chain_key


def _logs_of(chains: Iterable[Chain]) -> list[EngineLog]:
    return [(chain.engine_id, log.log_id) for chain in chains for log in chain.logs]


def _touched(*changed: Iterable[tuple[EngineLog, Measured]]) -> dict[str, datetime]:
    """The earliest start of a log that changed, by engine."""
    touched: dict[str, datetime] = {}
    for (engine_id, _), measured in (each for group in changed for each in group):
        touched[engine_id] = min(measured.started_at, touched.get(engine_id, measured.started_at))
    return touched


def _add_events(working: Working, plan: _Plan, workers: Executor, progress: Progress) -> frozenset[Path]:
    """Measure what is pending and add it; sample files found broken are removed and returned."""
    progress.expect(len(_logs_of(plan.pending)))
    damaged: set[Path] = set()
    batches = _batches(plan)
    for first in range(0, len(batches), _BATCHES_AT_ONCE):
        events: list[dict[str, pa.Table]] = []
        noted: dict[EngineLog, Measured] = {}
        for chains, outcome in _measured_each(batches[first : first + _BATCHES_AT_ONCE], workers):
            logs = _logs_of(chains)
            progress.advance(len(logs))
            if not isinstance(outcome, str):
                events.append(outcome)
                noted |= {each: plan.wanted[each] for each in logs}
            elif broken := _remove_broken(chains):
                damaged |= broken
            else:
                noted |= {each: plan.wanted[each]._replace(error=outcome) for each in logs}
        working.add(events, noted)
    return frozenset(damaged)


def _remove_broken(chains: Iterable[Chain]) -> set[Path]:
    """Remove the sample files of these chains that cannot be read; which they were."""
    broken = {log.samples for chain in chains for log in chain.logs if not _is_readable(log.samples)}
    for path in broken:
        path.unlink(missing_ok=True)
    return broken


def _is_readable(samples: Path) -> bool:
    """Whether every value of a sample file can be read."""
    try:
        # the hash of whole rows: a mere count may be answered by the file's footer
        scratch().execute("select bit_xor(hash(every)) from read_parquet(?) as every", [str(samples)]).fetchall()
    except DatabaseError:
        return False
    return True


def _batches(plan: _Plan) -> list[tuple[Chain, ...]]:
    """The pending chains in batches, at least one for each processor where there are chains enough."""

    def rows_of(chain: Chain) -> int:
        return sum(plan.rows[log.log_id] for log in chain.logs)

    share = math.ceil(sum(rows_of(chain) for chain in plan.pending) / (os.cpu_count() or 1))
    return extract.batches(plan.pending, rows_at_most=min(BATCH_ROWS, share), rows_of=rows_of)


def _measured_each(
    batches: Sequence[tuple[Chain, ...]], workers: Executor
) -> Iterator[tuple[tuple[Chain, ...], dict[str, pa.Table] | str]]:
    """Measure batches side by side; the chains of one that failed once more, each by itself, to find the bad one."""
    futures = [workers.submit(measured, batch) for batch in batches]
    for batch, future in zip(batches, futures, strict=True):
        outcome = future.result()
        if isinstance(outcome, str) and len(batch) > 1:
            yield from _measured_each([(chain,) for chain in batch], workers)
        else:
            yield batch, outcome
