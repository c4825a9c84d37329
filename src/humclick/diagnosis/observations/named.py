"""
Modes as a family's file names them: its own by name, those of other parts as ``part.mode``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.observations.model import Probe

__all__ = ["first_of", "named_in", "parts_named", "scope_of", "shown_in"]


def scope_of(bench: Bench, part: str, names: Iterable[str]) -> tuple[int, ...]:
    """The part itself and those of the machine that are named, by their indices; the part first."""
    others = (name.partition(".")[0] for name in names if "." in name)
    return tuple(dict.fromkeys(bench.place[other] for other in (part, *others) if other in bench.place))


def parts_named(part: str, names: Iterable[str]) -> frozenset[str]:
    """The part itself and those of which modes are named."""
    return frozenset({part, *(name.partition(".")[0] for name in names if "." in name)})


def shown_in(probe: Probe, mended: frozenset[str]) -> frozenset[str]:
    """What of all that was put right a probe can show."""
    return frozenset(each for each in mended if each.partition(".")[0] in probe.of)


def named_in(part: str, modes: Mapping[str, str]) -> frozenset[str]:
    """How the modes of a set may be named in the file of a part's family."""
    own = {modes[part]} if part in modes else set()
    return frozenset(own | {f"{other}.{mode}" for other, mode in modes.items()})


def first_of(names: Iterable[str], part: str, modes: Mapping[str, str]) -> str:
    """The first of some names that a set of modes has, the part's own before others; empty if none."""
    have = named_in(part, modes)
    known = [name for name in names if name in have]
    return min(known, key=lambda name: "." in name, default="")
