"""
What can be chosen now: the probes on offer with their costs and forecasts, and the actions with their losses.

Everything the planner weighs against each other is put together here. Money throughout, minutes for times.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from humclick.diagnosis.damage import remedies_done, remedy_of
from humclick.diagnosis.decisions import HAND_OVER, NO_REPAIR, actions_for, losses
from humclick.diagnosis.forecast import Forecast, forecast
from humclick.diagnosis.guards import forbidden
from humclick.diagnosis.judged import Judged
from humclick.diagnosis.observations.outlook import Offer
from humclick.diagnosis.planner import Choice
from humclick.diagnosis.power import Bar, bars, insulation, owed
from humclick.diagnosis.probes import Probe, Taken, probe_of, probes_of, taken_of
from humclick.diagnosis.rested import runs_as_it_is
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Situation, wait_minutes
from humclick.diagnosis.suspects import NONE

__all__ = ["choices", "cover_open", "opening_cost"]

#: Planning looks at the most probable sets up to this mass, and at no more than this many. [-]
_PLANNED_MASS, _PLANNED_MOST = 0.993, 110
#: Above this probability of a grounded winding nothing is powered until the shell has been tested. [-]
_GROUNDED = 0.03
#: What runs as it is is repaired only where that is clearly more probably needed than not. A choice. [-]
_LIKELIER = 0.6
#: Price of a second probe that is not to be planned. [money]
_NEVER = 1e9


def _offered(judged: Judged, every: Sequence[Bar]) -> list[tuple[Probe, float]]:
    """Probes that may be taken now, each with the wait before it."""
    situation, bench, post = judged.situation, judged.bench, judged.post
    to_shell = post.of_windings("grounded")
    tested = insulation(situation, bench.shop).standing is not None
    blocked = to_shell > 0.5 or (to_shell > _GROUNDED and not tested)
    counts = Counter(o.probe for o in situation.observations)
    odd = _odd(judged)
    taken = taken_of(situation.machine, situation.observations, bench.shop)
    offer = Offer(situation, bench, taken, frozenset(list(post.by_remedy)[:3]))
    restless = _restless(taken, situation)
    offered: list[tuple[Probe, float]] = []
    for probe in probes_of(situation.machine, bench.shop).values():
        if probe.id in situation.skipped or (probe.energises and blocked):
            continue
        if not probe.model.offered(offer, probe):
            continue
        waits = 0.0 if probe.heat == "windings" else wait_minutes(situation, probe.heat)
        times = counts[probe.id]
        settled = times and not (probe.id in odd and times < 3)
        if settled and not (waits and not _taken_cold(situation, probe.id)):
            continue
        if forbidden(situation, probe, bench.shop, every):
            continue
        if waits:
            offered.append((probe, waits))
        if not settled and not (waits and restless and probe.energises):
            offered.append((probe, 0.0))
    return offered


def _restless(taken: Sequence[Taken], situation: Situation) -> bool:
    """Whether it has just run: started again at once it stands against its own pressures."""
    tries = [o.answer for probe, o in taken if probe.heard and o.answer]
    return situation.hot is True and bool(tries) and tries[-1] in (Heard.RUNS, Heard.TRIPS)


def _taken_cold(situation: Situation, name: str) -> bool:
    return any(o.probe == name and o.temperature.cool for o in situation.observations)


def _odd(judged: Judged) -> set[str]:
    """Probes whose reading a healthy machine would rarely give, or that scatter: worth repeating."""
    odd = set()
    for factor in judged.evidence.factors:
        if not factor.table or not factor.observations:
            continue
        totals = {c: math.fsum(row) for c, row in factor.table.items()}
        healthy = totals.get((0,) * len(factor.scope), 1.0)
        if healthy < 0.2 * max(totals.values()):
            odd |= {judged.situation.observations[i].probe for i in factor.observations}
    return {name for name in odd if _repeats(judged, _probe(judged, name))}


def _repeats(judged: Judged, probe: Probe) -> bool:
    """Whether it is taken again: a look only where that shows how things stand, or if the machine runs."""
    situation, machine = judged.situation, judged.bench.machine
    if probe.look is None or probe.again:
        return probe.model.repeats
    ran = runs_as_it_is(situation, taken_of(machine, situation.observations, judged.bench.shop))
    return ran and probe.id not in machine.put_right


def _probe(judged: Judged, name: str) -> Probe:
    return probe_of(judged.situation.machine, name, judged.bench.shop)


def _costs(
    judged: Judged, forecasts: Sequence[Forecast], to_shell: float
) -> tuple[list[float], list[list[float]]]:
    shop = judged.bench.shop
    probes = [f.probe for f in forecasts]
    costs = []
    for f in forecasts:
        risk = f.probe.risk + (to_shell * shop.rates["energised_ground"] if f.probe.live else 0.0)
        cost = shop.money(f.probe.minutes) + risk + f.waits * shop.rates["waiting"]
        costs.append(max(cost, 0.2))
    open_now = cover_open(judged)
    first = [c + opening_cost(p, open_now, shop) for c, p in zip(costs, probes, strict=True)]
    second = []
    opening = {state: [opening_cost(p, state, shop) for p in probes] for state in (False, True)}
    repairs, waiting = [p.repairs for p in probes], shop.rates["waiting"]
    for f, repaired in zip(forecasts, repairs, strict=True):
        row = []
        for g, cost, more, again in zip(
            forecasts, costs, opening[_cover_after(f.probe, open_now)], repairs, strict=True
        ):
            saved = min(f.waits, g.waits) * waiting  # waited already
            twice = repaired and again  # planned afresh after the first
            row.append(_NEVER if twice else max(0.2, cost - saved) + more)
        second.append(row)
    return first, second


def cover_open(judged: Judged) -> bool:
    """Whether the terminal cover is off after all that was done."""
    state = False
    for o in judged.situation.observations:
        state = _cover_after(_probe(judged, o.probe), state)
    return state


def _cover_after(probe: Probe, state: bool) -> bool:
    if probe.covered:
        return False
    return state or probe.inside


def opening_cost(probe: Probe, open_now: bool, shop: Shop) -> float:
    """What getting to a probe costs by itself: the cover off, or back on. [money]"""
    if probe.inside and not open_now:
        return shop.money(shop.opening["cover"])
    if probe.covered and open_now:
        return shop.money(shop.opening["closed"])
    return 0.0


def choices(
    judged: Judged, every: Sequence[Bar] | None = None
) -> tuple[Choice, list[frozenset[str]], list[Forecast]]:
    """
    The decision as it stands: what the planner weighs.

    Parameters
    ----------
    judged : Judged
        The situation, weighed.
    every : sequence of Bar, optional
        What forbids power or work, where it is worked out already.

    Returns
    -------
    problem : Choice
        Cases, losses, forecasts and costs. [money]
    actions : list of frozenset of str
        Action of each row of the loss table.
    forecasts : list of Forecast
        Probe of each entry of the problem.
    """
    bench, situation, post = judged.bench, judged.situation, judged.post
    cases, mass = [], 0.0
    for chosen, p in post.likeliest(_PLANNED_MOST):
        if mass >= _PLANNED_MASS * (1.0 - post.none) or p <= 0.0:
            break
        cases.append((chosen, p))
        mass += p
    every = bars(situation, bench.shop) if every is None else every
    offered = _offered(judged, every)
    forecasts = forecast(bench, situation, post, [chosen for chosen, _ in cases], offered)
    due = owed(situation, bench.shop, every)
    done = remedies_done(situation) - due
    actions = actions_for(post.by_class, due)
    if runs_as_it_is(situation, taken_of(situation.machine, situation.observations, bench.shop)):
        needless = {remedy for remedy, p in post.by_remedy.items() if p < _LIKELIER} - due - NO_REPAIR
        actions = [a for a in actions if a == HAND_OVER or not a & needless]
    classes: dict[frozenset[str], int] = {}
    columns = [classes.setdefault(bench.space.remedies(chosen), len(classes)) for chosen, _ in cases]
    columns.append(classes.setdefault(NONE, len(classes)))
    weights = [p for _, p in cases] + [post.none]
    scale = math.fsum(weights)
    weights = [w / scale for w in weights]
    tables, rows_of = [], []
    for f in forecasts:
        tables.append([*f.rows, f.none])
        rows_of.append([*f.which, len(f.rows)])
    weights, columns, rows_of = _merged(weights, columns, rows_of)
    first, second = _costs(judged, forecasts, post.of_windings("grounded"))
    after: list[list[list[float]] | None] = []
    for f in forecasts:
        if not f.probe.repairs:
            after.append(None)
            continue
        remedy = remedy_of(bench.machine, f.probe.part)
        joined = [a | {remedy} if a != HAND_OVER else a for a in actions]
        after.append(losses(joined, list(classes), bench.shop, done, due))
    table = losses(actions, list(classes), bench.shop, done, due)
    problem = Choice(weights, columns, table, forecasts, rows_of, tables, first, second, after)
    return problem, actions, forecasts


def _merged(
    weights: list[float], columns: list[int], rows_of: list[list[int]]
) -> tuple[list[float], list[int], list[list[int]]]:
    """Cases that no probe and no action can tell apart become one."""
    groups: dict[tuple[int, ...], float] = {}
    for w, key in zip(weights, zip(columns, *rows_of, strict=True), strict=True):
        groups[key] = groups.get(key, 0.0) + w
    merged = list(map(list, zip(*groups, strict=True)))
    return list(groups.values()), merged[0], merged[1:]
