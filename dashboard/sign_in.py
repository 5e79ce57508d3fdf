"""Who may come in. On this machine alone everybody may; where a sign-in is set up, only who has signed in."""

from __future__ import annotations

import streamlit as st

from dashboard.markup import tag


def is_set_up() -> bool:
    """Whether Streamlit's secrets.toml names an identity provider."""
    return st.secrets.load_if_toml_exists() and "auth" in st.secrets


def name() -> str | None:
    """Whoever has signed in, as they are called; None where no sign-in is set up."""
    if not getattr(st.user, "is_logged_in", False):
        return None
    known = [st.user.get(each) for each in ("name", "email", "sub")]
    return next((str(each) for each in known if each), None)


def guard() -> None:
    """Stop, with the way in, where a sign-in is set up and nobody has signed in."""
    if is_set_up() and not getattr(st.user, "is_logged_in", False):
        st.html(tag("h1", "Morning Watch"))
        st.button("Sign in", type="primary", on_click=st.login)
        st.stop()
