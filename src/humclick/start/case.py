"""
A start attempt, put down whole: motor, supply, start gear, protector, load, heat and what is wrong with it.

Plain values only; `humclick.start.run.simulate` plays one, `humclick.start.fit.case_of` makes one from a
machine on the bench. A part that is open, shorted, welded or stuck is the same part with other numbers.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from humclick.errors import OutOfRange, Refused

if TYPE_CHECKING:
    from humclick.start.machine import Motor

__all__ = [
    "Capacitor",
    "Case",
    "CurrentRelay",
    "Faults",
    "Gear",
    "Heat",
    "Load",
    "Plain",
    "PotentialRelay",
    "Protector",
    "Ptc",
    "SpeedSwitch",
    "Supply",
    "Temperatures",
    "TimedStarter",
]

#: Words for a contact that does not obey. Empty: it obeys.
STUCK = ("", "open", "closed")


def _check(value: float, low: float, high: float, name: str, unit: str) -> None:
    if not low <= value <= high:
        raise OutOfRange(f"{name} must lie between {low:g} and {high:g} {unit}, got {value:g}")


def _stuck(word: str, name: str) -> None:
    if word not in STUCK:
        raise Refused(f"{name} can be stuck 'open' or 'closed' (or '' for neither), got {word!r}")


@dataclass(frozen=True, slots=True)
class Supply:
    """
    The line up to the machine: v(t) = √2 volts sin(2π hertz t + angle) behind ohms and henries.

    Attributes
    ----------
    volts : float
        At rest, rms; 0 is a dead outlet. [V]
    hertz : float
        Line frequency. [Hz]
    ohms, henries : float
        Of outlet, cord and house wiring together, both conductors. [Ω], [H]
    angle : float
        Where the voltage wave stands when power is put on; 0 is rising through zero. [rad]
    breaker_amps : float
        Half-cycle rms current at which the branch breaker opens at once; infinite for none. [A]
    earth_amps : float
        The same for current through the shell. [A]
    """

    volts: float = 115.0
    hertz: float = 60.0
    ohms: float = 0.3
    henries: float = 3.0e-4
    angle: float = 0.0
    breaker_amps: float = math.inf
    earth_amps: float = math.inf

    def __post_init__(self) -> None:
        _check(self.volts, 0.0, 1000.0, "supply voltage", "V")
        _check(self.hertz, 10.0, 400.0, "line frequency", "Hz")
        _check(self.ohms, 0.0, 1.0e4, "supply resistance", "Ω")
        _check(self.henries, 0.0, 1.0, "supply inductance", "H")
        _check(self.angle, -100.0, 100.0, "switching angle", "rad")
        _check(self.breaker_amps, 0.1, math.inf, "breaker current", "A")
        _check(self.earth_amps, 0.001, math.inf, "earth-fault current", "A")


@dataclass(frozen=True, slots=True)
class Capacitor:
    """
    A capacitor with its loss and its leakage.

    Attributes
    ----------
    farads : float
        0 where it is open, infinite where it is shorted through `loss_ohms`. [F]
    loss_ohms : float
        In series with it. [Ω]
    leakage_ohms : float
        Across it: leakage or a bleed resistor; infinite for none. [Ω]
    """

    farads: float
    loss_ohms: float = 0.5
    leakage_ohms: float = math.inf

    def __post_init__(self) -> None:
        if self.farads not in (0.0, math.inf):
            _check(self.farads, 1.0e-8, 0.1, "capacitance", "F (or 0 for open, infinite for shorted)")
        _check(self.loss_ohms, 1.0e-3, 1.0e5, "capacitor loss", "Ω")
        _check(self.leakage_ohms, 0.1, math.inf, "capacitor leakage", "Ω")


@dataclass(frozen=True, slots=True)
class Plain:
    """
    A start circuit that is always joined: a wire, a bridged starter, a broken pill making contact.

    Attributes
    ----------
    ohms : float
        Its resistance. [Ω]
    """

    ohms: float = 0.1

    def __post_init__(self) -> None:
        _check(self.ohms, 1.0e-3, 1.0e7, "resistance of the start circuit", "Ω")


@dataclass(frozen=True, slots=True)
class Ptc:
    """
    A PTC pill: log R climbs by `decades` along a smooth step from `knee` to `knee` + `span`.

    Attributes
    ----------
    cold_ohms : float
        Below the knee. [Ω]
    knee : float
        Where it begins to climb. [°C]
    span : float
        Over which it climbs. [K]
    decades : float
        Powers of ten it climbs. [-]
    capacity : float
        Heat capacity of the pill. [J/K]
    conductance : float
        Heat lost to the air around it. [W/K]
    """

    cold_ohms: float
    knee: float = 105.0
    span: float = 90.0
    decades: float = 3.6
    capacity: float = 0.85
    conductance: float = 0.022

    def __post_init__(self) -> None:
        _check(self.cold_ohms, 0.05, 1.0e5, "cold resistance of the PTC", "Ω")
        _check(self.knee, 0.0, 300.0, "knee temperature of the PTC", "°C")
        _check(self.span, 1.0, 300.0, "span of the PTC", "K")
        _check(self.decades, 0.0, 4.5, "decades of the PTC", "(powers of ten)")
        _check(self.capacity, 1.0e-3, 1.0e3, "heat capacity of the PTC", "J/K")
        _check(self.conductance, 0.0, 10.0, "heat conductance of the PTC", "W/K")


@dataclass(frozen=True, slots=True)
class CurrentRelay:
    """
    A gravity relay whose coil carries the run winding's current.

    Attributes
    ----------
    pick_up, drop_out : float
        Coil current at which it lifts and falls, mounted upright, rms. [A]
    coil_ohms, contact_ohms : float
        Coil; closed contact, or the ohms of a dirty one. [Ω]
    tilt : float
        From its marked way up; π is upside down. Weight along the axis goes with the cosine, pull with
        the square of the current. [rad]
    travel : float
        From the pull to the contact. [s]
    bounce : float
        For which the contact bounces after it has closed. [s]
    stuck : str
        ``open`` (contacts or plunger), ``closed`` (welded) or empty.
    """

    pick_up: float
    drop_out: float
    coil_ohms: float = 0.06
    contact_ohms: float = 0.08
    tilt: float = 0.0
    travel: float = 0.008
    bounce: float = 0.002
    stuck: str = ""

    def __post_init__(self) -> None:
        _check(self.pick_up, 0.05, 1000.0, "pick-up current", "A")
        _check(self.drop_out, 0.0, self.pick_up, "drop-out current (below the pick-up)", "A")
        _check(self.coil_ohms, 0.0, 100.0, "relay coil", "Ω")
        _check(self.contact_ohms, 1.0e-3, 1.0e5, "relay contact", "Ω")
        _check(self.tilt, -math.pi, math.pi, "tilt of the relay", "rad")
        _times(self.travel, self.bounce)
        _stuck(self.stuck, "a relay contact")


@dataclass(frozen=True, slots=True)
class PotentialRelay:
    """
    A relay whose coil lies across the start winding and whose contact is closed at rest.

    Attributes
    ----------
    pick_up, drop_out : float
        Voltage of the start winding at which the contact opens and closes again, rms. [V]
    coil_ohms, contact_ohms : float
        Coil, infinite if open; closed contact. [Ω]
    travel, bounce : float
        As in `CurrentRelay`. [s]
    stuck : str
        ``open``, ``closed`` or empty.
    """

    pick_up: float
    drop_out: float
    coil_ohms: float = 4000.0
    contact_ohms: float = 0.1
    travel: float = 0.008
    bounce: float = 0.002
    stuck: str = ""

    def __post_init__(self) -> None:
        _check(self.pick_up, 1.0, 5000.0, "pick-up voltage", "V")
        _check(self.drop_out, 0.0, self.pick_up, "drop-out voltage (below the pick-up)", "V")
        _check(self.coil_ohms, 10.0, math.inf, "relay coil", "Ω")
        _check(self.contact_ohms, 1.0e-3, 1.0e5, "relay contact", "Ω")
        _times(self.travel, self.bounce)
        _stuck(self.stuck, "a relay contact")


@dataclass(frozen=True, slots=True)
class TimedStarter:
    """
    An electronic starter that joins the start winding for a fixed time after power comes.

    Attributes
    ----------
    seconds : float
        For which it joins; it lets go at the next current zero. [s]
    rearm : float
        Without power, after which it is ready again. [s]
    contact_ohms : float
        While it conducts. [Ω]
    stuck : str
        ``open`` (never connects), ``closed`` (stays connected) or empty.
    """

    seconds: float = 0.6
    rearm: float = 2.0
    contact_ohms: float = 0.15
    stuck: str = ""

    def __post_init__(self) -> None:
        _check(self.seconds, 0.01, 60.0, "time of the starter", "s")
        _check(self.rearm, 0.0, 3600.0, "re-arming time", "s")
        _check(self.contact_ohms, 1.0e-3, 1.0e5, "starter while it conducts", "Ω")
        _stuck(self.stuck, "a starter")


@dataclass(frozen=True, slots=True)
class SpeedSwitch:
    """
    A centrifugal switch.

    Attributes
    ----------
    opens_at, closes_at : float
        Over synchronous speed. [-]
    contact_ohms : float
        Closed contact. [Ω]
    stuck : str
        ``open``, ``closed`` or empty.
    """

    opens_at: float = 0.75
    closes_at: float = 0.4
    contact_ohms: float = 0.05
    stuck: str = ""

    def __post_init__(self) -> None:
        _check(self.opens_at, 0.01, 1.2, "opening speed", "of synchronous speed")
        _check(
            self.closes_at, 0.0, self.opens_at, "closing speed (below the opening speed)", "of synchronous"
        )
        _check(self.contact_ohms, 1.0e-3, 1.0e5, "switch contact", "Ω")
        _stuck(self.stuck, "a switch")


def _times(travel: float, bounce: float) -> None:
    _check(travel, 0.0, 1.0, "travel time of the contact", "s")
    _check(bounce, 0.0, 0.1, "bounce time of the contact", "s")


Gear = Plain | Ptc | CurrentRelay | PotentialRelay | TimedStarter | SpeedSwitch


@dataclass(frozen=True, slots=True)
class Protector:
    """
    An overload protector: a disc heated by the line current, opening and closing with a snap.

    Attributes
    ----------
    heater_ohms : float
        What the line current heats it with; also in series with the line. [Ω]
    capacity : float
        Heat capacity of the disc. [J/K]
    conductance : float
        Heat lost to its surroundings. [W/K]
    trip, reset : float
        Disc temperature at which it opens and closes. [°C]
    inside : bool
        Inside the shell, on the windings; else outside, on the shell.
    to_winding : float
        Share of its surroundings that is the run winding (inside); the rest is the shell. [-]
    to_shell : float
        Share of its surroundings that is the shell (outside); the rest is the air. [-]
    stuck : str
        ``open`` for good, ``closed`` (welded) or empty.
    """

    heater_ohms: float
    capacity: float = 0.3
    conductance: float = 0.014
    trip: float = 130.0
    reset: float = 65.0
    inside: bool = False
    to_winding: float = 0.7
    to_shell: float = 0.5
    stuck: str = ""

    def __post_init__(self) -> None:
        _check(self.heater_ohms, 1.0e-5, 100.0, "heater of the protector", "Ω")
        _check(self.capacity, 1.0e-3, 1.0e4, "heat capacity of the protector", "J/K")
        _check(self.conductance, 1.0e-5, 100.0, "heat conductance of the protector", "W/K")
        _check(self.trip, 30.0, 300.0, "trip temperature", "°C")
        _check(self.reset, -50.0, self.trip - 1.0, "reset temperature (below the trip)", "°C")
        _check(self.to_winding, 0.0, 1.0, "share of the winding", "")
        _check(self.to_shell, 0.0, 1.0, "share of the shell", "")
        _stuck(self.stuck, "a protector")


@dataclass(frozen=True, slots=True)
class Load:
    """
    What the rotor has to turn: gas torque over the crank angle, friction, stiction.

    Attributes
    ----------
    gas_torque : float
        Mean over a turn at the pressures it runs at. [N m]
    cosines, sines : tuple of four floats
        Harmonics 1 to 4 of the gas torque over its mean, crank angle from top dead centre. [-]
    difference : float
        Pressure difference at the moment of the start over that of running: 0 is equalised. [-]
    pull_apart, equalise : float
        Time constants with which running builds the difference, and rest loses it. [s]
    friction, breakaway : float
        Coulomb friction while turning, and the torque that must be exceeded to begin. [N m]
    viscous : float
        Friction in proportion to shaft speed. [N m s/rad]
    fan : float
        Torque in proportion to the square of shaft speed. [N m s²/rad²]
    angle : float
        Crank angle at rest, from top dead centre. [rad]
    seized : bool
        Nothing turns it.
    """

    gas_torque: float = 0.0
    cosines: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    sines: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    difference: float = 0.0
    pull_apart: float = 20.0
    equalise: float = 60.0
    friction: float = 0.0
    breakaway: float = 0.0
    viscous: float = 0.0
    fan: float = 0.0
    angle: float = math.pi
    seized: bool = False

    def __post_init__(self) -> None:
        for name in ("gas_torque", "friction", "breakaway"):
            _check(getattr(self, name), 0.0, 1.0e4, name.replace("_", " "), "N m")
        if len(self.cosines) != 4 or len(self.sines) != 4:
            raise Refused("the gas torque takes four cosines and four sines (harmonics 1 to 4)")
        _check(self.difference, 0.0, 10.0, "pressure difference over that of running", "")
        _check(self.pull_apart, 1.0e-2, 1.0e6, "pull-apart time", "s")
        _check(self.equalise, 1.0e-2, 1.0e6, "equalising time", "s")
        _check(self.viscous, 0.0, 1.0e3, "viscous friction", "N m s/rad")
        _check(self.fan, 0.0, 1.0e3, "fan torque", "N m s²/rad²")
        _check(self.angle, -100.0, 100.0, "crank angle", "rad")


@dataclass(frozen=True, slots=True)
class Heat:
    """
    Where the heat goes: two windings into the shell, the shell into the air.

    Attributes
    ----------
    run_capacity, start_capacity, shell_capacity : float
        Heat capacities. [J/K]
    run_conductance, start_conductance, shell_conductance : float
        Windings to the shell, the shell to the air. [W/K]
    """

    run_capacity: float = 150.0
    start_capacity: float = 50.0
    shell_capacity: float = 4000.0
    run_conductance: float = 0.6
    start_conductance: float = 0.25
    shell_conductance: float = 3.0

    def __post_init__(self) -> None:
        for each in dataclasses.fields(self):
            unit = "J/K" if "capacity" in each.name else "W/K"
            _check(getattr(self, each.name), 1.0e-3, 1.0e9, each.name.replace("_", " "), unit)


@dataclass(frozen=True, slots=True)
class Temperatures:
    """
    Temperatures at the moment power is put on. All in [°C].

    Attributes
    ----------
    run, start : float
        The two windings. [°C]
    shell, air : float
        Shell, and the air around it. [°C]
    ptc, protector : float
        The pill and the disc. [°C]
    open : bool
        Whether the protector is open at that moment (it waits for its reset).
    """

    run: float = 25.0
    start: float = 25.0
    shell: float = 25.0
    air: float = 25.0
    ptc: float = 25.0
    protector: float = 25.0
    open: bool = False

    def __post_init__(self) -> None:
        for name in ("run", "start", "shell", "air", "ptc", "protector"):
            _check(getattr(self, name), -60.0, 300.0, f"temperature ({name})", "°C")


@dataclass(frozen=True, slots=True)
class Faults:
    """
    What is wrong with windings and wires, as plain values; the defaults are a sound machine.

    Attributes
    ----------
    line_open : bool
        No power reaches the gear (control open, one conductor off).
    run_open, start_open : bool
        A winding, or the way to its pin, is open.
    run_shorted, start_shorted : float
        Share of a winding's turns closed on themselves; at most one of the two. [-]
    short_ohms : float
        Of the place where those turns touch. [Ω]
    bridge_ohms : float
        Between the run and the start pin; infinite for none. [Ω]
    run_earth_ohms, start_earth_ohms : float
        From a pin to the shell; infinite for none. [Ω]
    swapped : bool
        The gear's run lead is on the start pin and the other way round.
    run_series_ohms, start_series_ohms : float
        More resistance on the way to a pin. [Ω]
    """

    line_open: bool = False
    run_open: bool = False
    start_open: bool = False
    run_shorted: float = 0.0
    start_shorted: float = 0.0
    short_ohms: float = 0.05
    bridge_ohms: float = math.inf
    run_earth_ohms: float = math.inf
    start_earth_ohms: float = math.inf
    swapped: bool = False
    run_series_ohms: float = 0.0
    start_series_ohms: float = 0.0

    def __post_init__(self) -> None:
        _check(self.run_shorted, 0.0, 0.95, "share of shorted turns", "")
        _check(self.start_shorted, 0.0, 0.95, "share of shorted turns", "")
        if self.run_shorted and self.start_shorted:
            raise Refused("shorted turns in both windings at once are not modelled; give one of the two")
        for name in ("bridge_ohms", "run_earth_ohms", "start_earth_ohms"):
            _check(getattr(self, name), 1.0e-2, math.inf, name.replace("_", " "), "")
        for name in ("short_ohms", "run_series_ohms", "start_series_ohms"):
            _check(getattr(self, name), 0.0, 1.0e6, name.replace("_", " "), "")


@dataclass(frozen=True, slots=True)
class Case:
    """
    Everything one start attempt needs.

    Attributes
    ----------
    motor : Motor
        The two-winding machine.
    supply : Supply
        The line.
    gear : Gear or None
        What stands in the start circuit; None where only a run capacitor feeds the start winding, or nothing.
    start_capacitor : Capacitor or None
        In series with the gear.
    run_capacitor : Capacitor or None
        From the run to the start lead, always joined.
    protector : Protector or None
        In the common lead.
    load : Load
        What is turned.
    heat : Heat
        Where heat goes.
    temperatures : Temperatures
        At the beginning.
    faults : Faults
        What is wrong.

    Raises
    ------
    Refused
        From each part, if a number lies outside what it can be.
    """

    motor: Motor
    supply: Supply = field(default_factory=Supply)
    gear: Gear | None = None
    start_capacitor: Capacitor | None = None
    run_capacitor: Capacitor | None = None
    protector: Protector | None = None
    load: Load = field(default_factory=Load)
    heat: Heat = field(default_factory=Heat)
    temperatures: Temperatures = field(default_factory=Temperatures)
    faults: Faults = field(default_factory=Faults)

    def with_(self, **changes: Any) -> Case:
        """
        Return this case with some values changed; ``part__value`` reaches into a part.

        Examples
        --------
        ``case.with_(supply__volts=103.5, start_capacitor__farads=90e-6)``

        Raises
        ------
        Refused
            If there is no such value, the part is absent, or the value is refused.
        """
        whole: dict[str, Any] = {}
        inner: dict[str, dict[str, Any]] = {}
        for key, value in changes.items():
            part, _, name = key.partition("__")
            if part not in {f.name for f in dataclasses.fields(self)}:
                raise Refused(
                    f"a case has no {part!r}; it has {', '.join(f.name for f in dataclasses.fields(self))}"
                )
            if name:
                inner.setdefault(part, {})[name] = value
            else:
                whole[part] = value
        for part, values in inner.items():
            old = whole.get(part, getattr(self, part))
            if old is None:
                raise Refused(f"this case has no {part.replace('_', ' ')} to change")
            known = {f.name for f in dataclasses.fields(old)}
            if not set(values) <= known:
                raise Refused(
                    f"{part} has no {', '.join(set(values) - known)}; it has {', '.join(sorted(known))}"
                )
            whole[part] = dataclasses.replace(old, **values)
        return dataclasses.replace(self, **whole)
