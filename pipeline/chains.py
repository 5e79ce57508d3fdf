"""Which logs of an engine belong together: those that follow each other closely are measured as one.

A run that a logger split over two files is one run, so its logs go through the event queries together.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import blake2b
from typing import TYPE_CHECKING, Final, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping

LONGEST_GAP_S: Final = 10.0
"""A longer gap in the log ends a run (contract: 'Run'), so nothing is lost by measuring the two sides apart."""


class Span(NamedTuple):
    """One engine's samples of one log and the time they cover, in seconds since 1970, both ends inclusive."""

    log_id: str
    reading_key: str
    samples: str
    started_s: float
    ended_s: float
    channels: frozenset[str]
    is_start_assumed: bool = False


@dataclass(frozen=True)
class Linked:
    """An engine's logs sorted out: `chains` in time order; `covered` names for a log the longer one that holds it."""

    chains: tuple[tuple[Span, ...], ...]
    covered: Mapping[str, str]


def linked(spans: Iterable[Span]) -> Linked:
    """Sort an engine's logs into chains.

    A log that lies wholly inside another and holds no channel beyond it (an earlier, shorter copy under another name)
    is covered: measuring it too would count its shifts twice. Logs that merely overlap stay in chains of their own, and
    so does a log whose start is only assumed: when it was cannot tell what it belongs to.
    """
    chains: list[list[Span]] = []
    covered: dict[str, str] = {}
    for span, cover in _in_order(spans):
        if cover is not None:
            covered[span.log_id] = cover.log_id
        elif (
            chains and _has_clock(chains[-1][-1], span) and 0 < span.started_s - chains[-1][-1].ended_s <= LONGEST_GAP_S
        ):
            chains[-1].append(span)
        else:
            chains.append([span])
    return Linked(tuple(tuple(chain) for chain in chains), covered)


def chain_key(chain: Iterable[Span], shift_targets: Mapping[str, float] | None) -> str:
    """A short digest of all that a chain's events depend on, apart from the queries themselves."""
    members = [(span.log_id, span.reading_key) for span in chain]
    targets = None if shift_targets is None else sorted(shift_targets.items())
    return blake2b(repr((members, targets)).encode(), digest_size=8).hexdigest()


def _in_order(spans: Iterable[Span]) -> Iterator[tuple[Span, Span | None]]:
    """Spans by start, the longer and richer first, each with the earlier span that covers it if there is one."""
    open_spans: list[Span] = []
    for span in sorted(spans, key=lambda each: (each.started_s, -each.ended_s, -len(each.channels), each.log_id)):
        open_spans = [each for each in open_spans if each.ended_s >= span.started_s]
        cover = next((each for each in open_spans if _covers(each, span)), None)
        if cover is None:
            open_spans.append(span)
        yield span, cover


def _covers(longer: Span, span: Span) -> bool:
    return _has_clock(longer, span) and longer.ended_s >= span.ended_s and longer.channels >= span.channels


def _has_clock(*spans: Span) -> bool:
    return not any(span.is_start_assumed for span in spans)
