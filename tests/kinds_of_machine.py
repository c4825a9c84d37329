"""A machine of any kind with one fault, and what it shows to whoever follows the advice."""

from __future__ import annotations

import math
from dataclasses import replace

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.bench import bench_for
from humclick.diagnosis.observations.alike import pair_names
from humclick.diagnosis.observations.measured import Measured
from humclick.diagnosis.observations.named import first_of
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.shop import default_shop
from humclick.diagnosis.situation import Heard, Observation, Situation, called
from humclick.meters import Quantity
from humclick.readings import PartTemperature, parse_reading
from humclick.start.rows import OUTCOMES

COLD = PartTemperature("cold")


class Faulty:
    """One machine with some modes, and the readings it gives: middles, and the likeliest answers."""

    def __init__(self, machine: Machine, modes: dict[str, str], scale: float = 1.0) -> None:
        self.machine, self.modes, self.scale = machine, modes, scale
        self.bench = bench_for(machine, default_shop())

    def shows(self, probe: Probe, so_far: tuple[Observation, ...] = ()) -> Observation:
        """What a probe of it shows after others; a control once set calls, and a rest eases what it can."""
        called_for = frozenset() if probe.look is not None else called(self.machine, so_far)
        everything = self.modes
        self.modes = {p: m for p, m in everything.items() if f"{p}.{m}" not in called_for}
        try:
            return self._shown(probe)
        finally:
            self.modes = everything

    def _shown(self, probe: Probe) -> Observation:
        if probe.look is not None:
            name = first_of(probe.look.table, probe.part, self.modes) or "otherwise"
            row = probe.look.table[name]
            return self._seen(probe, answer=probe.look.outcomes[max(range(len(row)), key=row.__getitem__)])
        if probe.heard and self.machine.started:
            counts = self.machine.sealed if probe.model.on_known_good else {*self.modes}
            modes = {p: m for p, m in self.modes.items() if p in counts and p not in probe.mends}
            shares = self.bench.starts.of(modes).outcomes
            return self._seen(probe, answer=OUTCOMES[max(range(len(shares)), key=shares.__getitem__)])
        if probe.heard:
            stops = [p for p, m in self.modes.items() if not self.machine.eased(p, m)]
            stops = [p for p in stops if not self.machine.part(p).family.apart]
            held = [
                p for p in stops if self.machine.part(p).family.mode(self.modes[p]).recorded == "rotor_held"
            ]
            answer = Heard.HUM if held else Heard.SILENT if stops else Heard.RUNS
            return self._seen(probe, answer=answer)
        if probe.outcomes:
            return self._seen(probe, answer=probe.outcomes[0])
        value = self._value(probe)
        return self._seen(probe, value=value)

    def _value(self, probe: Probe) -> float:
        if probe.kind == "alike":
            placed = self.machine.part(probe.part)
            three = next(t for t in placed.family.threes if probe.id in pair_names(placed, t))
            size = self.machine.size(probe.part, three.size)
            nominal = self.machine.nameplate.volts if size.unit == "-" else self.scale
            guard = self.modes.get("star_protector")
            if guard and three.prefix == "pins":
                return math.inf if guard == "open" else nominal * size.median
            named = [name for pattern in three.pattern for name in pattern.modes]
            name = first_of(named, probe.part, self.modes)
            times = next((p.to or p.times for p in three.pattern if name in p.modes), (1.0, 1.0, 1.0))
            return nominal * size.median * times[pair_names(placed, three).index(probe.id)]
        model = probe.model
        if probe.kind == "pins":
            lost = {
                part[0].upper() for part, mode in self.modes.items() if mode == "open" and "winding" in part
            }
            usual = model.healthy(self.bench, probe) or model.any_size(self.bench, probe)
            assert usual is not None
            return math.inf if lost & set(probe.id.removeprefix("pins.")) else usual[0]
        if isinstance(model, Measured):
            return model.between_tips(self.bench, probe, self.modes, False)[0]
        return 0.0 if probe.quantity != "voltage" else self.machine.nameplate.volts

    def _seen(self, probe: Probe, *, answer: str = "", value: float | None = None) -> Observation:
        if value is None:
            return Observation(probe.id, answer=answer, temperature=COLD)
        text = (
            "OL"
            if math.isinf(value) or value > 4.0e7
            else f"{float(f'{value:.3g}'):.6f}".rstrip("0").rstrip(".")
        )
        if probe.quantity == "capacitance":
            text = f"{value * 1e6:.4g} uF"
        tester = probe.meter is not None
        reading = parse_reading(text, Quantity(probe.quantity))
        return Observation(probe.id, reading=reading, temperature=COLD, tester=tester)


def played(faulty: Faulty, most: int = 40) -> tuple[Advice, Situation]:
    """The advice a call on it ends with, every probe advised taken once, waits waited."""
    situation = Situation(faulty.machine, Heard.SILENT, hot=False)
    advice = advise(situation)
    for _ in range(most):
        if advice.next is None:
            break
        if advice.kind == "wait":
            situation = replace(situation, waited=situation.waited + advice.next.waits + 1.0)
        seen = faulty.shows(probe_of(faulty.machine, advice.next.probe), situation.observations)
        situation = replace(situation, observations=(*situation.observations, seen))
        advice = advise(situation)
    return advice, situation
