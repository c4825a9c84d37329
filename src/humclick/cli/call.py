"""``humclick call``: a call at the bench, step by step."""

from __future__ import annotations

import select
import sys
from pathlib import Path

import click

from humclick.cli.given import shop_in, shop_option


def typed(before: str) -> str | None:
    """
    What is typed next, all of it where several lines come at once; None at the end of the input.

    Where the input is no terminal, the line is shown behind its prompt.
    """
    if sys.stdin.isatty():
        import contextlib

        with contextlib.suppress(ImportError):
            import readline  # noqa: F401  makes the line editable
        try:
            text = input(before)
            while sys.platform != "win32" and select.select([sys.stdin], [], [], 0.03)[0]:
                text += "\n" + input()  # pasted lines
        except EOFError:
            return None
        return text
    line = sys.stdin.readline()
    if not line:
        return None
    click.echo(f"{before}{line.rstrip()}")
    return line.rstrip("\r\n")


@click.command()
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--shop-name", default="", help="For a new call: who works on it.")
@click.option("--customer", default="", help="For a new call: whose machine it is.")
@click.option("--equipment", default="", help="For a new call: what it is and where it stands.")
@click.option("--invented", is_flag=True, help="For a new call: practice, not a real machine.")
@click.option(
    "--place",
    envvar="HUMCLICK_PLACE",
    help="For a new call: whose safety rules hold, us, eu (with the UK) or mx (with Latin America); also"
    " HUMCLICK_PLACE, or place in the shop file. Left out: the strictest of all.",
)
@shop_option
def call(
    file: Path,
    shop_name: str,
    customer: str,
    equipment: str,
    invented: bool,
    place: str | None,
    shop_file: Path | None,
) -> None:
    """
    Work on a call step by step: the next probe, what it means, the verdict.

    FILE keeps the call; it is begun if it is not there. Each accepted line is written to it at once, so
    that nothing is lost when the power goes. Lines may come from a file or a pipe.

    Example: humclick call call.toml
    """
    from humclick.cli.screen import prompt
    from humclick.cli.session import Session
    from humclick.safety import chosen_place

    shop = shop_in(shop_file)
    chosen = shop.place if place is None else chosen_place(place)
    opened = {"shop": shop_name, "customer": customer, "equipment": equipment, "place": chosen}
    session = Session(file, shop, opened, invented=invented)
    try:
        click.echo(session.open())
        while not session.over:
            text = typed(prompt(session))
            if text is None:
                break
            click.echo(session.take(text))
    except (KeyboardInterrupt, EOFError):
        pass
    click.echo(f"\n{session.farewell}")
