"""
Whether it starts, by a score instead of a circuit.

The score is the starting torque left over the torque needed: the square of the volts under the locked
current, times what each worn part takes away, times the margin the machine was built with. Trade charts
of causes of failure to start give the order (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log10

from benchmarks.worlds.second.ageing import State


@dataclass(frozen=True)
class Start:
    """What is heard, amps of the common lead [A], and least volts [V]."""

    heard: str
    amps: float
    volts: float


def connector_ohms(state: State, where: str) -> float:
    """
    Of the connector at a pin, rising with damage: ohms near one, thousands past it, then off. [Ω]

    Examples
    --------
    >>> from benchmarks.worlds.second.survey import APPLIANCES, Built
    >>> machine = Built(APPLIANCES[0], "rsir-ptc", "external", 0.2, 115, 60, 5, 13, 2, 10, 88, 12, 6, 4000, 2)
    >>> round(connector_ohms(State(machine, {"connector": 1.0}, {"connector": "run"}), "run"))
    20
    """
    hurt = state.hurt("connector", where)
    return 0.0 if hurt < 0.5 else 1e9 if hurt > 1.9 else 20.0 * 10 ** (2.6 * (hurt - 1.0))


def film_ohms(damage: float) -> float:
    """Of a burnt contact: half an ohm at half its life, thirty at its end. [Ω]"""
    return 0.0 if damage < 0.3 else min(1e6, 0.5 * 10 ** (3.6 * (min(damage, 3.0) - 0.5)))


def farads_left(damage: float) -> float:
    """Of a drying capacitor, over its stamp. [-]"""
    return float(exp(-0.75 * min(damage, 9.0) ** 2))


def silent(state: State) -> bool:
    """Whether no current reaches the windings at all."""
    passing = state.passing
    plug = state.broken("plug", "dead outlet") or state.broken("plug", "one wire off")
    control = (
        state.broken("thermostat", "open") or state.broken("thermostat", "wanders") or "set warm" in passing
    )
    control = (
        control
        or film_ohms(state.hurt("thermostat", "burnt contact")) > 20 * state.built.volts / state.built.lra
    )
    guard = state.broken("protector", "open") or state.hot > 0
    return (
        plug or control or guard or connector_ohms(state, "common") > 60 * state.built.volts / state.built.lra
    )


def start_share(state: State, luck: float) -> float:
    """What is left of the start winding's part in the torque. [-]"""
    built = state.built
    reference = built.volts / built.lra
    share = 1.0 / (1.0 + connector_ohms(state, "start") / (3 * reference)) ** 2
    if state.broken("windings", "start open"):
        return 0.0
    share *= max(0.0, 1 - 0.8 * max(0.0, state.hurt("windings", "start short") - 0.6))
    helps = 0.3 if built.arrangement.startswith("psc-") else 0.0
    switched = 1.0
    for relay in ("current relay", "voltage relay"):
        if state.broken(relay, "never closes") or state.broken(relay, "jammed"):
            switched = 0.0
        switched /= (1 + film_ohms(state.hurt(relay, "film")) / (3 * reference)) ** 2
    if state.broken("board", "dead") or (
        state.hurt("board", "chatters") > 0.5 and luck < state.hurt("board", "chatters") - 0.3
    ):
        switched = 0.0
    pill = state.hurt("pill", "breaks")
    if pill >= 1.0 and luck < 0.75 + 0.2 * (pill - 1):
        switched = 0.0
    switched /= (1 + 1.2 * max(0.0, state.hurt("pill", "weak") - 0.4)) ** 2
    if "start cap" in state.damage:
        switched *= (
            0.0 if state.broken("start cap", "open") else farads_left(state.hurt("start cap", "dries"))
        )
    if built.arrangement in ("psc",):
        switched = 0.0 if state.broken("run cap", "open") else farads_left(state.hurt("run cap", "dries"))
    elif built.arrangement.startswith("psc-"):
        good = 0.0 if state.broken("run cap", "open") else farads_left(state.hurt("run cap", "dries"))
        switched = helps * good + (1 - helps) * switched
    return share * switched


def score(state: State, luck: float) -> float:
    """Torque left over torque needed. [-]"""
    built = state.built
    sag = 1 / (1 + (state.cord + state.passing.get("long cord", 0.0)) * built.lra / built.volts)
    volts = state.volts * (1 - state.passing.get("low volts", 0.0)) * sag
    if state.hurt("plug", "burnt") > 0.5:
        volts /= 1 + film_ohms(state.hurt("plug", "burnt")) * built.lra / built.volts
    run = 1 / (1 + connector_ohms(state, "run") / (built.volts / built.lra)) ** 2
    for gone in ("run open", "bridged"):
        run = 0.0 if state.broken("windings", gone) else run
    run *= max(0.0, 1 - 0.9 * max(0.0, state.hurt("windings", "run short") - 0.6))
    run = 0.0 if state.broken("current relay", "coil burnt") else run
    need = (
        1
        + 2.4 * state.uneven
        + 1.5 * max(0.0, state.hurt("pump", "stiff") - 0.6) ** 2
        + state.passing.get("liquid", 0.0)
    )
    if state.broken("pump", "seized"):
        return 0.0
    wrong = 0.1 if "leads swapped" in state.passing else 1.0
    return built.margin * volts**2 * run * start_share(state, luck) * wrong / need


def stays_in(state: State) -> bool:
    """Whether the start winding is not let go."""
    held = any(state.broken(relay, "sticks shut") for relay in ("current relay", "voltage relay"))
    held = held or state.broken("voltage relay", "coil burnt") or state.broken("board", "stays")
    return (
        held
        or state.broken("pill", "melts shut")
        or bool({"relay upside down", "wrong relay"} & set(state.passing))
    )


def try_it(state: State, luck: float, seconds: float = 10.0) -> Start:
    """
    One attempt.

    Parameters
    ----------
    luck : float
        Of this attempt, 0 to 1. [-]
    seconds : float
        It may hum. [s]
    """
    built = state.built
    outlet = (
        0.0
        if state.broken("plug", "dead outlet")
        else built.volts * state.volts * (1 - state.passing.get("low volts", 0.0))
    )
    if silent(state):
        return Start("silent", 0.0, 0.0 if state.broken("plug", "one wire off") else outlet)
    cord = state.cord + state.passing.get("long cord", 0.0) + film_ohms(state.hurt("plug", "burnt"))
    under = outlet / (1 + cord * built.lra / built.volts)
    bolted = state.broken("windings", "grounded") and ground_ohms(state) < 0.12 * built.volts / built.lra
    shorted = state.broken("run cap", "short") and luck < 0.25
    if (bolted and not state.broken("ground wire")) or shorted:
        return Start("breaker", 8 * built.lra, 0.6 * outlet)
    dead_run = (
        connector_ohms(state, "run") > 1e3
        or state.broken("windings", "run open")
        or state.broken("current relay", "coil burnt")
    )
    amps = (
        built.lra
        * under
        / built.volts
        * (0.35 if dead_run else 0.85 if start_share(state, luck) < 0.02 else 1.0)
    )
    if state.hurt("windings", "run short") > 0.9 or state.broken("windings", "bridged"):
        amps *= 1.5
    if score(state, luck) < 1.0:
        tired = state.hurt("protector", "tired")
        quick = 9.0 / (amps / built.lra + 0.05) ** 2 / (1 + max(0.0, tired - 0.3)) * (0.6 + 0.8 * luck)
        return Start("hum_click" if quick < seconds else "hum", amps, under)
    load = 1 + 0.6 * max(0.0, state.hurt("condenser") - 0.6)
    run_amps = (
        built.rla * load * (1.25 if state.broken("run cap") else 1.0) * (outlet / max(under, 1.0)) ** 0.3
    )
    if stays_in(state) or run_amps > 1.4 * built.rla / (
        1 + 0.6 * max(0.0, state.hurt("protector", "tired") - 0.5)
    ):
        return Start("starts_then_trips", run_amps, under)
    return Start("runs", run_amps, outlet)


def ground_ohms(state: State) -> float:
    """From the windings to the shell. [Ω]"""
    hurt = state.hurt("windings", "grounded")
    if hurt >= 1.0:
        return float(10 ** (5.5 - 5.0 * min(1.3, hurt) + 1.0 * (state.age % 1.0)))
    return float(10 ** (9.3 - 2.2 * hurt - 0.5 * log10(state.built.appliance.damp + 1)))
