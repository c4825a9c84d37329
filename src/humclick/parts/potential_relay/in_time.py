"""The potential relay, as chosen for the machine it stands on."""

from __future__ import annotations

import math

from humclick.parts.laws import InTime, PotentialRelay

__all__ = ["law"]

#: Modes with another pick-up voltage than the right one, and the typical factor on it.
_PICK_UP = {"wrong_pickup": "wrong", "lets_go_early": "early"}


def law(part: InTime) -> PotentialRelay:
    """Make a potential relay in its mode: it opens at the start winding's voltage at the typical slip."""
    pick = abs(part.at_slip(min(part.typical("slip"), 0.6)).start_volts)
    mode = part.mode.name
    if mode in _PICK_UP:
        pick *= part.typical(_PICK_UP[mode])
    return PotentialRelay(
        pick_up=max(pick, 1.0),
        drop_out=pick * part.typical("drop_over_pick"),
        coil_ohms=math.inf if mode == "coil_open" else max(part.branch("coil"), 10.0),
        contact_ohms=max(part.branch("burnt") if mode == "contacts_burnt" else part.size("contact"), 1e-3),
        travel=part.typical("travel"),
        bounce=part.typical("bounce"),
        stuck={"contacts_open": "open", "contacts_welded": "closed"}.get(mode, ""),
    )
