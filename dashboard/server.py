"""Serves the app from this process: on this machine alone unless a sign-in is set up, ended by one signal."""

from __future__ import annotations

import ipaddress
import os
import signal
import socket
import sys
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Final, NoReturn

import streamlit as st
import uvicorn
from streamlit import config

from dashboard import deep_links, sign_in

APP: Final = Path(__file__).parent / "app.py"

SETTINGS: Final = {
    "STREAMLIT_SERVER_ADDRESS": "server.address",
    "STREAMLIT_SERVER_ALLOWED_HOSTS": "server.allowedHosts",
    "STREAMLIT_SERVER_SSL_CERT_FILE": "server.sslCertFile",
    "STREAMLIT_SERVER_SSL_KEY_FILE": "server.sslKeyFile",
}
"""Streamlit's own settings that an environment may make, for sharing with others."""

LINGER_S: Final = 2
"""How long requests and open pages are given to end before they are cut off."""


class ServeError(Exception):
    """The app cannot be served; the message says what to do."""


def serve(folder: Path, port: int, say: Callable[[str], None]) -> NoReturn:
    """Serve the fleet of a folder until SIGTERM or Ctrl-C, which end the process with status 0.

    Port 0 takes a free one; `say` is told the address.

    Raises:
        ServeError: where the port is taken, or others could reach the app without a sign-in.
    """
    sys.argv = [str(APP), str(folder)]
    app = st.App(APP, lifespan=_warming, routes=deep_links.routes())
    config.get_config_options(force_reparse=True, options_from_flags={"server.port": port, **_settings()})
    address = str(st.get_option("server.address"))
    if not _is_own(address) and not sign_in.is_set_up():
        raise ServeError(
            f"Not served on {address}: others could read and write without signing in. Set up a sign-in first; "
            "README tells how."
        )
    with _opened(address, port) as door:
        say(f"Morning Watch on http://{address}:{door.getsockname()[1]}  (Ctrl-C ends it)")
        _run(app, door)
    _leave()


@asynccontextmanager
async def _warming(_app: st.App) -> AsyncIterator[None]:
    """Judge ahead as long as the server runs. Its caches want the running server, so they are loaded here."""
    from dashboard import data  # noqa: PLC0415

    data.judge_ahead()
    yield


def _run(app: st.App, door: socket.socket) -> None:
    settings = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        ws="websockets-sansio",
        ssl_certfile=st.get_option("server.sslCertFile"),
        ssl_keyfile=st.get_option("server.sslKeyFile"),
        timeout_graceful_shutdown=LINGER_S,
    )
    # uvicorn ends on these signals and then raises them again for whoever was there before it: nobody needs them twice
    for each in (signal.SIGTERM, signal.SIGINT):
        signal.signal(each, lambda *_: None)
    uvicorn.Server(settings).run(sockets=[door])


def _leave() -> NoReturn:
    """End the process. A thread that is still judging is inside compiled code, which must not be unwound under it."""
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)


def _settings() -> dict[str, str | list[str]]:
    """What the environment sets; several hosts are parted by commas or blanks."""
    given = {name: os.environ[variable] for variable, name in SETTINGS.items() if variable in os.environ}
    return {name: text.replace(",", " ").split() if name.endswith("Hosts") else text for name, text in given.items()}


def _opened(address: str, port: int) -> socket.socket:
    door = socket.socket(socket.AF_INET6 if ":" in address else socket.AF_INET)
    door.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        door.bind((address, port))
        door.listen()  # from here on a browser that comes early waits instead of being turned away
    except OSError as error:
        door.close()
        raise ServeError(f"Not served on {address}:{port}: {error.strerror}. Name another --port.") from error
    return door


def _is_own(address: str) -> bool:
    """Whether only this machine can reach an address."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return address == "localhost"
