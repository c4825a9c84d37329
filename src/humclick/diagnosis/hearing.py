"""
What is said of a start attempt, given what it does: by the customer, and by a technician who listens.
"""

from __future__ import annotations

from functools import cache
from operator import mul

from humclick.sourced import read_data
from humclick.start.rows import OUTCOMES

__all__ = ["chance_of", "reported"]


def reported(outcomes: tuple[float, ...], *, by: str) -> tuple[float, ...]:
    """
    Probabilities of what is reported, given those of what happens.

    Parameters
    ----------
    outcomes : tuple of float
        In the order of `OUTCOMES`.
    by : str
        ``reported`` (the customer, a first impression) or ``listened`` (the technician stands and listens).

    Returns
    -------
    tuple of float
        In the same order.
    """
    return tuple(sum(map(mul, outcomes, column)) for column in _columns(by))


def chance_of(outcomes: tuple[float, ...], heard: int, *, by: str) -> float:
    """
    Probability that one thing alone is reported; as `reported`.

    Parameters
    ----------
    outcomes : tuple of float
        Probabilities of what happens, in the order of `OUTCOMES`. [-]
    heard : int
        What is reported, by its place among them.
    by : str
        As for `reported`.

    Returns
    -------
    float
        [-]
    """
    return float(sum(map(mul, outcomes, _columns(by)[heard])))


@cache
def _columns(by: str) -> tuple[tuple[float, ...], ...]:
    table = read_data("humclick.diagnosis", "hearing.toml")[by]
    return tuple(zip(*(map(float, table[name]) for name in OUTCOMES), strict=True))
