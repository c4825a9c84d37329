"""
The machine as things: each part has a condition of continuous figures and gives branches of the network.

A condition is a mapping such as ``{"ptc.crack": 0.7}``; what is not in it is as new. Device physics:
barium titanate pills jump by some decades at 120 °C; films on contacts follow a lognormal law (Holm,
Electric Contacts, from memory); electrolytic capacitors dry out: farads fall, series ohms rise (capacitor
makers' life notes, from memory); copper warms by 0.393 % a kelvin (IEC 60228).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from math import exp, pi

from benchmarks.worlds.first.motors import Motor
from benchmarks.worlds.first.nodal import Branch

OPEN = 1e12
"""A gap. [Ω]"""

COPPER = 0.00393
"""Of copper, at 20 °C. [1/K]"""

LAYOUT: Mapping[str, tuple[tuple[str, str, str], ...]] = {
    "rsir-ptc": (("ptc", "k", "s"),),
    "csir-ptc": (("ptc", "k", "q"), ("start_capacitor", "q", "s")),
    "rscr-ptc": (("ptc", "k", "s"), ("run_capacitor", "k", "s")),
    "psc": (("run_capacitor", "k", "s"),),
    "psc-ptc-assist": (("ptc", "k", "s"), ("run_capacitor", "k", "s")),
    "csr-potential-relay": (
        ("start_capacitor", "k", "q"),
        ("potential_relay", "q", "s"),
        ("run_capacitor", "k", "s"),
    ),
    "psc-assist-relay": (
        ("start_capacitor", "k", "q"),
        ("potential_relay", "q", "s"),
        ("run_capacitor", "k", "s"),
    ),
    "psc-assist-switch": (
        ("start_capacitor", "k", "q"),
        ("timed_starter", "q", "s"),
        ("run_capacitor", "k", "s"),
    ),
    "rsir-assist-relay": (("start_capacitor", "k", "q"), ("potential_relay", "q", "s")),
    "rsir-assist-switch": (("start_capacitor", "k", "q"), ("timed_starter", "q", "s")),
    "rsir-current-relay": (("current_relay", "k", "s"),),
    "csir-current-relay": (("current_relay", "k", "q"), ("start_capacitor", "q", "s")),
    "timed-starter": (("timed_starter", "k", "q"), ("start_capacitor", "q", "s")),
}
"""Which part of the start gear stands between which nodes, as the drawings of the arrangements show."""


@dataclass(frozen=True)
class Unit:
    """
    A machine in its state.

    Parameters
    ----------
    cold : mapping of str to float
        Sizes as new: ohms, farads, of its parts. [Ω] [F]
    condition : mapping of str to float
        What has become of them.
    winding, pill, bimetal, room : float
        Temperatures. [°C]
    pressure : float
        Difference left, over that of running. [-]
    calling : bool
        Whether the control has been turned to coldest by hand.
    """

    arrangement: str
    protector: str
    motor: Motor
    cold: Mapping[str, float]
    condition: Mapping[str, float] = field(default_factory=dict)
    winding: float = 25.0
    pill: float = 25.0
    bimetal: float = 25.0
    room: float = 25.0
    pressure: float = 0.0
    calling: bool = False

    def of(self, name: str, new: float = 0.0) -> float:
        """A figure of the condition, or how it is as new."""
        return self.condition.get(name, new)

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of its start gear."""
        return tuple(name for name, _, _ in LAYOUT[self.arrangement])

    def repaired(self, *parts: str) -> Unit:
        """The same with these parts as new."""
        left = {name: value for name, value in self.condition.items() if name.split(".")[0] not in parts}
        return replace(self, condition=left)

    def only(self, *parts: str) -> Unit:
        """The same with all parts but these as new."""
        left = {name: value for name, value in self.condition.items() if name.split(".")[0] in parts}
        return replace(self, condition=left)

    def rested(self) -> Unit:
        """The same after a long rest."""
        return replace(self, winding=self.room, pill=self.room, bimetal=self.room, pressure=0.0)


# -- branches by part ---------------------------------------------------------------------------------------


def compressor(unit: Unit) -> list[Branch]:
    """Both windings with their burns, the way to the shell, and the protector where it is inside."""
    motor, warm = unit.motor, 1 + COPPER * (unit.winding - 25.0)
    inside = unit.protector == "internal"
    star = "star" if inside else "C"
    short, burnt = unit.of("run_winding.short"), unit.of("start_winding.short")
    left, gone = 1 - short, 1 - burnt
    run = Branch("run_winding", star, "R", motor.run_ohms * warm * left + unit.of("run_winding.gap"))
    run = replace(run, line=motor.run_locked * left**2 + unit.of("run_winding.gap"))
    start = Branch("start_winding", star, "S", motor.start_ohms * warm * gone + unit.of("start_winding.gap"))
    start = replace(start, line=motor.start_locked * gone**2 + unit.of("start_winding.gap"))
    path = unit.cold["insulation"]
    found = [
        run,
        start,
        Branch("insulation", "R", "shell", 2 * path),
        Branch("insulation", "S", "shell", 2 * path),
    ]
    if inside:
        found.append(Branch("internal_protector", "C", "star", protector_ohms(unit)))
    for name, node in (("run_winding.ground", "R"), ("start_winding.ground", "S")):
        if name in unit.condition:
            found.append(Branch("ground", node, "shell", unit.of(name)))
    if "start_winding.bridge" in unit.condition:
        found.append(Branch("bridge", "S", "R", unit.of("start_winding.bridge")))
    return found


def protector_ohms(unit: Unit) -> float:
    """The protector: open for good, open from heat, or its contact. [Ω]"""
    if unit.of("protector.open"):
        return OPEN
    if unit.bimetal > trip_at(unit) - 35.0 * unit.of("protector.tripped_now") and unit.of(
        "protector.tripped_now"
    ):
        return OPEN
    return unit.cold["protector"] + unit.of("protector.film")


def trip_at(unit: Unit) -> float:
    """Temperature at which the bimetal opens. [°C]"""
    return 115.0 - 45.0 * unit.of("protector.tired")


def pill_ohms(unit: Unit, jolt: float = 0.0) -> float:
    """
    The thermistor. [Ω]

    Parameters
    ----------
    jolt : float
        Where the pieces of a broken pill happen to lie, 0 to 1. [-]
    """
    bridged = unit.of("ptc.bridge")
    if bridged:
        return bridged
    crack = unit.of("ptc.crack")
    ohms = unit.cold["ptc"] * (1 + unit.of("ptc.drift"))
    if unit.pill > 90.0:
        ohms *= exp(min(9.0, (unit.pill - 90.0) * 0.23))
    if crack > 0.6:
        return OPEN if jolt < crack else ohms * (1.5 + 4 * jolt)
    return ohms / (1 - crack)


def capacitor(unit: Unit, name: str, a: str, b: str) -> Branch:
    """A capacitor: farads left, leak, series ohms, an open lead or a short."""
    if name + ".short" in unit.condition:
        return Branch(name, a, b, unit.of(name + ".short"))
    if unit.of(name + ".open"):
        return Branch(name, a, b, 2e7, complex(OPEN))
    farads = unit.cold[name] * (1 - unit.of(name + ".loss"))
    series = 0.05 / (2 * pi * unit.motor.hertz * unit.cold[name]) * (1 + 10 * unit.of(name + ".loss"))
    leak = unit.of(name + ".leak", unit.cold.get(name + ".bleed", 3e7))
    line = 1 / (2j * pi * unit.motor.hertz * max(farads, 1e-9)) + series
    return Branch(name, a, b, leak, 1 / (1 / line + 1 / leak))


def start_gear(unit: Unit, *, closed: bool, live: bool, jolt: float = 0.5) -> list[Branch]:
    """
    What is plugged on.

    Parameters
    ----------
    closed : bool
        Whether a current relay or a board has pulled in.
    live : bool
        Whether line volts are on: a board is open to a meter, and closed under power.
    """
    found = []
    for name, a, b in LAYOUT[unit.arrangement]:
        if name == "ptc":
            found.append(Branch("ptc", a, b, pill_ohms(unit, jolt)))
        elif name.endswith("capacitor"):
            found.append(capacitor(unit, name, a, b))
        elif name == "potential_relay":
            found.append(Branch(name, a, b, contact_ohms(unit, name, rest_closed=True)))
            coil = OPEN if unit.of("potential_relay.coil_open") else unit.cold["potential_coil"]
            found.append(Branch("potential_coil", "s", "c", coil, complex(coil, 2 * coil)))
        elif name == "timed_starter":
            works = unit.of("timed_starter.dead") <= jolt and (closed or bool(unit.of("timed_starter.stays")))
            ohms = 0.3 if live and works else unit.cold["board"]
            found.append(Branch(name, a, b, ohms))
        else:
            on = closed or bool(unit.of("current_relay.upside_down"))
            found.append(Branch(name, a, b, contact_ohms(unit, name, rest_closed=on)))
    return found


def contact_ohms(unit: Unit, name: str, *, rest_closed: bool) -> float:
    """A relay's contact, with its film, a weld, or a gap that never closes. [Ω]"""
    if unit.of(name + ".weld"):
        return 0.03
    if not rest_closed or unit.of(name + ".stuck"):
        return OPEN
    return unit.cold["contact"] + unit.of(name + ".film")


def coil(unit: Unit) -> Branch:
    """From k to r: the coil of a current relay, or a wire."""
    if "current_relay" not in unit.parts:
        return Branch("wire", "k", "r", 0.005)
    gone = unit.of("current_relay.coil_open")
    return Branch("current_coil", "k", "r", OPEN if gone else unit.cold["current_coil"])


def wires(unit: Unit) -> list[Branch]:
    """From the connectors to the pins; half-broken wires and burnt connectors are ohms here."""
    ends = (("c", "C"), ("s", "S"), ("r", "R"))
    if unit.of("wiring.swapped"):
        ends = (("c", "C"), ("s", "R"), ("r", "S"))
    found = []
    for a, b in ends:
        half = unit.of(f"terminals.{b}") + unit.of(f"wiring.broken_{a}")
        found.append(Branch("wiring", a, b, unit.cold["wire"] + half))
    return found


def outside(unit: Unit) -> list[Branch]:
    """Cord, control, the protector where it is outside, and the ground wire."""
    shut = unit.of("control.open") or (unit.of("control.off") and not unit.calling)
    shut = shut or (unit.of("control.drift") and not unit.calling)
    control = OPEN if shut else unit.cold["control"] + unit.of("control.film")
    cord = unit.cold["cord"] + unit.of("supply.cord")
    outer = unit.protector != "internal"
    return [
        Branch("supply", "L", "l", cord / 2 + unit.of("supply.burnt")),
        Branch("supply", "N", "n", OPEN if unit.of("supply.open") else cord / 2),
        Branch("control", "l", "k", control),
        Branch("overload_protector", "n", "c", protector_ohms(unit) if outer else 0.005),
        Branch("earth", "PE", "shell", OPEN if unit.of("earth.open") else unit.cold["earth"]),
    ]


def whole(unit: Unit, *, closed: bool = False, live: bool = False, jolt: float = 0.5) -> list[Branch]:
    """Everything together."""
    gear = start_gear(unit, closed=closed, live=live, jolt=jolt)
    return [*outside(unit), coil(unit), *gear, *wires(unit), *compressor(unit)]
