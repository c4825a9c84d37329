"""
A language made of the ids: every text bracketed, its vowels accented and doubled, two fifths longer.

What a page shows outside the brackets did not pass through the catalogue.
"""

from __future__ import annotations

import gettext
import io
import math
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from html.parser import HTMLParser
from pathlib import Path
from unittest.mock import patch

from humclick import messages
from humclick.web import language as pages
from humclick.web.catalogue import compiled_catalogue
from humclick.web.catalogue import messages as every_id

CODE = "qps"
OPEN, CLOSE = "⟦", "⟧"
_PLACE = re.compile(r"(\{[^{}]*\})")
_VOWELS = {letter: other + other for letter, other in zip("aeiouAEIOU", "àéîöüÀÉÎÖÜ", strict=True)}


def pseudo(text: str) -> str:
    """A text in the made language; what stands between places is bracketed by itself."""
    pieces = _PLACE.split(text)
    return "".join(_wrapped(piece) if k % 2 == 0 else piece for k, piece in enumerate(pieces))


def _wrapped(text: str) -> str:
    if not any(letter.isalpha() for letter in text):
        return text
    long = "".join(_VOWELS.get(letter, letter) for letter in text.strip())
    missing = math.ceil(1.4 * len(text.strip())) - len(long)
    head, tail = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
    return f"{head}{OPEN}{long}{'ñ' * max(0, min(missing, 12))}{CLOSE}{tail}"


class _Pseudo(gettext.NullTranslations):
    """The made language without a file."""

    def gettext(self, message: str) -> str:
        return pseudo(message) if message in _ids() else message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1) if n == 1 else pseudo(msgid2) if msgid1 in _ids() else msgid2


_IDS: dict[str, tuple[str, ...]] = {}


def _ids() -> dict[str, tuple[str, ...]]:
    if not _IDS:
        _IDS.update(every_id())
    return _IDS


def write_catalogue(folder: Path, code: str = CODE) -> None:
    """The made language as a catalogue in a folder: a language is that, and nothing else."""
    from babel.messages.catalog import Catalog

    made = Catalog(locale="es", domain="humclick", fuzzy=False)
    for text, forms in _ids().items():
        made.add(
            forms if len(forms) > 1 else text, tuple(map(pseudo, forms)) if len(forms) > 1 else pseudo(text)
        )
    made.add("0.5", "0.5")
    place = folder / code / "LC_MESSAGES"
    place.mkdir(parents=True)
    (place / "humclick.mo").write_bytes(compiled_catalogue(made))
    assert io.BytesIO((place / "humclick.mo").read_bytes()).read(4)


@contextmanager
def spoken() -> Iterator[str]:
    """The made language for the pages, and its code."""
    words = messages.Translator(CODE, _Pseudo())

    def translator(code: str = messages.ENGLISH) -> messages.Translator:
        return words if code == CODE else messages.translator(code)

    pages.language.cache_clear()
    with patch.object(pages, "translator", translator):
        yield CODE
    pages.language.cache_clear()


#: Attributes that are read out.
_SPOKEN = ("aria-label", "alt", "title", "placeholder", "data-over", "data-label", "data-name")
_VOID = frozenset({"br", "hr", "img", "input", "link", "meta", "path", "circle", "rect", "ellipse", "use"})


class Shown(HTMLParser):
    """Every text a page shows or has read out, but what is marked as English, code or somebody's own."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.texts: list[str] = []
        self._quiet: list[str] = []
        self._drawn = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """An element begins."""
        given = {name: value or "" for name, value in attrs}
        hidden = tag in ("style", "script", "time", "pre") or given.get("class") in ("hash", "source")
        hidden |= tag == "label" and "lang" in given  # the name of a language, in itself
        if tag == "svg":
            self._drawn += 1
            self.texts.append("")
        if tag not in _VOID and (self._quiet or hidden):
            self._quiet.append(tag)
        if not self._quiet:
            self.texts[:0] = [given[name] for name in _SPOKEN if given.get(name)]

    def handle_endtag(self, tag: str) -> None:
        """An element ends."""
        self._drawn -= tag == "svg"
        if self._quiet and self._quiet[-1] == tag:
            self._quiet.pop()

    def handle_data(self, data: str) -> None:
        """A text."""
        if data.strip() and not self._quiet:
            if self._drawn:  # a label may stand on several lines
                self.texts[-1] += " " + " ".join(data.split())
            else:
                self.texts.append(" ".join(data.split()))


_UNITS = r"[µnpmkM]?(?:Ω|F|V|A|W|J|Hz|s|K|H)|VAC|hp|min|mm²?|cm³|°[CF]|%|dB|ohm|uF"
#: What is the same in every language: units, readings, letters of pins and nodes, refrigerants, probe ids.
NEUTRAL = re.compile(
    rf"(?:{_UNITS}|OL|LRA|RLA|PE|PDF|R-?\d+[A-Za-z]*|[A-Za-z]\d?|[CSR]-[CSR]|[A-Z]{{2,5}}|[AB]\d[L]?"
    r"|[a-z_]+\.[\w-]+|Hum|Click)"
)


#: A word that did pass, broken over the lines of a drawing.
_SAID = re.compile("|".join(_VOWELS.values()))


def unsaid(text: str, typed: Iterable[str] = ()) -> list[str]:
    """Words of a text outside the brackets that are not typed by somebody, nor the same in every language."""
    for own in sorted(typed, key=len, reverse=True):
        text = text.replace(own, " ")
    text = re.sub(rf"{OPEN}[^{OPEN}{CLOSE}]*…", " ", text)  # a label of a drawing that was cut
    while True:
        rest = re.sub(rf"{OPEN}[^{OPEN}{CLOSE}]*{CLOSE}", " ", text)
        if rest == text:
            break
        text = rest
    words = re.findall(r"[^\s\d.,;:()·←→+×±/<>≥≤|&–—“”\"'?!*#=]+(?:[.\-][^\s\d.,;:()]+)*", text)
    return [
        word
        for word in words
        if any(c.isalpha() for c in word) and not NEUTRAL.fullmatch(word) and not _SAID.search(word)
    ]


#: Fields of events that somebody wrote.
_OWN = frozenset({"customer", "equipment", "shop", "words", "note", "caption", "label", "reason"})


def in_own_words(table: dict[str, object]) -> dict[str, object]:
    """An event with what somebody wrote in brackets, so that it is told from the program's words."""
    own = _OWN | ({"text"} if table.get("kind") == "note" else set())
    return {k: f"{OPEN}{v}{CLOSE}" if k in own and isinstance(v, str) and v else v for k, v in table.items()}
