"""
Which start arrangement it is, by a few questions about what is seen under the cover.
"""

from __future__ import annotations

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.errors import Unknown
from humclick.jobs.recognise import NOT_SURE, candidates, next_question, questions
from humclick.jobs.taking import arrangement_named
from humclick.web import drawings
from humclick.web.desk import Desk, FormRefused
from humclick.web.exchange import Reply
from humclick.web.language import N_
from humclick.web.typeset import page

__all__ = ["show", "take"]


def _answers(desk: Desk) -> dict[str, str]:
    """Answers so far, from the address; one that does not exist counts as not given."""
    found = {}
    for question in questions():
        said = desk.request.asked(question.name)
        if said == NOT_SURE or said in {option.name for option in question.options}:
            found[question.name] = said
    return found


def _link(desk: Desk, answers: dict[str, str]) -> str:
    query = "&".join(f"{name}={said}" for name, said in answers.items())
    return desk.path("identify") + (f"?{query}" if query else "")


def show(desk: Desk) -> Reply:
    """The next question, or what fits what was seen."""
    answers = _answers(desk)
    listed = desk.request.asked("list") != ""
    question = None if listed else next_question(answers)
    before = dict(list(answers.items())[:-1])
    asked = [
        (each, _link(desk, {k: v for k, v in answers.items() if k != each.name}), answers[each.name])
        for each in questions()
        if each.name in answers
    ]
    choices = []
    if question is not None:
        for option in question.options:
            if option.fits & set(candidates(answers)):
                link = _link(desk, {**answers, question.name: option.name})
                choices.append((f"{question.name}-{option.name}", option.text, link))
    fits = list(arrangements()) if listed else list(candidates(answers))
    found = []
    if question is None:
        for name in fits:
            kind = arrangement(name)
            drawn = drawings.wiring(Machine.of(name), desk.language) if len(fits) == 1 else None
            found.append((kind, drawn))
    return page(
        "identify.html",
        desk,
        N_("What is under the cover?"),
        question=question,
        choices=choices,
        not_sure=_link(desk, {**answers, question.name: NOT_SURE}) if question else "",
        back=_link(desk, before) if answers else "",
        asked=asked,
        found=found,
        listed=listed,
        icon=drawings.icon,
    )


def take(desk: Desk) -> Reply:
    """Keep the arrangement chosen."""
    name = desk.request.given("arrangement")
    if name not in arrangements():
        raise FormRefused("arrangement", Unknown("arrangement", name[:60], arrangements()).message)
    others = [each for each in desk.request.given_all("fits") if each in arrangements() and each != name]
    desk.flow = arrangement_named(desk.flow, desk.request.now, name, others)
    return desk.go(desk.path("plate"))
