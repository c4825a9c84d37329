"""
Start attempts of an arrangement that none were simulated for: those of the nearest one that has a table.

Nothing is simulated here, so that it costs little on a phone. A part stands for the one with its role; of
its modes, the one of the same name where both families follow one law in time, else the one whose currents
in the two windings are nearest, at the start cold and hot and while running, in the network of each machine
with its rotor locked. A mode that a rest eases is only stood for by another such. What no mode stands for
changes nothing in an attempt. How far all this is from simulated attempts is in
docs/how-to/make-the-power-up-table.md.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from humclick.arrangements.arrangement import Arrangement, PlacedPart, arrangement, arrangements
from humclick.arrangements.machine import Machine, Nameplate
from humclick.circuit.standstill import Standstill
from humclick.errors import DataError
from humclick.parts.family import HEALTHY, Condition, Family, Regime
from humclick.start.power_up import StandIn
from humclick.start.start_table import Fault, guard_of

__all__ = ["stand_in"]

#: In these states the currents of two modes are compared.
_STATES = (Condition(Regime.START), Condition(Regime.START, hot=True), Condition(Regime.RUN))
#: A current below this share of the sound machine's is none. [-]
_NONE = 1e-3


def stand_in(machine: Machine) -> StandIn | None:
    """
    The machine whose simulated start attempts stand in for those of a machine that has none.

    Returns
    -------
    StandIn or None
        None where the arrangement has a table of its own.

    Raises
    ------
    DataError
        If no arrangement with a table has a protector in the same place.
    """
    kind = machine.arrangement
    return None if kind.simulated else _nearest(machine, _others(kind))


def _others(kind: Arrangement) -> list[Arrangement]:
    """Arrangements with a table, or only the one that the arrangement's own file names."""
    known = [arrangement(name) for name in arrangements() if name != kind.id]
    chosen = [candidate for candidate in known if candidate.id == kind.starts_as] if kind.starts_as else known
    return [candidate for candidate in chosen if candidate.simulated and candidate.started]


def _nearest(machine: Machine, others: list[Arrangement]) -> StandIn:
    ranking: list[tuple[tuple[int, int, float], StandIn]] = []
    plate = Nameplate(machine.nameplate.volts, machine.nameplate.hertz)
    like = Machine(machine.arrangement, machine.protector, plate)
    roles = {part.family.role for part in like.arrangement.gear}
    laws = {_law(part.family) for part in like.arrangement.gear}
    ranked = []
    for candidate in others:
        guards = [p for p in candidate.protectors if guard_of(p) == guard_of(machine.protector)]
        if guards:
            apart = len(roles ^ {part.family.role for part in candidate.gear})
            strange = len(laws ^ {_law(part.family) for part in candidate.gear})
            ranked.append((apart, strange, candidate.id, Machine(candidate, guards[0], plate)))
    if not ranked:
        raise DataError(
            f"{machine.arrangement.id}: no table of start attempts stands in for its own; make one"
        )
    least = min(rank[:2] for rank in ranked)
    for apart, strange, _, other in sorted(ranked, key=lambda rank: rank[2]):
        if (apart, strange) == least:
            modes, far = _modes(like, other)
            ranking.append(((apart, strange, far), StandIn(other, modes)))
    return min(ranking, key=lambda candidate: candidate[0])[1]


def _law(kind: Family) -> str:
    """The family whose law in time it follows."""
    return kind.in_time or kind.name


def _modes(machine: Machine, other: Machine) -> tuple[dict[Fault, Fault | None], float]:
    """The mode of the other machine for each mode of this one, and how far they are apart. [ln of amps]"""
    here, there = Standstill(machine), Standstill(other)
    twins: dict[Fault, Fault | None] = {}
    far = 0.0
    for part in machine.parts:
        if part.family.apart:
            continue
        twin = other.has(part.family.role)
        for mode, state in part.family.modes.items():
            if mode == HEALTHY or state.starts_as:
                continue
            name, apart = _mode(here, there, part, twin, mode)
            twins[(part.id, mode)] = None if twin is None or name == HEALTHY else (twin.id, name)
            far += apart
    return twins, far


def _mode(
    here: Standstill, there: Standstill, part: PlacedPart, twin: PlacedPart | None, mode: str
) -> tuple[str, float]:
    if twin is None:
        return HEALTHY, 0.0
    same = twin.family.modes.get(mode)
    if same is not None and not same.starts_as and _law(part.family) == _law(twin.family):
        return mode, 0.0
    wanted = _currents(here, part.id, mode)
    best, least = HEALTHY, math.inf
    for name in _alike(here.machine, there.machine, part, twin, mode):
        apart = math.dist(wanted, _currents(there, twin.id, name))
        if apart < least:
            best, least = name, apart
    return best, 0.0 if math.isinf(least) else least


def _alike(machine: Machine, other: Machine, part: PlacedPart, twin: PlacedPart, mode: str) -> Iterator[str]:
    """Modes of the twin that a rest eases or does not, as it does this one."""
    for name, state in twin.family.modes.items():
        if state.starts_as:  # it has no attempts of its own
            continue
        if name == HEALTHY or other.eased(twin.id, name) == machine.eased(part.id, mode):
            yield name


def _currents(standstill: Standstill, part: str, mode: str) -> tuple[float, ...]:
    """Logarithms of both windings' currents over those of the sound machine, state by state. [-]"""
    sound = standstill.healthy
    logarithms = []
    for state in _STATES:
        for weight, start in standstill.core({part: mode}, state):
            for amps, usual in ((start.run, sound.run), (start.start, sound.start)):
                logarithms.append(weight * math.log(max(abs(amps) / max(abs(usual), 1e-12), _NONE)))
    return _by_state(logarithms)


def _by_state(logarithms: list[float]) -> tuple[float, ...]:
    """Weighted means: the unknown that a state is integrated over may have several nodes."""
    size = len(logarithms) // len(_STATES)
    nodes = [logarithms[i * size : (i + 1) * size] for i in range(len(_STATES))]
    return tuple(sum(part[at::2]) for part in nodes for at in (0, 1))
