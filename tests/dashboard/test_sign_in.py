"""Where a sign-in is set up, nothing of the fleet is shown to whoever has not signed in."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

APP = Path(__file__).parents[2] / "dashboard" / "app.py"


def test_nothing_is_shown_before_the_sign_in(fleet_folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", [str(APP), str(fleet_folder)])
    app = AppTest.from_file(APP, default_timeout=60)
    monkeypatch.setattr("dashboard.sign_in.is_set_up", lambda: True)
    app.run()
    assert not app.exception
    assert [each.label for each in app.button] == ["Sign in"]
    assert "Curlew" not in "".join(each.proto.body for each in app.get("html"))
