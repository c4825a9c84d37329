"""What the terminal shows of a call: where it stands, and what is asked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from humclick.cli import layout, words
from humclick.cli.ending import LEAVE, onward_in_words, verdict_shown
from humclick.cli.language import say
from humclick.cli.opening import question_again, question_in_words
from humclick.cli.stopping import barred_in_words, stop_in_words
from humclick.jobs.briefing import on_machine
from humclick.jobs.entry import how_to_answer
from humclick.jobs.flow import Next
from humclick.messages import Message, listed

if TYPE_CHECKING:
    from humclick.cli.session import Session
    from humclick.jobs.flow import Step

#: Said where a machine is needed and none is described.
NO_MACHINE = Message("no machine is described yet; type arrangement and its name (list arrangements)")


@dataclass(slots=True)
class Screen:
    """What stands on the screen, and what was read on it before."""

    #: The last view.
    shown: str = ""
    #: What it showed in full (`humclick.jobs.briefing.Briefing.texts`).
    texts: frozenset[str] = frozenset()
    #: What stood in full on views before it.
    read: frozenset[str] = frozenset()
    #: What forbids power, as said last.
    bars: frozenset[str] = frozenset()
    #: Readings that do not fit, as said last.
    contradictions: frozenset[str] = frozenset()
    #: Whether safety steps were confirmed by the last line.
    confirmed: bool = False


def opened(session: Session) -> str:
    """The first view of a call."""
    session.screen.shown = view(session)
    return session.screen.shown


def prompt(session: Session) -> str:
    """What stands before the cursor."""
    if session.call.stopped:
        return _cursor(Message("stopped"))
    if session.questions:
        return f"{session.questions[0]}> "
    step = session.step
    if step.briefing.gates:
        return _cursor(Message("done or cannot"))
    return f"{step.probe.id}> " if step.probe is not None else "> "


def _cursor(text: Message) -> str:
    return f"{say(text)}> "


def shown_next(session: Session, typed: bool) -> str:
    """What is shown after a line: the view, or a line of it where all of it was shown a moment ago."""
    screen = session.screen
    read, now = screen.texts, view(session)
    again = now == screen.shown and typed
    if now != screen.shown:  # what was shown in full above need not be again
        before, screen.read = screen.read, screen.read | read
        if session.step.probe is not None and screen.read != before:
            now = view(session)
    probe = session.step.probe if screen.confirmed else None
    screen.shown = now
    if session.flow.advice is not None and not session.questions:
        screen.bars = frozenset(bar.name for bar in session.flow.advice.bars)
    if probe is not None and not session.step.briefing.gates:  # what it is stands on the screen above
        return layout.lines(how_to_answer(probe), "  ")
    return f"\n{_brief(session)}" if again else now


def view(session: Session) -> str:
    """Where the call stands: suspects and the next step, or the question to be answered."""
    session.screen.texts = frozenset()
    if session.call.stopped:
        return "\n".join(("", stop_in_words(session.call.stopped)))
    if session.questions:
        return question_in_words(session)
    flow, step = session.flow, session.step
    advice = flow.advice
    if advice is None:
        hazards = [layout.lines(hazard.sentence, "! ") for hazard in on_machine(flow.call)]
        return "\n".join(("", layout.lines(_refusal(session)), *hazards))
    pieces = [
        "",
        *words.bars_in_words(advice.bars, session.screen.bars),
        *filter(None, [words.arrangements_in_words(advice)]),
        *([layout.label(words.LEFT).rstrip()] if flow.state.done else []),
    ]
    pieces += [words.suspects_in_words(advice.suspects, advice.none_of_these, advice.beyond), ""]
    onward = flow.onward
    if onward is not None and onward.kind in ("work", "prove", "repaired"):
        if step.probe is None:
            return "\n".join((*pieces, onward_in_words(flow, onward)))
        pieces.append(layout.lines(Message("{sentence}.", sentence=flow.heading)))
    if step.probe is None:
        return "\n".join((*pieces, verdict_shown(session)))
    if step.advised and advice.next is not None:
        pieces.append(words.next_in_words(advice.next, advice.guards))
    else:
        pieces.append(words.probe_in_words(step.probe))
    pieces.append(_before(session, step))
    return "\n".join(pieces)


def _refusal(session: Session) -> str:
    """Why nothing can be said."""
    if session.call.machine is None:
        return NO_MACHINE
    return session.flow.refusal


def _brief(session: Session) -> str:
    """The next step in a line, where all of it was shown a moment ago; Enter shows it again."""
    if session.call.stopped:
        title = session.call.stopped[0].stop.title
        return layout.lines(Message("Stopped: {title}. Type cleared and how, or quit.", title=title))
    if session.questions:
        return question_again(session)
    step, advice = session.step, session.flow.advice
    if step.probe is not None:
        request = Message("{title}  [{probe}]", title=step.probe.title, probe=step.probe.id)
        titles = listed((entry.gate.title for entry in step.briefing.gates), "semicolon")
        if titles:
            request = Message("{probe} (first: {steps}: done or cannot)", probe=request, steps=titles)
        return layout.lines(request, layout.label(Message("Next")), "      ")
    if advice is not None and advice.verdict is not None and step.kind is Next.DECIDE:
        then = Message("Type decide to record it.") if advice.verdict.due else LEAVE
        verdict = words.paragraphs(Message("{sentence}.", sentence=advice.verdict.sentence), then)
        return layout.lines(verdict, layout.label(Message("Verdict")), "  ")
    return layout.lines(Message("Type help for what can be typed, quit to leave."))


def _before(session: Session, step: Step) -> str:
    """What stands before a probe, or how to answer it."""
    briefing, probe = step.briefing, step.probe
    assert probe is not None
    if briefing.barred:
        return barred_in_words(briefing, probe)
    session.screen.texts = briefing.texts
    hazards = words.hazards_in_words(briefing.hazards)
    if not briefing.gates:
        return "\n".join((*hazards, layout.lines(how_to_answer(probe), "  ")))
    parts = [*hazards, words.gates_in_words(briefing)]
    if briefing.dead:  # nobody types done and a figure without having read what it says
        parts.append(layout.lines(how_to_answer(probe), "  "))
        done = Message("When every step is done, type done and the reading: done …; or cannot.")
    else:
        done = Message("Type done when every step is done, or cannot.")
    parts.append(layout.lines(done))
    return "\n".join(parts)
