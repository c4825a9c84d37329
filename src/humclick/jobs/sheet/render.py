"""The sheet as one HTML file: three pages, styles and drawing inside, nothing fetched, no script."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from humclick.circuit.drawing import draw_svg, draw_text
from humclick.diagnosis.shop import Shop, default_shop
from humclick.jobs.call import Call, ReadingKept
from humclick.jobs.events import Event
from humclick.jobs.history import state_of
from humclick.jobs.judgements import Weighed
from humclick.jobs.sheet.counter import counter_page
from humclick.jobs.sheet.customer import customer_page
from humclick.jobs.sheet.model import Account, Sheet, StartPicture, judgement_of
from humclick.jobs.sheet.technician import technician_page
from humclick.messages import ENGLISH, Message, translator
from humclick.safety import defer

__all__ = ["PAPERS", "sheet_html", "sheet_of", "typeset"]

#: Papers and how wide and high they are.
PAPERS: Mapping[str, str] = {"A4": "210mm 297mm", "Letter": "8.5in 11in"}


def sheet_of(
    call: Call,
    shop: Shop | None = None,
    *,
    weighed: Weighed | None = None,
    before: Weighed | None = None,
    money: str = "",
    picture: StartPicture | None = None,
) -> Sheet:
    """
    Everything that stands on the sheet of a call, at any point.

    `weighed` is what judgement says of it, `before` of it as it stood when its last go at a repair
    began; both are worked out where left out. No price is shown without the shop's own figures.
    """
    now = judgement_of(weighed or _weighed(call, shop))
    state = state_of(call, now.advice if now is not None else None)
    turn, then = state.turn, now
    if turn is not None:
        then = judgement_of(before or _weighed(turn.before, shop), turn.about)
    account = Account(now, then, state)
    header = call.header
    return Sheet(
        shop=header.shop if header else "",
        customer=header.customer if header else "",
        equipment=header.equipment if header else "",
        date=_dates(call),
        invented=bool(header and header.invented),
        state=state,
        customer_page=customer_page(call, account, shop, money),
        technician_page=replace(
            technician_page(call, account, shop),
            start_svg=picture.svg if picture else "",
            start_caption=picture.caption if picture else "",
        ),
        counter_page=counter_page(call, account),
    )


def _weighed(call: Call, shop: Shop | None) -> Weighed | None:
    situation = call.situation()
    return None if situation is None else Weighed(situation, shop or default_shop())


def _dates(call: Call) -> str:
    """The day or the days of the call; empty where nobody wrote a time down."""
    shown: list[Event | ReadingKept] = [*call.readings, *call.hazards, *call.cleared, *call.gates]
    shown += [*call.notes, *call.stamps, *call.fitted, *call.decisions, *call.photos, *call.waits]
    timed = sorted(event.at for event in shown if event.at.year > 1970)
    first, last = (timed[0].date(), timed[-1].date()) if timed else (None, None)
    if first is None or first == last:
        return "" if first is None else f"{first}"
    return Message("{first} to {last}", first=f"{first}", last=f"{last}")


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("humclick.jobs.sheet"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def sheet_html(
    call: Call,
    shop: Shop | None = None,
    *,
    money: str = "",
    paper: str = "",
    picture: StartPicture | None = None,
    language: str = ENGLISH,
) -> str:
    """The sheet as one self-contained HTML file; `sheet_of` and `typeset` say what it takes and refuses."""
    sheet = sheet_of(call, shop, money=money, picture=picture)
    return typeset(sheet, paper, language=language)


def typeset(sheet: Sheet, paper: str = "", *, screen: bool = True, language: str = ENGLISH) -> str:
    """
    A sheet as HTML, on one of `PAPERS` (else `KeyError`) or on any the printer has.

    A typesetter for paper needs no styles for a `screen`.
    """
    environment, words = _environment(), translator(language)
    page, svg, text = sheet.technician_page, "", ""
    if page.wiring is not None:
        svg = draw_svg(page.wiring, suspects=page.shares, translate=words.text)
        text = draw_text(page.wiring, translate=words.text)
    sources = ["sheet.css", "screen.css"] if screen else ["sheet.css"]
    style = "\n".join(PackageLoader("humclick.jobs.sheet").get_source(environment, n)[0] for n in sources)
    if paper:
        style = f"@page {{ size: {PAPERS[paper]}; }}\n{style}"
    return environment.get_template("sheet.html").render(
        sheet=sheet,
        _=words.page,
        say=words.text,
        lang=words.code,
        style=Markup(style),  # our own files
        drawing=Markup(svg),  # escaped where it is drawn
        drawing_text=text,
        start=Markup(sheet.technician_page.start_svg),  # likewise
        defer=defer(),
    )
