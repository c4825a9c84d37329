"""Questions about what is seen lead to the arrangement, and never past it."""

from __future__ import annotations

import pytest

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.diagnosis.recognise import NOT_SURE, candidates, next_question, questions
from humclick.errors import Unknown


def answers_for(name: str) -> dict[str, str]:
    """The answers of somebody who has this arrangement before him and is always sure."""
    answers: dict[str, str] = {}
    while (question := next_question(answers)) is not None:
        fitting = [option.name for option in question.options if name in option.fits]
        answers[question.name] = fitting[0] if fitting else NOT_SURE
    return answers


@pytest.mark.parametrize("name", arrangements())
def test_true_answers_keep_the_arrangement_and_end_in_it(name: str) -> None:
    """Whoever answers truly ends with his arrangement, alone."""
    assert candidates(answers_for(name)) == (name,)


def test_not_sure_rules_nothing_out() -> None:
    """Being unsure of everything leaves every arrangement, the most usual first."""
    unsure = {question.name: NOT_SURE for question in questions()}
    assert set(candidates(unsure)) == set(arrangements())
    assert candidates(unsure)[0] == "rsir-ptc"
    assert next_question(unsure) is None


def test_capacitors_follow_from_the_arrangement() -> None:
    """The answer on capacitors holds just those arrangements whose gear has them."""
    both = next(q for q in questions() if q.name == "capacitors").option("both")
    for name in arrangements():
        families = {part.family.name for part in arrangement(name).gear}
        assert (name in both.fits) == ({"start_capacitor", "run_capacitor"} <= families)


def test_unknown_answer_is_refused() -> None:
    """An answer that does not exist is refused with those that do."""
    with pytest.raises(Unknown, match="mains"):
        candidates({"feed": "steam"})
