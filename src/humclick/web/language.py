"""One language of the pages: texts by catalogue, numbers with its decimal mark, times, per cents."""

from __future__ import annotations

from datetime import datetime
from functools import cache

from markupsafe import Markup, escape

from humclick.messages import N_, Translator, counted, translator
from humclick.readings.shown import percent


class Language:
    """Texts and numbers of one language."""

    def __init__(self, words: Translator) -> None:
        self.words = words
        self.code = words.code

    def text(self, id: str, **values: object) -> str:
        """A page text, its places in braces filled with what is said already."""
        return self.words.page(id, **{name: str(value) for name, value in values.items()})

    def counted(self, one: str, many: str, number: int) -> str:
        """A text for one or for many, with ``{n}`` filled."""
        return self.words.text(counted(one, many, number))

    def plain(self, message: str) -> str:
        """A message in this language, for attributes and for JSON; a string that is none stays as it is."""
        return self.words.text(message)

    def say(self, message: str) -> Markup:
        """A message in this language, escaped."""
        return escape(self.words.text(message))

    @property
    def mark(self) -> str:
        """The decimal mark."""
        return self.words.mark

    def figures(self, text: str) -> str:
        """A text with the decimal mark of this language in its numbers."""
        return self.words.figures(text)

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


_LIKELY = (
    (0.95, N_("almost certain")),
    (0.7, N_("very likely")),
    (0.35, N_("likely")),
    (0.1, N_("possible")),
    (0.02, N_("unlikely")),
    (0.0, N_("hardly")),
)


@cache
def language(code: str) -> Language:
    """The language of a code; English for any that has no catalogue."""
    return Language(translator(code))
