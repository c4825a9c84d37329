"""
The fold: from the events of a call to what is known now.

``fold`` is pure and looks at no clock: the same events give the same call, in whatever order they arrive
and however often. Events are taken in the order of `humclick.jobs.order.in_order`. It never raises on
events that are well formed: what cannot be used is kept word for word and named in ``Call.problems``.
Minutes throughout.

Three rules are deliberate. The machine is the last one described, so correcting the arrangement re-reads
every reading. An undone attempt still ends "proved dead": the record may be wrong, the mains may not. And a
hazard once found stands, undone or not, until an event answers it by its id. A gate holds on the device that
passed it alone, until anything from any device ends it, be it something that this device had not heard of
(`GatePassed.ended`); one passed without a turn holds only while nobody counts.
"""

from __future__ import annotations

from collections.abc import Iterable

from humclick.jobs.call import Call, Problem, ReadingKept
from humclick.jobs.events import Event
from humclick.jobs.folding import COMPRESSOR, Folding
from humclick.jobs.order import conflicts, merge
from humclick.jobs.probe_facts import known_probe

__all__ = [
    "COMPRESSOR",
    "Call",
    "Problem",
    "ReadingKept",
    "conflicts",
    "fold",
    "known_probe",
    "merge",
]


def fold(events: Iterable[Event], *, device: str | None = None) -> Call:
    """
    What is known after these events, in any order, with repeats.

    The gates of the device that asks count (`Call.proved`), that of the last event if left out. An attempt
    that drew current makes protector and starter hot; waits add up until each passing condition of the
    machine (protector, thermistor) is over with a probability of 0.9 by
    `humclick.physics.cooling.probability_passed`.
    """
    copies = tuple(events)
    return Folding(merge(copies), device, conflicts(copies)).call()
