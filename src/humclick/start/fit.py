"""From a machine on the bench, with what is wrong with it, to a case that can be played."""

from __future__ import annotations

import math
from collections.abc import Mapping

from humclick.arrangements.machine import Machine
from humclick.errors import Refused
from humclick.parts.family import HEALTHY, Condition, Regime
from humclick.start.case import (
    Case,
    Faults,
    Gear,
    Heat,
    Protector,
    Ptc,
    Supply,
    Temperatures,
)
from humclick.start.gear.capacitors import capacitor, impedance
from humclick.start.gear.mechanism import RATED_SLIP, mechanism
from humclick.start.gear.placed import Draw, Placed, median, typical
from humclick.start.gear.protectors import protector
from humclick.start.gear.ptc import ptc
from humclick.start.gear.relays import current_relay, potential_relay, timed_starter
from humclick.start.machine import Motor, steady

__all__ = ["case_of"]


def case_of(
    machine: Machine,
    motor: Motor,
    modes: Mapping[str, str] | None = None,
    *,
    hot: bool = False,
    volts: float | None = None,
    angle: float = 0.0,
    crank: float = math.pi,
    air: float = 25.0,
    draw: Draw = median,
) -> Case:
    """
    Put a start attempt together.

    Parameters
    ----------
    machine : Machine
        Arrangement, protector, nameplate, stamps.
    motor : Motor
        Its motor, as measured or estimated.
    modes : mapping of part id to mode
        Parts not named are healthy; any number may be named.
    hot : bool
        Just tried: what only had to wait (tripped, still hot, pressures unequal, liquid) has not passed yet.
        A mode that passes with time is there only while hot, but for the control.
    volts : float or None
        At the outlet at rest; the nameplate's if left out. A mode of the supply still lowers it. [V]
    angle, crank : float
        Of the voltage wave and of the crank at the beginning. [rad]
    air : float
        Temperature around the shell. [°C]
    draw : callable (name, Spread) -> float
        Chooses each value from its spread; the middle if left out. Called once a quantity.

    Returns
    -------
    Case

    Raises
    ------
    Unknown
        If a part or a mode does not exist.
    Refused
        If the machine is one of those never started from here, or a value drawn cannot be.
    """
    if machine.arrangement.recognised_only:
        raise Refused(f"{machine.arrangement.title}: {machine.arrangement.caution}")
    nominal = machine.nameplate.volts
    placed: dict[str, Placed] = {}
    for part, name in (modes or {}).items():
        machine.part(part).family.mode(name)
    for each in machine.parts:
        if each.family.apart:
            continue
        name = (modes or {}).get(each.id, HEALTHY)
        mode = each.family.mode(HEALTHY if machine.eased(each.id, name) and not hot else name)
        placed[each.id] = Placed(machine, motor, each.id, mode, nominal, draw)
    by_family = {machine.part(i).family.name: p for i, p in placed.items()}
    guard = by_family.get("overload_protector") or by_family.get("internal_protector")
    disc = protector(guard) if guard else None
    gear = _gear(by_family)
    start, run = by_family.get("start_capacitor"), by_family.get("run_capacitor")
    return Case(
        motor=motor,
        supply=_supply(by_family, nominal if volts is None else volts, angle),
        gear=gear,
        start_capacitor=capacitor(start) if start and gear is not None else None,
        run_capacitor=capacitor(run) if run else None,
        protector=disc,
        load=mechanism(by_family["mechanism"], crank),
        heat=_heat(by_family["run_winding"], motor, nominal, impedance(run) if run else None),
        temperatures=_temperatures(by_family, gear, disc, hot, air),
        faults=_faults(by_family),
    )


def _gear(parts: Mapping[str, Placed]) -> Gear | None:
    if "ptc" in parts:
        return ptc(parts["ptc"])
    through = impedance(parts["start_capacitor"]) if "start_capacitor" in parts else 0j
    if "current_relay" in parts:
        return current_relay(parts["current_relay"], through)
    if "timed_starter" in parts:
        return timed_starter(parts["timed_starter"])
    if "potential_relay" in parts:
        run = parts.get("run_capacitor")
        return potential_relay(parts["potential_relay"], through, impedance(run) if run else None)
    return None


def _supply(parts: Mapping[str, Placed], volts: float, angle: float) -> Supply:
    line = parts["supply"]
    branches = line.mode.branches
    ohms = 0.0
    for name in {b.size for b in branches}:
        ohms += line.branch(name) * sum(1 for b in branches if b.size == name)
    if line.mode.name == "healthy" or line.mode.name == "sags":
        volts *= line.size("outlet")
    control = parts["control"]
    ohms += control.size("closed")
    inductive = min(ohms, 3 * line.machine.size("supply", "line").median)
    return Supply(
        volts=0.0 if line.mode.name == "dead" else volts * line.mode.volts,
        hertz=line.machine.nameplate.hertz,
        ohms=ohms,
        henries=inductive * line.typical("supply", "henries_per_ohm"),
        angle=angle,
        breaker_amps=line.typical("supply", "breaker"),
        earth_amps=line.typical("supply", "earth_breaker"),
    )


def _faults(parts: Mapping[str, Placed]) -> Faults:
    line, run, start, wiring = parts["supply"], parts["run_winding"], parts["start_winding"], parts["wiring"]
    control = parts["control"].mode
    calls = any(b.exists(Condition(Regime.START)) for b in control.branches)
    bond = typical("supply", "bond")
    relay = parts.get("current_relay")
    joints = 0.0 if wiring.mode.name == "wrong_pin" else wiring.size("joint")
    return Faults(
        line_open=not calls or len(line.mode.branches) < 2 or line.mode.name == "dead",
        run_open=run.mode.name == "open" or (relay is not None and relay.mode.name == "coil_open"),
        start_open=start.mode.name == "open" or wiring.mode.name == "wrong_pin",
        run_shorted=_shorted(run),
        start_shorted=_shorted(start) if not _shorted(run) else 0.0,
        bridge_ohms=max(start.branch("bridge"), 0.01) if start.mode.name == "bridged" else math.inf,
        run_earth_ohms=run.branch("ground_fault") + bond if run.mode.name == "grounded" else math.inf,
        start_earth_ohms=start.branch("ground_fault") + bond if start.mode.name == "grounded" else math.inf,
        swapped=wiring.mode.name == "swapped",
        run_series_ohms=joints,
        start_series_ohms=wiring.branch("wrong_part") if wiring.mode.name == "wrong_part" else joints,
    )


def _shorted(part: Placed) -> float:
    """Share of turns that are shorted: what the mode takes off the winding's resistance."""
    if part.mode.name != "shorted_turns":
        return 0.0
    left = part.branch("winding") / part.machine.size(part.id, "winding").median
    return min(max(1.0 - left, 0.03), 0.9)


def _heat(run: Placed, motor: Motor, volts: float, capacitor: complex | None) -> Heat:
    """
    Heat capacities from how fast the windings warm with the rotor locked.

    A start winding that a run capacitor feeds for good has copper for that current too.
    """
    locked = steady(motor, volts, 1.0)
    both = steady(motor, volts, 1.0, start_impedance=0j)
    run_capacity = motor.run_ohms * abs(locked.run) ** 2 / run.typical("heat", "run_rate")
    start_capacity = motor.start_ohms * abs(both.start) ** 2 / run.typical("heat", "start_rate")
    if capacitor is not None:
        fed = steady(motor, volts, RATED_SLIP, run_capacitor=capacitor)
        lasting = motor.start_ohms * abs(fed.start) ** 2 / run.typical("heat", "lasting_rate")
        start_capacity = max(start_capacity, lasting)
    shell = run_capacity * run.typical("heat", "shell_over_windings")
    time = run.typical("heat", "winding_time")
    return Heat(
        run_capacity=run_capacity,
        start_capacity=start_capacity,
        shell_capacity=shell,
        run_conductance=run_capacity / time,
        start_conductance=start_capacity / time,
        shell_conductance=shell / run.typical("heat", "shell_time"),
    )


def _temperatures(
    parts: Mapping[str, Placed], gear: Gear | None, disc: Protector | None, hot: bool, air: float
) -> Temperatures:
    winding, shell = (typical("heat", "hot_winding"), typical("heat", "hot_shell")) if hot else (air, air)
    still_hot = "ptc" in parts and parts["ptc"].mode.name == "still_hot"
    guard = parts.get("overload_protector") or parts.get("internal_protector")
    tripped = guard is not None and guard.mode.name == "tripped" and disc is not None
    warm = air
    if hot and disc is not None:
        warm = 0.5 * (disc.reset + shell)
    return Temperatures(
        run=winding,
        start=winding,
        shell=shell,
        air=air,
        ptc=typical("ptc", "hot") if still_hot and isinstance(gear, Ptc) else air,
        protector=disc.trip - 3.0 if tripped and disc is not None else warm,
        open=tripped,
    )
