"""Commands that answer: the ranked boats, the sheet for the clipboard, tables to take away."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import click

from pipeline.commands.frame import errors, moment, opened, print_morning, reader, say, stop
from pipeline.commands.options import as_of_option, fleet_option, json_option
from pipeline.export_tables import FORMATS, TABLES


@click.command()
@fleet_option
@as_of_option
@json_option
@click.option("--fail-on", type=click.Choice(["watch", "hold"]), help="Exit 1 if a boat stands there or worse.")
def check(folder: Path, as_of: str | None, fail_on: str | None, *, as_json: bool) -> None:
    """Print the boats in order, with reasons and what to do.

    Example: morningwatch check --as-of 2026-06-14 --fail-on hold
    """
    from pipeline.morning import as_document, assess, since
    from pipeline.states import STATUSES

    register = opened(folder)
    with errors():
        db = reader(register)
        morning = assess(db, register, moment(as_of, register))
        changed = since(db, register, morning)
    if as_json:
        click.echo(json.dumps(as_document(morning, changed), ensure_ascii=False, indent=1))
    else:
        print_morning(morning, changed)
    for problem in morning.problems:
        say(problem.sentence())
    if fail_on and any(STATUSES.index(line.status) <= STATUSES.index(fail_on) for line in morning.boats):
        sys.exit(1)


@click.command()
@fleet_option
@as_of_option
@click.option("-o", "output", type=click.Path(path_type=Path, dir_okay=False), required=True, help="The file to write.")
def report(folder: Path, as_of: str | None, output: Path) -> None:
    """Write the morning's sheet for the clipboard: .html or .pdf to print, .csv for a spreadsheet.

    Example: morningwatch report -o sheet.pdf
    """
    from pipeline.morning import assess, since
    from pipeline.report.forms import FORMS

    if output.suffix.lower() not in FORMS:
        stop(f"{output.name}: the ending must be one of {', '.join(FORMS)}.")
    from pipeline.report import sheet, writing

    register = opened(folder)
    with errors():
        db = reader(register)
        morning = assess(db, register, moment(as_of, register))
        writing.write(sheet.sheet_of(morning, since(db, register, morning)), output)
    for problem in morning.problems:
        say(problem.sentence())
    say(f"sheet of {len(morning.boats)} boats written to {output}")


@click.command()
@click.argument("table", type=click.Choice(TABLES))
@fleet_option
@as_of_option
@click.option("-o", "output", type=click.Path(path_type=Path, dir_okay=False), required=True, help="The file to write.")
def export(table: str, folder: Path, as_of: str | None, output: Path) -> None:
    """Write a table to a .csv, .parquet or .json file.

    Example: morningwatch export shifts -o shifts.csv
    """
    from pipeline import exports

    if output.suffix not in FORMATS:
        stop(f"{output.name}: the ending must be one of {', '.join(FORMATS)}.")
    register = opened(folder)
    until = moment(as_of, register)
    with errors():
        if table == "notes":
            found = exports.notes_table(register, until)
        else:
            found = exports.table(reader(register), register, table, until)
        exports.write(found, output)
    say(f"{len(found)} rows written to {output}")
