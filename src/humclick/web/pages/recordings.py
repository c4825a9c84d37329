"""Recordings: a clamp's log or the sound of a start, drawn, in words, and what it changed."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from humclick.diagnosis.judged import judge
from humclick.errors import HumclickError
from humclick.jobs.events import RecordingTaken
from humclick.jobs.fold import fold
from humclick.jobs.standing import live
from humclick.messages import N_, Message, from_data
from humclick.web.course_drawing import course_svg, stretches
from humclick.web.desk import Desk
from humclick.web.exchange import Reply
from humclick.web.pages.record import RECORDED
from humclick.web.typeset import page

#: Recordings for which it is worked out what they changed; the latest ones.
_WEIGHED = 2
#: Suspects compared.
_MOST = 4


@dataclass(frozen=True, slots=True)
class Shift:
    """A part's share of suspicion before and after. [-]"""

    part: Message
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class RecordingShown:
    """A recording as shown; `shifts` is None where it was not worked out."""

    event: RecordingTaken
    drawing: Markup
    stretches: list[tuple[int, str, str, str]]
    sentences: tuple[str, ...]
    shifts: tuple[Shift, ...] | None


def _shifts(desk: Desk, event: RecordingTaken) -> tuple[Shift, ...] | None:
    """How a recording moved what is suspected; None where nothing can be said."""
    earlier = desk.flow.events[: desk.call.order[event.id]]
    shares = []
    for events in (earlier, [*earlier, event]):
        situation = fold(events).situation()
        if situation is None:
            return None
        try:
            post = judge(situation, desk.flow.shop).post
        except HumclickError:
            return None
        shares.append({part.family.title: post.of_part(part.id) for part in situation.machine.parts})
    before, after = shares
    moved = sorted(after, key=lambda part: (-max(before.get(part, 0.0), after[part]), part))
    return tuple(Shift(part, before.get(part, 0.0), after[part]) for part in moved[:_MOST])


def recordings_of(desk: Desk) -> list[RecordingShown]:
    """The call's recordings, the latest first."""
    events = [event for event in live(desk.flow.events, desk.call) if isinstance(event, RecordingTaken)]
    recordings = []
    for k, event in enumerate(reversed(events)):
        sentences = tuple(map(from_data, event.said)) or (event.words,)
        recordings.append(
            RecordingShown(
                event,
                course_svg(event, desk.language),
                stretches(event, desk.language),
                sentences,
                _shifts(desk, event) if k < _WEIGHED else None,
            )
        )
    return recordings


def show(desk: Desk) -> Reply:
    """What was recorded, and where a recording is handed in."""
    return page("recordings.html", desk, N_("Recordings"), recordings=recordings_of(desk), kinds=RECORDED)
