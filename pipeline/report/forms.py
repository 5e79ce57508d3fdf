"""The forms in which a sheet can be had, by ending: light, so that the command's help needs none of what makes them."""

from __future__ import annotations

from typing import Final

FORMS: Final = (".html", ".pdf", ".csv")
