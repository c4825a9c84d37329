"""
Why: what each reading means, how strongly it speaks, and what another would change.

Weights of evidence in decibans: ten times the decimal logarithm of the factor by which a reading moves the
odds of the leading decision against its rival, given what was known before it. Since readings hang together
these depend on their order; the probability without the reading is the second view that does not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from humclick.diagnosis.advice import Judged, judge
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.decisions import actions_for, losses
from humclick.diagnosis.evidence import Compiler, Factor
from humclick.diagnosis.forecast import forecast
from humclick.diagnosis.probes import Kind, Probe
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Observation, Situation
from humclick.diagnosis.suspects import NONE, posterior
from humclick.meters import Quantity
from humclick.readings import format_si, spread_of
from humclick.sourced import Z95

__all__ = [
    "HEARD",
    "Explanation",
    "Finding",
    "Reason",
    "WhatIf",
    "contradictions",
    "explain",
    "findings",
    "what_if",
]

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
#: A reading this improbable given all others, set against what it could be at best, is a contradiction. [-]
_CONTRADICTS = 2e-3
#: The same for readings of one unknown, set against each by itself; where they agree this is above 1. [-]
_AT_ODDS = 0.5
#: A remedy's probability has to move this much to be named. [-]
_MOVED = 0.04
#: Below this a leading suspect's own readings say nothing of it: it leads by elimination. [decibans]
_ELIMINATION = 3.0


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


@dataclass(frozen=True, slots=True)
class Reason:
    """
    How one observation speaks for the leading decision against its rival.

    Attributes
    ----------
    id, probe, shown : str
        Event, probe, and what was seen.
    decibans : float
        Positive speaks for the leader. [decibans]
    without : float
        Probability of the leading decision without this observation. [-]
    moved : tuple of (remedy, before, after)
        Remedies whose probability it moved most, by how much. [-]
    words : str
        The same in words.
    """

    id: str
    probe: str
    shown: str
    decibans: float
    without: float
    moved: tuple[tuple[str, float, float], ...]
    words: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """
    Why the leading decision leads.

    Attributes
    ----------
    leader, rival : tuple of str
        The two decisions set against each other.
    probability : float
        Of the leader. [-]
    reasons : tuple of Reason
        The complaint first, then every observation in order.
    by_elimination : bool
        True where no reading speaks of the leading suspect itself: it leads because the others fell.
    sentence : str
        In one or two sentences.
    """

    leader: tuple[str, ...]
    rival: tuple[str, ...]
    probability: float
    reasons: tuple[Reason, ...]
    by_elimination: bool
    sentence: str


@dataclass(frozen=True, slots=True)
class WhatIf:
    """
    One outcome of a probe not yet taken.

    Attributes
    ----------
    outcome : str
        In words.
    probability : float
        [-]
    remedies : tuple of (remedy, probability)
        How probably each would then be needed.
    decision : tuple of str
        The best action if one had to act then.
    """

    outcome: str
    probability: float
    remedies: tuple[tuple[str, float], ...]
    decision: tuple[str, ...]


# -- findings ---------------------------------------------------------------------------------------------


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
    return tuple(_finding(judged.bench, situation, seen) for seen in situation.observations)


def _finding(bench: Bench, situation: Situation, seen: Observation) -> Finding:
    probe = bench.probe(seen.probe)
    alone = replace(situation, observations=(seen,))
    factor = Compiler(bench, alone).compiled().factors[1]
    text, warns = _sentence(bench, situation, probe, seen, factor)
    return Finding(seen.id, seen.probe, text, warns)


def _sentence(
    bench: Bench, situation: Situation, probe: Probe, seen: Observation, factor: Factor
) -> tuple[str, bool]:
    shown = shown_text(seen)
    if probe.kind is Kind.LEADS:
        return f"The leads add {shown}; readings of a few ohms are taken with that in mind.", False
    if factor.per_hypothesis is not None:
        return _whole_sentence(bench, probe, shown, factor.per_hypothesis)
    if not factor.table:
        return f"“{shown}” says nothing either way.", False
    at = {c: math.fsum(row) for c, row in factor.table.items()}
    best = max(at.values())
    healthy = at[(0,) * len(factor.scope)]
    fits = _fitting(bench, factor.scope, at, best)
    if seen.temperature.kind == "hot" and probe.heat and seen.reading is not None and seen.reading.over_limit:
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
    if probe.kind not in (Kind.TEST, Kind.VOLTS):
        return ""
    median, sigma = bench.predicted(probe, {}, False)
    quantity = Quantity(probe.quantity)
    if not math.isfinite(median):
        return " (healthy: OL)"
    if median <= 0.0:
        return ""
    low, high = median * math.exp(-Z95 * sigma), median * math.exp(Z95 * sigma)
    return f" (healthy: {format_si(low, quantity, 2)} to {format_si(high, quantity, 2)})"


def _whole_sentence(bench: Bench, probe: Probe, shown: str, values: Sequence[float]) -> tuple[str, bool]:
    rows = []
    for h, chosen in enumerate(bench.space.sets[: 1 + sum(len(m) - 1 for m in bench.space.modes)]):
        if len(chosen) == 1:
            part, mode = chosen[0]
            label = f"{bench.machine.parts[part].family.title} {bench.mode(part, mode).title.split(':')[0]}"
            rows.append((values[h], bench.space.prior[h] * values[h], label))
    best = max(v for v, _, _ in rows)
    fits = sorted((r for r in rows if r[0] >= _FITS * best), key=lambda r: -r[1])
    names = "; ".join(label for _, _, label in fits[:4])
    more = f" and {len(fits) - 4} more" if len(fits) > 4 else ""
    healthy = values[0] >= _FITS * best
    if probe.kind in (Kind.ATTEMPT, Kind.KNOWN_GOOD, Kind.FIT):
        if shown == HEARD["runs"]:
            what = (
                "on known-good gear it runs: the compressor is good"
                if probe.kind is Kind.KNOWN_GOOD
                else "it runs"
            )
            return f"{what[0].upper()}{what[1:]}.", False
        return f"{shown[0].upper()}{shown[1:]}: as with {names}{more}.", True
    if healthy:
        return f"{shown}: as it should be.", False
    return f"{shown}: as with {names}{more}.", True


# -- explanation ------------------------------------------------------------------------------------------


def explain(
    situation: Situation, shop: Shop | None = None, *, leader: frozenset[str] | None = None
) -> Explanation:
    """
    Why the leading decision leads, observation by observation.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop, optional
        Priors and costs.
    leader : frozenset of str, optional
        The decision to explain; by default the most probable class.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    judged = judge(situation, shop)
    classes = judged.post.by_class
    lead = leader if leader is not None and leader in classes else next(iter(classes))
    rival = next((c for c in classes if not (c >= lead or c < lead)), NONE)
    seen = situation.observations
    heard = situation.complaint
    reasons = []
    before = judge(replace(situation, observations=(), complaint=None), shop)
    now = judge(replace(situation, observations=()), shop)
    if heard is not None:
        without = judge(replace(situation, complaint=None), shop).post.by_class.get(lead, 0.0)
        shown = f"complaint: {HEARD[heard.value]}"
        reasons.append(_reason("complaint", "complaint", shown, (before, now), (lead, rival), without))
    for k, observation in enumerate(seen):
        after = judge(replace(situation, observations=seen[: k + 1]), shop)
        rest = replace(situation, observations=seen[:k] + seen[k + 1 :])
        without = judge(rest, shop).post.by_class.get(lead, 0.0)
        title = judged.bench.probe(observation.probe).title
        shown = f"{title}: {shown_text(observation)}"
        reasons.append(
            _reason(observation.id, observation.probe, shown, (now, after), (lead, rival), without)
        )
        now = after
    elimination = _by_elimination(judged, lead)
    return Explanation(
        tuple(sorted(lead)),
        tuple(sorted(rival)),
        classes.get(lead, 0.0),
        tuple(reasons),
        elimination,
        _summary(judged, lead, rival, classes.get(lead, 0.0), elimination),
    )


def _odds(judged: Judged, leader: frozenset[str], rival: frozenset[str]) -> float:
    """Odds of two decisions in decibans."""
    a = max(judged.post.by_class.get(leader, 0.0), 1e-30)
    b = max(judged.post.by_class.get(rival, 0.0), 1e-30)
    return 10.0 * math.log10(a / b)


def _reason(
    event: str,
    probe: str,
    shown: str,
    step: tuple[Judged, Judged],
    sides: tuple[frozenset[str], frozenset[str]],
    without: float,
) -> Reason:
    decibans = _odds(step[1], *sides) - _odds(step[0], *sides)
    old, new = step[0].post.by_remedy, step[1].post.by_remedy
    moves = sorted(((r, p, new.get(r, 0.0)) for r, p in old.items()), key=lambda m: -abs(m[1] - m[2]))
    moved = tuple(m for m in moves[:2] if abs(m[1] - m[2]) > _MOVED)
    size = abs(decibans)
    strength = "weakly" if size < 4 else "clearly" if size < 12 else "strongly"
    words = f"speaks {strength} {'for' if decibans >= 0 else 'against'} it" if size >= 1 else ""
    told = ", ".join(f"{r} {100 * p:.0f} → {100 * q:.0f} %" for r, p, q in moved)
    words = "; ".join(w for w in (words, told) if w) or "says hardly anything either way"
    return Reason(event, probe, shown, decibans, without, moved, words)


def _by_elimination(judged: Judged, leader: frozenset[str]) -> bool:
    """Whether no measurement or look speaks of the leading set itself against a healthy machine."""
    bench, post = judged.bench, judged.post
    classes, which = bench.classes
    if leader not in classes or leader <= {"wait"}:
        return False
    column = classes.index(leader)
    own = [(w, h) for h, w in enumerate(post.weights) if which[h] == column and w > 0.0]
    if not own:
        return False
    _, best = max(own, key=lambda row: row[0])
    modes = dict(bench.space.sets[best])
    directly = False
    for factor in judged.evidence.factors:
        if not factor.table or not factor.scope:
            continue
        config = tuple(modes.get(p, 0) for p in factor.scope)
        mine = math.fsum(factor.table[config])
        sound = math.fsum(factor.table[(0,) * len(factor.scope)])
        if 10.0 * math.log10(max(mine, 1e-300) / max(sound, 1e-300)) > _ELIMINATION:
            directly = True
    enough = sum(1 for f in judged.evidence.factors if f.observations) >= 3
    return enough and not directly


def _summary(
    judged: Judged, leader: frozenset[str], rival: frozenset[str], whole: float, elimination: bool
) -> str:
    shop = judged.bench.shop
    title = " and ".join(shop.remedy(r).title for r in sorted(leader))
    other = " and ".join(shop.remedy(r).title for r in sorted(rival))
    text = f"{100 * whole:.0f} % for: {title}; the rival is: {other}."
    if elimination:
        text += (
            " It leads by elimination: no reading speaks of it directly, all around it is proved good."
            f" That is only as good as the list of what can fail"
            f" ({100 * judged.post.none:.1f} % is kept for causes not on it)."
        )
    return text


# -- what if ----------------------------------------------------------------------------------------------


def what_if(situation: Situation, probe: str, shop: Shop | None = None) -> tuple[WhatIf, ...]:
    """
    How each outcome of a probe not yet taken would move the suspects.

    Raises
    ------
    Refused, Unknown
        As `advise`, or if the machine has no such probe.
    """
    judged = judge(situation, shop)
    bench, post = judged.bench, judged.post
    chosen = [h for h, p in post.top(400) if p > 1e-6]
    made = forecast(bench, situation, post, chosen, [(bench.probe(probe), 0.0)])
    if not made:
        return ()
    f = made[0]
    names, which = bench.classes
    done: frozenset[str] = frozenset()
    found = []
    for o, label in enumerate(f.labels):
        mass: dict[frozenset[str], float] = {}
        for k, h in enumerate(chosen):
            c = names[which[h]]
            mass[c] = mass.get(c, 0.0) + post.weights[h] * f.rows[f.which[k]][o]
        mass[NONE] = mass.get(NONE, 0.0) + post.none * f.none[o]
        total = math.fsum(mass.values())
        if total < 1e-6:
            continue
        ranked = dict(sorted(((c, m / total) for c, m in mass.items()), key=lambda r: (-r[1], sorted(r[0]))))
        remedies: dict[str, float] = {}
        for c, p in ranked.items():
            for remedy in c:
                remedies[remedy] = remedies.get(remedy, 0.0) + p
        top = tuple(sorted(remedies.items(), key=lambda row: (-row[1], row[0]))[:4])
        actions = actions_for(ranked)
        table = losses(actions, list(ranked), bench.shop, done)
        expected = [sum(p * x for p, x in zip(ranked.values(), row, strict=True)) for row in table]
        decision = actions[min(range(len(actions)), key=lambda a: (expected[a], a))]
        found.append(WhatIf(HEARD.get(label, label), total, top, tuple(sorted(decision))))
    return tuple(found)


# -- contradictions ---------------------------------------------------------------------------------------


def contradictions(situation: Situation, shop: Shop | None = None) -> tuple[str, ...]:
    """
    Readings that do not fit together, each with the cheapest re-check.

    Raises
    ------
    Refused, Unknown
        As `advise`.
    """
    judged = judge(situation, shop)
    bench = judged.bench
    found = list(_scattered(bench, situation))
    for factor in judged.evidence.factors:
        if not factor.observations or (not factor.table and factor.per_hypothesis is None):
            continue
        rest = replace(judged.evidence, factors=tuple(f for f in judged.evidence.factors if f is not factor))
        without = posterior(bench, rest)
        surprise = math.exp(min(0.0, judged.post.log_evidence - without.log_evidence))
        if surprise < _CONTRADICTS * _most(factor) or _at_odds(judged, factor):
            members = [situation.observations[i] for i in factor.observations]
            names = ", ".join(dict.fromkeys(f"{m.probe} {shown_text(m)}" for m in members))
            cheapest = min(members, key=lambda m: bench.probe(m.probe).minutes)
            found.append(
                f"{names} does not fit the rest; lift the tips, press them on bright metal"
                f" and repeat {cheapest.probe}."
            )
    return tuple(dict.fromkeys(found))


def _at_odds(judged: Judged, factor: Factor) -> bool:
    """Whether readings of one unknown fit each other much worse than each fits by itself."""
    if len(factor.observations) < 2 or not factor.table:
        return False
    situation = judged.situation
    alone = 1.0
    for i in factor.observations:
        single = replace(situation, observations=(situation.observations[i],))
        alone *= _most(Compiler(judged.bench, single).compiled().factors[1])
    return _most(factor) < _AT_ODDS * alone


def _most(factor: Factor) -> float:
    if factor.per_hypothesis is not None:
        return max(factor.per_hypothesis)
    return max(math.fsum(row) / len(row) for row in factor.table.values())


def _scattered(bench: Bench, situation: Situation) -> list[str]:
    by_probe: dict[tuple[str, str], list[Observation]] = {}
    for seen in situation.observations:
        if seen.reading is not None:
            by_probe.setdefault((seen.probe, seen.temperature.kind), []).append(seen)
    found = []
    for (probe, _), members in by_probe.items():
        if len(members) > 1:
            spread = spread_of([m.reading for m in members if m.reading is not None], situation.meter)
            if not spread.settled:
                found.append(f"{probe}: {spread.sentence}")
    return found
