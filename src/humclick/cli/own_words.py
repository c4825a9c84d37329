"""
Answers in the language of the terminal, turned into the English that the call keeps.

What is shown as an answer may be typed as it is shown. English is taken in every language.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from humclick.cli.language import say
from humclick.diagnosis.findings import HEARD
from humclick.jobs.entry import named, with_warmth
from humclick.messages import Message

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe

#: What says that somebody does not know.
_NOT_SURE = Message("not sure")
#: What may be typed for how warm a part was, apart by commas, and the English of it.
_WARMTH = {"hot": Message("hot, warm"), "cold": Message("cold, cool")}


def english(text: str, offered: Iterable[str]) -> str:
    """The English of what was offered, where a text is that in the terminal's language; else the text."""
    meanings = {say(Message.of(meaning)): meaning for meaning in offered}
    if all(word == meaning for word, meaning in meanings.items()):
        return text
    meant = named(text, meanings)
    return text if meant is None else str(meanings[meant])


def in_english(probe: Probe, text: str) -> str:
    """What was typed at a probe, its answer or its warmth in English."""
    if not probe.quantity:
        if named(text, probe.outcomes) is not None:
            return text
        return english(text, (*(HEARD.get(outcome, outcome) for outcome in probe.outcomes), _NOT_SURE))
    head, _, last = text.rpartition(" ")
    if head and not with_warmth(text)[1]:
        for warmth, words in _WARMTH.items():
            if last.casefold() in say(words).split(", "):
                return f"{head} {warmth}"
    return text
