"""What stops the work, or forbids power, as plain text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from humclick.cli.layout import label, lines
from humclick.messages import Message
from humclick.safety import gate

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe
    from humclick.diagnosis.situation import Stoppage
    from humclick.jobs.briefing import Briefing


def stop_in_words(stoppages: Sequence[Stoppage]) -> str:
    """What ended the call, what to do now, and what reopens it."""
    shown = []
    for stoppage in stoppages:
        stop = stoppage.stop
        shown.append(lines(Message("STOP: {title}", title=stop.title)))
        shown += [lines(step, f"  {k}  ", "     ") for k, step in enumerate(stop.steps, start=1)]
        if stop.proof:
            before = gate(stop.proof)
            ticks = Message("{title}: {ticks}.", title=before.title, ticks=before.ticks)
            shown.append(lines(ticks, label(Message("First"), 2, 11), "     "))
        answer = Message("{answer} Type cleared and the answer.", answer=stop.answer)
        shown.append(lines(answer, label(Message("To reopen"), 2, 11), "     "))
    told = Message("No more tests on this call until then. Your readings are kept; type sheet or quit.")
    shown.append(lines(told))
    return "\n".join(shown)


def barred_in_words(briefing: Briefing, probe: Probe) -> str:
    """What forbids a probe, or comes before it."""
    barred = (Message("{title}. {text}", title=bar.title, text=bar.reason) for bar in briefing.bars)
    shown = [lines(each, "!! ") for each in barred]
    for need in briefing.needs:
        shown.append(lines(Message("Before {what}: {title}.", what=need.before, title=need.title), "! "))
    if briefing.first:
        shown.append(lines(Message("Do that first: type {probe}.", probe=briefing.first), "  "))
    already = Message("Reading taken already? Type {probe} and the reading.", probe=probe.id)
    shown.append(lines(already, "  "))
    return "\n".join(shown)
