"""Which start arrangement it is, by a few questions about what is seen under the cover."""

from __future__ import annotations

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.diagnosis.recognise import NOT_SURE, candidates, next_question, questions
from humclick.errors import Unknown
from humclick.jobs.taking import arrangement_named
from humclick.messages import N_, Message
from humclick.web import drawings
from humclick.web.desk import Desk, FormRefused
from humclick.web.exchange import Reply
from humclick.web.typeset import page


def _answers(desk: Desk) -> dict[str, str]:
    """Answers so far, from the address; one that does not exist counts as not given."""
    answers = {}
    for question in questions():
        answer = desk.request.asked(question.name)
        if answer == NOT_SURE or answer in {option.name for option in question.options}:
            answers[question.name] = answer
    return answers


def _link(desk: Desk, answers: dict[str, str]) -> str:
    query = "&".join(f"{name}={answer}" for name, answer in answers.items())
    return desk.path("identify") + (f"?{query}" if query else "")


def show(desk: Desk) -> Reply:
    """The next question, or what fits what was seen."""
    answers = _answers(desk)
    listed = desk.request.asked("list") != ""
    question = None if listed else next_question(answers)
    before = dict(list(answers.items())[:-1])
    past = [
        (q, _link(desk, {k: v for k, v in answers.items() if k != q.name}), answers[q.name])
        for q in questions()
        if q.name in answers
    ]
    choices = [
        (f"{question.name}-{option.name}", option.text, _link(desk, {**answers, question.name: option.name}))
        for option in (question.options if question is not None else ())
        if question is not None and option.fits & set(candidates(answers))
    ]
    fits = list(arrangements()) if listed else list(candidates(answers))
    alone = question is None and len(fits) == 1
    drawn = drawings.wiring(Machine.of(fits[0]), desk.language) if alone else None
    return page(
        "identify.html",
        desk,
        N_("What is under the cover?"),
        question=question,
        choices=choices,
        not_sure=_link(desk, {**answers, question.name: NOT_SURE}) if question else "",
        back=_link(desk, before) if answers else "",
        asked=past,
        found=[(arrangement(name), drawn) for name in fits] if question is None else [],
        listed=listed,
        icon=drawings.icon,
    )


def take(desk: Desk) -> Reply:
    """Keep the arrangement chosen."""
    name = desk.request.given("arrangement")
    if name not in arrangements():
        raise FormRefused("arrangement", Unknown(Message("arrangement"), name[:60], arrangements()).message)
    others = [other for other in desk.request.given_all("fits") if other in arrangements() and other != name]
    desk.flow = arrangement_named(desk.flow, desk.request.now, name, others)
    return desk.go(desk.back("plate"))
