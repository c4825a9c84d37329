"""What stands around every page: the document, the header, and the page for what is not there."""

from __future__ import annotations

from dataclasses import replace

from markupsafe import Markup

from humclick.messages import N_
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.language import Language, language
from humclick.web.typeset import page, template


def header(words: Language, path: str) -> str:
    """The name and the ways to the other pages."""
    return template("header.html", words, path=path)


def missing(desk: Desk, message: str = "") -> Reply:
    """The page for a path or a call that is not there."""
    return replace(page("missing.html", desk, N_("Not here"), message=message), status=404)


def document(reply: Reply, *, theme: str = "auto", static: str = "/static") -> str:
    """A whole HTML document around a reply; an unknown theme follows the device."""
    return template(
        "document.html",
        language(reply.language),
        reply=reply,
        html=Markup(reply.html),  # made by our templates
        header=Markup(reply.header),
        theme=theme if theme in ("light", "dark") else "auto",
        static=static,
    )
