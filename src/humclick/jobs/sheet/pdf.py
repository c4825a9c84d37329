"""The sheet as PDF: the same HTML, typeset by WeasyPrint."""

from __future__ import annotations

from humclick.diagnosis.shop import Shop
from humclick.errors import Refused
from humclick.jobs.call import Call
from humclick.jobs.sheet.model import StartPicture
from humclick.jobs.sheet.render import PAPERS, sheet_of, typeset
from humclick.messages import ENGLISH, Message

__all__ = ["sheet_pdf"]


def _fetch_nothing(url: str, *_: object, **__: object) -> dict[str, object]:
    """Refuse every address: the sheet carries all it needs."""
    raise ValueError(f"the sheet fetches nothing, and asked for {url[:80]}")


def sheet_pdf(
    call: Call,
    shop: Shop | None = None,
    *,
    money: str = "",
    paper: str = "A4",
    picture: StartPicture | None = None,
    language: str = ENGLISH,
) -> bytes:
    """
    The sheet as PDF on one of `PAPERS`; else as `humclick.jobs.sheet.render.sheet_of`.

    Raises `Refused` for another paper, and where WeasyPrint is not installed.
    """
    if paper not in PAPERS:
        raise Refused(
            Message("paper must be {papers:or}, got {paper}", papers=tuple(PAPERS), paper=repr(paper))
        )
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:  # OSError: its text libraries are missing
        raise Refused(
            Message(
                "a PDF needs WeasyPrint and its text libraries: pip install 'humclick[sheet]' (on Linux also"
                " the package pango); the HTML sheet needs neither and prints from any browser ({error})",
                error=str(error),
            )
        ) from error
    sheet = sheet_of(call, shop, money=money, picture=picture)
    html = typeset(sheet, paper, screen=False, language=language)
    made: bytes = HTML(string=html, url_fetcher=_fetch_nothing).write_pdf()
    return made
