"""
Policies: ways of deciding what to test next and when to act.

``program`` follows the program's advice. ``checklist`` and ``careful checklist`` are trade habits written
down without the model. The others use the program's own posterior with another order, another stop or a
poorer model, to see what each ingredient is worth. ``oracle`` knows the truth: the floor.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from benchmarks.checklist import careful, usual
from benchmarks.visit import Visit
from benchmarks.world import Case, standstill
from humclick.diagnosis.advice import (
    _GROUNDED,
    _before_power,
    _guard_probe,
    _guard_value,
    advise,
)
from humclick.diagnosis.bench import Bench
from humclick.diagnosis.choices import choices
from humclick.diagnosis.damage import remedies_done
from humclick.diagnosis.decisions import HAND_OVER, NO_REPAIR, REPLACE_COMPRESSOR
from humclick.diagnosis.evidence import compile_evidence
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.guards import (
    as_guards,
    askable,
    guards_for,
    guards_for_no_repair,
    needs_before,
)
from humclick.diagnosis.hypotheses import Hypotheses
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.planner import Choice, Plan, plan
from humclick.diagnosis.power import Bar, bars, owed, three_equal
from humclick.diagnosis.probes import probe_of
from humclick.diagnosis.shop import Shop, default_shop
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.suspects import posterior
from humclick.readings import Leads

__all__ = ["MOST_PROBES", "POLICIES", "Brain", "Outcome"]

#: A policy that has taken this many probes must act.
MOST_PROBES = 30

_WAIT = frozenset({"wait"})
#: What is put right without a new part.
_ADJUSTMENTS = frozenset({"clear condenser", "correct wiring", "set control", "warm compressor"})


@dataclass(frozen=True, slots=True)
class Outcome:
    """
    How a call ended.

    Attributes
    ----------
    policy, seed : str
        Which, on which call.
    action, needed : frozenset of str
        What was decided, and what would have fixed it.
    faults : int
        Parts really not healthy.
    unmodelled : bool
        The cause is not in the program's list.
    probability : float
        Of the decision class, as the policy saw it when it stopped; NaN for policies without one. [-]
    exact : bool
        Whether what was left to do was exactly that class.
    right : bool
        The decision costs nothing too much; a hand-over counts only where the cause is not in the list.
    no_part_in_vain : bool
        As ``right``, except that an adjustment without a part (wiring, cleaning, setting) may be needless. A
        part that was seen broken is not in vain.
    cured : bool
        The machine runs afterwards, money wasted or not.
    missed : bool
        Several remedies were needed; some were done, but not all.
    probes : int
        Probes taken.
    minutes, probing, loss
        Time [min]; cost of probes and waits, and of the decision. [money]
    capped : bool
        Stopped only by the cap on probes.
    log : tuple of str
        What was seen, in order.
    """

    policy: str
    seed: str
    action: frozenset[str]
    needed: frozenset[str]
    faults: int
    unmodelled: bool
    probability: float
    exact: bool
    right: bool
    no_part_in_vain: bool
    cured: bool
    missed: bool
    probes: int
    minutes: float
    probing: float
    loss: float
    capped: bool
    log: tuple[str, ...]

    @property
    def total(self) -> float:
        """Cost of probes, waits and decision. [money]"""
        return self.probing + self.loss

    @property
    def condemned(self) -> bool:
        """A compressor was condemned."""
        return REPLACE_COMPRESSOR in self.action

    @property
    def condemned_good(self) -> bool:
        """A good compressor was condemned."""
        return self.condemned and REPLACE_COMPRESSOR not in self.needed

    @property
    def handed_over(self) -> bool:
        """Somebody else was called."""
        return self.action == HAND_OVER


def _own(visit: Visit, action: frozenset[str]) -> frozenset[str]:
    """What an action adds to the parts fitted on trial."""
    return action if action == HAND_OVER else action - visit.done or _WAIT


def _parts(visit: Visit, action: frozenset[str]) -> frozenset[str]:
    """Remedies carried out for which a part is bought."""
    both = (action | visit.fitted) - _WAIT
    return both - _ADJUSTMENTS


def _ended(
    policy: str, visit: Visit, action: frozenset[str], probability: float = math.nan, *, capped: bool = False
) -> Outcome:
    case = visit.case
    own = _own(visit, action)
    price = visit.price(action)
    covered = visit.covered(action)
    cured = action != HAND_OVER and case.needed <= covered
    return Outcome(
        policy,
        case.seed,
        action,
        case.needed,
        case.faults,
        case.unmodelled,
        probability,
        own == visit.left,
        case.unmodelled if action == HAND_OVER else price == 0.0,
        case.unmodelled
        if action == HAND_OVER
        else cured and not _parts(visit, action) - case.needed - visit.due,
        cured,
        not cured and len(case.needed) > 1 and bool(case.needed & covered),
        len(visit.observations),
        visit.minutes,
        visit.money,
        price,
        capped,
        tuple(visit.log),
    )


def _probability(judged: Judged, visit: Visit, action: frozenset[str]) -> float:
    own = _own(visit, action)
    return math.fsum(p for c, p in judged.post.by_class.items() if visit.left_of(c) == own)


def _program(case: Case) -> Outcome:
    """The program as it stands: its advice is followed until it gives a verdict."""
    visit = Visit(case)
    while True:
        situation = visit.situation()
        advice = advise(situation)
        capped = advice.kind != "verdict" and len(visit.observations) >= MOST_PROBES
        if advice.verdict is not None or capped:
            action = frozenset(advice.verdict.remedies) if advice.verdict else HAND_OVER
            p = _probability(judge(situation), visit, action)
            return _ended("program", visit, action, p, capped=capped)
        assert advice.next is not None
        if advice.next.waits > 0:
            visit.wait(advice.next.waits)
        visit.follow(advice.next.probe)


# -- the same posterior with something else ---------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Brain:
    """
    A variation of the program.

    Attributes
    ----------
    name, title : str
        Short name, and what is different.
    order : str
        ``worth`` (two steps ahead), ``static`` (information per cost as it is at the start) or ``random``.
    stop : str
        ``two-step``, ``one-step``, or ``threshold`` (act once a class has passed 0.95).
    most : int
        Largest number of faults in a hypothesis. [-]
    leads, slips : bool
        Whether lead resistance and human error are in the model.
    guarded : bool
        Whether guards, bars and what must be shown before power are heeded.
    """

    name: str
    title: str
    order: str = "worth"
    stop: str = "two-step"
    most: int = 3
    leads: bool = True
    slips: bool = True
    guarded: bool = True


_BRAINS = (
    Brain(
        "static order", "best fixed order by information per cost at the start, two-step stop", order="static"
    ),
    Brain("random order", "probes in random order, two-step stop", order="random"),
    Brain("threshold stop", "program's choice, acts once a decision has passed 0.95", stop="threshold"),
    Brain("one-step stop", "acts as soon as no single probe pays", stop="one-step"),
    Brain(
        "no guards",
        "condemns a compressor, or leaves a machine as it is, on expected loss alone",
        guarded=False,
    ),
    Brain("one fault", "believes in one fault at a time", most=1),
    Brain("two faults", "believes in at most two faults at a time", most=2),
    Brain("no leads", "does not know of lead resistance", leads=False),
    Brain("no slips", "does not know of human error", slips=False),
)

_BENCHES: dict[tuple[object, ...], Bench] = {}


def _shop_of(brain: Brain) -> Shop:
    shop = default_shop()
    if not brain.slips:
        shop = replace(shop, slips={k: 1e-9 if v < 1.0 else v for k, v in shop.slips.items()})
    if not brain.leads:
        shop = replace(shop, slips={**shop.slips, "null_forgotten": 0.0})
    return shop


_SHOPS: dict[str, Shop] = {}


def _bench(case: Case, brain: Brain) -> Bench:
    machine = case.machine
    model = (brain.most, brain.leads, brain.slips)
    key = (machine.arrangement.id, machine.protector, machine.nameplate, *sorted(machine.known), model)
    if key not in _BENCHES:
        if len(_BENCHES) > 12:
            _BENCHES.clear()
        shop = _SHOPS.setdefault(str(model[1:]), _shop_of(brain))
        bench = Bench(machine, shop)
        bench.space = Hypotheses(machine, shop, most=brain.most)
        bench.standstill = standstill(machine)  # the same physics, worked out once
        _BENCHES[key] = bench
    return _BENCHES[key]


def _judged(situation: Situation, bench: Bench) -> Judged:
    evidence = compile_evidence(bench, situation)
    return Judged(bench, situation, evidence, posterior(bench, evidence))


_ORDERS: dict[tuple[object, ...], list[tuple[str, float]]] = {}


def information(problem: Choice) -> list[float]:
    """Expected fall of the entropy over decision classes, by probe. [nat]"""
    columns = len(problem.loss[0])

    def entropy(mass: list[float]) -> float:
        total = math.fsum(mass)
        return -math.fsum(m * math.log(m / total) for m in mass if m > 0.0)

    now = [0.0] * columns
    for w, c in zip(problem.weights, problem.classes, strict=True):
        now[c] += w
    gains = []
    for table, rows in zip(problem.tables, problem.rows_of, strict=True):
        left = 0.0
        for o in range(len(table[0])):
            mass = [0.0] * columns
            for w, c, r in zip(problem.weights, problem.classes, rows, strict=True):
                mass[c] += w * table[r][o]
            left += entropy(mass)
        gains.append(entropy(now) - left)
    return gains


def _static(case: Case, visit: Visit, bench: Bench) -> list[tuple[str, float]]:
    """Probes with their waits, by information per cost before anything was seen."""
    machine = case.machine
    key = (machine.arrangement.id, machine.protector, machine.nameplate, case.complaint, visit.hot)
    if key not in _ORDERS:
        problem, _, forecasts = choices(_judged(visit.situation(), bench))
        ranked = sorted(
            zip(information(problem), problem.first, forecasts, strict=True),
            key=lambda row: -row[0] / row[1],
        )
        order: dict[str, float] = {}
        for _, _, forecast in ranked:
            order.setdefault(forecast.probe.id, forecast.waits)
        _ORDERS[key] = list(order.items())
    return _ORDERS[key]


def _stops(brain: Brain, problem: Choice, made: Plan) -> bool:
    if brain.stop == "two-step":
        return made.best is None
    if brain.stop == "one-step":
        return all(w.one_step >= made.act_now - 1e-7 for w in made.worths)
    mass: dict[int, float] = {}
    for w, c in zip(problem.weights, problem.classes, strict=True):
        mass[c] = mass.get(c, 0.0) + w
    return max(mass.values()) > 0.95 or not made.worths


def _next(
    brain: Brain, visit: Visit, made: Plan, offered: list[tuple[str, float]], static: list[tuple[str, float]]
) -> tuple[str, float] | None:
    if brain.order == "worth":
        if brain.stop == "one-step":
            best = min(made.worths, key=lambda w: w.one_step)
        else:
            best = made.best or made.worths[0]
        return offered[best.probe]
    names = {name for name, _ in offered}
    if brain.order == "static":
        left = [row for row in static if row[0] not in visit.counts and row[0] in names]
    else:
        left = sorted({name: waits for name, waits in offered if name not in visit.counts}.items())
        random.Random(f"{visit.case.seed}|order|{len(visit.observations)}").shuffle(left)
    if not left:
        return None
    name, waits = left[0]
    return name, min(waits, max((w for n, w in offered if n == name), default=0.0))


def _unmet(judged: Judged, action: frozenset[str], every: Sequence[Bar]) -> tuple[GuardState, ...]:
    """Guards that stand between the record and an action, as the program has them."""
    situation, shop = judged.situation, judged.bench.shop
    guards: tuple[GuardState, ...] = ()
    if REPLACE_COMPRESSOR in action:
        guards = guards_for(judged.bench, situation, judged.post)
    elif action != HAND_OVER:
        guards = _before_power(judged, every)
        due, done = owed(situation, shop, every), remedies_done(situation)
        left = action - (done - due) or _WAIT
        if left - (due - {remedy for bar in every for remedy in bar.remedies}) <= NO_REPAIR:
            unexplained = left <= _WAIT and not done
            guards = (*guards, *guards_for_no_repair(judged.bench, situation, unexplained=unexplained))
    return tuple(g for g in guards if g.open)


def _first(judged: Judged, planned: str | None, every: Sequence[Bar]) -> tuple[str, float] | None:
    """What has to be shown before a probe or a verdict, and its wait; None if nothing has to, or can be."""
    grounded = judged.post.of_mode("run_winding", "grounded") + judged.post.of_mode(
        "start_winding", "grounded"
    )
    probe = probe_of(judged.bench.machine, planned, judged.bench.shop) if planned is not None else None
    barred = as_guards(every) if grounded < _GROUNDED else ()
    again = tuple(g for g in barred if askable(judged.situation, g, judged.bench.shop, every) is not None)
    asked = _guard_probe(judged, again or needs_before(judged.situation, probe, judged.bench.shop))
    return None if asked is None else (asked[0].id, _guard_value(judged, *asked).waits)


def _variation(brain: Brain) -> Callable[[Case], Outcome]:
    def run(case: Case) -> Outcome:
        visit = Visit(case)
        bench = _bench(case, brain)
        static = _static(case, visit, bench) if brain.order == "static" else []
        while True:
            situation = visit.situation()
            if not brain.leads:
                situation = replace(situation, leads=Leads(nulled=True))
            judged = _judged(situation, bench)
            every = bars(situation, bench.shop)
            problem, actions, forecasts = choices(judged, every)
            made = plan(problem)
            offered = [(f.probe.id, f.waits) for f in forecasts]
            capped = len(visit.observations) >= MOST_PROBES
            chosen = None
            if not capped and offered and not _stops(brain, problem, made):
                chosen = _next(brain, visit, made, offered, static)
            action = actions[made.action]
            if brain.guarded:
                if three_equal(situation) or any(bar.whole for bar in every):
                    chosen, action = None, HAND_OVER
                elif not capped:
                    chosen = _first(judged, chosen and chosen[0], every) or chosen
                unmet = _unmet(judged, action, every) if chosen is None else ()
                asked = None if capped else _guard_probe(judged, unmet)
                if asked is not None:
                    chosen = (asked[0].id, _guard_value(judged, *asked).waits)
                elif unmet:
                    action = HAND_OVER
            if chosen is None:
                return _ended(brain.name, visit, action, _probability(judged, visit, action), capped=capped)
            if chosen[1] > 0:
                visit.wait(chosen[1])
            visit.follow(chosen[0])

    return run


# -- without the model -------------------------------------------------------------------------------------


def _habit(name: str, rule: Callable[[Visit], frozenset[str]]) -> Callable[[Case], Outcome]:
    def run(case: Case) -> Outcome:
        visit = Visit(case)
        return _ended(name, visit, rule(visit))

    return run


def _oracle(case: Case) -> Outcome:
    return _ended("oracle", Visit(case), case.needed, 1.0)


POLICIES: Mapping[str, Callable[[Case], Outcome]] = {
    "program": _program,
    "checklist": _habit("checklist", usual),
    "careful checklist": _habit("careful checklist", careful),
    **{brain.name: _variation(brain) for brain in _BRAINS},
    "oracle": _oracle,
}

TITLES: Mapping[str, str] = {
    "program": "the program's advice, followed to its verdict",
    "checklist": "the usual order, acts at the first abnormal reading, else condemns the compressor",
    "careful checklist": "the same, but tries known-good start gear before it condemns",
    **{brain.name: brain.title for brain in _BRAINS},
    "oracle": "knows what is wrong: the floor",
}
