"""Where a sign-in is set up: nothing of the fleet before it, and what is written after it bears the name."""

from __future__ import annotations

import shutil
import socket
from pathlib import Path
from typing import Any

import pytest

from pipeline.logbook import notes

from .conftest import drawn, serving
from .identity import CLIENT, provider

NAME = "Ada Tern"

SECRETS = """
[auth]
redirect_uri = "http://127.0.0.1:{port}/oauth2callback"
cookie_secret = "a long random text for this test alone"
client_id = "{client}"
client_secret = "kept between the two"
server_metadata_url = "{url}/.well-known/openid-configuration"
"""


def _free_port() -> int:
    with socket.socket() as door:
        door.bind(("127.0.0.1", 0))
        return int(door.getsockname()[1])


def test_whoever_signs_in_sees_the_fleet_and_a_note_bears_the_name(
    playwright: Any, browser: Any, fleet_folder: Path, tmp_path: Path
) -> None:
    from playwright.sync_api import expect  # noqa: PLC0415

    pytest.importorskip("authlib", reason="authlib is not installed: pip install '.[share]'")
    folder, port = Path(shutil.copytree(fleet_folder, tmp_path / "fleet")), _free_port()
    with provider(NAME) as known:
        (tmp_path / ".streamlit").mkdir()
        secrets = SECRETS.format(port=port, client=CLIENT, url=known.url)
        (tmp_path / ".streamlit" / "secrets.toml").write_text(secrets, encoding="utf-8")
        with serving(folder, port=port, where=tmp_path) as (_, url):
            page = browser.new_page()
            page.goto(f"{url}/logbook?boat=dunlin")
            drawn(page)
            expect(page.get_by_role("heading", name="Morning Watch")).to_be_visible()
            assert "Dunlin" not in page.content()

            page.get_by_role("button", name="Sign in").click()
            page.get_by_role("link", name=f"I am {NAME}").click()
            page.wait_for_url(f"{url}/**")
            page.goto(f"{url}/logbook?boat=dunlin")
            page.get_by_label("In words").fill("lanyard replaced")
            page.get_by_role("button", name="Write the note").click()
            expect(page.get_by_text("is written")).to_be_visible()
            page.close()
    (note,) = notes(folder, boat="dunlin")
    assert (note.text, note.author) == ("lanyard replaced", NAME)
