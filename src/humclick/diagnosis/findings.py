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
from humclick.messages import Message
from humclick.meters import Quantity
from humclick.readings import format_si
from humclick.sourced import Z95

__all__ = ["HEARD", "Finding", "findings", "shown_text"]

#: What a start attempt is called in words.
HEARD = {
    "silent": Message("silent"),
    "hum": Message("hums and does not start"),
    "hum_click": Message("hums, then clicks off"),
    "starts_then_trips": Message("starts, then trips"),
    "breaker": Message("the breaker trips"),
    "runs": Message("runs"),
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
    text : Message
        The sentence.
    warns : bool
        True where it is not what a healthy part gives.
    """

    id: str
    probe: str
    text: Message
    warns: bool


def shown_text(seen: Observation) -> str:
    """What was seen, as it should be read out."""
    if seen.reading is None:
        return HEARD.get(seen.answer) or Message.of(seen.answer)
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
        found = [
            replace(f, text=_one_of_three(seen), warns=True) if _between_pins(probe, seen) else f
            for f, (probe, seen) in zip(found, taken, strict=True)
        ]
    return tuple(found)


def _one_of_three(seen: Observation) -> Message:
    return Message(
        "{value}: one of three equal readings: not the two windings of a single-phase machine.",
        value=shown_text(seen),
    )


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
) -> tuple[Message, bool]:
    shown = shown_text(seen)
    if isinstance(probe.model, Leads):
        return Message(
            "The leads add {value}; readings of a few ohms are taken with that in mind.", value=shown
        ), False
    if factor.per_set is not None:
        return _whole_sentence(bench, probe, shown, factor.per_set)
    own = checks().get(probe.id)
    passes = own and own.passes(seen.reading, seen.answer, bench.machine.nameplate.volts)
    if own is not None and passes is not None:
        if passes:
            return Message("{value}: as it should be.", value=shown), False
        return Message("{value}: {meaning}", value=shown, meaning=own.bad), True
    if not factor.table:
        return Message("“{value}” says nothing either way.", value=shown), False
    at = {c: math.fsum(row) for c, row in factor.table.items()}
    best = max(at.values())
    fits = _fitting(bench, factor.scope, at, best)
    lost = seen.reading is not None and seen.reading.over_limit
    if seen.temperature.kind == "hot" and lost and _opens_with_heat(probe):
        return Message("{value} while hot is no verdict: let it cool and measure again.", value=shown), True
    value = _beside_healthy(bench, probe, shown)
    part = bench.machine.part(probe.part).family.title if probe.part else None
    if at[(0,) * len(factor.scope)] >= _FITS * best:
        return _sound(value, part, fits[:2]), False
    if fits:
        faults = tuple(fits[:3])
        if len(factor.scope) > 1 or part is None:
            return Message("{value}: speaks for {faults:or}.", value=value, faults=faults), True
        return Message("{value}: speaks for {part} {faults:or}.", value=value, part=part, faults=faults), True
    return Message(
        "{value}: fits nothing the {part} can be; check the tips and read again.",
        value=value,
        part=part or Message("windings"),
    ), True


def _sound(value: str, part: Message | None, also: Sequence[Message]) -> Message:
    """As something healthy reads, and what would read no otherwise."""
    if part is None:
        if not also:
            return Message("{value}: as sound windings read.", value=value)
        return Message(
            "{value}: as sound windings read; it cannot rule out: {faults}.", value=value, faults=tuple(also)
        )
    if not also:
        return Message("{value}: as a healthy {part} reads.", value=value, part=part)
    return Message(
        "{value}: as a healthy {part} reads; it cannot rule out: {faults}.",
        value=value,
        part=part,
        faults=tuple(also),
    )


def _opens_with_heat(probe: Probe) -> bool:
    """Whether what the tips span can be open from heat alone; between S and R no protector lies."""
    return probe.heat not in ("", "windings") and probe.id != "pins.S-R"


def _fitting(
    bench: Bench, scope: Sequence[int], at: Mapping[tuple[int, ...], float], best: float
) -> list[Message]:
    """Single modes that make the reading about as probable as anything does, by prior times likelihood."""
    rows = []
    for config, p in at.items():
        faults = [(scope[k], m) for k, m in enumerate(config) if m]
        if len(faults) == 1 and p >= _FITS * best:
            part, mode = faults[0]
            title = _fault(bench, part, mode) if len(scope) > 1 else bench.mode(part, mode).short
            rows.append((bench.space.odds[part][mode] * p, title))
    rows.sort(key=lambda row: (-row[0], row[1]))
    return [title for _, title in rows]


def _fault(bench: Bench, part: int, mode: int) -> Message:
    """A part and its mode."""
    title = bench.machine.parts[part].family.title
    return Message("{part} {mode}", part=title, mode=bench.mode(part, mode).short)


def _beside_healthy(bench: Bench, probe: Probe, shown: str) -> str:
    """What was read, with what a healthy part gives beside it."""
    if not isinstance(probe.model, PartTest | Outlet) or isinstance(probe.model, Feed):
        return shown
    median, sigma = probe.model.predicted(bench, probe, {}, False)
    quantity = Quantity(probe.quantity)
    if not math.isfinite(median):
        return Message("{value} (healthy: OL)", value=shown)
    if median <= 0.0:
        return shown
    low, high = (format_si(median * math.exp(k * Z95 * sigma), quantity, 2) for k in (-1, 1))
    return Message("{value} (healthy: {low} to {high})", value=shown, low=low, high=high)


def _whole_sentence(
    bench: Bench, probe: Probe, shown: str, value: Callable[[tuple[Fault, ...]], float]
) -> tuple[Message, bool]:
    rows = []
    for h, chosen in enumerate(bench.space.sets[: 1 + sum(len(m) - 1 for m in bench.space.modes)]):
        if len(chosen) == 1:
            rows.append((value(chosen), bench.space.prior[h] * value(chosen), _fault(bench, *chosen[0])))
    best = max(v for v, _, _ in rows)
    fits = sorted((r for r in rows if r[0] >= _FITS * best), key=lambda r: -r[1])
    if probe.heard and shown == HEARD["runs"]:
        if probe.model.on_known_good:
            return Message("On known-good gear it runs: the compressor is good."), False
        return Message("It runs."), False
    if not probe.heard and value(()) >= _FITS * best:
        return Message("{value}: as it should be.", value=shown), False
    if probe.heard and isinstance(shown, Message):
        shown = shown.capital()
    faults, more = tuple(label for _, _, label in fits[:4]), len(fits) - 4
    if more <= 0:
        return Message("{value}: as with {faults:semicolon}.", value=shown, faults=faults), True
    return Message(
        "{value}: as with {faults:semicolon} and {more} more.", value=shown, faults=faults, more=more
    ), True
