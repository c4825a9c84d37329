"""
What a person types in a call: a probe by its name, a reading with how warm the part was, an answer by its
number or its first letters, a figure with its unit.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from humclick.diagnosis.findings import HEARD
from humclick.diagnosis.probes import Probe
from humclick.errors import Refused, Unknown
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings import Reading, parse_reading
from humclick.readings.typed import EXAMPLES

__all__ = [
    "LONGEST",
    "Answer",
    "answer_to",
    "figure",
    "looks_like_probe",
    "named",
    "one_of",
    "probe_named",
    "with_warmth",
]

#: Longest line taken. [letter]
LONGEST = 4000

_AT = re.compile(r"(.*?\S)\s*(?:@|\bat\b)\s*(.*)", re.IGNORECASE | re.DOTALL)
_WORD = re.compile(r"(.*?\S)[\s,]+(hot|warm|cold|cool)", re.IGNORECASE | re.DOTALL)
_PROBE = re.compile(r"[A-Za-z][A-Za-z_]{2,}\.[A-Za-z0-9_-]+")
#: Words that join two others and are written or not.
_LINKS = frozenset({"and", "then"})
_TWO_PINS = re.compile(r"([A-Za-z0-9])-?([A-Za-z0-9])")
_FIGURE = re.compile(r"([0-9]+(?:[.,][0-9]+)?)\s*(.*)")


def plain(text: str) -> str:
    """Text without what people write differently: case, dashes, underscores, commas, spaces."""
    return " ".join(word for word in re.sub(r"[_,-]", " ", text.casefold()).split() if word not in _LINKS)


def named(text: str, names: Iterable[str]) -> str | None:
    """The name meant by a text that is the whole name or the beginning of one name only."""
    typed = plain(text)
    known = list(names)
    whole = [name for name in known if plain(name) == typed]
    begun = [name for name in known if typed and plain(name).startswith(typed)]
    return whole[0] if whole else begun[0] if len(begun) == 1 else None


def one_of(what: Message, text: str, names: Sequence[str], titles: Mapping[str, str] | None = None) -> str:
    """
    The name meant by a number from 1, a name, its words or the beginning of one; raises `Unknown` if none is.
    """
    words = titles or {}
    typed = text.strip().rstrip(".)")
    if typed.isdecimal() and typed.isascii() and 1 <= int(typed[:6]) <= len(names):
        return names[int(typed[:6]) - 1]
    name = named(text, names)
    if name is None and words:
        by_words = {words[name]: name for name in names if name in words}
        title = named(text, by_words)
        name = by_words[title] if title is not None else None
    if name is None:
        raise Unknown(what, text[:60], names)
    return name


def probe_named(text: str, known: Iterable[str]) -> str | None:
    """
    The probe a word stands for; None if it stands for none.

    Two pins may be written without ``pins.`` and in either order.

    Examples
    --------
    >>> probe_named("r-c", ["pins.C-R", "pins.S-R"])
    'pins.C-R'
    """
    names = list(known)
    typed = text.casefold().rstrip(":=")
    for name in names:
        if name.casefold() == typed:
            return name
    pins = _TWO_PINS.fullmatch(typed.removeprefix("pins."))
    if pins and (typed.startswith("pins.") or "-" in typed or not typed.isdecimal()):
        wanted = sorted(pins.groups())
        for name in names:
            first, _, second = name.removeprefix("pins.").casefold().partition("-")
            if name.startswith("pins.") and sorted((first, second)) == wanted:
                return name
    return None


def looks_like_probe(word: str) -> bool:
    """Whether a word is built like a probe's name, and so was meant as one."""
    return _PROBE.fullmatch(word.rstrip(":=")) is not None


def with_warmth(text: str) -> tuple[str, str]:
    """
    A reading and how warm the part was; empty where nothing is said of it.

    Examples
    --------
    >>> with_warmth("OL hot"), with_warmth("3.2 @35 C"), with_warmth("4k7")
    (('OL', 'hot'), ('3.2', '35 C'), ('4k7', ''))
    """
    parts = _WORD.fullmatch(text.strip()) or _AT.fullmatch(text.strip())
    return (parts[1], parts[2].strip()) if parts else (text.strip(), "")


@dataclass(frozen=True, slots=True)
class Answer:
    """What was seen at a probe."""

    value: str  #: as the call keeps it
    warmth: str = ""  #: as typed; empty where nothing was said
    reading: Reading | None = None  #: what the value of a measurement was understood as


def answer_to(probe: Probe, text: str, warmth: str = "") -> Answer:
    """
    What was seen at a probe, as the call keeps it; `warmth` goes before what stands in the text.

    Raises `ReadingRefused` for no reading of what the probe measures, `Unknown` for none of its answers.
    """
    if not probe.quantity:
        if plain(text) in ("?", "not sure", "unknown"):
            return Answer("not sure", warmth)
        heard = HEARD if probe.heard else {}
        return Answer(
            one_of(Message("answer to {probe}", probe=probe.id), text, probe.outcomes, heard), warmth
        )
    value, felt = with_warmth(text)
    return Answer(value, warmth or felt, parse_reading(value, Quantity(probe.quantity)))


def how_to_answer(probe: Probe) -> Message:
    """What may be typed for a probe."""
    if probe.quantity:
        such = EXAMPLES[Quantity(probe.quantity)]
        return Message("Type what the display shows, such as {such}; add hot or cold if you know.", such=such)
    answers = (
        Message("{number} {answer}", number=k, answer=HEARD.get(o) or Message.of(o))
        for k, o in enumerate(probe.outcomes, start=1)
    )
    return Message("Type the number or the words: {answers:columns}  (or ?)", answers=tuple(answers))


def figure(text: str, name: str, units: Mapping[str, float], right: str) -> float:
    """
    A figure such as ``10 min`` in the first of some units; raises `Refused` if it is none.

    The units are in small letters, with what each is worth; an empty one may be left out. `name` and `right`,
    an example of the right form, stand in the refusal.
    """
    parts = _FIGURE.fullmatch(text.strip())
    unit = parts[2].strip().casefold().rstrip(".") if parts else ""
    if parts is None or unit not in units:
        raise Refused(
            Message(
                "{name}: {text} is not understood; write it such as {right}",
                name=name,
                text=repr(text.strip()[:40]),
                right=right,
            )
        )
    return float(parts[1].replace(",", ".")) * units[unit]
