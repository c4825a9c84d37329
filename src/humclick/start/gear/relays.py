"""Current relay, potential relay and timed starter, as chosen for the machine they stand on."""

from __future__ import annotations

import math

from humclick.start.case import CurrentRelay, PotentialRelay, TimedStarter
from humclick.start.gear.placed import Placed
from humclick.start.machine import steady

__all__ = ["current_relay", "potential_relay", "timed_starter"]


def current_relay(part: Placed, start_impedance: complex) -> CurrentRelay:
    """
    Make a current relay in its mode.

    It lets go at the run winding's current at the typical slip, the start winding still in, and picks up
    above that but below the locked-rotor current at low voltage.

    Parameters
    ----------
    part : Placed
        The relay.
    start_impedance : complex
        Of the sound start capacitor, nothing where there is none. [Ω]
    """
    slip = min(part.typical("current_relay", "slip"), 0.6)
    locked = abs(steady(part.motor, part.volts, 1.0).run)
    drop = abs(steady(part.motor, part.volts, slip, start_impedance=start_impedance).run)
    pick = min(
        drop * part.typical("current_relay", "pick_over_drop"),
        locked * part.typical("current_relay", "pick_below_locked"),
    )
    mode = part.mode.name
    stuck = {"stuck_open": "open", "plunger_stuck": "open", "coil_open": "open", "welded": "closed"}
    contact = part.branch("dirty") if mode == "contacts_dirty" else part.size("contact")
    return CurrentRelay(
        pick_up=max(pick, 0.05),
        drop_out=min(drop, 0.95 * pick),
        coil_ohms=part.size("coil"),
        contact_ohms=max(contact, 1e-3),
        tilt=math.pi if mode == "upside_down" else 0.0,
        travel=part.typical("current_relay", "travel"),
        bounce=part.typical("current_relay", "bounce"),
        stuck=stuck.get(mode, ""),
    )


def potential_relay(part: Placed, start_impedance: complex, run_capacitor: complex | None) -> PotentialRelay:
    """
    Make a potential relay in its mode.

    Parameters
    ----------
    part : Placed
        The relay.
    start_impedance : complex
        Of the sound start capacitor. [Ω]
    run_capacitor : complex or None
        Impedance of the sound run capacitor. [Ω]

    Returns
    -------
    PotentialRelay
        Opens at the start winding's voltage at the typical slip.
    """
    slip = min(part.typical("potential_relay", "slip"), 0.6)
    there = steady(part.motor, part.volts, slip, start_impedance=start_impedance, run_capacitor=run_capacitor)
    mode = part.mode.name
    pick = abs(there.start_volts)
    if mode == "wrong_pickup":
        pick *= part.typical("potential_relay", "wrong")
    return PotentialRelay(
        pick_up=max(pick, 1.0),
        drop_out=pick * part.typical("potential_relay", "drop_over_pick"),
        coil_ohms=math.inf if mode == "coil_open" else max(part.branch("coil"), 10.0),
        contact_ohms=max(part.size("contact"), 1e-3),
        travel=part.typical("potential_relay", "travel"),
        bounce=part.typical("potential_relay", "bounce"),
        stuck={"contacts_open": "open", "contacts_welded": "closed"}.get(mode, ""),
    )


def timed_starter(part: Placed) -> TimedStarter:
    """Make a timed electronic starter in its mode."""
    return TimedStarter(
        seconds=part.typical("timed_starter", "seconds"),
        rearm=part.typical("timed_starter", "rearm"),
        contact_ohms=max(part.size("closed"), 1e-3),
        stuck={"never_connects": "open", "stays_connected": "closed"}.get(part.mode.name, ""),
    )
