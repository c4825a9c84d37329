"""``humclick advise``: a call file in; suspects, findings and what to do next out."""

from __future__ import annotations

from pathlib import Path

import click

from humclick.cli.given import call_in, shop_in, shop_option


@click.command()
@click.argument("file")
@click.option("--json", "json_", is_flag=True, help="As JSON; `humclick schema advice` describes it.")
@click.option("--why", is_flag=True, help="Also how strongly each reading speaks.")
@shop_option
def advise(file: str, json_: bool, why: bool, shop_file: Path | None) -> None:
    """
    Say what a call file means and what to do next.

    FILE is a call file, or - for standard input. Readings may stand in it in any order.

    Example: humclick advise call.toml --why
    """
    from humclick.cli.words import advice_in_words
    from humclick.jobs.result import as_json, result_of

    call = call_in(file)
    result = result_of(call, shop_in(shop_file), why=why)
    click.echo(as_json(result) if json_ else advice_in_words(result, call))
