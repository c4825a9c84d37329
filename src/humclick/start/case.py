"""
A start attempt, put down whole: motor, supply, start gear, protector, load, heat and what is wrong with it.

Plain values only; `humclick.start.run.simulate` plays one, `humclick.start.fit.start_case` makes one
from a machine on the bench. A part that is open, shorted, welded or stuck is the same part with other
numbers.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from humclick.errors import Refused
from humclick.messages import Message, Verbatim
from humclick.parts.laws import (
    Capacitor,
    ClosedCircuit,
    CurrentRelay,
    Gear,
    PotentialRelay,
    Protector,
    Ptc,
    SpeedSwitch,
    TimedStarter,
    at_least,
)
from humclick.physics.bounds import between

if TYPE_CHECKING:
    from humclick.start.machine import Motor

__all__ = [
    "Capacitor",
    "ClosedCircuit",
    "CurrentRelay",
    "Faults",
    "Gear",
    "Heat",
    "Load",
    "PotentialRelay",
    "Protector",
    "Ptc",
    "SpeedSwitch",
    "StartCase",
    "Supply",
    "Temperatures",
    "TimedStarter",
]


@dataclass(frozen=True, slots=True)
class Supply:
    """The line up to the machine: v(t) = √2 volts sin(2π hertz t + angle) behind ohms and henries."""

    volts: float = 115.0  #: At rest, rms; 0 is a dead outlet. [V]
    hertz: float = 60.0  #: Line frequency. [Hz]
    #: Of outlet, cord and house wiring together, both conductors. [Ω], [H]
    ohms: float = 0.3
    henries: float = 3.0e-4
    angle: float = 0.0  #: Where the voltage wave stands when power is put on; 0 is rising through zero. [rad]
    #: Half-cycle rms current at which the branch breaker opens at once; infinite for none. [A]
    breaker_amps: float = math.inf
    earth_amps: float = math.inf  #: The same for current through the shell. [A]

    def __post_init__(self) -> None:
        between(self.volts, 0.0, 1000.0, "supply voltage", "V")
        between(self.hertz, 10.0, 400.0, "line frequency", "Hz")
        between(self.ohms, 0.0, 1.0e4, "supply resistance", "Ω")
        between(self.henries, 0.0, 1.0, "supply inductance", "H")
        between(self.angle, -100.0, 100.0, "switching angle", "rad")
        at_least(self.breaker_amps, 0.1, "breaker current", "A")
        at_least(self.earth_amps, 0.001, "earth-fault current", "A")


@dataclass(frozen=True, slots=True)
class Load:
    """What the rotor has to turn: gas torque over the crank angle, friction, stiction."""

    gas_torque: float = 0.0  #: Mean over a turn at the pressures it runs at. [N m]
    #: Harmonics 1 to 4 of the gas torque over its mean, crank angle from top dead centre. [-]
    cosines: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    sines: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    #: Pressure difference at the moment of the start over that of running: 0 is equalised. [-]
    difference: float = 0.0
    #: Time constants with which running builds the difference, and rest loses it. [s]
    pull_apart: float = 20.0
    equalise: float = 60.0
    #: Coulomb friction while turning, and the torque that must be exceeded to begin. [N m]
    friction: float = 0.0
    breakaway: float = 0.0
    viscous: float = 0.0  #: Friction in proportion to shaft speed. [N m s/rad]
    fan: float = 0.0  #: Torque in proportion to the square of shaft speed. [N m s²/rad²]
    angle: float = math.pi  #: Crank angle at rest, from top dead centre. [rad]
    seized: bool = False  #: Nothing turns it.
    speed: float = 0.0  #: Of the shaft when power comes. [rad/s]

    def __post_init__(self) -> None:
        for name in ("gas_torque", "friction", "breakaway"):
            between(getattr(self, name), 0.0, 1.0e4, name.replace("_", " "), "N m")
        if len(self.cosines) != 4 or len(self.sines) != 4:
            raise Refused(Message("the gas torque takes four cosines and four sines (harmonics 1 to 4)"))
        between(self.difference, 0.0, 10.0, "pressure difference over that of running", "")
        between(self.pull_apart, 1.0e-2, 1.0e6, "pull-apart time", "s")
        between(self.equalise, 1.0e-2, 1.0e6, "equalising time", "s")
        between(self.viscous, 0.0, 1.0e3, "viscous friction", "N m s/rad")
        between(self.fan, 0.0, 1.0e3, "fan torque", "N m s²/rad²")
        between(self.angle, -100.0, 100.0, "crank angle", "rad")
        between(self.speed, -1.0e3, 1.0e3, "shaft speed", "rad/s")


@dataclass(frozen=True, slots=True)
class Heat:
    """Where the heat goes: two windings into the shell, the shell into the air."""

    #: Heat capacities. [J/K]
    run_capacity: float = 150.0
    start_capacity: float = 50.0
    shell_capacity: float = 4000.0
    #: Windings to the shell, the shell to the air. [W/K]
    run_conductance: float = 0.6
    start_conductance: float = 0.25
    shell_conductance: float = 3.0

    def __post_init__(self) -> None:
        for value in dataclasses.fields(self):
            unit = "J/K" if "capacity" in value.name else "W/K"
            between(getattr(self, value.name), 1.0e-6, 1.0e9, value.name.replace("_", " "), unit)


@dataclass(frozen=True, slots=True)
class Temperatures:
    """Temperatures at the moment power is put on. All in [°C]."""

    #: The two windings. [°C]
    run: float = 25.0
    start: float = 25.0
    #: Shell, and the air around it. [°C]
    shell: float = 25.0
    air: float = 25.0
    #: The pill and the disc. [°C]
    ptc: float = 25.0
    protector: float = 25.0
    open: bool = False  #: Whether the protector is open at that moment (it waits for its reset).

    def __post_init__(self) -> None:
        for name in ("run", "start", "shell", "air", "ptc", "protector"):
            between(getattr(self, name), -60.0, 300.0, f"temperature ({name})", "°C")


@dataclass(frozen=True, slots=True)
class Faults:
    """What is wrong with windings and wires, as plain values; the defaults are a sound machine."""

    line_open: bool = False  #: No power reaches the gear (control open, one conductor off).
    #: A winding, or the way to its pin, is open.
    run_open: bool = False
    start_open: bool = False
    #: Share of a winding's turns closed on themselves; at most one of the two. [-]
    run_shorted: float = 0.0
    start_shorted: float = 0.0
    short_ohms: float = 0.05  #: Of the place where those turns touch. [Ω]
    bridge_ohms: float = math.inf  #: Between the run and the start pin; infinite for none. [Ω]
    #: From a pin to the shell; infinite for none. [Ω]
    run_earth_ohms: float = math.inf
    start_earth_ohms: float = math.inf
    swapped: bool = False  #: The gear's run lead is on the start pin and the other way round.
    #: More resistance on the way to a pin. [Ω]
    run_series_ohms: float = 0.0
    start_series_ohms: float = 0.0

    def __post_init__(self) -> None:
        between(self.run_shorted, 0.0, 0.95, "share of shorted turns", "")
        between(self.start_shorted, 0.0, 0.95, "share of shorted turns", "")
        if self.run_shorted and self.start_shorted:
            raise Refused(
                Message("shorted turns in both windings at once are not modelled; give one of the two")
            )
        for name in ("bridge_ohms", "run_earth_ohms", "start_earth_ohms"):
            at_least(getattr(self, name), 1.0e-2, name.replace("_", " "), "")
        for name in ("short_ohms", "run_series_ohms", "start_series_ohms"):
            between(getattr(self, name), 0.0, 1.0e6, name.replace("_", " "), "")


@dataclass(frozen=True, slots=True)
class StartCase:
    """
    Everything one start attempt needs.

    Each part raises `Refused` for a number outside what it can be.
    """

    motor: Motor
    supply: Supply = field(default_factory=Supply)
    #: What stands in the start circuit; None where only a run capacitor feeds the start winding, or nothing.
    gear: Gear | None = None
    start_capacitor: Capacitor | None = None  #: In series with the gear.
    run_capacitor: Capacitor | None = None  #: From the run to the start lead, always joined.
    protector: Protector | None = None  #: In the common lead.
    load: Load = field(default_factory=Load)
    heat: Heat = field(default_factory=Heat)
    temperatures: Temperatures = field(default_factory=Temperatures)  #: At the beginning.
    faults: Faults = field(default_factory=Faults)

    def with_(self, **changes: Any) -> StartCase:
        """
        Return this case with some values changed; ``part__value`` reaches into a part.

        Raises `Refused` if there is no such value, the part is absent, or the value is refused.

        ``case.with_(supply__volts=103.5, start_capacitor__farads=90e-6)``
        """
        whole: dict[str, Any] = {}
        inner: dict[str, dict[str, Any]] = {}
        for key, value in changes.items():
            part, _, name = key.partition("__")
            if part not in {f.name for f in dataclasses.fields(self)}:
                raise Refused(
                    Message(
                        "a case has no {part}; it has {value}",
                        part=Verbatim(repr(part)),
                        value=tuple(f.name for f in dataclasses.fields(self)),
                    )
                )
            if name:
                inner.setdefault(part, {})[name] = value
            else:
                whole[part] = value
        for part, values in inner.items():
            old = whole.get(part, getattr(self, part))
            if old is None:
                raise Refused(
                    Message("this case has no {part} to change", part=Message.of(part.replace("_", " ")))
                )
            known = {f.name for f in dataclasses.fields(old)}
            if not set(values) <= known:
                raise Refused(
                    Message(
                        "{part} has no {known}; it has {known2}",
                        part=part,
                        known=tuple(set(values) - known),
                        known2=tuple(sorted(known)),
                    )
                )
            whole[part] = dataclasses.replace(old, **values)
        return dataclasses.replace(self, **whole)
