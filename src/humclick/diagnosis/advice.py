"""
Advice: suspects, the next probe or a wait or a verdict, with the figures behind it.

The one entry to judgement: `advise` takes a situation and says what to do next; `explain` and `what_if` in
`humclick.diagnosis.reasons` say why.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from humclick.diagnosis.advised import Advice, Suspect, Value
from humclick.diagnosis.choices import choices, cover_open, opening_cost
from humclick.diagnosis.damage import remedies_done
from humclick.diagnosis.decisions import HAND_OVER, NO_REPAIR, REPLACE_COMPRESSOR, WAIT
from humclick.diagnosis.doubts import doubted
from humclick.diagnosis.forecast import Forecast
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.guards import (
    as_guards,
    askable,
    guards_for,
    guards_for_no_repair,
    insulation_needs,
    needs_before,
)
from humclick.diagnosis.judged import Judged, judge
from humclick.diagnosis.mixture import mixed
from humclick.diagnosis.observations.model import INSIDE
from humclick.diagnosis.planner import Choice, Plan, plan
from humclick.diagnosis.power import Bar, bars, owed, owed_for, since_repair, three_equal
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.remaining import left_suspects, left_to_do
from humclick.diagnosis.rested import rested_try, seen_again
from humclick.diagnosis.shop import Shop, default_shop, remedies_named
from humclick.diagnosis.situation import Situation
from humclick.diagnosis.unread import sizes_unread
from humclick.diagnosis.verdicts import (
    Verdict,
    handed_over,
    never_powered,
    not_for_the_line,
    stopped,
    verdict_of,
)
from humclick.messages import Message, listed
from humclick.readings.shown import minutes_of

__all__ = ["Advice", "Suspect", "Value", "Verdict", "advise"]

#: So much more is measured, with power off, once something must be put right before power. A choice.
_MEANWHILE = 5
#: From here a winding is taken for grounded, and the guards of a compressor ask what is missing. [-]
_GROUNDED = 0.5


def advise(situation: Situation, *, shop: Shop | None = None, arrays: bool | None = None) -> Advice:
    """
    What to do next in a situation; where nobody is sure of the arrangement, over all it may be.

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
    if situation.machine.also:
        return mixed(situation, shop or default_shop(), lambda one: advise(one, shop=shop, arrays=arrays))
    judged = judge(situation, shop)
    blank = _blank(judged, bars(situation, judged.bench.shop))
    if any(bar.whole for bar in blank.bars):
        return replace(blank, kind="stop", verdict=stopped(judged, blank.bars))
    if three_equal(situation):
        return replace(blank, verdict=not_for_the_line(judged))
    return _planned(judged, blank, arrays)


def _blank(judged: Judged, every: tuple[Bar, ...]) -> Advice:
    """What is suspected and what bars power; nothing is advised yet."""
    post = judged.post
    return Advice(
        kind="verdict",
        suspects=_suspects(judged),
        remedies=tuple(left_to_do(judged).items())[:8],
        none_of_these=post.none,
        left_out=post.left_out,
        beyond=post.beyond,
        next=None,
        alternatives=(),
        verdict=None,
        guards=(),
        bars=every,
    )


def _planned(judged: Judged, blank: Advice, arrays: bool | None) -> Advice:
    """The probe or the verdict that planning ends in, and what stands before it."""
    situation, shop, every = judged.situation, judged.bench.shop, blank.bars
    problem, actions, wanted = choices(judged, every)
    made = plan(problem, arrays=arrays)
    values = _values(judged, problem, made, wanted)
    free = tuple(v for v in values if not needs_before(situation, _probe(judged, v.probe), shop))
    barred = as_guards(every) if judged.post.of_windings("grounded") < _GROUNDED else ()
    unread = tuple(g for g in barred if askable(situation, g, shop, every) is not None)
    if barred and not unread:  # no test with power off changes that
        return replace(blank, verdict=never_powered(judged, [guard.title for guard in barred]))
    doubt = doubted(judged)
    asked = _guarded(judged, blank, (doubt,), free) if doubt is not None else None
    if asked is not None:
        return asked
    best = _best(judged, problem, made, values, every)
    planned = _probe(judged, best.probe) if best is not None else None
    needs = unread or sizes_unread(judged) or needs_before(situation, planned, shop)
    if not needs and planned is not None and planned.repairs:
        needs = rested_try(judged)
    guarded = _guarded(judged, blank, needs, free)
    if guarded is not None:
        return guarded
    if best is not None:
        best = _sooner(judged, best, free) or best
        rest = _meanwhile(judged, best, [v for v in free if v is not best])
        kind = "wait" if best.waits > 0 else "probe"
        return replace(blank, kind=kind, next=best, alternatives=tuple(rest[:6]))
    return _decided(judged, blank, problem, actions, made, free)


def _probe(judged: Judged, name: str) -> Probe:
    return probe_of(judged.situation.machine, name, judged.bench.shop)


def _best(
    judged: Judged, problem: Choice, made: Plan, values: Sequence[Value], every: Sequence[Bar]
) -> Value | None:
    """The probe worth most; None where it is time to decide."""
    situation, shop = judged.situation, judged.bench.shop
    so_far = owed_for(situation, shop)
    if made.best is None or (so_far is not None and so_far >= _MEANWHILE):
        return None
    if since_repair(situation, shop, fitting=True) and not _to_be_proved(situation, shop):
        begun = [v for v in values if _probe(judged, v.probe).repairs]  # and looked over
        if begun:
            return begun[0]
    chosen = problem.forecasts[made.best.probe]
    return next(v for v in values if v.probe == chosen.probe.id and v.waits == chosen.waits)


def _to_be_proved(situation: Situation, shop: Shop) -> bool:
    """Whether something was put right and the machine was not powered since."""
    last = [o for o in situation.observations if o.repairs == situation.repairs]
    return bool(situation.repairs) and not any(
        probe_of(situation.machine, o.probe, shop).energises for o in last
    )


def _decided(
    judged: Judged,
    blank: Advice,
    problem: Choice,
    actions: Sequence[frozenset[str]],
    made: Plan,
    free: Sequence[Value],
) -> Advice:
    """
    The verdict, once nothing that stands before it is open; else what is open, or handing over.

    What bars power until it is put right comes first: where nothing more can be shown before, that alone is
    the verdict, and the rest is looked for under power afterwards.
    """
    situation, action = judged.situation, actions[made.action]
    verdict = verdict_of(judged, problem, actions, made)
    guards: tuple[GuardState, ...] = ()
    unmet: tuple[GuardState, ...] = ()
    if REPLACE_COMPRESSOR in action:
        guards = guards_for(judged.bench, situation, judged.post)
    elif action == HAND_OVER:  # not while a reading may still lift what bars power
        unmet = as_guards(blank.bars)
    elif action != HAND_OVER:
        unmet = _before_power(judged, blank.bars)
        repairs = {remedy for bar in blank.bars for remedy in bar.remedies}  # before it may be tried
        extra = owed(situation, judged.bench.shop, blank.bars) - repairs
        if frozenset(verdict.due) - extra <= NO_REPAIR:
            unexplained = frozenset(verdict.due) <= WAIT and not remedies_done(situation)
            guards = guards_for_no_repair(judged.bench, situation, unexplained=unexplained)
    unmet = (*unmet, *(g for g in guards if g.open))
    guarded = _before_repair(judged, blank, action, free) or _guarded(judged, blank, unmet, free)
    if guarded is not None:
        return guarded
    first = frozenset(remedy for bar in blank.bars for remedy in bar.remedies)
    if first and (unmet or action == HAND_OVER) and not _before_power(judged, blank.bars):
        verdict = verdict_of(judged, problem, actions, _acting(problem, made, actions, first))
        unmet = guards = ()
    lasting = [bar for bar in blank.bars if not (bar.gates or bar.remedies)]
    if unmet and lasting:
        verdict = never_powered(judged, [bar.title for bar in lasting])
    elif unmet:  # a guard that cannot be met here: somebody else must look
        verdict = handed_over(judged, verdict, unmet)
    return replace(blank, verdict=replace(verdict, guards=guards), alternatives=tuple(free[:6]))


def _before_repair(
    judged: Judged, blank: Advice, action: frozenset[str], free: Sequence[Value]
) -> Advice | None:
    """The try, or the look, that a repair of what may be sound waits for; None where none can be had here."""
    if action == HAND_OVER or action <= NO_REPAIR:
        return None
    repairs = action - owed(judged.situation, judged.bench.shop) - NO_REPAIR
    for guard in (*(rested_try(judged) if repairs else ()), *seen_again(judged, action)):
        asked = _guarded(judged, blank, (guard,), free)
        if asked is not None:
            return asked
    return None


def _acting(problem: Choice, made: Plan, actions: Sequence[frozenset[str]], first: frozenset[str]) -> Plan:
    """The plan with the action that puts right what comes first, and as little else as there is."""
    action = min((a for a, x in enumerate(actions) if first <= x), key=lambda a: (len(actions[a]), a))
    rows = zip(problem.weights, problem.classes, strict=True)
    return replace(made, action=action, act_now=math.fsum(w * problem.loss[action][c] for w, c in rows))


def _before_power(judged: Judged, every: Sequence[Bar]) -> tuple[GuardState, ...]:
    """What still has to be shown, or read again, before a decision that ends in power."""
    return (*as_guards(every), *insulation_needs(judged.situation, judged.bench.shop))


# -- words --------------------------------------------------------------------------------------------------


def _values(judged: Judged, problem: Choice, made: Plan, forecasts: Sequence[Forecast]) -> tuple[Value, ...]:
    values, leads = [], _leading(judged)
    why: dict[float, Message] = {}
    for worth in made.worths:
        f = forecasts[worth.probe]
        if f.probe.minutes not in why:
            why[f.probe.minutes] = _why(leads, f)
        values.append(
            Value(
                f.probe.id,
                f.probe.title,
                f.probe.how,
                f.probe.gates,
                made.act_now - worth.two_step,
                problem.first[worth.probe],
                f.probe.minutes,
                f.waits,
                why[f.probe.minutes],
            )
        )
    return tuple(values)


def _leading(judged: Judged) -> list[Message]:
    """The two likeliest decisions, what was done left out."""
    done = remedies_done(judged.situation)
    left = dict.fromkeys([c if c == HAND_OVER else c - done for c in judged.post.by_class])
    return [remedies_named(c) for c in list(left)[:2]]


def _why(lead: Sequence[Message], f: Forecast) -> Message:
    """Which decisions the probe would move most, in one sentence."""
    if len(lead) < 2:
        return Message("it would confirm: {remedies}", remedies=lead[0])
    return Message(
        "for its {minutes} it tells best between “{first}” and “{second}”",
        minutes=minutes_of(f.probe.minutes),
        first=lead[0],
        second=lead[1],
    )


def _suspects(judged: Judged) -> tuple[Suspect, ...]:
    """What may be wrong now, what was put right left out."""
    machine = judged.bench.machine
    suspects = []
    for named, p in left_suspects(judged):
        if p < 1e-4:
            break
        if not named:
            label = Message("nothing wrong now")
            suspects.append(Suspect(label, label, Message("Nothing is wrong with it at the moment."), (), p))
            continue
        families = [(machine.part(part).family, mode) for part, mode in named]
        labels = [Message("{part}: {mode}", part=f.title, mode=f.mode(m).title) for f, m in families]
        short = [Message("{part}: {mode}", part=f.title, mode=f.mode(m).short) for f, m in families]
        plain = [f.mode(m).plain for f, m in families]
        suspects.append(
            Suspect(listed(labels, "plus"), listed(short, "plus"), listed(plain, "space"), named, p)
        )
    return tuple(suspects)


def _guard_probe(judged: Judged, unmet: Sequence[GuardState]) -> tuple[Probe, GuardState] | None:
    """The probe to take for the first guard that is open, and the guard it is for."""
    for guard in unmet[:1]:
        probe = askable(judged.situation, guard, judged.bench.shop)
        if probe is not None:
            needs = [
                need
                for name in guard.probes
                for need in needs_before(judged.situation, _probe(judged, name), judged.bench.shop)
                if probe.id in need.probes
            ]
            return probe, guard if probe.id in guard.probes else (needs or [guard])[0]
    return None


def _guard_value(judged: Judged, probe: Probe, guard: GuardState) -> Value:
    shop = judged.bench.shop
    cost = shop.money(probe.minutes) + probe.risk + opening_cost(probe, cover_open(judged), shop)
    cost += guard.waits * shop.rates["waiting"]
    again = any(o.probe == probe.id for o in judged.situation.observations)
    reason = guard.reason
    if not reason and again:
        reason = Message(
            "before {step}: {shown}. Read it again: lift the tips, press on bright metal, same two points",
            step=guard.before,
            shown=guard.title,
        )
    elif not reason:
        reason = Message("before {step}: {shown}", step=guard.before, shown=guard.title)
    return Value(probe.id, probe.title, probe.how, probe.gates, 0.0, cost, probe.minutes, guard.waits, reason)


def _guarded(
    judged: Judged, blank: Advice, unmet: tuple[GuardState, ...], values: Sequence[Value]
) -> Advice | None:
    """The probe that an open guard asks for; None where there is none left to take."""
    request = _guard_probe(judged, unmet)
    if request is None:
        return None
    value = _guard_value(judged, *request)
    sooner = _sooner(judged, value, values)
    if sooner is not None:
        others = (value, *(v for v in values if v.probe != sooner.probe))
        return replace(blank, kind="probe", next=sooner, alternatives=others[:6])
    rest = _meanwhile(judged, value, [v for v in values if (v.probe, v.waits) != (value.probe, value.waits)])
    kind = "wait" if value.waits else "probe"
    return replace(blank, kind=kind, next=value, alternatives=tuple(rest[:6]), guards=unmet)


def _meanwhile(judged: Judged, value: Value, rest: list[Value]) -> list[Value]:
    """Other probes, best first; while something cools, those that can be done with power off before all."""
    if value.waits <= 0:
        return rest
    return sorted(rest, key=lambda v: v.waits > 0 or _probe(judged, v.probe).energises)


def _sooner(judged: Judged, value: Value, values: Sequence[Value]) -> Value | None:
    """
    What is read before a long wait for a protector inside the shell: a pair of pins between which none lies.

    None where that was read, cannot be, or what is to come waits for nothing of the kind.
    """
    if not value.waits or _probe(judged, value.probe).heat != INSIDE:
        return None
    taken = {o.probe for o in judged.situation.observations}
    reason = Message("no protector lies between these pins: read them before you wait for the one inside")
    for each in values:
        probe = _probe(judged, each.probe)
        if not each.waits and each.probe not in taken and probe.pins_named and not probe.opens_with_heat:
            return replace(each, reason=reason)
    return None
