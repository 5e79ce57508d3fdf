"""The router: which screens there are and in which order. Started by `morningwatch serve`."""

from __future__ import annotations

from pathlib import Path

import streamlit as st

from dashboard import parts, sign_in, state

SCREENS = (
    ("morning", "Morning"),
    ("boat", "Boat"),
    ("engine", "Engine"),
    ("season", "Season"),
    ("trace", "Trace"),
    ("logs", "Logs"),
    ("logbook", "Logbook"),
    ("method", "Method"),
)


def main() -> None:
    """Set the page up and run the screen that the address names."""
    st.set_page_config(page_title="Morning Watch", layout="wide")
    st.html(Path(__file__).parent / "look.css")
    sign_in.guard()
    state.remember()
    pages = [
        st.Page(f"screens/{name}.py", title=title, url_path=name, default=place == 0)
        for place, (name, title) in enumerate(SCREENS)
    ]
    chosen = st.navigation(pages, position="top")
    st.set_page_config(page_title=f"{chosen.title}, Morning Watch")
    with parts.caught():
        chosen.run()


main()
