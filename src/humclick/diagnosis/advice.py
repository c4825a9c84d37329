"""
Advice: suspects, the next probe or a wait or a verdict, with the figures behind it.

The one entry to judgement: `advise` takes a situation and says what to do next; `explain` and `what_if` in
`humclick.diagnosis.reasons` say why.
"""

from __future__ import annotations

import math
from collections.abc import Sequence, Set
from dataclasses import dataclass, replace

from humclick.diagnosis.bench import Bench, bench_for
from humclick.diagnosis.decisions import HAND_OVER, REPLACE_COMPRESSOR, WAIT, actions_for, covered, losses
from humclick.diagnosis.evidence import Compiled, compile_evidence
from humclick.diagnosis.forecast import Forecast, forecast
from humclick.diagnosis.guards import GuardState, breaker_tripped, guards_for, guards_for_no_repair
from humclick.diagnosis.planner import Plan, Problem, plan
from humclick.diagnosis.probes import Kind, Probe, probes_of
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import COOLED, Situation, warmth
from humclick.diagnosis.suspects import NONE, Posterior, posterior
from humclick.physics.cooling import minutes_for

__all__ = ["Advice", "Judged", "Suspect", "Value", "Verdict", "advise", "judge"]

#: Planning looks at the most probable sets up to this mass, and at no more than this many. [-]
_PLANNED_MASS, _PLANNED_MOST = 0.993, 110
#: Above this probability of a grounded winding nothing is powered until the shell has been tested. [-]
_GROUNDED = 0.03


@dataclass(frozen=True, slots=True)
class Suspect:
    """
    One set of modes that may be the truth.

    Attributes
    ----------
    label : str
        In the technician's words.
    plain : str
        In the customer's words.
    parts : tuple of (part, mode)
        The set.
    probability : float
        [-]
    """

    label: str
    plain: str
    parts: tuple[tuple[str, str], ...]
    probability: float


@dataclass(frozen=True, slots=True)
class Value:
    """
    A probe and what it is worth now.

    Attributes
    ----------
    probe, title, how : str
        Which, in one line, and how it is done.
    gates : tuple of str
        Safety gates it needs.
    worth : float
        Fall of the expected loss it brings, its own cost taken off: two steps ahead for the one advised, by
        itself for the others. [money]
    cost : float
        Time and risk in money. [money]
    minutes : float
        Time it takes, waiting not counted. [min]
    waits : float
        Minutes of cooling before it can decide. [min]
    reason : str
        Why this one, in one sentence.
    """

    probe: str
    title: str
    how: str
    gates: tuple[str, ...]
    worth: float
    cost: float
    minutes: float
    waits: float
    reason: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """
    A defended decision.

    Attributes
    ----------
    remedies : tuple of str
        What to do.
    titles : tuple of str
        The same in words.
    probability : float
        That this puts it right. [-]
    sentence : str
        In one sentence.
    expected_loss : float
        What the decision is expected to cost too much. [money]
    margin : float
        By how much the best further probe would fail to pay. [money]
    flip_factor : float
        Factor by which the prior odds of the rival must rise to change the decision; infinite if none. [-]
    rival : tuple of str
        The next best decision.
    guards : tuple of GuardState
        What stands behind condemning a compressor, or behind leaving a machine as it is.
    """

    remedies: tuple[str, ...]
    titles: tuple[str, ...]
    probability: float
    sentence: str
    expected_loss: float
    margin: float
    flip_factor: float
    rival: tuple[str, ...]
    guards: tuple[GuardState, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """
    What to do next.

    Attributes
    ----------
    kind : str
        ``probe``, ``wait`` or ``verdict``.
    suspects : tuple of Suspect
        Most probable sets, the likeliest first.
    remedies : tuple of (remedy, probability)
        How probably each remedy is needed.
    none_of_these, left_out : float
        Probability of something the model does not know; bound on more than three faults at once. [-]
    next : Value or None
        The probe advised.
    alternatives : tuple of Value
        Other probes, best first.
    verdict : Verdict or None
        Where it is time to act.
    guards : tuple of GuardState
        Open guards that made this the next probe; empty otherwise.
    """

    kind: str
    suspects: tuple[Suspect, ...]
    remedies: tuple[tuple[str, float], ...]
    none_of_these: float
    left_out: float
    next: Value | None
    alternatives: tuple[Value, ...]
    verdict: Verdict | None
    guards: tuple[GuardState, ...]


@dataclass(frozen=True)
class Judged:
    """A situation weighed: the bench it stands on, its evidence and its posterior."""

    bench: Bench
    situation: Situation
    evidence: Compiled
    post: Posterior


#: Remedies that mend nothing: the machine is left as it is.
_NO_REPAIR = frozenset({"wait", "set control"})
#: What can be put right and tried without a new part: part, remedy.
_NO_PART = {"mechanism": "clear condenser", "wiring": "correct wiring"}
#: So often a guard's probe is asked again before somebody else must look.
_GUARD_TRIES = 4


def judge(situation: Situation, shop: Shop | None = None) -> Judged:
    """
    Weigh a situation without planning.

    Raises
    ------
    Refused
        If the machine is one that is only recognised.
    Unknown
        If an observation names a probe the machine does not have.
    """
    bench = bench_for(situation.machine, shop or default_shop())
    evidence = compile_evidence(bench, situation)
    return Judged(bench, situation, evidence, posterior(bench, evidence))


def advise(situation: Situation, *, shop: Shop | None = None, arrays: bool | None = None) -> Advice:
    """
    What to do next in a situation.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop, optional
        Prices, times, priors; the program's own by default.
    arrays : bool, optional
        Plan with numpy; by default where it is installed. The advice is the same.

    Returns
    -------
    Advice

    Raises
    ------
    Refused
        If the machine is one that is only recognised (inverter-driven, three-phase).
    Unknown
        If an observation names a probe the machine does not have.
    """
    judged = judge(situation, shop)
    problem, actions, wanted = _problem(judged)
    made = plan(problem, arrays=arrays)
    values = _values(judged, problem, made, wanted)
    suspects = _suspects(judged.post)
    blank = Advice(
        kind="verdict",
        suspects=suspects,
        remedies=tuple(judged.post.by_remedy.items())[:8],
        none_of_these=judged.post.none,
        left_out=judged.post.left_out,
        next=None,
        alternatives=values[:6],
        verdict=None,
        guards=(),
    )
    if made.best is not None:
        best = next(
            v
            for v in values
            if v.probe == problem.forecasts[made.best.probe].probe.id
            and v.waits == problem.forecasts[made.best.probe].waits
        )
        rest = tuple(v for v in values if v is not best)[:6]
        return replace(blank, kind="wait" if best.waits > 0 else "probe", next=best, alternatives=rest)
    verdict = _verdict(judged, problem, actions, made)
    guards: tuple[GuardState, ...] = ()
    if REPLACE_COMPRESSOR in actions[made.action]:
        guards = guards_for(judged.bench, situation, judged.post)
    elif frozenset(verdict.remedies) <= _NO_REPAIR:
        guards = guards_for_no_repair(judged.bench, situation)
    unmet = tuple(g for g in guards if g.open)
    asked = _guard_probe(judged, unmet)
    if asked is not None:
        value = _guard_value(judged, asked, unmet[0])
        return replace(blank, kind="wait" if value.waits else "probe", next=value, guards=unmet)
    if unmet:  # a guard that cannot be met here: somebody else must look
        verdict = _handed_over(judged, verdict, unmet)
    verdict = replace(verdict, guards=guards)
    return replace(blank, verdict=verdict)


# -- the planning problem -----------------------------------------------------------------------------------


def _wait_minutes(situation: Situation, heat: str) -> float:
    if not heat or warmth(situation.hot, situation.waited, heat).kind == "cold":
        return 0.0
    return max(1.0, math.ceil(minutes_for(heat, COOLED) - situation.waited))


def _offered(judged: Judged) -> list[tuple[Probe, float]]:
    """Probes that may be taken now, each with the wait before it."""
    situation, bench, post = judged.situation, judged.bench, judged.post
    grounded = post.of_mode("run_winding", "grounded") + post.of_mode("start_winding", "grounded")
    tested = any(o.probe == "pins.shell" for o in situation.observations)
    doubtful = grounded > _GROUNDED or breaker_tripped(situation)
    blocked = grounded > 0.5 or (doubtful and not tested)
    counts: dict[str, int] = {}
    for o in situation.observations:
        counts[o.probe] = counts.get(o.probe, 0) + 1
    odd = _odd(judged)
    unnamed = {
        o.probe for o in situation.observations if o.probe[5:6].isdigit() and o.probe.startswith("pins.")
    }
    likely = set(list(post.by_remedy)[:3])
    offered: list[tuple[Probe, float]] = []
    for probe in probes_of(situation.machine, bench.shop).values():
        if probe.id in situation.skipped or (probe.live and blocked and probe.kind is not Kind.VOLTS):
            continue
        if probe.kind is Kind.PINS and (probe.id[5].isdigit() or len(unnamed) == 3):
            continue
        if probe.kind is Kind.FIT and not _worth_fitting(judged, probe, likely):
            continue
        if probe.part in situation.renewed and probe.kind is not Kind.VOLTS_START:
            continue
        taken = counts.get(probe.id, 0)
        waits = 0.0 if probe.heat == "windings" else _wait_minutes(situation, probe.heat)
        if taken and not (probe.id in odd and taken < 3):
            if waits and probe.heat and not _taken_cold(situation, probe.id):
                offered.append((probe, waits))
            continue
        if waits:
            offered.append((probe, waits))
        if not taken or probe.kind is not Kind.ATTEMPT:
            offered.append((probe, 0.0))
    return offered


def _taken_cold(situation: Situation, name: str) -> bool:
    return any(o.probe == name and o.temperature.kind in ("cold", "measured") for o in situation.observations)


def _worth_fitting(judged: Judged, probe: Probe, likely: Set[str]) -> bool:
    """A part is bought and tried only for a likely remedy and where no known-good gear is at hand."""
    if _remedy_of(judged.bench, probe.part) not in likely:
        return False
    return probe.part in _NO_PART or "attempt.known_good" in judged.situation.skipped


def _remedy_of(bench: Bench, part: str) -> str:
    placed = bench.machine.part(part)
    if part in _NO_PART:
        return _NO_PART[part]
    remedies = [placed.remedy(m) for m in placed.family.modes if placed.remedy(m).startswith("replace")]
    return remedies[0] if remedies else ""


def _odd(judged: Judged) -> set[str]:
    """Probes whose reading a healthy machine would rarely give, or that scatter: worth repeating."""
    found = set()
    for factor in judged.evidence.factors:
        if not factor.table or not factor.observations:
            continue
        totals = {c: math.fsum(row) for c, row in factor.table.items()}
        healthy = totals.get((0,) * len(factor.scope), 1.0)
        if healthy < 0.2 * max(totals.values()):
            found |= {judged.situation.observations[i].probe for i in factor.observations}
    return {p for p in found if judged.bench.probe(p).kind in (Kind.TEST, Kind.PINS, Kind.SHELL)}


def _done(judged: Judged) -> frozenset[str]:
    """Remedies already carried out during the call."""
    parts = set(judged.situation.renewed)
    parts |= {o.probe.removeprefix("fit.") for o in judged.situation.observations} & set(_NO_PART)
    return frozenset(_remedy_of(judged.bench, part) for part in parts) - {""}


def _costs(
    judged: Judged, forecasts: Sequence[Forecast], grounded: float
) -> tuple[list[float], list[list[float]]]:
    shop = judged.bench.shop
    probes = [f.probe for f in forecasts]
    own = []
    for f in forecasts:
        risk = f.probe.risk + (grounded * shop.rates["energised_ground"] if f.probe.live else 0.0)
        cost = shop.money(f.probe.minutes) + risk + f.waits * shop.rates["waiting"]
        own.append(max(cost, 0.2))
    open_now = _cover_open(judged)
    first = [c + _opening(p, open_now, shop) for c, p in zip(own, probes, strict=True)]
    second = []
    for f in forecasts:
        state = _cover_after(f.probe, open_now)
        row = []
        for g, cost in zip(forecasts, own, strict=True):
            saved = min(f.waits, g.waits) * shop.rates["waiting"]  # waited already
            row.append(max(0.2, cost - saved) + _opening(g.probe, state, shop))
        second.append(row)
    return first, second


def _cover_open(judged: Judged) -> bool:
    state = False
    for o in judged.situation.observations:
        state = _cover_after(judged.bench.probe(o.probe), state)
    return state


def _cover_after(probe: Probe, state: bool) -> bool:
    if probe.live and probe.kind is not Kind.VOLTS:
        return False
    return state or probe.inside


def _opening(probe: Probe, open_now: bool, shop: Shop) -> float:
    if probe.inside and not open_now:
        return shop.money(shop.opening["cover"])
    if probe.live and open_now and probe.kind is not Kind.VOLTS:
        return shop.money(shop.opening["closed"])
    return 0.0


def _problem(judged: Judged) -> tuple[Problem, list[frozenset[str]], list[Forecast]]:
    bench, situation, post = judged.bench, judged.situation, judged.post
    chosen, mass = [], 0.0
    for h, p in post.top(_PLANNED_MOST):
        if mass >= _PLANNED_MASS * (1.0 - post.none) or p <= 0.0:
            break
        chosen.append(h)
        mass += p
    offered = _offered(judged)
    forecasts = forecast(bench, situation, post, chosen, offered)
    done = _done(judged)
    actions = actions_for(post.by_class)
    classes: dict[frozenset[str], int] = {}
    names, which = bench.classes
    columns = [classes.setdefault(names[which[h]], len(classes)) for h in chosen]
    columns.append(classes.setdefault(NONE, len(classes)))
    weights = [post.weights[h] for h in chosen] + [post.none]
    scale = math.fsum(weights)
    weights = [w / scale for w in weights]
    tables, rows_of = [], []
    for f in forecasts:
        tables.append([*f.rows, f.none])
        rows_of.append([*f.which, len(f.rows)])
    weights, columns, rows_of = _merged(weights, columns, rows_of)
    grounded = post.of_mode("run_winding", "grounded") + post.of_mode("start_winding", "grounded")
    first, second = _costs(judged, forecasts, grounded)
    after: list[list[list[float]] | None] = []
    for f in forecasts:
        if f.probe.kind is not Kind.FIT:
            after.append(None)
            continue
        remedy = _remedy_of(bench, f.probe.part)
        joined = [a | {remedy} if a != HAND_OVER else a for a in actions]
        after.append(losses(joined, list(classes), bench.shop, done))
    table = losses(actions, list(classes), bench.shop, done)
    problem = Problem(weights, columns, table, forecasts, rows_of, tables, first, second, after)
    return problem, actions, forecasts


def _merged(
    weights: list[float], columns: list[int], rows_of: list[list[int]]
) -> tuple[list[float], list[int], list[list[int]]]:
    """Cases that no probe and no action can tell apart become one."""
    groups: dict[tuple[int, ...], float] = {}
    for i, w in enumerate(weights):
        key = (columns[i], *(rows[i] for rows in rows_of))
        groups[key] = groups.get(key, 0.0) + w
    keys = list(groups)
    return (
        [groups[k] for k in keys],
        [k[0] for k in keys],
        [[k[t + 1] for k in keys] for t in range(len(rows_of))],
    )


# -- words --------------------------------------------------------------------------------------------------


def _values(judged: Judged, problem: Problem, made: Plan, forecasts: Sequence[Forecast]) -> tuple[Value, ...]:
    found = []
    for worth in made.worths:
        f = forecasts[worth.probe]
        found.append(
            Value(
                f.probe.id,
                f.probe.title,
                f.probe.how,
                f.probe.gates,
                made.act_now - worth.two_step,
                problem.first[worth.probe],
                f.probe.minutes,
                f.waits,
                _why(judged, f),
            )
        )
    return tuple(found)


def _why(judged: Judged, f: Forecast) -> str:
    """Which decisions the probe would move most, in one sentence."""
    classes = judged.post.by_class
    lead = [" and ".join(sorted(c)) for c in list(classes)[:2]]
    if len(lead) < 2:
        return f"it would confirm: {lead[0]}"
    minutes = f"{f.probe.minutes:g} minute" + ("" if f.probe.minutes == 1 else "s")
    return f"for its {minutes} it tells best between “{lead[0]}” and “{lead[1]}”"


def _suspects(post: Posterior) -> tuple[Suspect, ...]:
    bench = post.bench
    found = []
    for h, p in post.top(8):
        if p < 1e-4:
            break
        named = bench.space.named(bench.space.sets[h])
        if not named:
            found.append(Suspect("nothing wrong now", "Nothing is wrong with it at the moment.", (), p))
            continue
        families = [(bench.machine.part(part).family, mode) for part, mode in named]
        label = " + ".join(f"{f.title}: {f.mode(m).title}" for f, m in families)
        plain = " ".join(f.mode(m).plain for f, m in families)
        found.append(Suspect(label, plain, named, p))
    return tuple(found)


def _verdict(judged: Judged, problem: Problem, actions: Sequence[frozenset[str]], made: Plan) -> Verdict:
    post, shop = judged.post, judged.bench.shop
    done = _done(judged)
    action = actions[made.action]
    action = action if action == HAND_OVER else action - done or WAIT
    right = math.fsum(p for c, p in post.by_class.items() if c - done <= covered(action))
    rival, factor = _flip(problem, actions, made.action)
    titles = tuple(shop.remedy(r).title for r in sorted(action))
    margin = min((w.two_step for w in made.worths), default=math.inf) - made.act_now
    sentence = f"{' and '.join(titles)} ({right * 100:.0f} % that this puts it right)"
    if done and action <= _NO_REPAIR:
        did = " and ".join(shop.remedy(r).title for r in sorted(done))
        titles = tuple(shop.remedy(r).title for r in sorted(done))
        sentence = f"what was done has put it right: {did} ({right * 100:.0f} % that nothing is left)"
    return Verdict(
        tuple(sorted(action)),
        titles,
        right,
        sentence[0].upper() + sentence[1:],
        made.act_now,
        margin,
        factor,
        tuple(sorted(rival)),
        (),
    )


def _flip(problem: Problem, actions: Sequence[frozenset[str]], chosen: int) -> tuple[frozenset[str], float]:
    """
    Smallest factor on the prior odds of one class that changes the decision.

    With m the mass of a class and d the loss saved there by the rival, the decision flips once
    (factor − 1)·m·d exceeds the rival's present disadvantage.
    """
    mass = [0.0] * len(problem.loss[0])
    for w, c in zip(problem.weights, problem.classes, strict=True):
        mass[c] += w
    own = problem.loss[chosen]
    best: tuple[float, frozenset[str]] = (math.inf, frozenset())
    for a, row in enumerate(problem.loss):
        if a == chosen:
            continue
        behind = math.fsum(m * (x - y) for m, x, y in zip(mass, row, own, strict=True))
        for m, x, y in zip(mass, row, own, strict=True):
            if m > 0.0 and y - x > 1e-9:
                factor = 1.0 + behind / (m * (y - x))
                if factor < best[0]:
                    best = (factor, actions[a])
    return best[1], best[0]


def _guard_probe(judged: Judged, unmet: Sequence[GuardState]) -> Probe | None:
    known = probes_of(judged.situation.machine, judged.bench.shop)
    for guard in unmet:
        for name in guard.probes:
            taken = sum(o.probe == name for o in judged.situation.observations)
            if name in known and name not in judged.situation.skipped and taken < _GUARD_TRIES:
                return known[name]
        return None
    return None


def _guard_value(judged: Judged, probe: Probe, guard: GuardState) -> Value:
    shop = judged.bench.shop
    waits = _wait_minutes(judged.situation, probe.heat) if guard.name in ("windings-cold", "runs") else 0.0
    cost = shop.money(probe.minutes) + probe.risk + _opening(probe, _cover_open(judged), shop)
    again = any(o.probe == probe.id for o in judged.situation.observations)
    before = "left as it is" if guard.name == "runs" else "condemned"
    reason = f"no compressor is {before} before this stands in the record: {guard.title}"
    if again:
        reason += "; lift the tips, press them on bright metal and read once more"
    return Value(probe.id, probe.title, probe.how, probe.gates, 0.0, cost, probe.minutes, waits, reason)


def _handed_over(judged: Judged, verdict: Verdict, unmet: Sequence[GuardState]) -> Verdict:
    names = ", ".join(g.title for g in unmet)
    title = judged.bench.shop.remedy("hand over").title
    return replace(
        verdict,
        remedies=("hand over",),
        titles=(title,),
        probability=judged.post.by_class.get(HAND_OVER, 0.0),
        sentence=f"{title[0].upper()}{title[1:]}: the likeliest would be “{' and '.join(verdict.titles)}”, "
        f"but this could not be done or shown here: {names}",
    )
