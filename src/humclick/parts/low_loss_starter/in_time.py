"""The low-loss electronic starter."""

from __future__ import annotations

from humclick.parts.laws import ClosedCircuit, InTime, TimedStarter

__all__ = ["law"]


def law(part: InTime) -> TimedStarter | ClosedCircuit | None:
    """
    Make a low-loss starter in its mode; None where it is open.

    Its pill's cold ohms lie in the start circuit for its time; then the switch is off, and it cools.
    """
    if part.mode.name == "never_connects":
        return None
    if part.mode.name == "bridged":
        return ClosedCircuit(max(part.branch("bridged"), 1e-3))
    return TimedStarter(
        seconds=part.typical("seconds"),
        rearm=part.typical("rearm"),
        contact_ohms=max(part.size("pill"), 1e-3),
    )
