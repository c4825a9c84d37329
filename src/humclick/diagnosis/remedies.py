"""
What puts a part right: by a new part, or by work alone.
"""

from __future__ import annotations

from collections.abc import Mapping

from humclick.arrangements.machine import Machine

__all__ = ["NO_PART", "remedy_of"]

#: What can be put right and tried without a new part: part, remedy.
NO_PART: Mapping[str, str] = {"mechanism": "clear condenser", "wiring": "correct wiring"}


def remedy_of(machine: Machine, part: str, *, new: bool = False) -> str:
    """The remedy that mending a part of a machine carries out, or a `new` part; empty where there is none."""
    placed = machine.part(part)
    if part in NO_PART and not (new and placed.family.sealed):
        return NO_PART[part]
    remedies = [r for mode in placed.family.modes if (r := placed.remedy(mode)) and r != "wait"]
    return next((r for r in remedies if r.startswith("replace")), remedies[0] if remedies else "")
