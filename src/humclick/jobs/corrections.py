"""Which readings of a call are corrected, and what is written of them then."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from humclick.errors import HumclickError
from humclick.jobs.events import Event, ReadingCorrected, ReadingTaken
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings import parse_reading, parse_temperature

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe

__all__ = ["corrected"]


def corrected(
    live: Sequence[Event],
    probe_named: Callable[[str], Probe | Message],
    problem: Callable[[str, Message, str], None],
) -> Mapping[str, ReadingTaken | None]:
    """
    Readings as they should have been written, by the id of their event; None for one that is struck out.

    Each correction is of the reading as corrected before; one that makes no sense changes nothing.
    `probe_named` gives a probe, or why there is none; `problem` takes what cannot be used: the id, why, and
    what was written.
    """
    readings = {event.id: event for event in live if isinstance(event, ReadingTaken)}
    after: dict[str, ReadingTaken | None] = {}
    for event in live:
        if not isinstance(event, ReadingCorrected):
            continue
        reading = after.get(event.of) or readings.get(event.of)
        refusal = _refusal(event, reading, probe_named)
        if refusal:
            problem(event.id, refusal, event.value or event.probe or event.of)
        elif event.strikes:
            after[event.of] = None
        else:
            assert reading is not None
            after[event.of] = replace(
                reading,
                value=event.value or reading.value,
                probe=event.probe or reading.probe,
                temperature=event.temperature or reading.temperature,
            )
    return after


def _refusal(
    event: ReadingCorrected, reading: ReadingTaken | None, probe_named: Callable[[str], Probe | Message]
) -> Message | None:
    """Why a correction cannot be used; None where it can."""
    if reading is None:
        return Message("there is no reading {of} to correct", of=repr(event.of))
    probe = probe_named(reading.probe)
    if isinstance(probe, Message):
        return probe
    if not probe.quantity:
        return Message("only what a meter showed is corrected; take a look back with undo, and look again")
    right = probe_named(event.probe) if event.probe else probe
    if isinstance(right, Message):
        return right
    if right.quantity != probe.quantity or right.live != probe.live:
        return Message("{probe} reads something else than {before}", probe=right.id, before=probe.id)
    if not event.strikes and (probe.proves_safety or right.proves_safety):
        return Message("power rests on {probe}: strike it out and read it again", probe=probe.id)
    try:
        parse_reading(event.value or reading.value, Quantity(right.quantity))
        if event.temperature:
            parse_temperature(event.temperature)
    except HumclickError as error:
        return error.message
    return None
