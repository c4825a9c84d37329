"""The timed electronic starter."""

from __future__ import annotations

from humclick.parts.laws import InTime, TimedStarter

__all__ = ["law"]


def law(part: InTime) -> TimedStarter:
    """Make a timed electronic starter in its mode."""
    return TimedStarter(
        seconds=part.typical("seconds"),
        rearm=part.typical("rearm"),
        contact_ohms=max(part.size("closed"), 1e-3),
        stuck={"never_connects": "open", "stays_connected": "closed"}.get(part.mode.name, ""),
    )
