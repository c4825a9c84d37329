"""
What a recording of the line current can tell apart: causes, each named by the modes that show it.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from humclick.arrangements.machine import Machine
from humclick.sourced import read_data

__all__ = ["SOUND", "cause_of", "causes", "misread"]

#: What a recording looks like where no mode shows in it.
SOUND = "healthy"


@cache
def causes() -> tuple[str, ...]:
    """The causes, in the order in which they hide one another."""
    return tuple(map(str, read_data("humclick.diagnosis", "recorded.toml")["order"]))


def misread() -> float:
    """Share of recordings read wrongly or taken of something else. [-]"""
    return float(read_data("humclick.diagnosis", "recorded.toml")["misread"])


def cause_of(machine: Machine, modes: Mapping[str, str]) -> str:
    """What a recording looks like under some modes, by part: the first cause that one of them shows."""
    signs = {machine.part(part).family.mode(mode).recorded for part, mode in modes.items()}
    return next((cause for cause in causes() if cause in signs), SOUND)
