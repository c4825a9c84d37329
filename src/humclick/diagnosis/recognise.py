"""
Choosing the start arrangement by what is seen under the cover.

A few questions, each with drawings; "not sure" is always an answer and rules nothing out. Only questions that
would still part the arrangements in question are asked.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.errors import DataError, Unknown, choice_of
from humclick.messages import Message
from humclick.parts.family import Role
from humclick.safety.refrigerant import numbers
from humclick.sizes.sound import kind_of_refrigerant
from humclick.sourced import read_data

__all__ = [
    "NOT_SURE",
    "UNDER_COVER",
    "Option",
    "Question",
    "candidates",
    "common",
    "next_question",
    "plainly",
    "questions",
    "seen_under_cover",
]

#: The answer that rules nothing out.
NOT_SURE = "not-sure"
#: How the names of probes begin that ask one of the questions on a call.
UNDER_COVER = "cover."

_CAPACITORS = frozenset({Role.START_CAPACITOR, Role.RUN_CAPACITOR})


@dataclass(frozen=True, slots=True)
class Option:
    """An answer, what is seen, and the arrangements that look so."""

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
        """One answer by name; raises `Unknown` if there is none."""
        for option in self.options:
            if option.name == name:
                return option
        raise Unknown(
            Message("answer to {name}", name=self.name), name, [*(o.name for o in self.options), NOT_SURE]
        )


def _fits(name: str, question: str, option: Mapping[str, object]) -> bool:
    """Whether an arrangement gives an answer; one that says nothing of itself is ruled out by none."""
    kind = arrangement(name)
    if "have" in option and {part.family.role for part in kind.gear} & _CAPACITORS == set(_listed(option)):
        return True
    answers = kind.answers.get(question)
    if answers is not None:
        return option["name"] in answers
    return bool(option.get("usual", False)) or ("have" not in option and not kind.answers)


def _listed(option: Mapping[str, object]) -> list[str]:
    have = option["have"]
    return list(map(str, have)) if isinstance(have, list) else []


def questions() -> tuple[Question, ...]:
    """
    Every question, in the order asked; raises `DataError` where an arrangement answers what is not asked.
    """
    return _questions(arrangements())


@cache
def _questions(names: tuple[str, ...]) -> tuple[Question, ...]:
    try:
        asked = tuple(
            Question(str(row["name"]), Message.of(row["text"]), _options(row, names))
            for row in read_data("humclick.diagnosis", "recognise.toml")["question"]
        )
    except (KeyError, TypeError) as error:
        raise DataError(f"recognise.toml: {error!r}") from error
    known = {question.name: [option.name for option in question.options] for question in asked}
    for name in names:
        for question, words in arrangement(name).answers.items():
            if question not in known:
                raise DataError(f"{name}: answers must be to {choice_of(question, known)}")
            for word in words:
                if word not in known[question]:
                    raise DataError(f"{name}: answers.{question} must be {choice_of(word, known[question])}")
    return asked


def _options(row: Mapping[str, Any], names: tuple[str, ...]) -> tuple[Option, ...]:
    return tuple(
        Option(
            str(option["name"]),
            Message.of(option["text"]),
            frozenset(name for name in names if _fits(name, row["name"], option)),
        )
        for option in row["option"]
    )


def common(name: str, refrigerant: str = "") -> float:
    """Share of all calls that are on such a machine, by what its refrigerant tells where it was read. [-]"""
    shares = arrangement(name).common
    return shares.by.get(kind_of_refrigerant(numbers(refrigerant)), shares.usual)


def candidates(answers: Mapping[str, str]) -> tuple[str, ...]:
    """
    Arrangements that fit what was seen, the most usual first; raises `Unknown` for an answer that is none.

    Questions without an answer, and those answered `NOT_SURE`, rule nothing out.
    """
    left = set(arrangements())
    for question in questions():
        answer = answers.get(question.name, NOT_SURE)
        if answer not in ("", NOT_SURE):
            left &= question.option(answer).fits
    return tuple(sorted(left, key=lambda name: (-common(name), name)))


def seen_under_cover(answered: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Question and name of the answer, of what was answered on a call by probe and words; the last counts."""
    of_probe = {f"{UNDER_COVER}{question.name}": question for question in questions()}
    answers: dict[str, str] = {}
    for probe, words in answered:
        question = of_probe.get(probe)
        for option in question.options if question is not None else ():
            if question is not None and plainly(words) == plainly(str(option.text)):
                answers[question.name] = option.name
    return answers


def plainly(text: str) -> str:
    """Words as an answer is compared: whatever the case, spaces and dashes."""
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())


def next_question(answers: Mapping[str, str]) -> Question | None:
    """The first question not answered yet that would part what still fits; None where none would."""
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
