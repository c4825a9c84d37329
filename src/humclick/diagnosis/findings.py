"""
Findings: what each reading means for that part, in that position and temperature, in one sentence.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.model import Said, Taken
from humclick.diagnosis.power import three_equal
from humclick.diagnosis.probes import Probe, probe_of, taken_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.readings import format_si
from humclick.sourced import Z95

__all__ = ["HEARD", "Finding", "findings", "shown_text"]

#: What a start attempt is called in words.
HEARD = {
    "silent": "silent",
    "hum": "hums and does not start",
    "hum_click": "hums, then clicks off",
    "starts_then_trips": "starts, then trips",
    "breaker": "the breaker trips",
    "runs": "runs",
}

#: A condition fits a reading when it makes it at least this probable, set against the best. [-]
_FITS = 0.25


@dataclass(frozen=True, slots=True)
class Finding:
    """
    What one observation means, in a sentence.

    Attributes
    ----------
    id, probe : str
        Event and probe it comes from.
    text : str
        The sentence.
    warns : bool
        True where it is not what a healthy part gives.
    """

    id: str
    probe: str
    text: str
    warns: bool


def shown_text(seen: Observation) -> str:
    """What was seen, as it should be read out."""
    if seen.reading is None:
        return HEARD.get(seen.answer, seen.answer)
    if seen.reading.over_limit:
        return "OL"
    if seen.reading.below_resolution:
        return seen.reading.text
    value, last = seen.reading.value or 0.0, seen.reading.resolution or 0.0
    digits = max(1, math.floor(math.log10(value / last) + 1e-9) + 1) if value > 0 and last > 0 else 3
    return format_si(seen.reading.value, seen.reading.quantity, min(digits, 6))


def findings(situation: Situation, shop: Shop | None = None) -> tuple[Finding, ...]:
    """
    One sentence per observation: what it means for that part, in that position and temperature.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    judged = judge(replace(situation, observations=()), shop)
    found = [_finding(judged.bench, situation, seen) for seen in situation.observations]
    if three_equal(situation):
        taken = taken_of(judged.bench.machine, situation.observations, judged.bench.shop)
        equal = "one of three equal readings: not the two windings of a single-phase machine."
        found = [
            replace(f, text=f"{shown_text(seen)}: {equal}", warns=True) if _between_pins(probe, seen) else f
            for f, (probe, seen) in zip(found, taken, strict=True)
        ]
    return tuple(found)


def _between_pins(probe: Probe, seen: Observation) -> bool:
    return probe.pins is not None and seen.reading is not None


def _finding(bench: Bench, situation: Situation, seen: Observation) -> Finding:
    probe = probe_of(bench.machine, seen.probe, bench.shop)
    alone = replace(situation, observations=(seen,))
    factor = compile_evidence(bench, alone).factors[1]
    text, warns = probe.model.finding(_Sayings(bench, Taken(probe, seen), factor))
    return Finding(seen.id, seen.probe, text, warns)


@dataclass(frozen=True)
class _Sayings:
    """The sentences there are for one observation; which of them holds, its kind says."""

    bench: Bench
    taken: Taken
    factor: Factor

    @property
    def _shown(self) -> str:
        return shown_text(self.taken.seen)

    def of_leads(self) -> Said:
        return f"The leads add {self._shown}; readings of a few ohms are taken with that in mind.", False

    def of_check(self, bad: str) -> Said:
        return (f"{self._shown}: {bad}", True) if bad else (f"{self._shown}: as it should be.", False)

    def of_nothing(self) -> Said:
        return f"“{self._shown}” says nothing either way.", False

    def of_parts(self) -> Said:
        bench, (probe, seen), factor, shown = self.bench, self.taken, self.factor, self._shown
        at = {c: math.fsum(row) for c, row in factor.table.items()}
        best = max(at.values())
        healthy = at[(0,) * len(factor.scope)]
        fits = _fitting(bench, factor.scope, at, best)
        lost = seen.reading is not None and seen.reading.over_limit
        if seen.temperature.kind == "hot" and lost and probe.opens_with_heat:
            return f"{shown} while hot is no verdict: let it cool and measure again.", True
        expected = _expected(bench, probe)
        subject = bench.machine.part(probe.part).family.title if probe.part else "windings"
        if healthy >= _FITS * best:
            sound = f"as a healthy {subject} reads" if probe.part else "as sound windings read"
            also = [t for t, _ in fits][:2]
            tail = f"; it cannot rule out: {', '.join(also)}" if also else ""
            return f"{shown}{expected}: {sound}{tail}.", False
        if fits:
            names = " or ".join(t for t, _ in fits[:3])
            owner = "" if len(factor.scope) > 1 else f"{subject} "
            return f"{shown}{expected}: speaks for {owner}{names}.", True
        return f"{shown}{expected}: fits nothing the {subject} can be; check the tips and read again.", True

    def of_start(self) -> Said:
        shown = self._shown
        if self.taken.seen.answer == Heard.RUNS:
            if self.taken.probe.model.on_known_good:
                return "On known-good gear it runs: the compressor is good.", False
            return "It runs.", False
        return f"{shown[0].upper()}{shown[1:]}: as with {self._faults()}.", True

    def of_whole(self) -> Said:
        healthy, best, _ = self._fits()
        if healthy >= _FITS * best:
            return f"{self._shown}: as it should be.", False
        return f"{self._shown}: as with {self._faults()}.", True

    def _fits(self) -> tuple[float, float, list[str]]:
        """What the sound machine gives it, the most that a single fault does, and the faults that fit."""
        bench, value = self.bench, self.factor.per_set
        assert value is not None
        rows = []
        for part, mode in bench.space.singles:
            title = bench.mode(part, mode).title.split(":")[0]
            label = f"{bench.machine.parts[part].family.title} {title}"
            likely = value(((part, mode),))
            rows.append((likely, bench.space.odds[part][mode] * likely, label))
        best = max(v for v, _, _ in rows)
        fits = sorted((r for r in rows if r[0] >= _FITS * best), key=lambda r: -r[1])
        return value(()), best, [label for _, _, label in fits]

    def _faults(self) -> str:
        _, _, names = self._fits()
        more = f" and {len(names) - 4} more" if len(names) > 4 else ""
        return f"{'; '.join(names[:4])}{more}"


def _fitting(
    bench: Bench, scope: Sequence[int], at: Mapping[tuple[int, ...], float], best: float
) -> list[tuple[str, float]]:
    """Single modes that make the reading about as probable as anything does, by prior times likelihood."""
    rows = []
    for config, p in at.items():
        faults = [(scope[k], m) for k, m in enumerate(config) if m]
        if len(faults) == 1 and p >= _FITS * best:
            part, mode = faults[0]
            title = bench.mode(part, mode).title.split(":")[0]
            if len(scope) > 1:
                title = f"{bench.machine.parts[part].family.title} {title}"
            rows.append((bench.space.odds[part][mode] * p, title, p))
    rows.sort(key=lambda row: (-row[0], row[1]))
    return [(title, p) for _, title, p in rows]


def _expected(bench: Bench, probe: Probe) -> str:
    healthy = probe.model.healthy(bench, probe)
    if healthy is None:
        return ""
    median, sigma = healthy
    quantity = Quantity(probe.quantity)
    if not math.isfinite(median):
        return " (healthy: OL)"
    if median <= 0.0:
        return ""
    low, high = median * math.exp(-Z95 * sigma), median * math.exp(Z95 * sigma)
    return f" (healthy: {format_si(low, quantity, 2)} to {format_si(high, quantity, 2)})"
