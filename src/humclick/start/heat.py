"""Constants of the start in time that belong to no single part."""

from __future__ import annotations

from functools import cache

from humclick.sourced import read_data, sourced

__all__ = ["constant"]


@cache
def constant(name: str) -> float:
    """One constant of heat.toml, in the unit written beside it. [as in the file]"""
    return sourced(read_data("humclick.start", "heat.toml").get(name, {}), f"heat.toml {name}").value
