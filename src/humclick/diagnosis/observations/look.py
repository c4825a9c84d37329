"""
Looks: what is seen, heard or felt on a part without a meter.
"""

from __future__ import annotations

import math
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
    repeats: ClassVar[bool] = True

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
        """Looks at the same thing share what the eye makes of it."""
        return Group(taken.probe.id, mended=mended)

    def factor(self, weighing: Weighing, taken: Sequence[Taken], mended: frozenset[str]) -> Factor:
        probe = taken[0].probe
        answers = [o.answer for _, o in taken if o.answer in probe.outcomes]  # "not sure" says nothing
        if not answers:
            return Factor(())
        scope = scope_of(weighing.bench, probe.part, probe.look.table if probe.look is not None else ())
        rows = self._rows(weighing, probe, scope, mended)
        seen = list(map(probe.outcomes.index, answers))
        says = {config: _together(row, seen, weighing.slips["look_again"]) for config, row in rows.items()}
        anything = len(probe.outcomes) ** -len(seen)
        none = weighing.as_healthy * says[(0,) * len(scope)] + (1.0 - weighing.as_healthy) * anything
        table = {config: (p,) * len(weighing.leads) for config, p in says.items()}
        return Factor((), scope, table, None, none)

    def offered(self, offer: Offer, probe: Probe) -> bool:
        tells = probe.look is not None and len(probe.look.table) > 1  # modes apart
        return tells and super().offered(offer, probe)

    def forecast(self, outlook: Outlook, probe: Probe, waits: float) -> Forecast | None:
        scope = scope_of(outlook.bench, probe.part, probe.look.table if probe.look is not None else ())
        rows = self._rows(outlook.weighing, probe, scope, outlook.mended)
        before = [o.answer for p, o in outlook.taken if p.id == probe.id and o.answer in probe.outcomes]
        if before:
            seen, same = list(map(probe.outcomes.index, before)), outlook.weighing.slips["look_again"]
            rows = {config: _next(row, seen, same) for config, row in rows.items()}
        return outlook.by_config(probe, 0.0, probe.outcomes, scope, rows)

    @staticmethod
    def _rows(
        weighing: Weighing, probe: Probe, scope: tuple[int, ...], renewed: frozenset[str]
    ) -> dict[Config, Row]:
        """
        Probability of each answer in each mode of the part, and of others that show; some new. [-]

        A control that was set so that it calls looks as before.
        """
        look, wrong, bench = probe.look, weighing.slips["look_wrong"], weighing.bench
        renewed -= bench.machine.only_set
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


def _together(row: Row, seen: Sequence[int], same: float) -> float:
    """
    Probability of some looks at one thing, given that of one look. [-]

    A share of them (`same`) shows again what the first showed, whatever is there: the eye that was misled
    once is misled again. The others are as good as looks of somebody who had not looked before.
    """
    first = row[seen[0]]
    apart = math.prod(row[k] for k in seen)
    return same * first + (1.0 - same) * apart if len(set(seen)) == 1 else (1.0 - same) * apart


def _next(row: Row, seen: Sequence[int], same: float) -> Row:
    """Probability of each answer of one more look, given those before. [-]"""
    joint = [_together(row, [*seen, k], same) for k in range(len(row))]
    whole = math.fsum(joint)
    return tuple(p / whole for p in joint)


KINDS = (PartLook(),)
