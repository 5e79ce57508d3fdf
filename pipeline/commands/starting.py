"""Commands that begin something: a simulated fleet, a fleet folder, the dashboard."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path

import click

from pipeline.commands.frame import bar, errors, ingested, moment, opened, print_morning, reader, say, stop
from pipeline.commands.options import PORT, fleet_option


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default=Path("fleet"))
@click.option("--boats", type=click.IntRange(1, 200), default=12, show_default=True, help="How many boats.")
@click.option("--days", type=click.IntRange(1, 400), default=60, show_default=True, help="How many days of logs.")
@click.option("--seed", type=int, default=1, show_default=True, help="Another seed, another fleet.")
@click.option("--port", type=int, default=PORT, show_default=True, help="Port of the dashboard.")
@click.option("--no-serve", is_flag=True, help="Stop after the list.")
def demo(folder: Path, boats: int, days: int, seed: int, port: int, *, no_serve: bool) -> None:
    """Make a simulated fleet, ingest it, print the ranked boats and serve the dashboard.

    Example: morningwatch demo --no-serve
    """
    import demo_fleet
    from pipeline import listing
    from pipeline.morning import assess

    if folder.exists() and any(folder.iterdir()) and not _is_simulated(folder):
        stop(f"{folder} is not empty and no simulated fleet. Name another folder.")
    with bar("Simulating") as progress:
        demo_fleet.build(folder, boats=boats, days=days, seed=seed, progress=progress)
    register = opened(folder)
    _write_simulated_notes(folder)
    say(listing.ingest_line(ingested(register)))
    print_morning(assess(reader(register), register, moment(None, register)))
    if not no_serve:
        _serve(folder, port)


def _write_simulated_notes(folder: Path) -> None:
    """What the invented operator wrote down, into a logbook that nobody has written in yet."""
    from pipeline.logbook import add_note, notes

    written = folder / "simulated_truth" / "notes.json"
    if notes(folder) or not written.exists():
        return
    for each in json.loads(written.read_text(encoding="utf-8")):
        at = datetime.fromisoformat(each["at"])
        add_note(folder, each["boat"], each["engine"], each["kind"], each["text"], at, author="simulated")


def _is_simulated(folder: Path) -> bool:
    from pipeline.register import RegisterError, load_register

    try:
        return load_register(folder).simulated
    except RegisterError:
        return False


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def init(folder: Path) -> None:
    """Make a fleet folder with a commented fleet.toml; nothing that is there is changed.

    Example: morningwatch init charters
    """
    from pipeline.register import init_fleet

    with errors():
        started = init_fleet(folder)
    for path in started.made:
        click.echo(f"made {path}")
    for path in started.kept:
        click.echo(f"kept {path}")


@click.command()
@fleet_option
@click.option("--port", type=int, default=PORT, show_default=True, help="Port on 127.0.0.1.")
def serve(folder: Path, port: int) -> None:
    """Serve the dashboard on this machine.

    Example: morningwatch serve --fleet charters
    """
    opened(folder)
    _serve(folder, port)


def _serve(folder: Path, port: int) -> None:
    """Serve until a signal ends it; the app warms itself while the address is being typed."""
    from dashboard.server import ServeError, serve

    try:
        serve(folder.resolve(), port, say)
    except ServeError as error:
        stop(str(error))
