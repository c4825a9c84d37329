"""
A small network solver: ohms between two points, and currents under line volts.

Kirchhoff's current law at every node, by admittances (Nilsson and Riedel, Electric Circuits, chapter 4; from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LEAK = 1e-11
"""Conductance of every node to the reference, so that loose ends do no harm. [S]"""


@dataclass(frozen=True)
class Branch:
    """
    A two-terminal thing between two nodes.

    Parameters
    ----------
    part : str
        What it belongs to.
    a, b : str
        Its nodes.
    ohms : float
        What a meter's direct current sees. [Ω]
    line : complex or None
        Impedance at line frequency with the rotor locked; the same as ``ohms`` if None. [Ω]
    """

    part: str
    a: str
    b: str
    ohms: float
    line: complex | None = None

    @property
    def impedance(self) -> complex:
        """At line frequency. [Ω]"""
        return complex(self.ohms) if self.line is None else self.line


def ohms_between(branches: Sequence[Branch], a: str, b: str) -> float:
    """
    What an ideal ohmmeter shows between two nodes. [Ω]

    Examples
    --------
    >>> ring = [Branch("", "a", "b", 30.0), Branch("", "b", "c", 10.0), Branch("", "c", "a", 20.0)]
    >>> round(ohms_between(ring, "a", "b"), 6)
    15.0
    """
    names = {name: at for at, name in enumerate(sorted({a, b, *(n for x in branches for n in (x.a, x.b))}))}
    matrix = np.eye(len(names)) * LEAK
    for branch in branches:
        _stamp(matrix, names[branch.a], names[branch.b], 1.0 / max(branch.ohms, 1e-6))
    into = np.zeros(len(names))
    into[names[a]], into[names[b]] = 1.0, -1.0
    volts = np.linalg.solve(matrix, into)
    return float(volts[names[a]] - volts[names[b]])


def currents(
    branches: Sequence[Branch], hot: str, cold: str, volts: float
) -> tuple[list[complex], dict[str, complex]]:
    """
    Currents of all branches, from a to b, and volts of all nodes, with line volts between two nodes.

    Parameters
    ----------
    volts : float
        Effective. [V]

    Returns
    -------
    currents, volts : list of complex, dict of str to complex
        [A] [V]
    """
    names = {n: at for at, n in enumerate(sorted({hot, cold, *(n for x in branches for n in (x.a, x.b))}))}
    matrix = np.eye(len(names), dtype=complex) * LEAK
    for branch in branches:
        _stamp(matrix, names[branch.a], names[branch.b], 1.0 / _not_nothing(branch.impedance))
    into = np.zeros(len(names), dtype=complex)
    for name, level in ((hot, volts), (cold, 0.0)):
        at = names[name]
        matrix[at, :] = 0.0
        matrix[at, at] = 1.0
        into[at] = level
    at_node = np.linalg.solve(matrix, into)
    flows = [
        complex((at_node[names[x.a]] - at_node[names[x.b]]) / _not_nothing(x.impedance)) for x in branches
    ]
    return flows, {name: complex(at_node[at]) for name, at in names.items()}


def _stamp(matrix: np.ndarray, a: int, b: int, siemens: complex) -> None:
    matrix[a, a] += siemens
    matrix[b, b] += siemens
    matrix[a, b] -= siemens
    matrix[b, a] -= siemens


def _not_nothing(impedance: complex) -> complex:
    return impedance if abs(impedance) > 1e-6 else 1e-6 + 0j
