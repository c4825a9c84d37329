"""Networks drawn at random."""

from __future__ import annotations

import random

from humclick.circuit.solve import Element

NODES = "CSRLNPXYZABDEF"


def random_network(seed: int, kind: str) -> list[Element]:
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
