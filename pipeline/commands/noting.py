"""The command that writes into the logbook."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from pipeline.as_of import moment_of
from pipeline.commands.frame import errors, opened, stop
from pipeline.commands.options import fleet_option
from pipeline.logbook import DEFAULT_DEFERRAL, Kind, add_note, notes

if TYPE_CHECKING:
    from pipeline.register import Register


@click.command()
@fleet_option
@click.option("--boat", required=True, help="Id of the boat.")
@click.option("--engine", help="Id of the engine; without it the note is for the whole boat.")
@click.option("--kind", type=click.Choice([kind.value for kind in Kind]), required=True, help="What was done.")
@click.option(
    "--until",
    metavar="WHEN",
    help="With --kind defer, when it ends: a date (its end, in the fleet's time zone) or an ISO 8601 time; "
    f"{DEFAULT_DEFERRAL.days * 24} hours from now where it is left out.",
)
@click.option(
    "--author",
    metavar="NAME",
    envvar="MORNINGWATCH_AUTHOR",
    show_default="MORNINGWATCH_AUTHOR, else nobody is named",
    help="Who writes.",
)
@click.option("--corrects", type=int, metavar="NOTE", help="Number of an earlier note that this one puts right.")
@click.argument("text")
def note(
    folder: Path,
    boat: str,
    engine: str | None,
    kind: str,
    until: str | None,
    author: str | None,
    corrects: int | None,
    text: str,
) -> None:
    """Write into the logbook what was done, or until when a finding is put off.

    Example: morningwatch note --boat petrel --engine port --kind cleaned "throttle body cleaned"

    Example: morningwatch note --boat petrel --kind defer --until 2026-06-20 "waits for the part"

    Example: morningwatch note --boat petrel --kind inspected --corrects 12 "it was the starboard throttle body"
    """
    register = opened(folder)
    now = datetime.now(UTC)
    end = _end(until, kind, now, register)
    with errors():
        try:
            register.boat(boat)
            if engine is not None:
                register.engine(f"{boat}/{engine}")
            _known(corrects, register)
            named = (author or "").strip() or None
            written = add_note(folder, boat, engine, kind, text, now, named, end, corrects=corrects)
        except (KeyError, ValueError) as error:
            stop(str(error.args[0]))
    click.echo(f"note {written.note_id} written")


def _end(until: str | None, kind: str, now: datetime, register: Register) -> datetime | None:
    """When a deferral ends; None where that was left out."""
    if until is None:
        return None
    if kind != Kind.DEFER:
        stop(f"Only a deferral has an end: leave --until out, or write --kind {Kind.DEFER.value}.")
    end = moment_of(until, ZoneInfo(register.timezone))
    if end is None:
        stop(f"--until {until!r} is neither a date (2026-06-20) nor an ISO 8601 time.")
    if end <= now:
        stop(f"--until {until} is past: name a day from today on, in {register.timezone}.")
    return end


def _known(corrects: int | None, register: Register) -> None:
    """A number that no note has ends the command."""
    if corrects is not None and all(each.note_id != corrects for each in notes(register.folder)):
        stop(f"There is no note {corrects} to put right: morningwatch export notes -o notes.csv lists their numbers.")
