"""
Choosing the start arrangement by what is seen under the cover.

A few questions, each with drawings; "not sure" is always an answer and rules nothing out. Only questions that
would still part the arrangements in question are asked.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.errors import DataError, Unknown
from humclick.messages import Message
from humclick.sourced import read_data

__all__ = ["NOT_SURE", "Option", "Question", "candidates", "next_question", "questions"]

#: The answer that rules nothing out.
NOT_SURE = "not-sure"

_CAPACITORS = frozenset({"start_capacitor", "run_capacitor"})


@dataclass(frozen=True, slots=True)
class Option:
    """
    An answer.

    Attributes
    ----------
    name, text : str
        Short name, and what is seen.
    fits : frozenset of str
        Arrangements that look so.
    """

    name: str
    text: Message
    fits: frozenset[str]


@dataclass(frozen=True, slots=True)
class Question:
    """A question with its answers, "not sure" left out."""

    name: str
    text: Message
    options: tuple[Option, ...]

    def option(self, name: str) -> Option:
        """
        One answer by name.

        Raises
        ------
        Unknown
            If there is no such answer.
        """
        for option in self.options:
            if option.name == name:
                return option
        raise Unknown(f"answer to {self.name}", name, [*(o.name for o in self.options), NOT_SURE])


def _capacitors(name: str) -> frozenset[str]:
    return frozenset(part.family.name for part in arrangement(name).gear) & _CAPACITORS


def _option(row: Mapping[str, Any], feeds: frozenset[str]) -> Option:
    names = row.get("are")
    if isinstance(names, list):
        fits = frozenset(map(str, names))
    elif isinstance(row.get("have"), list):
        have = frozenset(map(str, row["have"]))
        fits = frozenset(name for name in arrangements() if _capacitors(name) == have)
        also = row.get("also", [])
        fits |= frozenset(map(str, also)) if isinstance(also, list) else frozenset()
    else:
        fits = frozenset(arrangements()) - feeds
    return Option(str(row["name"]), Message.of(row["text"]), fits)


@cache
def questions() -> tuple[Question, ...]:
    """
    Every question, in the order in which they are asked.

    Raises
    ------
    DataError
        If the data file is damaged or names an arrangement that does not exist.
    """
    found = []
    try:
        for row in read_data("humclick.jobs", "recognise.toml")["question"]:
            feeds = frozenset(name for option in row["option"] for name in option.get("are", ()))
            options = tuple(_option(option, feeds) for option in row["option"])
            found.append(Question(str(row["name"]), Message.of(row["text"]), options))
    except (KeyError, TypeError) as error:
        raise DataError(f"recognise.toml: {error!r}") from error
    for question in found:
        for option in question.options:
            if option.fits - set(arrangements()):
                raise DataError(f"recognise.toml: unknown {sorted(option.fits - set(arrangements()))}")
    return tuple(found)


def _usual() -> list[str]:
    return [str(name) for name in read_data("humclick.jobs", "recognise.toml")["usual"]]


def candidates(answers: Mapping[str, str]) -> tuple[str, ...]:
    """
    Arrangements that fit what was seen, the most usual first.

    Parameters
    ----------
    answers : mapping of question to answer
        Questions not in it, and those answered `NOT_SURE`, rule nothing out.

    Raises
    ------
    Unknown
        If an answer does not exist.
    """
    left = set(arrangements())
    for question in questions():
        said = answers.get(question.name, NOT_SURE)
        if said not in ("", NOT_SURE):
            left &= question.option(said).fits
    usual = _usual()
    return tuple(sorted(left, key=lambda name: (usual.index(name) if name in usual else len(usual), name)))


def next_question(answers: Mapping[str, str]) -> Question | None:
    """
    The first question not answered yet that would part what still fits; None where none would.

    Raises
    ------
    Unknown
        If an answer does not exist.
    """
    left = frozenset(candidates(answers))
    if len(left) < 2:
        return None
    for question in questions():
        if question.name in answers:
            continue
        parted = {option.fits & left for option in question.options} - {frozenset()}
        if len(parted) > 1 or any(part != left for part in parted):
            return question
    return None
