"""The potential relay, as chosen for the machine it stands on."""

from __future__ import annotations

import math

from humclick.parts.laws import InTime, PotentialRelay

__all__ = ["law"]


def law(part: InTime) -> PotentialRelay:
    """Make a potential relay in its mode: it opens at the start winding's voltage at the typical slip."""
    pick = abs(part.at_slip(min(part.typical("slip"), 0.6)).start_volts)
    mode = part.mode.name
    if mode == "wrong_pickup":
        pick *= part.typical("wrong")
    return PotentialRelay(
        pick_up=max(pick, 1.0),
        drop_out=pick * part.typical("drop_over_pick"),
        coil_ohms=math.inf if mode == "coil_open" else max(part.branch("coil"), 10.0),
        contact_ohms=max(part.size("contact"), 1e-3),
        travel=part.typical("travel"),
        bounce=part.typical("bounce"),
        stuck={"contacts_open": "open", "contacts_welded": "closed"}.get(mode, ""),
    )
