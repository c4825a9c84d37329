"""
Why: how strongly each reading speaks, why a probe is advised, and what its outcomes would change.
"""

from __future__ import annotations

from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.pages import probes
from humclick.web.pages.call import suspects, suspects_before
from humclick.web.pages.record import with_names
from humclick.web.typeset import page

__all__ = ["show", "show_what_if"]


def show(desk: Desk) -> Reply:
    """Why the leading decision leads."""
    _ = desk.language.text
    weighed, advice = desk.advised
    turn, failed = desk.state.turn, desk.state.failed
    then = turn is not None and desk.before is not None and not failed
    told = desk.before.explained(turn.about) if then and turn and desk.before else weighed.explanation
    html = page(
        "why.html",
        desk,
        explanation=told,
        then=then,
        now=weighed.explanation if then and desk.state.done else None,
        step=desk.flow.onward,
        advice=advice,
        suspects=suspects(desk, 8),
        before=suspects_before(desk, 8),
        contradictions=[with_names(desk, each) for each in weighed.contradictions],
    )
    return Reply(title=_("Why"), html=html, id=desk.id)


def show_what_if(desk: Desk) -> Reply:
    """What each outcome of a probe would change."""
    _ = desk.language.text
    if desk.call.stopped:  # nothing is offered
        return probes.show(desk)
    weighed, advice = desk.advised
    name = desk.request.asked("probe") or (advice.next.probe if advice.next is not None else "")
    if not name:  # a verdict stands: any probe may be asked about
        return probes.show(desk)
    probe = desk.probe(name)
    values = [value for value in (advice.next, *advice.alternatives) if value is not None]
    html = page(
        "whatif.html",
        desk,
        probe=probe,
        value=next((value for value in values if value.probe == probe.id), None),
        outcomes=sorted(weighed.what_if(probe.id), key=lambda each: -each.probability),
    )
    return Reply(title=_("What if"), html=html, id=desk.id)
