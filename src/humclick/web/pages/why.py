"""Why: how strongly each reading speaks, why a probe is advised, and what its outcomes would change."""

from __future__ import annotations

from humclick.diagnosis.beyond import four_or_more
from humclick.messages import N_
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.pages import probes
from humclick.web.pages.call import suspects, suspects_before
from humclick.web.pages.record import with_titles
from humclick.web.typeset import page


def show(desk: Desk) -> Reply:
    """Why the leading decision leads."""
    weighed, advice = desk.advised
    state, before = desk.flow.state, desk.flow.before
    explanation, then = weighed.explanation, False
    if state.turn is not None and before is not None and not state.failed:
        explanation, then = before.explained(state.turn.about), True
    return page(
        "why.html",
        desk,
        N_("Why"),
        explanation=explanation,
        then=then,
        now=weighed.explanation if then and state.done else None,
        step=desk.flow.onward,
        advice=advice,
        more_faults=four_or_more(advice.beyond),
        suspects=suspects(desk, 8),
        before=suspects_before(desk, 8),
        contradictions=[with_titles(desk, message) for message in weighed.contradictions],
    )


def show_what_if(desk: Desk) -> Reply:
    """What each outcome of a probe would change."""
    if desk.call.stopped:  # nothing is offered
        return probes.show(desk)
    weighed, advice = desk.advised
    name = desk.request.asked("probe") or (advice.next.probe if advice.next is not None else "")
    if not name:  # a verdict stands: any probe may be asked about
        return probes.show(desk)
    probe = desk.flow.probe(name)
    values = [value for value in (advice.next, *advice.alternatives) if value is not None]
    return page(
        "whatif.html",
        desk,
        N_("What if"),
        probe=probe,
        value=next((value for value in values if value.probe == probe.id), None),
        outcomes=sorted(weighed.what_if(probe.id), key=lambda outcome: -outcome.probability),
    )
