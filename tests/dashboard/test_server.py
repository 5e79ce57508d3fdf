"""How the app is served: for this machine alone unless there is a sign-in, and with words where it cannot be."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

SERVE = [sys.executable, "-c", "from pipeline.cli import main; main()", "serve"]


def _served(folder: Path, port: int, **settings: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # noqa: S603 - our own interpreter and command
        [*SERVE, "--fleet", str(folder), "--port", str(port)],
        check=False,
        capture_output=True,
        text=True,
        timeout=60,
        env={**os.environ, **settings},
    )


def test_a_port_that_is_taken_is_said(fleet_folder: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        told = _served(fleet_folder, port)
    assert told.returncode == 2
    assert f"Not served on 127.0.0.1:{port}" in told.stderr
    assert "Name another --port" in told.stderr
    assert "Traceback" not in told.stderr


@pytest.mark.parametrize("address", ["0.0.0.0", "::"])  # noqa: S104 - what must be refused
def test_without_a_sign_in_it_is_served_to_nobody_else(fleet_folder: Path, address: str) -> None:
    told = _served(fleet_folder, 0, STREAMLIT_SERVER_ADDRESS=address)
    assert told.returncode == 2
    assert f"Not served on {address}: others could read and write without signing in." in told.stderr
    assert "Morning Watch on" not in told.stderr
