"""Commands that bring logs in: the inbox into the store, and a channel map for an unknown log."""

from __future__ import annotations

import json
import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.commands.frame import REFUSED, errors, ingested, opened, say, stop
from pipeline.commands.options import fleet_option, json_option

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from pipeline.ingest import IngestResult
    from pipeline.proposal import Override, Proposal
    from pipeline.register import Register
    from pipeline.trial import Trial


@click.command(name="ingest")
@fleet_option
@json_option
@click.option("--follow", is_flag=True, help="Go on until stopped: take each log once it is wholly written.")
@click.option("--thorough", is_flag=True, help="Look at the bytes of every file, not only at size and time.")
def ingest_command(folder: Path, *, as_json: bool, follow: bool, thorough: bool) -> None:
    """Take the new logs of the inbox into the store.

    Example: morningwatch ingest --fleet charters
    """
    from pipeline import listing

    register = opened(folder)
    if follow:
        _follow(folder, as_json=as_json)
        return
    result = ingested(register, thorough=thorough)
    if as_json:
        click.echo(json.dumps(_ingest_document(result), ensure_ascii=False))
    else:
        click.echo(listing.ingest_text(result))
    if result.refused:
        sys.exit(REFUSED)


def _follow(folder: Path, *, as_json: bool) -> None:
    """Rounds until a signal asks to stop: with --json one line each, else a line for each that has news."""
    from pipeline import listing
    from pipeline.follow import Follower, Round
    from pipeline.watch import until_asked_to_stop

    def tell(done: Round) -> None:
        if done.error is not None:
            say(str(done.error))
        if as_json:
            document = {"error": str(done.error)} if done.result is None else _ingest_document(done.result)
            click.echo(json.dumps(document, ensure_ascii=False))
        elif done.result is not None and done.has_news:
            click.echo(listing.ingest_text(done.result))

    with until_asked_to_stop(folder) as watch:
        Follower(folder, watch, tell, waiting=say).run()


def _ingest_document(result: IngestResult) -> dict[str, Any]:
    return {
        "taken": result.taken,
        "replaced": result.replaced,
        "known": result.known,
        "refused": [{"file": each.file, "line": each.line, "reason": each.reason} for each in result.refused],
        "seconds": round(result.seconds, 3),
    }


@click.command()
@click.argument("log", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@fleet_option
@json_option
@click.option("--boat", help="Whose log it is: its engines' names are known then, and with --write it uses the map.")
@click.option(
    "--set", "answers", multiple=True, metavar="ANSWER", help="CHANNEL=COLUMN[:UNIT], CHANNEL= or stoich=14.6."
)
@click.option("--name", default="new", show_default=True, help="The map's name.")
@click.option("--write", is_flag=True, help="Put the map into fleet.toml.")
@click.option("--replace", is_flag=True, help="With --write: in place of a map of that name.")
def columns(
    log: Path,
    folder: Path,
    boat: str | None,
    answers: tuple[str, ...],
    name: str,
    *,
    as_json: bool,
    write: bool,
    replace: bool,
) -> None:
    """Propose a channel map for a log, with reasons, and show what the log gives by it.

    Example: morningwatch columns inbox/petrel/2026-06-14_0710.csv --boat petrel --name bench --write
    """
    from pipeline import listing
    from pipeline.proposal import propose
    from pipeline.register import FILE_NAME

    register = opened(folder) if write or boat or (folder / FILE_NAME).exists() else None
    with _mistakes():
        owner = register.boat(boat) if register and boat else None
        proposal = propose(log, owner, _answers(answers), register.reading if register else None)
    if proposal.problems:
        say(listing.proposal_text(proposal, name))
        sys.exit(REFUSED)
    trial = _tried(proposal, log, register, boat)
    if as_json:
        click.echo(json.dumps(listing.proposal_document(proposal, trial), ensure_ascii=False, indent=1))
    elif not write:
        click.echo(listing.proposal_text(proposal, name, trial))
    for said in listing.proposal_remarks(proposal, register, name):
        say(said)
    if write and register:
        _write_map(proposal, register, name, boat, replace=replace)


def _answers(texts: Sequence[str]) -> list[Override]:
    from pipeline.proposal import parse_override

    return [parse_override(each) for each in texts]


def _tried(proposal: Proposal, log: Path, register: Register | None, boat: str | None) -> Trial | None:
    """What the log gives by the map; None where the map is not enough to read it by."""
    from pipeline.proposal.preview import preview

    with errors():
        return preview(proposal, log, register, boat) if proposal.is_usable else None


def _write_map(proposal: Proposal, register: Register, name: str, boat: str | None, *, replace: bool) -> None:
    from pipeline.catalogue import indicators
    from pipeline.register import FILE_NAME, write_map

    if not proposal.is_usable:
        stop("Nothing is written: a map needs a time and one more channel. Name them with --set.")
    boats = [boat] if boat else []
    with errors():
        lines = proposal.table_lines()
        written = write_map(
            register.folder, name, lines, boats=boats, replace=replace, indicators=frozenset(indicators())
        )
    used = f"; {boat} uses it" if boat else ""
    click.echo(f"channel map {name!r} {written.status} in {register.folder / FILE_NAME}{used}")


@contextmanager
def _mistakes() -> Iterator[None]:
    """A name or an answer that fits nothing is said with what would."""
    from pipeline.proposal import OverrideError

    try:
        yield
    except (KeyError, OverrideError) as error:
        stop(str(error.args[0]))
