"""Commands that look after what is kept: verify, backup, restore."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from pathlib import Path

import click

from pipeline.commands.frame import REFUSED, bar, errors, opened, say
from pipeline.commands.options import fleet_option, json_option


@click.command()
@fleet_option
@json_option
def verify(folder: Path, *, as_json: bool) -> None:
    """Look at all that is kept, byte by byte, and say what would be made again and what cannot be. Nothing is written.

    Example: morningwatch verify --fleet charters
    """
    from pipeline import listing
    from pipeline.verify import verify

    opened(folder)
    with bar("Looking at files") as progress, errors():
        found = verify(folder, progress)
    click.echo(json.dumps(asdict(found), ensure_ascii=False) if as_json else listing.verified_text(found))
    if found.faults:
        sys.exit(REFUSED)


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@fleet_option
@click.option("--with-samples", is_flag=True, help="Also what was read from logs: for logs no longer in the inbox.")
@click.option("--with-logs", is_flag=True, help="Also the files of the inbox.")
def backup(file: Path, folder: Path, *, with_samples: bool, with_logs: bool) -> None:
    """Save what cannot be made again: fleet.toml, schedule, logbook and the list of logs.

    Example: morningwatch backup charters-2026-06-14.zip --fleet charters
    """
    from pipeline.backup import backup

    with errors():
        saved = backup(folder, file, with_samples=with_samples, with_logs=with_logs, waiting=say)
    say(f"{saved} files saved in {file}")


@click.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@fleet_option
@click.option("--replace", is_flag=True, help="Put it into a folder that is not empty; what is replaced is kept.")
def restore(file: Path, folder: Path, *, replace: bool) -> None:
    """Put a backup into a fleet folder, after every byte of it was checked.

    Example: morningwatch restore charters-2026-06-14.zip --fleet charters-again
    """
    from pipeline.restore import restore

    with errors():
        found = restore(file, folder, replace=replace)
    say(f"{found} files restored into {folder}. Next: morningwatch ingest --fleet {folder}")
