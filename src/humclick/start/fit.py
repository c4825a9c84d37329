"""From a machine on the bench, with what is wrong with it, to a case that can be played."""

from __future__ import annotations

import math
from collections.abc import Mapping

from humclick.arrangements.machine import Machine
from humclick.parts.family import HEALTHY, Condition, Mode, Regime, Role
from humclick.parts.laws import Capacitor, Law
from humclick.sourced import Spread
from humclick.start.case import (
    Faults,
    Heat,
    Protector,
    Ptc,
    StartCase,
    Supply,
    Temperatures,
)
from humclick.start.gear.mechanism import RATED_SLIP, mechanism
from humclick.start.gear.placed import Draw, Placed, capacitor_impedance, median
from humclick.start.machine import Motor, steady

__all__ = ["start_case"]

#: Parts that follow a law of their family, in the order in which they are drawn.
_LAWFUL = (Role.PROTECTOR, Role.STARTER, Role.START_CAPACITOR, Role.RUN_CAPACITOR)
#: Parts whose ohms in a mode are played as they are, whatever the table has for them.
_PLAYED = (Role.SUPPLY, Role.CONTROL, Role.WIRING, Role.PROTECTOR, Role.RUN_WINDING, Role.START_WINDING)
_AT_START = Condition(Regime.START)
#: Below this share of its volts an outlet is dead. [-]
_DEAD = 0.01
#: Most ohms of a line, and the smallest breaker, that can be played. [Ω], [A]
_MOST_OHMS, _LEAST_BREAKER = 1.0e4, 0.1


def start_case(
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
) -> StartCase:
    """
    Put a start attempt together.

    Parameters
    ----------
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

    Raises
    ------
    Refused
        If the machine is one of those never started from here, or a value drawn cannot be.
    """
    machine.require_start()
    nominal = machine.nameplate.volts
    parts = _placed(machine, motor, modes or {}, hot, _once(draw))
    laws = {role: parts[role].law() for role in _LAWFUL if role in parts}
    disc, gear = laws.get(Role.PROTECTOR), laws.get(Role.STARTER)
    start, run = laws.get(Role.START_CAPACITOR), laws.get(Role.RUN_CAPACITOR)
    assert disc is None or isinstance(disc, Protector)
    assert not isinstance(gear, Capacitor | Protector)
    assert start is None or isinstance(start, Capacitor)
    assert run is None or isinstance(run, Capacitor)
    return StartCase(
        motor=motor,
        supply=_supply(parts, nominal if volts is None else volts, angle),
        gear=gear,
        start_capacitor=start if gear is not None else None,
        run_capacitor=run,
        protector=disc,
        load=mechanism(parts[Role.MECHANISM], crank),
        heat=_heat(parts[Role.RUN_WINDING], motor, nominal, capacitor_impedance(machine, Role.RUN_CAPACITOR)),
        temperatures=_temperatures(parts, gear, disc, hot, air),
        faults=_faults(parts),
    )


def _once(draw: Draw) -> Draw:
    """The same draw, asked once a quantity however often its value is wanted."""
    drawn: dict[str, float] = {}

    def value(name: str, of: Spread) -> float:
        if name not in drawn:
            drawn[name] = draw(name, of)
        return drawn[name]

    return value


def _placed(
    machine: Machine, motor: Motor, modes: Mapping[str, str], hot: bool, draw: Draw
) -> dict[Role, Placed]:
    """Parts that take a part in the start, each in the mode that is left after a rest or none."""
    played = {p: m for p, m in modes.items() if machine.part(p).family.role in _PLAYED}
    others = {p: m for p, m in modes.items() if p not in played}
    for part_id, name in played.items():
        machine.part(part_id).family.mode(name)
    modes = {**dict(machine.in_a_start(others)), **played}
    parts: dict[Role, Placed] = {}
    for part in machine.parts:
        if part.family.apart:
            continue
        name = modes.get(part.id, HEALTHY)
        mode = part.family.mode(HEALTHY if machine.eased(part.id, name) and not hot else name)
        parts[part.family.role] = Placed(machine, motor, part.id, mode, machine.nameplate.volts, draw)
    return parts


def _supply(parts: Mapping[Role, Placed], volts: float, angle: float) -> Supply:
    line, control, wiring = parts[Role.SUPPLY], parts[Role.CONTROL], parts[Role.WIRING]
    branches = line.mode.branches
    ohms = 0.0
    for name in {b.size for b in branches}:
        ohms += line.branch(name) * sum(1 for b in branches if b.size == name)
    if line.mode.volts == 1.0:
        volts *= line.size("outlet")
    ohms += sum(control.branch(b.size) for b in control.mode.branches if b.exists(_AT_START))
    ohms += _more(parts.get(Role.PROTECTOR)) + _more(wiring, "c", "C")
    inductive = min(ohms, 3 * line.middle("line"))
    return Supply(
        volts=0.0 if _lifeless(line.mode) else volts * (line.mode.volts if line.mode.breaker == 1.0 else 1.0),
        hertz=line.machine.nameplate.hertz,
        ohms=min(ohms, _MOST_OHMS),
        henries=inductive * line.typical("henries_per_ohm"),
        angle=angle,
        breaker_amps=max(line.typical("breaker") * line.mode.breaker, _LEAST_BREAKER),
        earth_amps=line.typical("earth_breaker"),
    )


def _lifeless(mode: Mode) -> bool:
    """Whether nothing comes from the outlet though its breaker is closed."""
    return mode.volts < _DEAD and mode.breaker == 1.0


def _more(part: Placed | None, *between: str) -> float:
    """Ohms that a mode puts into the way between two terminals that the sound part does not have. [Ω]"""
    if part is None:
        return 0.0
    usual = {branch.size for branch in part.kind.listed[0].branches}
    return sum(
        part.branch(branch.size)
        for branch in part.mode.branches
        if branch.exists(_AT_START)
        and branch.size not in usual
        and (not between or set(branch.between) == set(between))
    )


def _faults(parts: Mapping[Role, Placed]) -> Faults:
    line, wiring = parts[Role.SUPPLY], parts[Role.WIRING]
    run, start = parts[Role.RUN_WINDING], parts[Role.START_WINDING]
    control = parts[Role.CONTROL].mode
    calls = any(b.exists(_AT_START) for b in control.branches)
    bond = line.usual("bond")
    leads = {frozenset(b.between): b.size for b in wiring.mode.branches}
    swapped = {frozenset("rS"), frozenset("sR")} <= set(leads)
    to_run, to_start = leads.get(frozenset("rR")), leads.get(frozenset("sS"))
    return Faults(
        line_open=not calls
        or len(line.mode.branches) < 2
        or _lifeless(line.mode)
        or frozenset("cC") not in leads,
        run_open=run.mode.name == "open" or _cuts_run(parts.get(Role.STARTER)) or not (to_run or swapped),
        start_open=start.mode.name == "open" or not (to_start or swapped),
        run_shorted=_shorted(run),
        start_shorted=_shorted(start) if not _shorted(run) else 0.0,
        bridge_ohms=max(start.branch("bridge"), 0.01) if start.mode.name == "bridged" else math.inf,
        run_earth_ohms=run.branch("ground_fault") + bond if run.mode.name == "grounded" else math.inf,
        start_earth_ohms=start.branch("ground_fault") + bond if start.mode.name == "grounded" else math.inf,
        swapped=swapped,
        run_series_ohms=min(wiring.branch(to_run or "joint") + _more(run, "common", "run"), _MOST_OHMS),
        start_series_ohms=min(
            wiring.branch(to_start or "joint") + _more(start, "common", "start"), _MOST_OHMS
        ),
    )


def _cuts_run(starter: Placed | None) -> bool:
    """Whether the run winding's current goes through a starter that is open there in this mode."""
    if starter is None:
        return False
    joins = starter.machine.part(starter.id).connect
    through = {terminal for terminal, node in joins.items() if node in ("k", "r")}
    if {joins[terminal] for terminal in through} != {"k", "r"}:
        return False
    at_start = Condition(Regime.START)
    return not any(b.exists(at_start) and set(b.between) == through for b in starter.mode.branches)


def _shorted(part: Placed) -> float:
    """Share of turns that are shorted: what the mode takes off the winding's resistance."""
    if part.mode.name != "shorted_turns":
        return 0.0
    left = part.branch("winding") / part.middle("winding")
    return min(max(1.0 - left, 0.03), 0.9)


def _heat(run: Placed, motor: Motor, volts: float, capacitor: complex | None) -> Heat:
    """
    Heat capacities from how fast the windings warm with the rotor locked.

    A start winding that a run capacitor feeds for good has copper for that current too.
    """
    locked = steady(motor, volts, 1.0)
    both = steady(motor, volts, 1.0, start_impedance=0j)
    run_capacity = motor.run_ohms * abs(locked.run) ** 2 / run.typical("run_rate")
    start_capacity = motor.start_ohms * abs(both.start) ** 2 / run.typical("start_rate")
    if capacitor is not None:
        fed = steady(motor, volts, RATED_SLIP, run_capacitor=capacitor)
        lasting = motor.start_ohms * abs(fed.start) ** 2 / run.typical("lasting_rate")
        start_capacity = max(start_capacity, lasting)
    shell = run_capacity * run.typical("shell_over_windings")
    time = run.typical("winding_time")
    return Heat(
        run_capacity=run_capacity,
        start_capacity=start_capacity,
        shell_capacity=shell,
        run_conductance=run_capacity / time,
        start_conductance=start_capacity / time,
        shell_conductance=shell / run.typical("shell_time"),
    )


def _temperatures(
    parts: Mapping[Role, Placed], gear: Law | None, disc: Protector | None, hot: bool, air: float
) -> Temperatures:
    run, guard, starter = parts[Role.RUN_WINDING], parts.get(Role.PROTECTOR), parts.get(Role.STARTER)
    winding, shell = (run.usual("hot_winding"), run.usual("hot_shell")) if hot else (air, air)
    pill = starter.usual("hot") if starter and starter.mode.passing and isinstance(gear, Ptc) else air
    tripped = guard is not None and guard.mode.passing and disc is not None
    warm = air
    if hot and disc is not None:
        warm = 0.5 * (disc.reset + shell)
    return Temperatures(
        run=winding,
        start=winding,
        shell=shell,
        air=air,
        ptc=pill,
        protector=disc.trip - 3.0 if tripped and disc is not None else warm,
        open=tripped,
    )
