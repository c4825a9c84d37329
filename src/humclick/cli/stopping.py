"""
What stops the work, or forbids power, as plain text.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from humclick.cli.words import lines
from humclick.safety import gate

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe
    from humclick.diagnosis.situation import Stoppage
    from humclick.jobs.briefing import Briefing

__all__ = ["barred_in_words", "stop_in_words"]


def stop_in_words(stoppages: Sequence[Stoppage]) -> str:
    """What ended the call, what to do now, and what reopens it."""
    shown = []
    for stoppage in stoppages:
        stop = stoppage.stop
        shown.append(f"STOP: {stop.title}")
        shown += [lines(step, f"  {k}  ", "     ") for k, step in enumerate(stop.steps, start=1)]
        if stop.proof:
            before = gate(stop.proof)
            shown.append(lines(f"{before.title}: {', '.join(before.ticks)}.", "  First:     ", "     "))
        shown.append(lines(f"{stop.answer} Type cleared and the answer.", "  To reopen: ", "     "))
    told = "No more tests on this call until then. Your readings are kept; type sheet or quit."
    shown.append(lines(told))
    return "\n".join(shown)


def barred_in_words(briefing: Briefing, probe: Probe) -> str:
    """What forbids a probe, or comes before it."""
    shown = [lines(f"{bar.title}. {bar.reason}", "!! ") for bar in briefing.bars]
    shown += [lines(f"Before {need.before}: {need.title}.", "! ") for need in briefing.needs]
    if briefing.first:
        shown.append(lines(f"Do that first: type {briefing.first}.", "  "))
    shown.append(lines(f"Reading taken already? Type {probe.id} and the reading.", "  "))
    return "\n".join(shown)
