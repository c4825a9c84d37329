"""
``humclick check``: is a call file sound?
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

import click

from humclick.cli.given import file_in

_HEAD = re.compile(r"^[ \t]*\[\[[ \t]*event[ \t]*\]\]")


def lines_of(text: str, count: int) -> list[int]:
    """Line of each event's head; empty where heads and events do not agree in number."""
    found = [number for number, line in enumerate(text.splitlines(), start=1) if _HEAD.match(line)]
    return found if len(found) == count else []


@click.command()
@click.argument("file", type=click.Path())
@click.option("--json", "json_", is_flag=True, help="As JSON.")
def check(file: str, json_: bool) -> None:
    """
    Check a call file and say where it is wrong.

    Ends with 0 if all of it can be used, with 1 if some readings cannot, with 2 if it cannot be read.

    Example: humclick check call.toml
    """
    from humclick.cli.words import counted
    from humclick.jobs.fold import fold
    from humclick.jobs.result import as_json

    read = file_in(file)
    call = fold(read.events)
    text = "" if file == "-" else Path(file).read_text(encoding="utf-8", errors="replace")
    lines = lines_of(text, len(read.events))
    place = {event.id: number for number, event in enumerate(read.events)}
    rows = []
    for problem in call.problems:
        number = place.get(problem.event)
        line = lines[number] if lines and number is not None else None
        rows.append({"line": line, "event": problem.event, "reason": problem.text, "kept": problem.kept})
    if read.torn:
        reason = "begun and not completed (power lost while writing); not read"
        rows.append({"line": read.torn_line, "event": "", "reason": reason, "kept": read.torn})
    if json_:
        click.echo(as_json({"file": file, "events": len(read.events), "problems": rows}))
    else:
        for row in rows:
            where = f"line {row['line']}" if row["line"] else f"event {row['event']}"
            click.echo(f"{file}, {where}: {row['reason']}")
        told = f"{counted(len(rows), 'problem')}" if rows else "all of it can be used"
        click.echo(f"{file}: {counted(len(read.events), 'event')}, {told}.")
    if rows:
        sys.exit(1)
