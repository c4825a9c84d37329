"""
Looks: what is seen, heard or felt on a part without a meter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import ClassVar

from humclick.arrangements.arrangement import PlacedPart
from humclick.arrangements.machine import Machine
from humclick.diagnosis.bench import without
from humclick.diagnosis.cases import Config
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.memory import Memory
from humclick.diagnosis.observations.model import Group, Model, Probe, Taken, with_discharge
from humclick.diagnosis.observations.named import first_of, scope_of
from humclick.diagnosis.observations.outlook import Forecast, Offer, Outlook, Row
from humclick.diagnosis.observations.weighing import Weighing
from humclick.diagnosis.shop import Shop
from humclick.parts.family import Look

__all__ = ["KINDS", "PartLook"]

#: By probe and what is new.
_ROWS: Memory[tuple[str, frozenset[str]], dict[Config, Row]] = Memory()


class PartLook(Model):
    """A look of a part's family."""

    name: ClassVar[str] = "look"
    order: ClassVar[int] = 40

    def probes(self, machine: Machine, shop: Shop) -> Iterator[Probe]:
        for placed in machine.parts:
            yield from (self._probe(machine, placed, look) for look in placed.family.looks)

    def _probe(self, machine: Machine, placed: PlacedPart, look: Look) -> Probe:
        outside = placed.family.outside
        return Probe(
            f"{placed.id}.{look.name}",
            look.question,
            look.question,
            self,
            outcomes=look.outcomes,
            part=placed.id,
            minutes=look.minutes,
            gates=look.gates if outside else with_discharge(machine, look.gates),
            inside=not outside,
            live="stand-clear" in look.gates,
            due={answer: placed.remedies.get(remedy, remedy) for answer, remedy in look.due.items()},
            bars=frozenset(look.bars),
            again=look.again,
            stops=look.stops,
            look=look,
        )

    def group(self, taken: Taken, mended: frozenset[str]) -> Group | None:
        probe, observation = taken
        return Group(probe.id, observation.temperature.kind, observation.answer, mended)

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        probe, observation = taken[0]
        if observation.answer not in probe.outcomes:  # "not sure" says nothing
            return Factor(())
        scope = scope_of(weighing.bench, probe.part, probe.look.table if probe.look is not None else ())
        rows = self._rows(weighing, probe, scope, observation.renewed)
        k = probe.outcomes.index(observation.answer)
        table = {config: (row[k],) * len(weighing.leads) for config, row in rows.items()}
        none = weighing.as_healthy * rows[(0,) * len(scope)][k] + (1.0 - weighing.as_healthy) / len(
            probe.outcomes
        )
        return Factor((), scope, table, None, none)

    def offered(self, offer: Offer, probe: Probe) -> bool:
        tells = probe.look is not None and len(probe.look.table) > 1  # modes apart
        return tells and super().offered(offer, probe)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        scope = scope_of(outlook.bench, probe.part, probe.look.table if probe.look is not None else ())
        rows = self._rows(outlook.weighing, probe, scope, outlook.situation.renewed)
        return outlook.by_config(probe, 0.0, probe.outcomes, scope, rows)

    @staticmethod
    def _rows(
        weighing: Weighing, probe: Probe, scope: tuple[int, ...], renewed: frozenset[str]
    ) -> dict[Config, Row]:
        """Probability of each answer in each mode of the part, and of others that show; some new. [-]"""
        look, wrong, bench = probe.look, weighing.slips["look_wrong"], weighing.bench
        assert look is not None
        known, key = _ROWS.of(bench), (probe.id, renewed)
        if key in known:
            return known[key]
        rows: dict[Config, Row] = {}
        for config in bench.configs(scope):
            name = first_of(look.table, probe.part, without(bench.modes_of(scope, config), renewed))
            row = look.table[name or "otherwise"]
            rows[config] = tuple([(1.0 - wrong) * p + wrong / len(row) for p in row])
        known[key] = rows
        return rows


KINDS = (PartLook(),)
