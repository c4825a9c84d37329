"""
How many calls nobody could tell: ``python -m benchmarks.worlds.ceiling --world first --calls 120 --seed
9``.

For each call, every other single fault of the world is put into the same machine in some degrees. Where
one of these twins agrees with the call in everything that can be measured, looked at or tried, and needs
something else, the call cannot be told for certain. Once with gear and parts at hand to try, once
without.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Iterator, Sequence
from importlib import import_module
from math import log
from typing import Any

import numpy as np

from benchmarks.worlds.face import Truth
from benchmarks.worlds.play import WORLDS, case_of
from benchmarks.worlds.score import is_right, wilson

SHARE = 0.15
"""Readings nearer to each other tell nothing: what a sound one shows is not printed on it. [-]"""

OHMS = 0.2
"""So are those nearer than this. [Ω, V or A]"""


def alike(one: Iterator[float | str], other: Iterator[float | str]) -> bool:
    """
    Whether two machines agree in everything; the first difference ends it.

    Examples
    --------
    >>> alike(iter([3.0, "hum"]), iter([3.1, "hum"])), alike(iter([3.0, "hum"]), iter([9.0, "hum"]))
    (True, False)
    """
    for a, b in zip(one, other, strict=True):
        if isinstance(a, str) or isinstance(b, str):
            if a != b:
                return False
        elif abs(a - b) > OHMS and abs(log(max(a, 1e-3) / max(b, 1e-3))) > SHARE:
            return False
    return True


def another(truth: Truth, twin: Truth) -> bool:
    """Whether what puts the twin right would not be right here."""
    return not is_right(truth, tuple(sorted(need)[0] for need in twin.needs))


def untold(world: str, seed: int, number: int, *, parts_at_hand: bool, degrees: int) -> str:
    """The cause of a twin that cannot be told from the call, or nothing."""
    oracle: Any = import_module(f"benchmarks.worlds.{world}.oracle")
    case = oracle.rested(case_of(world, seed, number))
    rng = np.random.default_rng((seed, number, 4))
    for twin, truth in oracle.twins(case, rng, degrees):
        if another(case.truth, truth) and alike(
            _fresh(oracle, case, parts_at_hand), _fresh(oracle, twin, parts_at_hand)
        ):
            return f"{case.truth.cause} / {truth.cause}"
    return ""


def _fresh(oracle: Any, case: Any, parts_at_hand: bool) -> Iterator[float | str]:
    case.rng = np.random.default_rng(11)
    measured: Iterator[float | str] = oracle.measures(case, parts_at_hand)
    return measured


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the command line, compare, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--world", choices=WORLDS, required=True)
    parser.add_argument("--calls", type=int, default=120)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--degrees", type=int, default=12, help="of each other fault")
    given = parser.parse_args(arguments)
    for parts in (True, False):
        pairs = Counter(
            untold(given.world, given.seed, number, parts_at_hand=parts, degrees=given.degrees)
            for number in range(given.calls)
        )
        lost = given.calls - pairs.pop("", 0)
        low, high = wilson(lost, given.calls)
        print(
            f"{'with' if parts else 'without'} gear and parts to try: {lost} of {given.calls} cannot be told"
        )
        print(f"    {lost / given.calls:.1%} ({low:.1%} to {high:.1%})")
        for pair, times in pairs.most_common(8):
            print(f"    {times} × {pair}")


if __name__ == "__main__":
    main()
