"""A log's samples as a Parquet file, made from a seed, and the place that a snapshot would list for it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from numpy.typing import NDArray

from pipeline.trace import LogPlace

STARTED_S = 1_780_000_000.0
HELD = ("rpm", "shift_target", "shift_position", "battery")


@dataclass(frozen=True)
class Samples:
    """Times (n,) and channels by name (n,), as written; NaN stands for null."""

    path: Path
    place: LogPlace
    time_s: NDArray[np.float64]
    channels: dict[str, NDArray[np.float32]]


@pytest.fixture(scope="session")
def samples(tmp_path_factory: pytest.TempPathFactory) -> Samples:
    """200,000 samples at irregular steps, with a spike of one sample in each channel and a slow channel mostly null."""
    rng = np.random.default_rng(11)
    n = 200_000
    time_s = STARTED_S + np.cumsum(rng.uniform(0.005, 0.02, n))
    channels = {name: rng.normal(100.0, 3.0, n).astype(np.float32) for name in HELD}
    for place, name in enumerate(HELD):
        channels[name][10_007 + 1_000 * place] = 900.0 + place
        channels[name][60_011 + 1_000 * place] = -900.0 - place
    channels["battery"][np.arange(n) % 10 != 7] = np.nan
    path = tmp_path_factory.mktemp("trace") / "samples.parquet"
    columns = {name: pa.array(values, mask=np.isnan(values)) for name, values in channels.items()}
    pq.write_table(pa.table({"time_s": time_s, **columns}), path, row_group_size=20_000)
    place = LogPlace("a", "inbox/tern/a.csv", "a", float(time_s[0]), float(time_s[-1]), n, HELD)
    return Samples(path, place, time_s, channels)
