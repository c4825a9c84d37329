"""
``humclick sheet``: the job sheet of a call, as PDF or as one HTML file.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from humclick.cli.given import call_in, shop_in, shop_option
from humclick.cli.written import save
from humclick.errors import Refused

if TYPE_CHECKING:
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call


def write_sheet(
    call: Call, shop: Shop | None, path: Path, *, money: str = "", paper: str = "A4", quiet: bool = False
) -> None:
    """
    Write the sheet of a call as its name asks: ``.pdf`` or ``.html``.

    Raises
    ------
    Refused
        If the name ends otherwise, the file cannot be written, or a PDF cannot be made here.
    """
    kind = path.suffix.casefold()
    if kind == ".pdf":
        from humclick.jobs.sheet.pdf import sheet_pdf

        data = sheet_pdf(call, shop, money=money, paper=paper)
    elif kind in (".html", ".htm"):
        from humclick.jobs.sheet.render import sheet_html

        data = sheet_html(call, shop, money=money, paper=paper).encode("utf-8", "replace")
    else:
        raise Refused(f"{path}: a sheet ends in .pdf or .html")
    save(path, data, quiet=quiet)


@click.command()
@click.argument("file")
@click.option(
    "-o",
    "--out",
    "outs",
    multiple=True,
    required=True,
    type=click.Path(path_type=Path),
    help="FILE.pdf or FILE.html.",
)
@click.option(
    "--paper", type=click.Choice(["A4", "Letter"]), default="A4", show_default=True, help="Size of paper."
)
@click.option("--money", default="", help="Name or sign of the money the shop's prices are in.")
@shop_option
def sheet(file: str, outs: tuple[Path, ...], paper: str, money: str, shop_file: Path | None) -> None:
    """
    Write the job sheet of a call.

    One page each for the customer, the technician and the parts counter. Prices are shown only with the
    shop's own figures (--shop).

    Example: humclick sheet call.toml -o sheet.pdf -o sheet.html
    """
    call = call_in(file)
    shop = shop_in(shop_file) if shop_file is not None else None
    for path in outs:
        write_sheet(call, shop, path, money=money, paper=paper)
