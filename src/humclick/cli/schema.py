"""``humclick schema``: the shape of what is read and of what is handed over."""

from __future__ import annotations

import json

import click


@click.command()
@click.argument("what", type=click.Choice(["call", "advice"]))
def schema(what: str) -> None:
    """
    Show the JSON Schema of a call file or of advice.

    In advice a number that is infinite is null.

    Example: humclick schema advice > advice.schema.json
    """
    from humclick.jobs.schema import call_schema

    if what == "call":
        shape = call_schema()
    else:
        from humclick.jobs.result import advice_schema

        shape = advice_schema()
    click.echo(json.dumps(shape, ensure_ascii=False, indent=2))
