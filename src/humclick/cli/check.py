"""``humclick check``: is a call file sound?"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import Any

import click

from humclick.cli.given import file_in
from humclick.cli.language import say
from humclick.messages import Message, Verbatim, counted

_HEAD = re.compile(r"^[ \t]*\[\[[ \t]*event[ \t]*\]\]")


def lines_of(text: str, count: int) -> list[int]:
    """Line of each event's head; empty where heads and events do not agree in number."""
    heads = [number for number, line in enumerate(text.splitlines(), start=1) if _HEAD.match(line)]
    return heads if len(heads) == count else []


@click.command()
@click.argument("file", type=click.Path())
@click.option("--json", "json_", is_flag=True, help="As JSON.")
def check(file: str, json_: bool) -> None:
    """
    Check a call file and say where it is wrong.

    Ends with 0 if all of it can be used, with 1 if some readings cannot, with 2 if it cannot be read.

    Example: humclick check call.toml
    """
    from humclick.cli.words import events_in_words
    from humclick.jobs.fold import fold
    from humclick.jobs.result import as_json

    read = file_in(file)
    call = fold(read.events)
    text = "" if file == "-" else Path(file).read_text(encoding="utf-8", errors="replace")
    lines = lines_of(text, len(read.events))
    place = {event.id: number for number, event in enumerate(read.events)}
    name = Verbatim(file)
    rows: list[dict[str, Any]] = []
    for problem in call.problems:
        number = place.get(problem.event)
        line = lines[number] if lines and number is not None else None
        rows.append({"line": line, "event": problem.event, "reason": problem.text, "kept": problem.kept})
    if read.torn:
        reason = Message("begun and not completed (power lost while writing); not read")
        rows.append({"line": read.torn_line, "event": "", "reason": reason, "kept": read.torn})
    if json_:
        click.echo(as_json({"file": file, "events": len(read.events), "problems": rows}))
    else:
        for row in rows:
            where = Message("event {event}", event=row["event"])
            if row["line"]:
                where = Message("line {n}", n=row["line"])
            sentence = Message("{file}, {where}: {reason}", file=name, where=where, reason=row["reason"])
            click.echo(say(sentence))
        verdict = Message("all of it can be used")
        if rows:
            verdict = counted("{n} problem", "{n} problems", len(rows))
        held = events_in_words(len(read.events))
        click.echo(say(Message("{file}: {events}, {told}.", file=name, events=held, told=verdict)))
    if rows:
        sys.exit(1)
