"""The page that a browser gets at a screen's own address, told where its server is.

Without being told, the page asks for its server below the screen's address first, is refused, and asks again above it.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Final

import streamlit as st
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import Route

_PAGE: Final = Path(st.__file__).parent / "static" / "index.html"
_HEAD: Final = "<head>"
_SERVER: Final = "<script>window.__streamlit = {BACKEND_BASE_URL: new URL('.', location.href).href}</script>"
"""The server is beside the screen, whatever stands before both."""

_SCREENS: Final = Path(__file__).parent / "screens"


def routes() -> list[Route]:
    """A route to each screen; none where the page is not one that could be told."""
    page = _PAGE.read_text(encoding="utf-8") if _PAGE.is_file() else ""
    if _HEAD not in page:
        return []
    told = page.replace(_HEAD, f"{_HEAD}\n    {_SERVER}", 1)
    names = [each.stem for each in sorted(_SCREENS.glob("*.py")) if each.stem != "__init__"]
    return [Route(f"/{name}", _sends(told)) for name in names]


def _sends(page: str) -> Callable[[Request], Awaitable[HTMLResponse]]:
    async def send(_request: Request) -> HTMLResponse:
        return HTMLResponse(page, headers={"Cache-Control": "no-cache"})

    return send
