"""The curves of a start with their names in another language."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from humclick.messages import N_, Message
from humclick.start.curves import Panel
from humclick.start.run import Switched

__all__ = ["said_events", "said_panels"]

#: What stands over panels, beside curves and at events: names of `humclick.start.curves`.
_NAMES = (
    *(N_("current"), N_("line current"), N_("speed"), N_("torque"), N_("temperature"), N_("rev/min")),
    *(N_("line"), N_("start winding"), N_("run winding"), N_("measured"), N_("starter"), N_("protector")),
    *(N_("shaft"), N_("motor"), N_("old part"), N_("new part")),
    *(N_("start contact opens"), N_("start contact closes"), N_("start current has halved")),
    *(N_("three quarters of synchronous speed"), N_("protector opens"), N_("protector closes")),
    N_("breaker opens"),
)


def said_panels(panels: Sequence[Panel], translate: Callable[[str], str]) -> tuple[Panel, ...]:
    """Panels in the language of `translate`."""
    return tuple(
        replace(
            panel,
            title=translate(Message.of(panel.title)),
            unit=translate(Message.of(panel.unit)) if panel.unit in _NAMES else panel.unit,
            curves=tuple(replace(curve, name=translate(Message.of(curve.name))) for curve in panel.curves),
        )
        for panel in panels
    )


def said_events(events: Sequence[Switched], translate: Callable[[str], str]) -> tuple[Switched, ...]:
    """Events in the language of `translate`."""
    return tuple(replace(event, what=translate(Message.of(event.what))) for event in events)
