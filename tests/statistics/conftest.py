"""Published series that several tests of the statistics room share."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from collections.abc import Callable

settings.register_profile("repeatable", derandomize=True, max_examples=40, deadline=None)
settings.load_profile("repeatable")

# Nile flow at Aswan 1871-1970, 1e8 m3 a year: Cobb (1978), Biometrika 65, 243-251; shipped with R and statsmodels.
NILE = """
1120 1160  963 1210 1160 1160  813 1230 1370 1140  995  935 1110  994 1020  960 1180  799  958 1140
1100 1210 1150 1250 1260 1220 1030 1100  774  840  874  694  940  833  701  916  692 1020 1050  969
 831  726  456  824  702 1120 1100  832  764  821  768  845  864  862  698  845  744  796 1040  759
 781  865  845  944  984  897  822 1010  771  676  649  846  812  742  801 1040  860  874  848  890
 744  749  838 1050  918  986  797  923  975  815 1020  906  901 1170  912  746  919  718  714  740
"""


@pytest.fixture(scope="session")
def nile() -> np.ndarray:
    return np.array(NILE.split(), dtype=float)


@pytest.fixture(scope="session")
def marked_series() -> Callable[[str], np.ndarray]:
    """A series of the Turing Change Point Dataset by name, where the measured data lie beside the repository."""
    beside = Path(__file__).parents[2].parent / "shared" / "data"
    folder = Path(os.environ.get("MORNINGWATCH_REAL_LOGS", beside)) / "changepoint_tcpd"

    def load(name: str) -> np.ndarray:
        path = folder / f"{name}.json"
        if not path.exists():
            pytest.skip(f"the measured data are not here: no {path.name} in {folder}")
        return np.array(json.loads(path.read_text())["series"][0]["raw"], dtype=float)

    return load
