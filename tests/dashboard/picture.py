"""Takes README's picture of the Morning screen: `picture.py URL` while `morningwatch serve` shows a simulated fleet."""

from __future__ import annotations

import io
import shutil
import sys
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

FILE = Path(__file__).parents[2] / "dashboard" / "morning.png"
SIZE = (1200, 1500)
COLOURS = 64
"""Enough for flat colours and letters, few enough for a small file."""


def take(url: str) -> None:
    """Write the top of the Morning screen, in the light theme."""
    with sync_playwright() as started:
        browser = started.chromium.launch(executable_path=shutil.which("chromium"), args=["--no-sandbox"])
        page = browser.new_context(
            viewport={"width": SIZE[0], "height": SIZE[1]}, color_scheme="light", device_scale_factor=1
        ).new_page()
        page.goto(url)
        for part in (".mw-cautions", ".mw-changes"):
            page.wait_for_selector(part, state="attached", timeout=120_000)
        page.wait_for_load_state("networkidle")
        taken = page.screenshot()
        browser.close()
    Image.open(io.BytesIO(taken)).convert("RGB").quantize(COLOURS).save(FILE, optimize=True)


if __name__ == "__main__":
    take(sys.argv[1])
