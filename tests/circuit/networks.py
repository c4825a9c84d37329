"""Networks drawn at random."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable, Sequence

from humclick.circuit.solve import LARGEST, Impedance, branch_currents

NODES = "CSRLNPXYZABDEF"


def random_network(seed: int, kind: str) -> list[Impedance]:
    """Draw a connected network of 4 to 10 nodes: a tree, then more branches anywhere."""
    rng = random.Random(seed)
    size = rng.randint(4, 10)
    ends = [(NODES[n], NODES[rng.randrange(n)]) for n in range(1, size)]
    ends += [(p, q) for p, q in (rng.sample(NODES[:size], 2) for _ in range(rng.randint(1, 12)))]

    def impedance() -> float | complex:
        match kind:
            case "wide":
                return 10 ** rng.uniform(-3, 9)
            case "plain":
                return 10 ** rng.uniform(-1, 4)
            case "resonant":
                return complex(rng.choice([0, 0, 1, 2, 5]), rng.choice([-6, -3, -2, -1, 1, 2, 3, 6]))
            case _:
                ohms = 10 ** rng.uniform(-1, 4)
                return rng.choice([complex(ohms), ohms * 1j, ohms * -1j])

    return [(p, q, impedance()) for p, q in ends]


def impedance_between(elements: Sequence[Impedance], a: str, b: str) -> complex:
    """What a source of one volt sees: its volts over its amps, infinite where none flow. [Ω]"""
    amps = branch_currents(elements, (a, b), 1.0).source
    return 1 / amps if amps else complex(math.inf)


def is_connected(elements: Iterable[Impedance], a: str, b: str) -> bool:
    """Whether any path of wires and finite impedances joins two nodes."""
    ties = [{p, q} for p, q, z in elements if abs(z) <= LARGEST]
    reached = {a}
    while near := [tie for tie in ties if tie & reached and not tie <= reached]:
        reached.update(*near)
    return b in reached
