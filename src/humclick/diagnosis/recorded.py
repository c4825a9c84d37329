"""
What a recording of the line current can tell apart: causes, each a group of the modes that parts have.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from humclick.sourced import read_data

__all__ = ["cause_of", "causes", "misread"]


@cache
def causes() -> Mapping[str, frozenset[str]]:
    """The modes of each cause (``part.mode``), in the order in which the causes hide one another."""
    rows = read_data("humclick.diagnosis", "recorded.toml")["causes"]
    return {cause: frozenset(row["modes"]) for cause, row in rows.items()}


def misread() -> float:
    """Share of recordings read wrongly or taken of something else. [-]"""
    return float(read_data("humclick.diagnosis", "recorded.toml")["misread"])


def cause_of(modes: Mapping[str, str]) -> str:
    """What a recording looks like under some modes, by part: the first cause that one of them belongs to."""
    names = {f"{part}.{mode}" for part, mode in modes.items()}
    return next((cause for cause, own in causes().items() if names & own), "healthy")
