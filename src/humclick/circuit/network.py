"""
The network of a machine in a given state: which branches lie between which nodes.

Ohms at 25 °C unless a copper factor says otherwise, farads for capacitors. A dc ohmmeter sees the ohmic
branches; a settled capacitor is open to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from humclick.arrangements.machine import Machine
from humclick.circuit.solve import Impedance, resistance_between
from humclick.parts.family import HEALTHY, Condition, Element, Role
from humclick.sourced import Spread

__all__ = ["NetworkBranch", "Predicted", "Setup", "branches_of", "predict"]

#: Resistance of a plain wire between two nodes. [Ω]
_WIRE = 0.0


@dataclass(frozen=True, slots=True)
class Setup:
    """How the machine stands on the bench."""

    condition: Condition = field(default_factory=Condition)  #: Regime, hot or cold, turned over or not.
    plugged: bool = True  #: Whether the start gear sits on the pins.
    alone: str = ""  #: A part taken out and measured by itself; empty for the machine as it stands.
    absent: frozenset[str] = frozenset()  #: Parts taken away.


@dataclass(frozen=True, slots=True)
class NetworkBranch:
    """A branch in its place: two nodes, whose it is, what it is and how large."""

    a: str
    b: str
    part: str
    size: str
    element: Element
    spread: Spread
    pulled_by: str = ""


@dataclass(frozen=True, slots=True)
class Predicted:
    """What should be measured between two points."""

    ohms: float  #: Median; infinite where nothing conducts. [Ω]
    sigma: float  #: Standard deviation of its natural logarithm from the tolerances of all parts. [-]
    #: (part, size, share): how much of ln R moves with ln of each size, largest first. [-]
    shares: tuple[tuple[str, str, float], ...]


def branches_of(machine: Machine, modes: Mapping[str, str], setup: Setup) -> tuple[NetworkBranch, ...]:
    """
    Every branch of the machine in a state.

    Parts not named in `modes` are healthy; plain wires are left out (see `Machine.wires`).
    """
    for part in modes:
        machine.part(part)
    branches: list[NetworkBranch] = []
    for placed in machine.parts:
        if placed.id in setup.absent or (setup.alone and placed.id != setup.alone):
            continue
        if placed.family.role is Role.WIRING and not setup.plugged:
            continue
        mode = modes.get(placed.id, HEALTHY)
        for a, b, branch, spread in machine.sized(placed.id, mode, setup.condition):
            branches.append(
                NetworkBranch(a, b, placed.id, branch.size, branch.element, spread, branch.pulled_by)
            )
    return tuple(branches)


def predict(
    machine: Machine,
    modes: Mapping[str, str],
    setup: Setup,
    points: tuple[str, str],
    *,
    copper: float = 1.0,
) -> Predicted:
    """
    Dc resistance between two points, with the tolerances of the parts carried through.

    Parameters
    ----------
    copper : float
        Factor on winding resistance for their temperature, 1 at 25 °C. [-]

    Notes
    -----
    First-order propagation (JCGM 100:2008, 5.1.2) in logarithms: the variance of ln R is the sum of
    (∂ln R/∂ln R_k)² var(ln R_k) over independent unknowns; one unknown in several
    branches adds before squaring.
    The sensitivities are exact: ∂R/∂R_k is the squared current in k for unit current between the points.
    """
    branches = [b for b in branches_of(machine, modes, setup) if b.element is Element.OHMIC]
    elements: list[Impedance] = []
    for branch in branches:
        ohms = branch.spread.median * (copper if branch.size == "winding" else 1.0)
        elements.append((branch.a, branch.b, ohms))
    if not setup.alone:
        elements.extend((a, b, _WIRE) for a, b in machine.wires)
    result = resistance_between(elements, *points)
    if not math.isfinite(result.ohms) or result.ohms == 0.0:
        return Predicted(result.ohms, 0.0, ())
    return _carried(branches, elements, result.ohms, result.sensitivity)


def _carried(
    branches: Sequence[NetworkBranch],
    elements: Sequence[Impedance],
    ohms: float,
    sensitivity: Sequence[float],
) -> Predicted:
    share: dict[tuple[str, str], float] = {}
    spread: dict[tuple[str, str], float] = {}
    for branch, element, slope in zip(branches, elements, sensitivity, strict=False):
        key = (branch.part, branch.size)
        share[key] = share.get(key, 0.0) + slope * float(element[2].real) / ohms
        spread[key] = branch.spread.sigma
    variance = sum((share[key] * spread[key]) ** 2 for key in share)
    ranked = sorted(
        ((p, s, w) for (p, s), w in share.items() if w > 1e-9), key=lambda row: (-row[2], row[:2])
    )
    return Predicted(ohms, math.sqrt(variance), tuple(ranked))
