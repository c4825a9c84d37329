"""
What can be tested on a machine: every probe with its points, cost, gates and how it is done.

A probe's name is ``<part>.<test or look>``, ``pins.C-R``, ``pins.1-2``, ``pins.shell``,
``shell.insulation``, ``leads.short``, ``supply.volts``, ``feed.volts``, ``supply.volts_start``,
``attempt.as_found``, ``attempt.amps``, ``attempt.recorded``, ``attempt.known_good``,
``between.<node>-<node>``, ``fit.<part>`` or that of a check (`humclick.diagnosis.checks`). Which there are is
asked of each kind (`humclick.diagnosis.observations`). Minutes and money come from the shop's file.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

from humclick.arrangements.machine import Machine
from humclick.diagnosis.observations import kinds
from humclick.diagnosis.observations.model import Model, Probe, Taken
from humclick.diagnosis.recognise import UNDER_COVER, questions
from humclick.diagnosis.shop import Shop, check_remedies, default_shop
from humclick.diagnosis.situation import Observation
from humclick.errors import DataError, Unknown, choice_of
from humclick.messages import Message

__all__ = ["Probe", "Taken", "probe_of", "probes_of", "taken_of"]


@lru_cache(maxsize=64)
def _known(name: str, protector: str, shop: Shop, every: tuple[Model, ...]) -> dict[str, Probe]:
    machine = Machine.of(name, protector)
    check_remedies(machine.parts, shop)
    place = {part.id: i for i, part in enumerate(machine.parts)}
    probes = [probe for kind in every if kind.serves(machine) for probe in kind.probes(machine, shop)]
    probes.sort(key=lambda probe: (probe.model.order, place.get(probe.part, -1)))
    known = {probe.id: probe for probe in probes}
    around = machine.arrangement.frame
    for named in (*around.bypass, *around.loaded):
        if named not in known:
            raise DataError(f"frame of {name}: bypass and loaded name probes: {choice_of(named, known)}")
    return known


def probes_of(machine: Machine, shop: Shop | None = None) -> dict[str, Probe]:
    """
    Every named probe of a machine, by name, in the order of a usual call.

    ``between.<node>-<node>`` probes are made on demand by `probe_of`, and so is ``cover.<question>``, which
    stands first where nobody is sure of the arrangement.
    """
    if machine.arrangement.recognised_only:
        return {}
    known = _known(machine.arrangement.id, machine.protector, shop or default_shop(), kinds())
    if not machine.also:
        return known
    asked = (probe_of(machine.may_be[0], f"{UNDER_COVER}{question.name}", shop) for question in questions())
    return {**{probe.id: probe for probe in asked}, **known}


def probe_of(machine: Machine, name: str, shop: Shop | None = None) -> Probe:
    """
    One probe by name.

    Raises
    ------
    Unknown
        If the machine has no such probe.
    """
    known = probes_of(machine, shop)
    if name in known:
        return known[name]
    for kind in filter(lambda kind: kind.serves(machine), kinds()):
        made = kind.on_demand(machine, name, shop or default_shop())
        if made is not None:
            return made
    raise Unknown(
        Message("probe of {machine}", machine=machine.arrangement.id), name, [*known, "between.l-n"]
    )


def taken_of(machine: Machine, observations: Sequence[Observation], shop: Shop) -> tuple[Taken, ...]:
    """
    Observations with their probes.

    Raises
    ------
    Unknown
        If one names a probe the machine does not have.
    """
    return tuple(
        Taken(probe_of(machine, observation.probe, shop), observation) for observation in observations
    )
