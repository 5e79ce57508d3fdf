"""The options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Final

import click

PORT: Final = 8501

fleet_option = click.option(
    "--fleet",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="MORNINGWATCH_FLEET",
    default=Path(),
    show_default="MORNINGWATCH_FLEET, else the current folder",
    help="The fleet folder.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
as_of_option = click.option(
    "--as-of",
    metavar="WHEN",
    help="Use nothing later: a date (its end, in the fleet's time zone) or an ISO 8601 time.",
)
