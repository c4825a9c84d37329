"""``humclick sheet``: the job sheet of a call, as PDF or as one HTML file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from humclick.cli.given import call_in, shop_in, shop_option
from humclick.cli.language import spoken
from humclick.cli.written import save
from humclick.errors import Refused
from humclick.messages import Message, Verbatim

if TYPE_CHECKING:
    from humclick.diagnosis.shop import Shop
    from humclick.jobs.call import Call
    from humclick.jobs.sheet.model import StartPicture


def write_sheet(
    call: Call, shop: Shop | None, path: Path, *, paper: str = "A4", quiet: bool = False, **looks: Any
) -> None:
    """Write the sheet of a call as its name asks, ``.pdf`` or ``.html``; looks as `sheet_html` takes them."""
    kind = path.suffix.casefold()
    looks |= {"paper": paper, "language": spoken()}
    if kind == ".pdf":
        from humclick.jobs.sheet.pdf import sheet_pdf

        data = sheet_pdf(call, shop, **looks)
    elif kind in (".html", ".htm"):
        from humclick.jobs.sheet.render import sheet_html

        data = sheet_html(call, shop, **looks).encode("utf-8", "replace")
    else:
        raise Refused(Message("{path}: a sheet ends in .pdf or .html", path=Verbatim(path)))
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
@click.option("--start", "start", is_flag=True, help="Also the curve of a sound start, simulated.")
@click.option("--recording", help="A clamp's recording, laid over that curve.")
@shop_option
def sheet(
    file: str,
    outs: tuple[Path, ...],
    paper: str,
    money: str,
    start: bool,
    recording: str | None,
    shop_file: Path | None,
) -> None:
    """
    Write the job sheet of a call.

    One page each for the customer, the technician and the parts counter. Prices are shown only with the
    shop's own figures (--shop).

    Example: humclick sheet call.toml -o sheet.pdf -o sheet.html
    """
    call = call_in(file)
    shop = shop_in(shop_file) if shop_file is not None else None
    picture = _picture(call, recording, start)
    for path in outs:
        write_sheet(call, shop, path, money=money, paper=paper, picture=picture)


def _picture(call: Call, recording: str | None, forced: bool) -> StartPicture | None:
    """The start, where it is asked for or the call has a recording of one."""
    wanted = forced or recording is not None
    if not wanted and not call.recordings:
        return None
    from humclick.jobs.sheet.picture import start_picture

    read = None
    if recording is not None:
        from humclick.recordings.logs import recording_from_file

        read = recording_from_file(recording)
    picture = start_picture(call, read, asked=wanted, language=spoken())
    if picture is None and wanted:
        raise Refused(
            Message(
                "no start can be drawn: it needs a machine that is simulated in the call, and"
                " python -m pip install 'humclick[start]'"
            )
        )
    return picture
