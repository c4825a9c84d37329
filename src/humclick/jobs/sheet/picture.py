"""
The start on the technician's page: the curve of a sound machine, and a clamp's recording laid over it.

Only where the ``start`` extra is installed, and the call has a clamp's recording or somebody asks for it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from humclick.errors import HumclickError
from humclick.jobs.call import Call
from humclick.jobs.sheet.model import StartPicture
from humclick.messages import ENGLISH, Message, Verbatim, listed, translator

if TYPE_CHECKING:
    from humclick.recordings.recording import Recording
    from humclick.start.curves import MeasuredCurrent, Overlay

__all__ = ["start_picture"]

#: Shortest and longest start drawn. [s]
_SHORTEST, _LONGEST = 1.5, 12.0


def start_picture(
    call: Call, recording: Recording | None = None, *, asked: bool = False, language: str = ENGLISH
) -> StartPicture | None:
    """
    Draw the start of a call's machine, a clamp's recording laid over it.

    Drawn where the call has a recording of the current or it is `asked`; None where nothing asks for it, the
    machine is not one that is simulated, or the extra is missing. Raises `Refused` if no attempt is recorded.
    """
    wanted = asked or recording is not None or any(each.of == "current" for each in call.recordings)
    if not wanted or call.machine is None or not call.machine.started:
        return None
    try:
        from humclick.jobs.at_hand import of_call
        from humclick.start.attempts import typical_attempt
        from humclick.start.conditions import StartConditions
        from humclick.start.curves import describe_run, lay_over, notable_events, panels_of
        from humclick.start.estimate import estimate
        from humclick.start.pictures import picture_svg
        from humclick.start.run import simulate
        from humclick.start.said import said_events, said_panels
    except ImportError:
        return None
    machine = call.machine
    try:
        motor = estimate(of_call(call)).best
    except HumclickError:
        if recording is not None:
            raise
        return None
    measured, seconds = None, _SHORTEST
    if recording is not None:
        measured, lasted = _first(recording, machine.nameplate.locked_rotor_amps)
        seconds = min(max(lasted, _SHORTEST), _LONGEST)
    run = simulate(typical_attempt(machine, motor, StartConditions(volts=machine.nameplate.volts)), seconds)
    laid = None if measured is None else lay_over(run, measured)
    say = translator(language).text
    panels = said_panels(panels_of(run, None if laid is None else laid.measured)[:2], say)
    title = Message("The start: simulated sound")
    if laid is not None:
        title = Message("The start: simulated sound, and measured")
    events = said_events(notable_events(run), say)
    svg = picture_svg(panels, say(title), say(describe_run(run)), events=events, tag="sheet-start")
    return StartPicture(svg, _caption(laid))


def _first(recording: Recording, locked_rotor_amps: float | None) -> tuple[MeasuredCurrent, float]:
    """The first attempt of a recording and how long it lasted. [s]"""
    from humclick.errors import Refused
    from humclick.recordings.currents import current_trace
    from humclick.recordings.stretches import current_stretches
    from humclick.start.curves import measured_current

    trace = current_trace(recording)
    found = current_stretches(trace, locked_rotor_amps)
    if not found:
        raise Refused(
            Message(
                "{name}: no start attempt is in this recording, so none can be drawn",
                name=Verbatim(recording.name),
            )
        )
    first = found[0]
    begin, end = max(first.first - 4, 0), min(first.last + 2, len(trace.times))
    return measured_current(trace.times[begin:end], trace.amps[begin:end]), first.seconds


def _caption(laid: Overlay | None) -> Message:
    said = Message(
        "Line current and speed of a sound machine with this plate, at the plate's volts, cold, with equal"
        " pressures: simulated, the most probable motor."
    )
    if laid is None:
        return said
    rings = Message(
        "Rings: the first attempt of the recording, moved so that both rise together; typically"
        " {factor:.2g} times the simulated current, on average {apart:.0f} % of the highest apart.",
        factor=laid.factor,
        apart=100 * laid.apart,
    )
    return listed((said, rings), "space")
