"""
What a start attempt does in the first world.

The network under line volts with the rotor locked gives the currents of both windings, these the torque,
the torque over that of the sound machine at nominal volts the start. Then the machine runs on if its
breakdown torque (as the square of the volts) carries the load, and if the start winding lets go; what
hums is heated as the square of the current until the bimetal opens.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp

from benchmarks.worlds.first.motors import locked_torque
from benchmarks.worlds.first.nodal import Branch, currents
from benchmarks.worlds.first.things import Unit, trip_at, whole

METER = 1e7
"""Of a voltmeter: manuals of common meters say 10 MΩ. [Ω]"""


@dataclass(frozen=True)
class Tried:
    """
    An attempt.

    Parameters
    ----------
    heard : str
        ``silent``, ``hum``, ``hum_click``, ``starts_then_trips``, ``breaker`` or ``runs``.
    amps : float
        On the common lead after some seconds. [A]
    volts : float
        Least volts at the machine's end of the cord. [V]
    """

    heard: str
    amps: float
    volts: float


def outlet_volts(unit: Unit) -> float:
    """At the outlet, nothing drawn. [V]"""
    return (
        0.0 if unit.of("supply.dead") else unit.cold["line"] * unit.motor.volts * (1 - unit.of("supply.low"))
    )


def _flow(
    unit: Unit, branches: list[Branch], volts: float
) -> tuple[complex, complex, complex, dict[str, complex]]:
    flows, nodes = currents(branches, "L", "N", volts)
    total = run = start = 0j
    for branch, amps in zip(branches, flows, strict=True):
        if branch.part == "supply" and branch.a == "L":
            total = amps
        elif branch.part == "run_winding":
            run = amps
        elif branch.part == "start_winding":
            start = amps
    return total, run, start, nodes


def standstill(unit: Unit, volts: float, jolt: float) -> tuple[complex, complex, complex, dict[str, complex]]:
    """Total, run and start current with the rotor locked and the relay where it goes, and volts. [A] [V]"""
    earthed = [Branch("bond", "N", "PE", 0.3), *(Branch("meter", at, "n", METER) for at in "lk")]
    closed = "current_relay" not in unit.parts
    state = _flow(unit, [*whole(unit, closed=closed, live=True, jolt=jolt), *earthed], volts)
    if (
        not closed
        and abs(state[1]) > 0.55 * unit.motor.locked / 1.18
        and not unit.of("current_relay.plunger")
    ):
        state = _flow(unit, [*whole(unit, closed=True, live=True, jolt=jolt), *earthed], volts)
    return state


def sound_torque(unit: Unit) -> float:
    """Of the same machine as new, rested, at nominal volts. [A²]"""
    new = replace(unit.rested(), condition={}, calling=True)
    _, run, start, _ = standstill(new, new.motor.volts, 0.999)
    return locked_torque(run, start, new.motor.turns)


def needed(unit: Unit) -> float:
    """Torque to break away over the sound torque at nominal volts. [-]"""
    if unit.of("mechanism.seized"):
        return 1e6
    stiff = 1 + unit.of("mechanism.stiff") + unit.of("mechanism.liquid")
    return unit.cold["need"] * (stiff + 2.2 * unit.pressure * (1 + 0.5 * unit.of("mechanism.blocked")))


def holds_on(unit: Unit) -> bool:
    """Whether the start winding is never let go."""
    welded = (
        unit.of("current_relay.weld") or unit.of("potential_relay.weld") or unit.of("timed_starter.stays")
    )
    coil = unit.of("potential_relay.coil_open") or unit.of("potential_relay.high") > 0.3
    bridged = 0 < unit.of("ptc.bridge") < 60 * unit.cold.get("ptc", 1.0)
    return bool(welded or coil or bridged or unit.of("current_relay.upside_down"))


def attempt(unit: Unit, jolt: float, seconds: float = 10.0) -> Tried:
    """
    One attempt.

    Parameters
    ----------
    jolt : float
        Chance of this attempt: of chattering boards and loose pieces, 0 to 1. [-]
    seconds : float
        For which it may hum. [s]
    """
    volts = outlet_volts(unit)
    total, run, start, nodes = standstill(unit, volts, jolt)
    at = abs(nodes["l"] - nodes["n"])
    amps, plate = abs(total), unit.motor.locked
    if amps > 2.2 * plate and amps > 60.0:
        return Tried("breaker", amps, at)
    if max(abs(run), abs(start)) < 0.04 * plate:
        return Tried("silent", 0.0 if amps < 0.05 else amps, at)
    burn = 1 - 3.0 * (unit.of("run_winding.short") + unit.of("start_winding.short"))
    torque = locked_torque(run, start, unit.motor.turns) * max(0.0, burn) / max(sound_torque(unit), 1e-9)
    if torque < needed(unit):
        return Tried("hum_click" if _clicks(unit, amps, seconds) else "hum", amps, at)
    share = (at / unit.motor.volts) ** 2 * max(0.1, burn)
    loss = unit.of("run_capacitor.loss") + unit.of("run_capacitor.open")
    load = 1 + 0.9 * unit.of("mechanism.blocked") + 0.5 * unit.of("mechanism.stiff")
    draws = unit.motor.running * load / max(share, 0.3) ** 0.5 * (1 + 0.3 * min(1.0, loss))
    carries = 1.25 + 0.35 * unit.cold["trip"]
    if (
        holds_on(unit)
        or load > 2.1 * share
        or draws > carries * unit.motor.running * (1 - unit.of("protector.tired"))
    ):
        welded = unit.of("protector.weld")
        return Tried("breaker" if welded and holds_on(unit) else "starts_then_trips", draws, at)
    return Tried("runs", draws, at)


def _clicks(unit: Unit, amps: float, seconds: float) -> bool:
    """Whether the bimetal opens in time: warming as the square of the current over the locked current."""
    if unit.of("protector.weld"):
        return False
    need = max(5.0, trip_at(unit) - unit.bimetal)
    rate = unit.cold["bimetal"] * (amps / unit.motor.locked) ** 2
    return need < rate * seconds


def after(unit: Unit, tried: Tried, seconds: float = 10.0) -> Unit:
    """The machine after an attempt: windings, pill and bimetal are warmer."""
    if tried.heard == "silent":
        return unit
    hard = min(1.5, tried.amps / unit.motor.locked)
    if tried.heard == "runs":
        return replace(unit, winding=unit.winding + 10, pill=max(unit.pill, 110.0), pressure=0.8)
    warm = replace(
        unit,
        winding=min(130.0, unit.winding + 4.0 * seconds * hard**2),
        bimetal=min(140.0, unit.bimetal + 70.0 * hard),
        pill=max(unit.pill, 120.0) if "ptc" in unit.parts and not unit.of("ptc.crack") > 0.6 else unit.pill,
    )
    if tried.heard in ("hum_click", "starts_then_trips"):
        warm = replace(
            warm, condition={**warm.condition, "protector.tripped_now": 1.0}, bimetal=trip_heat(warm)
        )
    if tried.heard == "starts_then_trips":
        warm = replace(warm, pressure=0.6)
    return warm


def trip_heat(unit: Unit) -> float:
    """Where the bimetal is just after it has opened. [°C]"""
    return max(unit.bimetal, trip_at(unit) + 3.0)


def cooled(unit: Unit, minutes: float) -> Unit:
    """
    First-order cooling to the room, and pressures through the capillary.

    Time constants by ``unit.cold``: poor cooling makes them long. [min]
    """

    def down(now: float, constant: float) -> float:
        return unit.room + (now - unit.room) * exp(-minutes / constant)

    slow = unit.cold["cooling"]
    cool = replace(
        unit,
        winding=down(unit.winding, 25.0 * slow),
        pill=down(unit.pill, 2.5),
        bimetal=down(unit.bimetal, (30.0 if unit.protector == "internal" else 3.0) * slow),
        pressure=unit.pressure * exp(-minutes / unit.cold["equal"]),
    )
    if unit.of("protector.tripped_now") and cool.bimetal < trip_at(unit) - 35.0:
        left = {name: value for name, value in cool.condition.items() if name != "protector.tripped_now"}
        cool = replace(cool, condition=left)
    return cool
