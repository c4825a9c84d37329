"""
Laws in time: what stands between the line and the windings, each law with its numbers.

The start is integrated by these laws and no others. A part family says in its ``in_time.py`` which one it
follows and with which numbers: ``law(part)``, with what it may ask of the part in `InTime`. A part that is
open, shorted, welded or stuck follows the same law with other numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, get_args
from typing import Protocol as Interface

from humclick.errors import DataError, OutOfRange, Refused
from humclick.messages import N_, Message, Verbatim
from humclick.parts.family import Family, Role, family
from humclick.parts.mode import Mode
from humclick.parts.shelves import family_sources, shelves
from humclick.physics.bounds import between

__all__ = [
    "Capacitor",
    "ClosedCircuit",
    "CurrentRelay",
    "Gear",
    "InTime",
    "Law",
    "PotentialRelay",
    "Protector",
    "Ptc",
    "SpeedSwitch",
    "TimedStarter",
    "at_least",
    "law_of",
    "typical_of",
]

#: Words for a contact that does not obey. Empty: it obeys.
STUCK = ("", "open", "closed")


def at_least(value: float, lowest: float, name: str, unit: str) -> None:
    """
    Let a number from `lowest` on through, infinite too: nothing is there, or nothing opens.

    `name` and `unit` are for the message.
    """
    if not value >= lowest:
        raise OutOfRange(
            Message(
                "{name} must be {lowest:g} {unit} or more, got {value}",
                name=Message.of(name),
                lowest=lowest,
                unit=unit,
                value=repr(value),
            )
        )


def _stuck(word: str, name: str) -> None:
    if word not in STUCK:
        raise Refused(
            Message(
                "{name} can be stuck 'open' or 'closed' (or '' for neither), got {word}",
                name=Message.of(name),
                word=Verbatim(repr(word)),
            )
        )


@dataclass(frozen=True, slots=True)
class Capacitor:
    """A capacitor with its loss and its leakage."""

    farads: float  #: 0 where it is open, infinite where it is shorted through `loss_ohms`. [F]
    loss_ohms: float = 0.5  #: In series with it. [Ω]
    leakage_ohms: float = math.inf  #: Across it: leakage or a bleed resistor; infinite for none. [Ω]

    def __post_init__(self) -> None:
        if self.farads not in (0.0, math.inf):
            between(self.farads, 1.0e-8, 0.1, "capacitance", "F (or 0 for open, infinite for shorted)")
        between(self.loss_ohms, 1.0e-3, 1.0e5, "capacitor loss", "Ω")
        at_least(self.leakage_ohms, 0.1, "capacitor leakage", "Ω")


@dataclass(frozen=True, slots=True)
class ClosedCircuit:
    """A start circuit that is always joined: a wire, a bridged starter, a broken pill making contact."""

    ohms: float = 0.1  #: [Ω]

    def __post_init__(self) -> None:
        between(self.ohms, 1.0e-3, 1.0e7, "resistance of the start circuit", "Ω")


@dataclass(frozen=True, slots=True)
class Ptc:
    """A PTC pill: log R climbs by `decades` along a smooth step from `knee` to `knee` + `span`."""

    cold_ohms: float  #: Below the knee. [Ω]
    knee: float = 105.0  #: Where it begins to climb. [°C]
    span: float = 90.0  #: Over which it climbs. [K]
    decades: float = 3.6  #: Powers of ten it climbs. [-]
    capacity: float = 0.85  #: Heat capacity of the pill. [J/K]
    conductance: float = 0.022  #: Heat lost to the air around it. [W/K]

    def __post_init__(self) -> None:
        between(self.cold_ohms, 0.05, 1.0e5, "cold resistance of the PTC", "Ω")
        between(self.knee, 0.0, 300.0, "knee temperature of the PTC", "°C")
        between(self.span, 1.0, 300.0, "span of the PTC", "K")
        between(self.decades, 0.0, 4.5, "decades of the PTC", "(powers of ten)")
        between(self.capacity, 1.0e-6, 1.0e3, "heat capacity of the PTC", "J/K")
        between(self.conductance, 0.0, 10.0, "heat conductance of the PTC", "W/K")


@dataclass(frozen=True, slots=True)
class CurrentRelay:
    """A gravity relay whose coil carries the run winding's current."""

    #: Coil current at which it lifts and falls, mounted upright, rms. [A]
    pick_up: float
    drop_out: float
    #: Coil; closed contact, or the ohms of a dirty one. [Ω]
    coil_ohms: float = 0.06
    contact_ohms: float = 0.08
    #: From its marked way up; π is upside down. Weight along the axis goes with the cosine, pull with the
    #: square of the current. [rad]
    tilt: float = 0.0
    travel: float = 0.008  #: From the pull to the contact. [s]
    bounce: float = 0.002  #: For which the contact bounces after it has closed. [s]
    stuck: str = ""  #: ``open`` (contacts or plunger), ``closed`` (welded) or empty.

    def __post_init__(self) -> None:
        between(self.pick_up, 0.05, 1000.0, "pick-up current", "A")
        between(self.drop_out, 0.0, self.pick_up, "drop-out current (below the pick-up)", "A")
        between(self.coil_ohms, 0.0, 100.0, "relay coil", "Ω")
        between(self.tilt, -math.pi, math.pi, "tilt of the relay", "rad")
        _contact(self)


@dataclass(frozen=True, slots=True)
class PotentialRelay:
    """A relay whose coil lies across the start winding and whose contact is closed at rest."""

    #: Voltage of the start winding at which the contact opens and closes again, rms. [V]
    pick_up: float
    drop_out: float
    #: Coil, infinite if open; closed contact. [Ω]
    coil_ohms: float = 4000.0
    contact_ohms: float = 0.1
    #: As in `CurrentRelay`. [s]
    travel: float = 0.008
    bounce: float = 0.002
    stuck: str = ""  #: ``open``, ``closed`` or empty.

    def __post_init__(self) -> None:
        between(self.pick_up, 1.0, 5000.0, "pick-up voltage", "V")
        between(self.drop_out, 0.0, self.pick_up, "drop-out voltage (below the pick-up)", "V")
        at_least(self.coil_ohms, 10.0, "relay coil", "Ω")
        _contact(self)


@dataclass(frozen=True, slots=True)
class TimedStarter:
    """An electronic starter that joins the start winding for a fixed time after power comes."""

    seconds: float = 0.6  #: For which it joins; it lets go at the next current zero. [s]
    rearm: float = 2.0  #: Without power, after which it is ready again. [s]
    contact_ohms: float = 0.15  #: While it conducts. [Ω]
    stuck: str = ""  #: ``open`` (never connects), ``closed`` (stays connected) or empty.

    def __post_init__(self) -> None:
        between(self.seconds, 0.01, 60.0, "time of the starter", "s")
        between(self.rearm, 0.0, 3600.0, "re-arming time", "s")
        between(self.contact_ohms, 1.0e-3, 1.0e5, "starter while it conducts", "Ω")
        _stuck(self.stuck, N_("a starter"))


@dataclass(frozen=True, slots=True)
class SpeedSwitch:
    """A centrifugal switch."""

    #: Over synchronous speed. [-]
    opens_at: float = 0.75
    closes_at: float = 0.4
    contact_ohms: float = 0.05  #: Closed contact. [Ω]
    stuck: str = ""  #: ``open``, ``closed`` or empty.

    def __post_init__(self) -> None:
        between(self.opens_at, 0.01, 1.2, "opening speed", "of synchronous speed")
        between(
            self.closes_at, 0.0, self.opens_at, "closing speed (below the opening speed)", "of synchronous"
        )
        between(self.contact_ohms, 1.0e-3, 1.0e5, "switch contact", "Ω")
        _stuck(self.stuck, N_("a switch"))


def _contact(relay: CurrentRelay | PotentialRelay) -> None:
    between(relay.contact_ohms, 1.0e-3, 1.0e5, "relay contact", "Ω")
    between(relay.travel, 0.0, 1.0, "travel time of the contact", "s")
    between(relay.bounce, 0.0, 0.1, "bounce time of the contact", "s")
    _stuck(relay.stuck, N_("a relay contact"))


Gear = ClosedCircuit | Ptc | CurrentRelay | PotentialRelay | TimedStarter | SpeedSwitch


@dataclass(frozen=True, slots=True)
class Protector:
    """An overload protector: a disc heated by the line current, opening and closing with a snap."""

    heater_ohms: float  #: What the line current heats it with; also in series with the line. [Ω]
    capacity: float = 0.3  #: Heat capacity of the disc. [J/K]
    conductance: float = 0.014  #: Heat lost to its surroundings. [W/K]
    #: Disc temperature at which it opens and closes. [°C]
    trip: float = 130.0
    reset: float = 65.0
    inside: bool = False  #: Inside the shell, on the windings; else outside, on the shell.
    #: Share of its surroundings that is the run winding (inside); the rest is the shell. [-]
    to_winding: float = 0.7
    to_shell: float = 0.5  #: Share of its surroundings that is the shell (outside); the rest is the air. [-]
    stuck: str = ""  #: ``open`` for good, ``closed`` (welded) or empty.

    def __post_init__(self) -> None:
        between(self.heater_ohms, 1.0e-5, 100.0, "heater of the protector", "Ω")
        between(self.capacity, 1.0e-3, 1.0e4, "heat capacity of the protector", "J/K")
        between(self.conductance, 1.0e-5, 100.0, "heat conductance of the protector", "W/K")
        between(self.trip, 30.0, 300.0, "trip temperature", "°C")
        between(self.reset, -50.0, self.trip - 1.0, "reset temperature (below the trip)", "°C")
        between(self.to_winding, 0.0, 1.0, "share of the winding", "")
        between(self.to_shell, 0.0, 1.0, "share of the shell", "")
        _stuck(self.stuck, N_("a protector"))


# -- the law of a family ------------------------------------------------------------------------------------

Law = Gear | Capacitor | Protector


class Currents(Interface):
    """The motor at one speed: phasors, rms."""

    @property
    def run(self) -> complex:
        """Current in the run winding. [A]"""

    @property
    def start_volts(self) -> complex:
        """Across the start winding. [V]"""


class InTime(Interface):
    """What the law of a part may ask: of its mode, of the machine it stands on, of what is usual."""

    @property
    def mode(self) -> Mode:
        """Its condition."""

    @property
    def sealed(self) -> bool:
        """Whether it is inside the shell."""

    @property
    def volts(self) -> float:
        """Nominal voltage of the machine. [V]"""

    @property
    def hertz(self) -> float:
        """Line frequency. [Hz]"""

    @property
    def start_branch(self) -> complex:
        """The start winding with the rotor locked, half the rotor's part of it. [Ω]"""

    def size(self, name: str) -> float:
        """Size of the part as it should be. [Ω] or [F]"""

    def middle(self, name: str) -> float:
        """The middle of that size: what the maker has matched to the motor. [Ω] or [F]"""

    def branch(self, name: str) -> float:
        """Size of the branch that this mode makes of it. [Ω] or [F]"""

    def typical(self, name: str) -> float:
        """Return a value of the family's ``[typical]``. [as in the file]"""

    def at_slip(self, slip: float, *, start_circuit: bool = True, run_capacitor: bool = True) -> Currents:
        """
        The motor at a slip on the nominal voltage.

        Its sound start circuit is closed, its sound run capacitor in place, unless they are left out.
        """


@cache
def _module(name: str, folders: tuple[Path, ...]) -> Callable[[InTime], Any]:
    source = family_sources()[name]
    law: Callable[[InTime], Any] | None = getattr(source.module("in_time"), "law", None)
    if law is None:
        raise DataError(f"{source}: in_time.py beside it must have a function law(part)")
    return law


def law_of(kind: Family, part: InTime) -> Law | None:
    """
    What a part follows in the start.

    None where the start circuit is open there. Raises `DataError` if the family has no law, or one that makes
    something else.
    """
    name = kind.in_time or kind.name
    made = _module(name, shelves())(part)
    wanted = {Role.PROTECTOR: (Protector,), Role.STARTER: (*get_args(Gear), type(None))}
    if not isinstance(made, wanted.get(kind.role, (Capacitor,))):
        raise DataError(f"{family_sources()[name]}: law(part) of a {kind.role} must not make {made!r}")
    law: Law | None = made
    return law


def typical_of(kind: Family) -> dict[str, Any]:
    """Rows of the family's ``[typical]`` over those of the family it behaves like."""
    like = family(kind.in_time).typical if kind.in_time else {}
    return {**like, **kind.typical}
