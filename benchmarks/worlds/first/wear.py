"""
What has become of the machine: faults of every degree, by rates of their own, and what would put it
right.

The rates are this world's guesses at the trade, made without the program's; a degree is continuous, and
whether it stops the machine is left to the physics of the attempt. The truth follows from it: what must
be made good so that the machine starts and stays.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from benchmarks.worlds.face import Truth
from benchmarks.worlds.first.attempts import attempt
from benchmarks.worlds.first.things import Unit

Draw = Callable[[np.random.Generator, Unit], dict[str, float]]


@dataclass(frozen=True)
class Fault:
    """
    A way to fail.

    Parameters
    ----------
    name, family : str
        Of the fault and of its kind, for the score.
    part : str
        What it belongs to: the first word of its conditions, and what the machine must have.
    rate : float
        Against the others. [-]
    remedies : frozenset of str
        Any of which puts it right.
    draw : callable
        Its conditions, in a degree of their own.
    """

    name: str
    family: str
    part: str
    rate: float
    remedies: frozenset[str]
    draw: Draw


def _flag(key: str) -> Draw:
    return lambda rng, unit: {key: 1.0}


def _share(key: str, a: float, b: float) -> Draw:
    return lambda rng, unit: {key: float(rng.beta(a, b))}


def _ohms(key: str, middle: float, spread: float) -> Draw:
    return lambda rng, unit: {key: float(middle * np.exp(spread * rng.normal()))}


def _capacitor(name: str) -> list[Fault]:
    put = frozenset({"replace " + name.replace("_", " ")})
    return [
        Fault(f"{name} dried out", "capacitor", name, 9.0, put, _share(name + ".loss", 1.6, 1.3)),
        Fault(f"{name} open", "capacitor", name, 5.0, put, _flag(name + ".open")),
        Fault(f"{name} shorted", "capacitor", name, 1.5, put, _ohms(name + ".short", 0.8, 1.2)),
        Fault(f"{name} leaking", "capacitor", name, 1.2, put, _leak(name)),
    ]


def _leak(name: str) -> Draw:
    def draw(rng: np.random.Generator, unit: Unit) -> dict[str, float]:
        react = 1 / (2 * np.pi * unit.motor.hertz * unit.cold[name])
        return {
            name + ".leak": float(react * np.exp(rng.uniform(-1.5, 3.0))),
            name + ".loss": float(rng.beta(2, 4)),
        }

    return draw


def _wire(rng: np.random.Generator, unit: Unit) -> dict[str, float]:
    ohms = float(np.exp(rng.uniform(np.log(0.3), np.log(3000)))) if rng.random() < 0.7 else 1e12
    return {f"terminals.{rng.choice(['C', 'S', 'R'])}": ohms}


def _broken(rng: np.random.Generator, unit: Unit) -> dict[str, float]:
    ohms = float(np.exp(rng.uniform(np.log(2), np.log(1e5)))) if rng.random() < 0.5 else 1e12
    return {f"wiring.broken_{rng.choice(['c', 's', 'r'])}": ohms}


def _ground(winding: str) -> Draw:
    return lambda rng, unit: {winding + ".ground": float(np.exp(rng.uniform(np.log(0.5), np.log(3e5))))}


_ = frozenset
COMPRESSOR = _({"replace compressor"})
TERMINAL = _({"repair terminals", "correct wiring"})

FAULTS: tuple[Fault, ...] = (
    Fault("pill cracked", "starter", "ptc", 11.0, _({"replace starter"}), _share("ptc.crack", 2.5, 1.0)),
    Fault("pill bridged", "starter", "ptc", 2.5, _({"replace starter"}), _ohms("ptc.bridge", 2.0, 1.0)),
    Fault("pill drifted", "starter", "ptc", 2.0, _({"replace starter"}), _ohms("ptc.drift", 3.0, 0.9)),
    Fault(
        "relay film",
        "relay",
        "current_relay",
        8.0,
        _({"replace relay"}),
        _ohms("current_relay.film", 12.0, 1.8),
    ),
    Fault(
        "relay stuck open", "relay", "current_relay", 3.0, _({"replace relay"}), _flag("current_relay.stuck")
    ),
    Fault(
        "relay plunger stuck",
        "relay",
        "current_relay",
        2.0,
        _({"replace relay"}),
        _flag("current_relay.plunger"),
    ),
    Fault("relay welded", "relay", "current_relay", 3.0, _({"replace relay"}), _flag("current_relay.weld")),
    Fault(
        "relay coil open",
        "relay",
        "current_relay",
        1.0,
        _({"replace relay"}),
        _flag("current_relay.coil_open"),
    ),
    Fault(
        "relay upside down",
        "installer",
        "current_relay",
        0.8,
        _({"correct wiring"}),
        _flag("current_relay.upside_down"),
    ),
    Fault(
        "relay film",
        "relay",
        "potential_relay",
        7.0,
        _({"replace relay"}),
        _ohms("potential_relay.film", 12.0, 1.8),
    ),
    Fault(
        "relay never closes",
        "relay",
        "potential_relay",
        4.0,
        _({"replace relay"}),
        _flag("potential_relay.stuck"),
    ),
    Fault(
        "relay welded", "relay", "potential_relay", 3.5, _({"replace relay"}), _flag("potential_relay.weld")
    ),
    Fault(
        "relay coil open",
        "relay",
        "potential_relay",
        2.5,
        _({"replace relay"}),
        _flag("potential_relay.coil_open"),
    ),
    Fault(
        "relay of wrong pickup",
        "installer",
        "potential_relay",
        1.0,
        _({"replace relay"}),
        _share("potential_relay.high", 5.0, 4.0),
    ),
    Fault(
        "board chatters",
        "starter",
        "timed_starter",
        6.0,
        _({"replace starter"}),
        _share("timed_starter.dead", 2.5, 0.8),
    ),
    Fault(
        "board stays on",
        "starter",
        "timed_starter",
        2.0,
        _({"replace starter"}),
        _flag("timed_starter.stays"),
    ),
    *_capacitor("start_capacitor"),
    *_capacitor("run_capacitor"),
    Fault(
        "protector open",
        "protector",
        "protector",
        5.0,
        _({"replace overload protector"}),
        _flag("protector.open"),
    ),
    Fault(
        "protector contact burnt",
        "protector",
        "protector",
        2.0,
        _({"replace overload protector"}),
        _ohms("protector.film", 6.0, 1.8),
    ),
    Fault(
        "protector tired",
        "protector",
        "protector",
        2.5,
        _({"replace overload protector"}),
        _share("protector.tired", 4.0, 1.5),
    ),
    Fault("terminal half off or burnt", "terminal", "terminals", 7.0, TERMINAL, _wire),
    Fault("wire half broken", "terminal", "wiring", 4.0, TERMINAL, _broken),
    Fault("leads swapped", "installer", "wiring", 1.5, _({"correct wiring"}), _flag("wiring.swapped")),
    Fault("run winding open", "winding", "run_winding", 2.0, COMPRESSOR, _ohms("run_winding.gap", 1e12, 0.0)),
    Fault(
        "start winding open",
        "winding",
        "start_winding",
        3.5,
        COMPRESSOR,
        _ohms("start_winding.gap", 1e12, 0.0),
    ),
    Fault(
        "run winding shorted turns",
        "winding",
        "run_winding",
        2.0,
        COMPRESSOR,
        _share("run_winding.short", 1.5, 4.0),
    ),
    Fault(
        "start winding shorted turns",
        "winding",
        "start_winding",
        2.0,
        COMPRESSOR,
        _share("start_winding.short", 1.5, 4.0),
    ),
    Fault("run winding to the shell", "winding", "run_winding", 2.0, COMPRESSOR, _ground("run_winding")),
    Fault(
        "start winding to the shell", "winding", "start_winding", 2.0, COMPRESSOR, _ground("start_winding")
    ),
    Fault(
        "windings bridged",
        "winding",
        "start_winding",
        1.0,
        COMPRESSOR,
        _ohms("start_winding.bridge", 1.0, 1.2),
    ),
    Fault("seized", "mechanism", "mechanism", 5.0, COMPRESSOR, _flag("mechanism.seized")),
    Fault("stiff", "mechanism", "mechanism", 3.0, COMPRESSOR, _ohms("mechanism.stiff", 1.6, 0.7)),
    Fault(
        "liquid in the shell",
        "mechanism",
        "mechanism",
        1.5,
        _({"warm compressor"}),
        _ohms("mechanism.liquid", 2.2, 0.5),
    ),
    Fault(
        "condenser blocked",
        "condenser",
        "mechanism",
        5.0,
        _({"clear condenser"}),
        _ohms("mechanism.blocked", 1.2, 0.5),
    ),
    Fault("outlet dead", "supply", "supply", 3.0, _({"restore supply"}), _flag("supply.dead")),
    Fault("volts low", "supply", "supply", 3.0, _({"restore supply"}), _share("supply.low", 4.0, 14.0)),
    Fault(
        "cord long or thin", "supply", "supply", 5.0, _({"restore supply"}), _ohms("supply.cord", 1.0, 0.8)
    ),
    Fault("plug burnt", "supply", "supply", 3.0, _({"restore supply"}), _ohms("supply.burnt", 10.0, 1.6)),
    Fault("conductor open", "supply", "supply", 2.0, _({"restore supply"}), _flag("supply.open")),
    Fault("control set warm", "setting", "control", 5.0, _({"set control"}), _flag("control.off")),
    Fault("control drifted", "control", "control", 1.5, _({"replace control"}), _flag("control.drift")),
    Fault("control open", "control", "control", 5.0, _({"replace control"}), _flag("control.open")),
    Fault(
        "control contact burnt",
        "control",
        "control",
        2.0,
        _({"replace control"}),
        _ohms("control.film", 30.0, 2.0),
    ),
    Fault("pressures not equal", "passing", "passing", 6.0, _({"wait"}), _flag("passing.pressure")),
    Fault("hot from short tries", "passing", "passing", 5.0, _({"wait"}), _flag("passing.hot")),
)

ALWAYS = frozenset(
    {
        "protector",
        "terminals",
        "wiring",
        "run_winding",
        "start_winding",
        "mechanism",
        "supply",
        "control",
        "passing",
    }
)


def fits(fault: Fault, unit: Unit) -> bool:
    """Whether a machine has what fails here."""
    if fault.name == "protector contact burnt" and unit.protector == "internal":
        return False
    return fault.part in ALWAYS or fault.part in unit.parts


def hit(unit: Unit, fault: Fault, rng: np.random.Generator) -> Unit:
    """The machine with that fault, in a degree of its own."""
    if fault.part == "passing":
        if fault.name.startswith("pressures"):
            return replace(unit, pressure=float(rng.uniform(0.5, 1.0)), winding=unit.room + 25)
        tripped: Mapping[str, float] = {**unit.condition, "protector.tripped_now": 1.0}
        return replace(unit, condition=tripped, bimetal=float(rng.uniform(95, 125)), winding=unit.room + 50)
    return replace(unit, condition={**unit.condition, **fault.draw(rng, unit)})


def remedies_of(fault: Fault, unit: Unit) -> frozenset[str]:
    """What puts it right on this machine: a protector sits in the starter, or in the shell."""
    if fault.part == "protector":
        if unit.protector == "internal":
            return COMPRESSOR
        if unit.protector == "integrated":
            gear = "replace relay" if "current_relay" in unit.parts else "replace starter"
            return frozenset({gear, "replace overload protector"})
    return fault.remedies


def truth(unit: Unit, faults: list[Fault]) -> Truth:
    """
    What must be put right, by the physics of the attempt.

    A part is needed if it alone, all else as new, keeps the machine from running; if none does, all are.
    """
    alone = [fault for fault in faults if fault.part != "passing" and fails(_only(unit, fault))]
    lasting = [fault for fault in faults if fault.part != "passing"]
    guilty = alone or (lasting if lasting and fails(unit.rested()) else []) or faults
    needs = tuple(remedies_of(fault, unit) for fault in guilty)
    allowed = frozenset().union(*(remedies_of(fault, unit) for fault in faults), {"wait"})
    if unit.of("earth.open"):
        allowed |= {"restore ground"}
    return Truth(
        needs,
        allowed,
        " + ".join(fault.name for fault in guilty),
        guilty[0].family if len(guilty) == 1 else "two",
    )


def _only(unit: Unit, fault: Fault) -> Unit:
    return unit.only(fault.part).rested()


def fails(unit: Unit) -> bool:
    """Whether it does not run in three tries of four."""
    return sum(attempt(unit, jolt).heard != "runs" for jolt in (0.15, 0.4, 0.65, 0.9)) >= 2
