"""
What a browser asks for: the settings it keeps in its cookie, and the language an answer is said in.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import msgspec
from starlette.requests import cookie_parser

from humclick.errors import Refused, printable
from humclick.limits import SETTING_LETTERS
from humclick.messages import ENGLISH, Message, languages, translator
from humclick.web.exchange import Settings

__all__ = ["COOKIE", "language_asked", "language_chosen", "said_to", "settings_of"]

#: Cookie that keeps language, look and meter on the device.
COOKIE = "humclick"


def settings_of(headers: Mapping[str, str]) -> dict[str, Any]:
    """What the cookie keeps; nothing where it was not written by us."""
    cookie = cookie_parser(headers.get("cookie", "")).get(COOKIE, "")
    try:
        found = msgspec.json.decode(base64.urlsafe_b64decode(cookie), type=Settings)
    except (ValueError, RecursionError):
        return {}
    kept = asdict(found)
    if any(isinstance(value, str) and not _plain(value) for value in kept.values()):
        return {}
    return kept


def _plain(text: str) -> bool:
    """Whether a setting can be what a person chose."""
    return len(text) <= SETTING_LETTERS and printable(text, "") == text


def language_asked(headers: Mapping[str, str]) -> str:
    """The first language a browser asks for that there is."""
    for part in headers.get("accept-language", "").split(","):
        code = part.partition(";")[0].strip().casefold()
        for known in (code, code.partition("-")[0]):
            if known in languages():
                return known
    return ENGLISH


def language_chosen(headers: Mapping[str, str], code: str = "") -> str:
    """
    The language `code`; where none is given the one kept on the device, or else asked for.

    Raises
    ------
    Refused
        If there is no catalogue for it.
    """
    if code and code not in languages():
        raise Refused(
            Message(
                "no catalogue for the language {code}; there are: {known}",
                code=ascii(code)[:40],
                known=languages(),
            )
        )
    kept = str(settings_of(headers).get("language") or "")
    return code or (kept if kept in languages() else language_asked(headers))


def said_to(headers: Mapping[str, str], text: str) -> str:
    """A message in the language of who asks; a plain string as it is."""
    return translator(language_chosen(headers)).text(text)
