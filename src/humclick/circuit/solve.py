"""
Small networks of two-terminal elements, solved exactly.

An element is a pair of node names and an impedance: 0 is an ideal wire, infinite is open. Nodes are
eliminated one at a time by the star-mesh transformation: node k with admittances y_ki leaves, between
each pair of its neighbours, the admittance y_ki·y_kj / Σ y_k. Series pairs and dangling branches are its
cases of two and one neighbours. The way back carries the voltage *between* nodes, never node potentials.

With resistances every admittance is a sum, product or quotient of positive numbers, so nothing cancels:
the result keeps about 14 digits whether the resistances are alike or a million million times apart, and
the current in each element is right to about 1e-14 of the current put in. With complex impedances a
node near resonance (Σ y_k close to 0) is left for later; if only such nodes remain, a dense solution
with pivoting takes over.

References
----------
.. [1] A. Rosen, "A new network theorem", J. IEE 62 (1924) 916: star-mesh transformation. From memory.
.. [2] W. K. Grassmann, M. I. Taksar, D. P. Heyman, "Regenerative analysis and steady state distributions
   for Markov chains", Operations Research 33 (1985) 1107: elimination without subtraction. From memory.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from humclick.circuit.pivoted import nodal as nodal_matrix
from humclick.circuit.pivoted import pivoted
from humclick.errors import OutOfRange
from humclick.messages import Message, Verbatim

__all__ = [
    "LARGEST",
    "SMALLEST",
    "BranchCurrents",
    "Impedance",
    "Tie",
    "TwoPoint",
    "branch_currents",
    "resistance_between",
    "seen_from",
]

#: Node, node and the impedance between them. [Ω]
Impedance = tuple[str, str, float | complex]
#: Node, node and the admittance between them. [S]
Tie = tuple[str, str, complex]

#: An impedance whose magnitude is below this is an ideal wire, so that no product underflows. [Ω]
SMALLEST = 1e-100
#: An impedance whose magnitude is above this is open. [Ω]
LARGEST = 1e100

#: A node is safe to eliminate when |Σ y| is at least this part of Σ |y|. [-]
_SAFE = 1 / 64


class _Resonance(Exception):
    """No node is left that can be eliminated safely."""


_Y = TypeVar("_Y", float, complex)
#: Which element, its two nodes by number, its impedance.
_Branch = tuple[int, int, int, _Y]
#: Which element, its two nodes by number.
_Wire = tuple[int, int, int]
#: Admittance from each node to each of its neighbours.
_Mesh = list[dict[int, _Y]]
#: An eliminated node, and each neighbour's share of its admittance.
_Step = tuple[int, list[tuple[int, _Y]]]


@dataclass(frozen=True, slots=True)
class TwoPoint:
    """What an ohmmeter sees between two points of a network."""

    ohms: float  #: Resistance; `math.inf` when nothing connects the points. [Ω]
    #: ∂R/∂R_k for each element, in order: the square of its current for 1 A put in. [-] Open elements, and
    #: elements that carry nothing, have 0.
    sensitivity: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class BranchCurrents:
    """BranchCurrents driven through a network by a voltage source."""

    #: Current in each element, in order, positive from its first node to its second. [A]
    elements: tuple[complex, ...]
    source: complex  #: Current out of the positive node of the source into the network. [A]


def resistance_between(elements: Sequence[Impedance], a: str, b: str) -> TwoPoint:
    """
    Resistance between two nodes, and how it moves with each element.

    Parameters
    ----------
    elements : sequence of (str, str, float)
        The network: node, node, resistance. 0 is an ideal wire, `math.inf` is open. [Ω]
    a, b : str
        The probed nodes; a node that no element touches is connected to nothing.

    Raises
    ------
    OutOfRange
        If a resistance is negative, complex or not a number.

    Notes
    -----
    By Cohn's theorem ∂R/∂R_k = i_k², with i_k the current in element k for 1 A through the network. For an
    ideal wire it is the slope for growth from zero: the square of its current if the wire is the only tie
    between its ends, 0 if other wires bridge it.

    A winding of 6 Ω with 3 Ω across it:

    >>> two = resistance_between([("R", "C", 6.0), ("R", "C", 3.0)], "R", "C")
    >>> two.ohms
    2.0
    >>> [round(part, 4) for part in two.sensitivity]
    [0.1111, 0.4444]
    """
    size, branches, wires = _resistances(elements, a, b)
    sensitivity = [0.0] * len(elements)
    if a == b:
        return TwoPoint(0.0, tuple(sensitivity))
    place = _merge(size, wires) if wires else None
    start, end = (place[0], place[1]) if place else (0, 1)
    ohms = 0.0
    inflow = [0.0] * size
    if start != end:
        joined = _joined(branches, place) if place else branches
        mesh = _admittances(size, joined)
        steps = _eliminate(mesh, start, end)
        across = mesh[start].get(end)
        if not across:
            return TwoPoint(math.inf, tuple(sensitivity))
        ohms = 1 / across
        drop = _drops(steps, size, start, end, ohms)
        for k, i, j, z in joined:
            amps = drop[i][j] / z
            sensitivity[k] = amps * amps
        if place:
            for _, i, j, z in branches:
                amps = drop[place[i]][place[j]] / z
                inflow[i] -= amps
                inflow[j] += amps
    inflow[0] += 1.0
    inflow[1] -= 1.0
    _slope_with_wires(wires, inflow, sensitivity)
    return TwoPoint(ohms, tuple(sensitivity))


def _slope_with_wires(wires: list[_Wire], inflow: Sequence[float], sensitivity: list[float]) -> None:
    """Put into `sensitivity` the squared current of every wire that alone joins two sides. [-]"""
    for w, (k, i, j) in enumerate(wires):
        side = _reached(i, wires[:w] + wires[w + 1 :])
        if j not in side:
            sensitivity[k] = math.fsum(inflow[n] for n in side) ** 2


def branch_currents(elements: Sequence[Impedance], source: tuple[str, str], volts: complex) -> BranchCurrents:
    """
    Currents that an ideal voltage source drives through each element.

    Parameters
    ----------
    elements : sequence of (str, str, complex)
        The network: node, node, impedance. 0 is an ideal wire, infinite is open. [Ω]
    source : (str, str)
        Positive node and negative node of the source.
    volts : complex
        Voltage of the first above the second. [V]

    Raises
    ------
    OutOfRange
        If an impedance has a negative real part or is not a number, or if the source is shorted: by
        ideal wires, or by lossless elements exactly in series resonance.

    Notes
    -----
    Ideal wires carry what Kirchhoff's current law asks of them. Where wires form a loop that law leaves
    the split open; they then share as equal wires do, in the limit of no resistance.

    Examples
    --------
    >>> driven = branch_currents([("L", "R", 0), ("R", "N", 10), ("L", "N", 20)], ("L", "N"), 20)
    >>> driven.elements
    ((2+0j), (2+0j), (1+0j))
    >>> driven.source
    (3+0j)
    """
    plus, minus = source
    size, branches, wires = _impedances(elements, plus, minus)
    place = _merge(size, wires)
    start, end = place[0], place[0 if plus == minus else 1]
    if start == end:
        raise OutOfRange(
            Message(
                "the source from {plus} to {minus} is shorted by ideal wires and its current "
                "has no limit; give one element on the way an impedance",
                plus=Verbatim(repr(plus)),
                minus=Verbatim(repr(minus)),
            )
        )
    joined = _joined(branches, place)
    drop = _driven(size, joined, start, end, complex(volts))
    amps = [0j] * len(elements)
    total = 0j
    for k, i, j, z in joined:
        amps[k] = through = drop[i][j] / z
        total += through if i == start else -through if j == start else 0j
    inflow = [0j] * size
    for k, i, j, _ in branches:
        inflow[i] -= amps[k]
        inflow[j] += amps[k]
    inflow[0] += total
    inflow[1] -= total
    _share_among_wires(size, wires, place, inflow, amps)
    return BranchCurrents(tuple(amps), total)


def _share_among_wires(
    size: int,
    wires: Sequence[_Wire],
    place: Sequence[int],
    inflow: Sequence[complex],
    amps: list[complex],
) -> None:
    """Put into `amps` what wires carry of the current into each node, as equal wires share it. [A]"""
    alike = [(k, i, j, 1.0) for k, i, j in wires]
    for n, root in enumerate(place):
        if n != root and inflow[n]:
            thin = _admittances(size, alike)
            steps = _eliminate(thin, n, root)
            fall = _drops(steps, size, n, root, 1 / thin[n][root])
            for k, i, j in wires:
                amps[k] += inflow[n] * fall[i][j]


def seen_from(ties: Iterable[Tie], nodes: Collection[str]) -> list[Tie]:
    """
    A network as it is seen from some of its nodes: the admittances between them.

    Parameters
    ----------
    ties : iterable of (str, str, complex)
        The network: node, node, the finite admittance between them. [S]
    nodes : collection of str
        What may be asked of the network later.

    Returns
    -------
    list of (str, str, complex)
        Between these nodes; nodes near resonance are left in it. [S]

    Examples
    --------
    >>> seen_from([("L", "R", 0.5), ("R", "N", 0.5), ("L", "N", 0.25)], ("L", "N"))
    [('L', 'N', 0.5)]
    """
    number: dict[str, int] = {}
    mesh: _Mesh[complex] = []
    for p, q, y in ties:
        for node in (p, q):
            if node not in number:
                number[node] = len(mesh)
                mesh.append({})
        i, j = number[p], number[q]
        if i != j:
            mesh[i][j] = mesh[j][i] = mesh[i].get(j, 0.0) + y
    left = [k for node, k in number.items() if node not in nodes]
    _take_out(mesh, left, [], _SAFE)
    kept = {k: node for node, k in number.items() if node in nodes or k in left}
    return [(node, kept[j], y) for i, node in kept.items() for j, y in mesh[i].items() if i < j]


def _refusal(p: str, q: str, z: object, allowed: str) -> OutOfRange:
    return OutOfRange(
        Message(
            "the element from {p} to {q} has {z} Ω; it must be {allowed}",
            p=Verbatim(repr(p)),
            q=Verbatim(repr(q)),
            z=str(z),
            allowed=allowed,
        )
    )


def _resistances(
    elements: Sequence[Impedance], a: str, b: str
) -> tuple[int, list[_Branch[float]], list[_Wire]]:
    """Number the nodes (a is 0, b is 1) and sort the elements into resistances and wires."""
    number: dict[str, int] = {a: 0}
    number.setdefault(b, 1)
    branches: list[_Branch[float]] = []
    wires: list[_Wire] = []
    for k, (p, q, z) in enumerate(elements):
        i = number.setdefault(p, len(number))
        j = number.setdefault(q, len(number))
        if isinstance(z, complex) or not z >= 0:
            raise _refusal(p, q, z, Message("0 (a wire), a positive number or infinite (open)"))
        if i != j and z <= LARGEST:
            if z >= SMALLEST:
                branches.append((k, i, j, z))
            else:
                wires.append((k, i, j))
    return len(number), branches, wires


def _impedances(
    elements: Sequence[Impedance], a: str, b: str
) -> tuple[int, list[_Branch[complex]], list[_Wire]]:
    """Number the nodes (a is 0, b is 1) and sort the elements into impedances and wires."""
    number: dict[str, int] = {a: 0}
    number.setdefault(b, 1)
    branches: list[_Branch[complex]] = []
    wires: list[_Wire] = []
    for k, (p, q, z) in enumerate(elements):
        i = number.setdefault(p, len(number))
        j = number.setdefault(q, len(number))
        size = abs(z)
        if not size >= 0 or not (z.real >= 0 or size == math.inf != -z.real):
            raise _refusal(
                p, q, z, Message("0 (a wire), infinite (open) or an impedance with real part 0 or more")
            )
        if i != j and size <= LARGEST:
            if size >= SMALLEST:
                branches.append((k, i, j, complex(z)))
            else:
                wires.append((k, i, j))
    return len(number), branches, wires


def _merge(size: int, wires: Iterable[_Wire]) -> list[int]:
    """Where each node lies once wires make theirs one: the number of one node among them."""
    place = list(range(size))
    for _, i, j in wires:
        keep, drop = place[i], place[j]
        if keep != drop:
            place = [keep if n == drop else n for n in place]
    return place


def _joined(branches: Iterable[_Branch[_Y]], place: Sequence[int]) -> list[_Branch[_Y]]:
    """List the elements between merged nodes, without those whose two ends have become one."""
    return [(k, place[i], place[j], z) for k, i, j, z in branches if place[i] != place[j]]


def _reached(start: int, ties: Iterable[_Wire]) -> set[int]:
    """List the nodes that can be reached from one through these ties."""
    reached = {start}
    left = list(ties)
    while near := [tie for tie in left if tie[1] in reached or tie[2] in reached]:
        reached.update(n for _, i, j in near for n in (i, j))
        left = [tie for tie in left if tie not in near]
    return reached


def _admittances(size: int, branches: Iterable[_Branch[_Y]]) -> _Mesh[_Y]:
    """Add up parallel elements."""
    mesh: _Mesh[_Y] = [{} for _ in range(size)]
    for _, i, j, z in branches:
        mesh[i][j] = mesh[j][i] = mesh[i].get(j, 0.0) + 1 / z
    return mesh


def _eliminate(mesh: _Mesh[_Y], start: int, end: int, safe: float = 0.0) -> list[_Step[_Y]]:
    """
    Take out every node but two; `mesh` is used up.

    Raises `_Resonance` when |Σ y| is below `safe` times Σ |y| at every node left.
    """
    steps: list[_Step[_Y]] = []
    if _take_out(mesh, [k for k in range(len(mesh)) if k not in (start, end)], steps, safe):
        raise _Resonance
    return steps


def _take_out(mesh: _Mesh[_Y], waiting: list[int], steps: list[_Step[_Y]], safe: float = 0.0) -> bool:
    """Take nodes out, those with the fewest neighbours first; whether some had to be left for resonance."""
    while waiting:
        k, fewest = -1, len(mesh)
        for n in waiting:
            row = mesh[n]
            if len(row) < fewest and not (
                safe and len(row) > 1 and abs(sum(row.values())) < safe * sum(map(abs, row.values()))
            ):
                k, fewest = n, len(row)
                if fewest <= 2:
                    break
        if k < 0:
            return True
        waiting.remove(k)
        _star_to_mesh(mesh, k, steps)
    return False


def _star_to_mesh(mesh: _Mesh[_Y], k: int, steps: list[_Step[_Y]]) -> None:
    """Replace the star around node k by a mesh between its neighbours, and note how."""
    row = mesh[k]
    for i in row:
        del mesh[i][k]
    if len(row) < 2:
        return  # dangling: it carries nothing and follows its neighbour
    total = sum(row.values())
    star = [(i, y / total) for i, y in row.items()]
    steps.append((k, star))
    left = list(row.items())
    for i, share in star[:-1]:
        del left[0]
        from_i = mesh[i]
        for j, y in left:
            mesh[j][i] = from_i[j] = from_i.get(j, 0.0) + share * y


def _drops(steps: Sequence[_Step[_Y]], size: int, start: int, end: int, volts: _Y) -> list[list[_Y]]:
    """Voltage of each node above each neighbour, with `volts` of `start` above `end`. [V]"""
    drop: list[list[_Y]] = [[0.0] * size for _ in range(size)]
    drop[start][end] = volts
    drop[end][start] = -volts
    for k, star in reversed(steps):
        from_k = drop[k]
        for i, _ in star:
            fall: _Y = 0.0
            for j, share in star:
                fall += share * drop[j][i]
            from_k[i] = fall
            drop[i][k] = -fall
    return drop


def _driven(
    size: int, branches: Sequence[_Branch[complex]], start: int, end: int, volts: complex
) -> list[list[complex]]:
    """Voltage of each node above each neighbour, with a source of `volts` from `start` to `end`. [V]"""
    try:
        steps = _eliminate(_admittances(size, branches), start, end, _SAFE)
    except _Resonance:
        return _pivoted_drops(size, branches, start, end, volts)
    return _drops(steps, size, start, end, volts)


def _pivoted_drops(
    size: int, branches: Sequence[_Branch[complex]], start: int, end: int, volts: complex
) -> list[list[complex]]:
    """Voltage of each node above each other, where a resonance asks for pivoting. [V]"""
    unknown = [n for n in range(size) if n not in (start, end)]
    nodal = nodal_matrix(_admittances(size, branches))
    inner = pivoted(
        [[nodal[n][m] for m in unknown] for n in unknown], [-volts * nodal[n][start] for n in unknown]
    )
    if inner is None:
        raise OutOfRange(
            Message(
                "the source is shorted by elements without loss, exactly in series resonance: "
                "its current has no limit; give one of them its resistance"
            )
        )
    potentials = [0j] * size
    potentials[start] = volts
    for n, potential in zip(unknown, inner, strict=True):
        potentials[n] = potential
    return [[upper - lower for lower in potentials] for upper in potentials]
