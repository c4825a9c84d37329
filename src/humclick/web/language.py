"""
One language of the pages: texts by catalogue, numbers with its decimal mark, times, per cents.

Page texts are looked up word for word. Texts that judgement puts together (findings, reasons, refusals) are
taken apart by `humclick.web.sentences` and put together again; one for which there is no translation stays in
English and is marked so, that a screen reader says it rightly.
"""

from __future__ import annotations

import gettext
import re
from datetime import datetime
from functools import cache

from markupsafe import Markup, escape

from humclick.messages import LOCALES, Message, translator
from humclick.readings.shown import percent
from humclick.web.exchange import LANGUAGES
from humclick.web.sentences import neutral, taken_apart

__all__ = ["OWN", "Language", "language"]

#: Language of the program's own texts.
OWN = LANGUAGES[0]
#: Languages that write a decimal comma.
_COMMA = frozenset({"es"})
#: Texts whose translation is remembered.
_REMEMBERED = 4000
_DECIMAL = re.compile(r"(?<![\w.,])(\d+)\.(\d+)(?![\w.]*\.\w)")


class _Untranslated(str):
    """A text that stands in no catalogue."""

    __slots__ = ()


class _Nothing(gettext.NullTranslations):
    """What is asked where a catalogue has no entry."""

    def gettext(self, message: str) -> str:
        return _Untranslated(message)


class Language:
    """
    Texts and numbers of one language.

    Parameters
    ----------
    code : str
        ``en`` or ``es``.
    """

    def __init__(self, code: str) -> None:
        self.code = code
        self._texts: gettext.NullTranslations = gettext.NullTranslations()
        self._said: dict[str, str | None] = {}
        if code != OWN:
            with (LOCALES / code / "LC_MESSAGES" / "humclick.mo").open("rb") as file:
                self._texts = gettext.GNUTranslations(file)
            self._texts.add_fallback(_Nothing())

    def text(self, msgid: str, **values: object) -> str:
        """A page text, its places in braces filled."""
        text = self._texts.gettext(msgid) if msgid else ""
        for name, value in values.items():
            text = text.replace("{" + name + "}", str(value))
        return text

    def counted(self, one: str, many: str, number: int) -> str:
        """A text for one or for many, with ``{n}`` filled."""
        return self._texts.ngettext(one, many, number).replace("{n}", str(number))

    def known(self, text: str) -> str | None:
        """The translation of a text, whole or from capital to small first letter; None if there is none."""
        if self.code == OWN:
            return text
        for change in (_same, _small, _capital):
            found = self._texts.gettext(change(text))
            if not isinstance(found, _Untranslated):
                return found if change is _same else _as_first(text, found)
        return None

    def spoken(self, text: str) -> str | None:
        """A text of judgement in this language; None where it cannot be said."""
        if not text.strip() or self.code == OWN:
            return text
        if isinstance(text, Message):
            said = translator(self.code).text(text)
            if text.values or said != text:
                return said
        found = self._spoken(text)
        return None if found is None else self.figures(found)

    def _spoken(self, text: str) -> str | None:
        if text in self._said:
            return self._said[text]
        self._said[text] = None  # a text is never part of itself
        found = self.known(text)
        if found is None and neutral(text):
            found = text
        if found is None and text.endswith(".") and (bare := self.known(text[:-1])) is not None:
            found = f"{bare}."
        if found is None:
            found = taken_apart(text, self._spoken, self._texts.gettext)
        if len(self._said) > _REMEMBERED:
            self._said.clear()
        self._said[text] = found
        return found

    def say(self, text: str) -> Markup:
        """A text of judgement, marked as English where it has no translation."""
        found = self.spoken(text)
        if found is not None:
            return escape(found)
        return Markup('<span lang="en">{}</span>').format(text)

    def plain(self, text: str) -> str:
        """As `say`, without the mark; for attributes and for JSON."""
        found = self.spoken(text)
        return text if found is None else found

    @property
    def mark(self) -> str:
        """The decimal mark."""
        return "," if self.code in _COMMA else "."

    def figures(self, text: str) -> str:
        """A text with the decimal mark of this language in its numbers."""
        if self.mark == ".":
            return text
        return _DECIMAL.sub(r"\1,\2", text)

    def number(self, value: float, digits: int = 3) -> str:
        """A number with so many digits that count."""
        return self.figures(f"{value:.{digits}g}" if abs(value) < 10**digits else f"{value:.0f}")

    def percent(self, probability: float) -> str:
        """A probability in per cent; never 0 or 100 where it is not that. [-]"""
        return percent(probability)

    def likely(self, probability: float) -> str:
        """How likely, in words. [-]"""
        for least, words in _LIKELY:
            if probability >= least:
                return self.text(words)
        return self.text("hardly")

    def clock(self, at: datetime) -> str:
        """A time of day; empty where nobody wrote it down."""
        return "" if at.year <= 1970 else f"{at:%H:%M}"

    def day(self, at: datetime) -> str:
        """A date, as ISO 8601; empty where nobody wrote it down."""
        return "" if at.year <= 1970 else f"{at:%Y-%m-%d}"


def N_(text: str) -> str:  # noqa: N802  the name every catalogue tool knows
    """Mark a text for the catalogue; it is looked up where it is shown."""
    return text


_LIKELY = (
    (0.95, N_("almost certain")),
    (0.7, N_("very likely")),
    (0.35, N_("likely")),
    (0.1, N_("possible")),
    (0.02, N_("unlikely")),
    (0.0, N_("hardly")),
)


def _same(text: str) -> str:
    return text


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _as_first(text: str, found: str) -> str:
    return _capital(found) if text[:1].isupper() else _small(found)


@cache
def language(code: str) -> Language:
    """The language of a code; English for any that has no catalogue."""
    return Language(code if code in LANGUAGES else OWN)
