"""The command `morningwatch`: the commands of `pipeline.commands` put together.

stdout carries the answer alone; progress and warnings go to stderr. Exit status: 0 done, 1 --fail-on met, 2 usage or
register error, 3 some logs were refused and the rest taken. A command parses, calls the pipeline, prints, and decides
nothing itself; it imports what it needs when it runs, so that help, notes and a morning's check start quickly.
"""

from __future__ import annotations

import io
import sys

import click

from pipeline.commands import answering, keeping, noting, starting, taking_in


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="morning-watch")
def main() -> None:
    """Rank a fleet of outboard boats each morning by what yesterday's engine logs say.

    Example: morningwatch check --fleet charters
    """
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a terminal without the symbols still shows the words


for command in (
    starting.demo,
    starting.init,
    taking_in.ingest_command,
    keeping.verify,
    keeping.backup,
    keeping.restore,
    answering.check,
    starting.serve,
    answering.export,
    answering.report,
    taking_in.columns,
    noting.note,
):
    main.add_command(command)
