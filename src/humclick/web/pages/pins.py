"""The three pins as the eye meets them, both ways up, and which is which once they have been measured."""

from __future__ import annotations

from markupsafe import Markup

from humclick.circuit.pins_drawing import LAYOUTS, pins_svg
from humclick.jobs.standing import UNNAMED_PINS
from humclick.messages import N_
from humclick.web.desk import Desk
from humclick.web.drawings import recoloured
from humclick.web.exchange import Reply
from humclick.web.typeset import page


def show(desk: Desk) -> Reply:
    """Layouts to choose from; with one chosen, where each pin is."""
    layout, over = desk.request.asked("layout"), desk.request.asked("over") == "1"
    finding = desk.flow.pins
    names = finding.names if finding is not None else (None, None, None)
    chosen = layout if layout in LAYOUTS else ""
    drawn = {
        name: Markup(
            recoloured(pins_svg(name, names, over, translate=desk.language.plain))
        )  # escaped where drawn
        for name in ([chosen] if chosen else LAYOUTS)
    }
    taken = {reading.probe for reading in desk.call.readings}
    return page(
        "pins.html",
        desk,
        N_("The three pins"),
        chosen=chosen,
        over=over,
        drawn=drawn,
        found=finding,
        left=[name for name in UNNAMED_PINS if name not in taken],
    )
