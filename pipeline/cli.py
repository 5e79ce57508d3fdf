"""The command `morningwatch`: parses, calls the pipeline, prints. It decides nothing itself.

stdout carries the answer alone; progress and warnings go to stderr. Exit status: 0 done, 1 --fail-on met, 2 usage or
register error, 3 some logs were refused and the rest taken. A command imports what it needs when it runs, so that
help, notes and a morning's check start quickly.
"""

from __future__ import annotations

import io
import json
import sys
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn
from zoneinfo import ZoneInfo

import click

from pipeline.as_of import moment_of
from pipeline.export_tables import FORMATS, TABLES
from pipeline.logbook import Kind, LogbookError, add_note

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from pipeline.changes import Change
    from pipeline.database import Database
    from pipeline.ingest import IngestResult
    from pipeline.morning import Morning
    from pipeline.proposal import Override, Proposal
    from pipeline.register import Register
    from pipeline.trial import Trial

USAGE: Final = 2
REFUSED: Final = 3
PORT: Final = 8501

_fleet_option = click.option(
    "--fleet",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    envvar="MORNINGWATCH_FLEET",
    default=Path(),
    show_default="MORNINGWATCH_FLEET, else the current folder",
    help="The fleet folder.",
)
_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON instead of text.")
_as_of_option = click.option(
    "--as-of",
    metavar="WHEN",
    help="Use nothing later: a date (its end, in the fleet's time zone) or an ISO 8601 time.",
)


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="morning-watch")
def main() -> None:
    """Rank a fleet of outboard boats each morning by what yesterday's engine logs say.

    Example: morningwatch check --fleet charters
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without the symbols still shows the words


@main.command()
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
        _stop(f"{folder} is not empty and no simulated fleet. Name another folder.")
    with _bar("Simulating") as progress:
        demo_fleet.build(folder, boats=boats, days=days, seed=seed, progress=progress)
    register = _register(folder)
    _write_simulated_notes(folder)
    _say(listing.ingest_line(_ingested(register)))
    _print_morning(assess(_reader(register), register, _moment(None, register)))
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


@main.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def init(folder: Path) -> None:
    """Make a fleet folder with a commented fleet.toml; nothing that is there is changed.

    Example: morningwatch init charters
    """
    from pipeline.register import init_fleet

    with _errors():
        started = init_fleet(folder)
    for path in started.made:
        click.echo(f"made {path}")
    for path in started.kept:
        click.echo(f"kept {path}")


@main.command(name="ingest")
@_fleet_option
@_json_option
@click.option("--follow", is_flag=True, help="Go on until stopped: take each log once it is wholly written.")
@click.option("--thorough", is_flag=True, help="Look at the bytes of every file, not only at size and time.")
def ingest_command(folder: Path, *, as_json: bool, follow: bool, thorough: bool) -> None:
    """Take the new logs of the inbox into the store.

    Example: morningwatch ingest --fleet charters
    """
    from pipeline import listing

    register = _register(folder)
    if follow:
        _follow(folder, as_json=as_json)
        return
    result = _ingested(register, thorough=thorough)
    if as_json:
        click.echo(json.dumps(_ingest_document(result), ensure_ascii=False))
    else:
        click.echo(listing.ingest_text(result))
    if result.refused:
        sys.exit(REFUSED)


@main.command()
@_fleet_option
@_json_option
def verify(folder: Path, *, as_json: bool) -> None:
    """Look at all that is kept, byte by byte, and say what would be made again and what cannot be. Nothing is written.

    Example: morningwatch verify --fleet charters
    """
    from pipeline import listing
    from pipeline.verify import verify

    _register(folder)
    with _bar("Looking at files") as progress, _errors():
        found = verify(folder, progress)
    click.echo(json.dumps(asdict(found), ensure_ascii=False) if as_json else listing.verified_text(found))
    if found.faults:
        sys.exit(REFUSED)


@main.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@_fleet_option
@click.option("--with-samples", is_flag=True, help="Also what was read from logs: for logs no longer in the inbox.")
@click.option("--with-logs", is_flag=True, help="Also the files of the inbox.")
def backup(file: Path, folder: Path, *, with_samples: bool, with_logs: bool) -> None:
    """Save what cannot be made again: fleet.toml, schedule, logbook and the list of logs.

    Example: morningwatch backup charters-2026-06-14.zip --fleet charters
    """
    from pipeline.backup import backup

    with _errors():
        saved = backup(folder, file, with_samples=with_samples, with_logs=with_logs, waiting=_say)
    _say(f"{saved} files saved in {file}")


@main.command()
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False, exists=True))
@_fleet_option
@click.option("--replace", is_flag=True, help="Put it into a folder that is not empty; what is replaced is kept.")
def restore(file: Path, folder: Path, *, replace: bool) -> None:
    """Put a backup into a fleet folder, after every byte of it was checked.

    Example: morningwatch restore charters-2026-06-14.zip --fleet charters-again
    """
    from pipeline.restore import restore

    with _errors():
        found = restore(file, folder, replace=replace)
    _say(f"{found} files restored into {folder}. Next: morningwatch ingest --fleet {folder}")


@main.command()
@_fleet_option
@_as_of_option
@_json_option
@click.option("--fail-on", type=click.Choice(["watch", "hold"]), help="Exit 1 if a boat stands there or worse.")
def check(folder: Path, as_of: str | None, fail_on: str | None, *, as_json: bool) -> None:
    """Print the boats in order, with reasons and what to do.

    Example: morningwatch check --as-of 2026-06-14 --fail-on hold
    """
    from pipeline.morning import as_document, assess, since
    from pipeline.states import STATUSES

    register = _register(folder)
    with _errors():
        db = _reader(register)
        morning = assess(db, register, _moment(as_of, register))
        changed = since(db, register, morning)
    if as_json:
        click.echo(json.dumps(as_document(morning, changed), ensure_ascii=False, indent=1))
    else:
        _print_morning(morning, changed)
    for problem in morning.problems:
        _say(problem.sentence())
    if fail_on and any(STATUSES.index(line.status) <= STATUSES.index(fail_on) for line in morning.boats):
        sys.exit(1)


@main.command()
@_fleet_option
@click.option("--port", type=int, default=PORT, show_default=True, help="Port on 127.0.0.1.")
def serve(folder: Path, port: int) -> None:
    """Serve the dashboard on this machine.

    Example: morningwatch serve --fleet charters
    """
    _register(folder)
    _serve(folder, port)


@main.command()
@click.argument("table", type=click.Choice(TABLES))
@_fleet_option
@_as_of_option
@click.option("-o", "output", type=click.Path(path_type=Path, dir_okay=False), required=True, help="The file to write.")
def export(table: str, folder: Path, as_of: str | None, output: Path) -> None:
    """Write a table to a .csv, .parquet or .json file.

    Example: morningwatch export shifts -o shifts.csv
    """
    from pipeline import exports

    if output.suffix not in FORMATS:
        _stop(f"{output.name}: the ending must be one of {', '.join(FORMATS)}.")
    register = _register(folder)
    with _errors():
        found = exports.table(_reader(register), register, table, _moment(as_of, register))
        exports.write(found, output)
    _say(f"{len(found)} rows written to {output}")


@main.command()
@_fleet_option
@_as_of_option
@click.option("-o", "output", type=click.Path(path_type=Path, dir_okay=False), required=True, help="The file to write.")
def report(folder: Path, as_of: str | None, output: Path) -> None:
    """Write the morning's sheet for the clipboard: .html or .pdf to print, .csv for a spreadsheet.

    Example: morningwatch report -o sheet.pdf
    """
    from pipeline.morning import assess, since
    from pipeline.report.forms import FORMS

    if output.suffix.lower() not in FORMS:
        _stop(f"{output.name}: the ending must be one of {', '.join(FORMS)}.")
    from pipeline.report import sheet, writing

    register = _register(folder)
    with _errors():
        db = _reader(register)
        morning = assess(db, register, _moment(as_of, register))
        writing.write(sheet.sheet_of(morning, since(db, register, morning)), output)
    for problem in morning.problems:
        _say(problem.sentence())
    _say(f"sheet of {len(morning.boats)} boats written to {output}")


@main.command()
@click.argument("log", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@_fleet_option
@_json_option
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

    register = _register(folder) if write or boat or (folder / FILE_NAME).exists() else None
    with _mistakes():
        owner = register.boat(boat) if register and boat else None
        proposal = propose(log, owner, _answers(answers))
    if proposal.problems:
        _say(listing.proposal_text(proposal, name))
        sys.exit(REFUSED)
    trial = _tried(proposal, log, register, boat)
    if as_json:
        click.echo(json.dumps(listing.proposal_document(proposal, trial), ensure_ascii=False, indent=1))
    elif not write:
        click.echo(listing.proposal_text(proposal, name, trial))
    for said in listing.proposal_remarks(proposal, register, name):
        _say(said)
    if write and register:
        _write_map(proposal, register, name, boat, replace=replace)


def _answers(texts: Sequence[str]) -> list[Override]:
    from pipeline.proposal import parse_override

    return [parse_override(each) for each in texts]


def _tried(proposal: Proposal, log: Path, register: Register | None, boat: str | None) -> Trial | None:
    """What the log gives by the map; None where the map is not enough to read it by."""
    from pipeline.proposal.preview import preview

    with _errors():
        return preview(proposal, log, register, boat) if proposal.is_usable else None


def _write_map(proposal: Proposal, register: Register, name: str, boat: str | None, *, replace: bool) -> None:
    from pipeline.catalogue import indicators
    from pipeline.register import FILE_NAME, write_map

    if not proposal.is_usable:
        _stop("Nothing is written: a map needs a time and one more channel. Name them with --set.")
    boats = [boat] if boat else []
    with _errors():
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
        _stop(str(error.args[0]))


@main.command()
@_fleet_option
@click.option("--boat", required=True, help="Id of the boat.")
@click.option("--engine", help="Id of the engine; without it the note is for the whole boat.")
@click.option("--kind", type=click.Choice([kind.value for kind in Kind]), required=True, help="What was done.")
@click.argument("text")
def note(folder: Path, boat: str, engine: str | None, kind: str, text: str) -> None:
    """Write into the logbook what was done.

    Example: morningwatch note --boat petrel --engine port --kind cleaned "throttle body cleaned"
    """
    register = _register(folder)
    with _errors():
        try:
            register.boat(boat)
            if engine is not None:
                register.engine(f"{boat}/{engine}")
            written = add_note(folder, boat, engine, kind, text, datetime.now(UTC))
        except (KeyError, ValueError) as error:
            _stop(str(error.args[0]))
    click.echo(f"note {written.note_id} written")


def _follow(folder: Path, *, as_json: bool) -> None:
    """Rounds until a signal asks to stop: with --json one line each, else a line for each that has news."""
    from pipeline import listing
    from pipeline.follow import Follower, Round
    from pipeline.watch import until_asked_to_stop

    def tell(done: Round) -> None:
        if done.error is not None:
            _say(str(done.error))
        if as_json:
            document = {"error": str(done.error)} if done.result is None else _ingest_document(done.result)
            click.echo(json.dumps(document, ensure_ascii=False))
        elif done.result is not None and done.has_news:
            click.echo(listing.ingest_text(done.result))

    with until_asked_to_stop(folder) as watch:
        Follower(folder, watch, tell, waiting=_say).run()


def _ingested(register: Register, *, thorough: bool = False) -> IngestResult:
    from pipeline.ingest import ingest

    with _bar("Reading logs") as progress, _errors():
        return ingest(register, progress=progress, waiting=_say, thorough=thorough)


def _reader(register: Register) -> Database:
    """The newest snapshot. A fleet that was only just started has no log to read, and that is an answer too."""
    from pipeline.inbox_files import scan
    from pipeline.ingest import ingest
    from pipeline.store import Store

    store = Store(register.folder)
    if store.snapshot() is None and not scan(register.folder):
        ingest(register)
    return store.reader()


def _print_morning(morning: Morning, changed: Sequence[Change] = ()) -> None:
    from rich.console import Console

    from pipeline import listing

    console = Console(highlight=False)
    console.print(listing.morning_text(morning, console.width, changed))


def _moment(as_of: str | None, register: Register) -> datetime:
    """A date is the end of that day in the fleet's zone; a time without offset is local to the fleet."""
    zone = ZoneInfo(register.timezone)
    if as_of is None:
        return datetime.now(zone)
    moment = moment_of(as_of, zone)
    if moment is None:
        _stop(f"--as-of {as_of!r} is neither a date (2026-06-14) nor an ISO 8601 time.")
    return moment


def _register(folder: Path) -> Register:
    from pipeline.catalogue import indicators
    from pipeline.register import load_register

    with _errors():
        return load_register(folder, frozenset(indicators()))


def _is_simulated(folder: Path) -> bool:
    from pipeline.register import RegisterError, load_register

    try:
        return load_register(folder).simulated
    except RegisterError:
        return False


@contextmanager
def _errors() -> Iterator[None]:
    """What a person can mend is said in its own words, without a trace."""
    from pipeline.backup import BackupError
    from pipeline.ledger import LedgerError
    from pipeline.register import RegisterError
    from pipeline.store import StoreError

    try:
        yield
    except (RegisterError, StoreError, LedgerError, LogbookError, BackupError, OSError) as error:
        _stop(str(error))


def _stop(message: str) -> NoReturn:
    """Say what is wrong and end with the status for a usage or register error."""
    _say(message)
    sys.exit(USAGE)


def _say(message: str) -> None:
    click.echo(message, err=True)


@contextmanager
def _bar(title: str) -> Iterator[Callable[[int, int], None]]:
    """A progress bar on stderr; it draws nothing where stderr is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    parts = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*parts, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(title, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def _ingest_document(result: IngestResult) -> dict[str, Any]:
    return {
        "taken": result.taken,
        "replaced": result.replaced,
        "known": result.known,
        "refused": [{"file": each.file, "line": each.line, "reason": each.reason} for each in result.refused],
        "seconds": round(result.seconds, 3),
    }


def _serve(folder: Path, port: int) -> None:
    """Serve until a signal ends it; the app warms itself while the address is being typed."""
    from dashboard.server import ServeError, serve

    try:
        serve(folder.resolve(), port, _say)
    except ServeError as error:
        _stop(str(error))
