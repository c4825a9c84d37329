"""The current relay, as chosen for the machine it stands on."""

from __future__ import annotations

import math

from humclick.parts.laws import CurrentRelay, InTime

__all__ = ["law"]

_STUCK = {"stuck_open": "open", "plunger_stuck": "open", "coil_open": "open", "welded": "closed"}


def law(part: InTime) -> CurrentRelay:
    """
    Make a current relay in its mode.

    It lets go at the run winding's current at the typical slip, the start winding still in, and picks up
    above that but below the locked-rotor current at low voltage. Where the second is the lower, both are
    lowered: between them lies what its own contact takes from the line when it closes, so that it holds.
    """
    slip = min(part.typical("slip"), 0.6)
    locked = abs(part.at_slip(1.0, start_circuit=False).run)
    drop = abs(part.at_slip(slip, run_capacitor=False).run)
    over = part.typical("pick_over_drop")
    pick = max(0.05, min(drop * over, locked * part.typical("pick_below_locked")))
    mode = part.mode.name
    contact = part.branch("dirty") if mode == "contacts_dirty" else part.size("contact")
    return CurrentRelay(
        pick_up=pick,
        drop_out=pick / over,
        coil_ohms=part.size("coil"),
        contact_ohms=max(contact, 1e-3),
        tilt=math.pi if mode == "upside_down" else 0.0,
        travel=part.typical("travel"),
        bounce=part.typical("bounce"),
        stuck=_STUCK.get(mode, ""),
    )
