"""
What puts a part right: by a new part, or by work alone.
"""

from __future__ import annotations

from humclick.arrangements.machine import Machine

__all__ = ["remedies_by", "remedy_of", "work_on"]


def work_on(machine: Machine, part: str) -> str:
    """The remedy by which a part can be put right and tried without a new one; empty where there is none."""
    fit = machine.part(part).family.fit
    return fit.remedy if fit is not None else ""


def remedy_of(machine: Machine, part: str, *, new: bool = False) -> str:
    """The remedy that mending a part of a machine carries out, or a `new` part; empty where there is none."""
    placed = machine.part(part)
    work = work_on(machine, part)
    if work and not (new and placed.family.sealed):
        return work
    remedies = [r for mode in placed.family.modes if (r := placed.remedy(mode)) and r != "wait"]
    return next((r for r in remedies if r.startswith("replace")), remedies[0] if remedies else "")


def remedies_by(machine: Machine, part: str) -> frozenset[str]:
    """All remedies that a part renewed whole carries out, the one of `remedy_of` among them."""
    placed = machine.part(part)
    main = remedy_of(machine, part, new=True)
    if main.startswith("replace"):
        return frozenset({main})
    return frozenset({main, *(placed.remedy(mode) for mode in placed.family.modes)}) - {"", "wait"}
