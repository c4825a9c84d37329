"""
Findings: what each reading means for that part, in that position and temperature, in one sentence.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.checks import checks
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.factors import Factor
from humclick.diagnosis.hypotheses import Fault
from humclick.diagnosis.judged import judge
from humclick.diagnosis.observations.feed import Feed
from humclick.diagnosis.observations.leads import Leads
from humclick.diagnosis.observations.part_test import PartTest
from humclick.diagnosis.observations.volts import Outlet
from humclick.diagnosis.power import three_equal
from humclick.diagnosis.probes import Probe, probe_of, taken_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
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
    text, warns = _sentence(bench, situation, probe, seen, factor)
    return Finding(seen.id, seen.probe, text, warns)


def _sentence(
    bench: Bench, situation: Situation, probe: Probe, seen: Observation, factor: Factor
) -> tuple[str, bool]:
    shown = shown_text(seen)
    if isinstance(probe.model, Leads):
        return f"The leads add {shown}; readings of a few ohms are taken with that in mind.", False
    if factor.per_set is not None:
        return _whole_sentence(bench, probe, shown, factor.per_set)
    own = checks().get(probe.id)
    passes = own and own.passes(seen.reading, seen.answer, bench.machine.nameplate.volts)
    if own is not None and passes is not None:
        return (f"{shown}: as it should be.", False) if passes else (f"{shown}: {own.bad}", True)
    if not factor.table:
        return f"“{shown}” says nothing either way.", False
    at = {c: math.fsum(row) for c, row in factor.table.items()}
    best = max(at.values())
    healthy = at[(0,) * len(factor.scope)]
    fits = _fitting(bench, factor.scope, at, best)
    lost = seen.reading is not None and seen.reading.over_limit
    if seen.temperature.kind == "hot" and lost and _opens_with_heat(probe):
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


def _opens_with_heat(probe: Probe) -> bool:
    """Whether what the tips span can be open from heat alone; between S and R no protector lies."""
    return probe.heat not in ("", "windings") and probe.id != "pins.S-R"


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
    if not isinstance(probe.model, PartTest | Outlet) or isinstance(probe.model, Feed):
        return ""
    median, sigma = probe.model.predicted(bench, probe, {}, False)
    quantity = Quantity(probe.quantity)
    if not math.isfinite(median):
        return " (healthy: OL)"
    if median <= 0.0:
        return ""
    low, high = median * math.exp(-Z95 * sigma), median * math.exp(Z95 * sigma)
    return f" (healthy: {format_si(low, quantity, 2)} to {format_si(high, quantity, 2)})"


def _whole_sentence(
    bench: Bench, probe: Probe, shown: str, value: Callable[[tuple[Fault, ...]], float]
) -> tuple[str, bool]:
    rows = []
    for part, mode in bench.space.singles:
        label = f"{bench.machine.parts[part].family.title} {bench.mode(part, mode).title.split(':')[0]}"
        likely = value(((part, mode),))
        rows.append((likely, bench.space.odds[part][mode] * likely, label))
    best = max(v for v, _, _ in rows)
    fits = sorted((r for r in rows if r[0] >= _FITS * best), key=lambda r: -r[1])
    names = "; ".join(label for _, _, label in fits[:4])
    more = f" and {len(fits) - 4} more" if len(fits) > 4 else ""
    healthy = value(()) >= _FITS * best
    if probe.heard:
        if shown == HEARD["runs"]:
            what = (
                "on known-good gear it runs: the compressor is good"
                if probe.model.on_known_good
                else "it runs"
            )
            return f"{what[0].upper()}{what[1:]}.", False
        return f"{shown[0].upper()}{shown[1:]}: as with {names}{more}.", True
    if healthy:
        return f"{shown}: as it should be.", False
    return f"{shown}: as with {names}{more}.", True
