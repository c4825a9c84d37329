"""
A compressor is not condemned on one reading: what must be on record first.

Guards are outside the arithmetic: they cannot be bought off by a small expected loss. A guard is waived only
where the test itself would be dangerous or could not change anything, and the reason is shown.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.checks import checks
from humclick.diagnosis.guard_states import (
    GuardState,
    clearing,
    guard_named,
    looked_at,
    part_cleared,
    reason_for,
)
from humclick.diagnosis.power import Bar, Earth, bars, bars_on, earth, insulation, since_repair
from humclick.diagnosis.probes import Probe, probes_of, taken_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import COOLED, Heard, Observation, Situation, wait_minutes
from humclick.diagnosis.suspects import Posterior
from humclick.messages import NOTHING, Message
from humclick.parts.family import Role
from humclick.physics.cooling import minutes_for, probability_passed
from humclick.physics.insulation import InsulationStanding

__all__ = [
    "as_guards",
    "askable",
    "forbidden",
    "guards_for",
    "guards_for_no_repair",
    "insulation_needs",
    "leakage",
    "met_next",
    "needs_before",
    "open_before",
]

#: A sealed fault read directly is taken as such above this probability. [-]
_DIRECT = 0.97
#: The gate before anything is opened.
_DEAD = "power-off-proved-dead"
#: Where the ground wire and the windings to the shell are tested, in order of preference.
_GROUND, _SHELL = ("earth.continuity", "earth.look"), ("pins.shell", "shell.insulation")
#: What is left out where it cannot be done, for it is no safety of its own.
_WAIVED = frozenset({"outside-first"})
#: So often a guard's probe is asked before somebody else must look.
_TRIES = 3
#: What is heard on known-good gear that shows current in the compressor: what is left is its own.
_STANDS = frozenset({Heard.HUM, Heard.HUM_CLICK})
_STALLS = _STANDS | {Heard.TRIPS}
#: An internal protector suspected this much is given time until it has surely closed again: how surely. [-]
_SUSPECTED, _SURE = 0.02, 0.99
#: A part of the start gear counts as cleared below this probability of a fault. [-]
_CLEARED = 0.04


def _cold(observation: Observation, situation: Situation) -> bool:
    t = observation.temperature
    # where nobody felt it, a rest since then says nothing of it
    return t.cool or (t.kind == "unknown" and situation.hot is False and not situation.waited)


def guards_for(bench: Bench, situation: Situation, post: Posterior) -> tuple[GuardState, ...]:
    """
    State of every guard before a compressor may be condemned.

    Returns
    -------
    tuple of GuardState
        Windings measured cold; ground test done; start gear cleared or bypassed with known-good gear; supply
        measured under load; a deciding reading repeated after re-seating the probes.
    """
    observations = situation.observations
    taken = taken_of(bench.machine, observations, bench.shop)
    known = probes_of(bench.machine, bench.shop)
    pins = _between_pins(bench, situation)
    cold = {o.probe for o in pins if _cold(o, situation)}
    direct = _direct(post)
    tries = [o for probe, o in taken if probe.model.on_known_good and o.answer]
    ran = any(o.answer == Heard.RUNS for o in tries)  # then it is not condemned, whatever else was read
    known_good = any(o.answer in _STALLS for o in tries) and not ran
    around = bench.machine.arrangement.frame
    named = [name for name, probe in known.items() if probe.pins_named]
    through = [name for name in named if known[name].opens_with_heat]
    missing = tuple(p for p in named if p not in cold)
    at_pins = reason_for("read") if _read(post) > _DIRECT else NOTHING
    cooling = wait_minutes(situation, known[named[0]].heat)
    felt = [o for o in pins if o.temperature.kind != "unknown"]
    if felt and not _cold(felt[-1], situation):  # hot after the usual wait: half as long again
        cooling = max(cooling, math.ceil(0.5 * minutes_for("windings", COOLED)))
    states = [
        guard_named("windings-cold", len(cold) >= 2, missing, at_pins, cooling),
        guard_named("ground", _shell_read(bench, situation), _SHELL),
    ]
    if post.of_sealed_protector("open") > _SUSPECTED:
        long = situation.hot is False or probability_passed("internal_protector", situation.waited) >= _SURE
        late = not cold.isdisjoint(through) and long
        closes = max(0.0, math.ceil(minutes_for("internal_protector", _SURE) - situation.waited))
        states.append(guard_named("protector-time", late, through[:1], waits=closes))
    why = NOTHING
    if ran:
        pass
    elif post.of_windings("grounded") > 0.5:
        why = reason_for("grounded")
    elif direct > _DIRECT:
        why = reason_for("direct")
    acquitted = known_good or (not ran and _gear_cleared(bench, situation, post))
    states.append(guard_named("gear", acquitted, around.bypass, NOTHING if acquitted else why))
    under_load = (probe for probe, _ in taken if probe.id in around.loaded)
    loaded = known_good or any(not probe.model.on_known_good for probe in under_load)
    states.append(guard_named("supply", loaded, around.loaded, NOTHING if loaded else why))
    rested = not ran and any(o.answer in _STANDS and _cold(o, situation) for o in tries)
    states += [
        part_cleared(look, clears, known, taken, why, rested=rested) for look, clears in clearing(known)
    ]
    deciding = _deciding(bench, situation, post)
    states.append(guard_named("repeated", not why or _repeated(situation, deciding), deciding))
    # what a kind of machine has no probe for is not asked of it
    there = [replace(s, probes=tuple(name for name in s.probes if name in known)) for s in states]
    return tuple(
        s for s, asked in zip(there, states, strict=True) if not s.open or s.probes or not asked.probes
    )


def needs_before(
    situation: Situation, probe: Probe | None, shop: Shop | None = None
) -> tuple[GuardState, ...]:
    """
    What still has to be shown before a probe is taken, or before a verdict, in order.

    Parameters
    ----------
    situation : Situation
        The call so far.
    probe : Probe or None
        The probe planned; None for a verdict.
    shop : Shop, optional
        Figures of the shop.

    Returns
    -------
    tuple of GuardState
        Empty where nothing stands before it. What was read open while hot is read once more, cool. A silent
        machine is first looked at from outside. After a repair: sight, ground, insulation, then power, each
    before the next.
        After a breaker trip an insulation tester. Other start gear only onto windings tested to the shell.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    retest = _hot_and_open(situation, shop) if probe is None or probe.live else None
    needs = [retest] if retest else []
    if probe is None:
        return tuple(needs)
    if situation.complaint is Heard.SILENT and (probe.inside or probe.energises or _DEAD in probe.gates):
        needs += _outside_first(situation, shop)
    if probe.energises:
        fitting = probe.repairs
        fresh = None
        if situation.repairs or fitting:
            fresh = {o.probe for o in since_repair(situation, shop, fitting=fitting)}
            needs += _after_repair(situation, fresh, fitting=probe if fitting else None)
        elif earth(situation) is Earth.UNPROVED:
            needs.append(guard_named("earth", False, _GROUND))
        needs += insulation_needs(situation, shop)
        untested = probe.model.on_known_good and insulation(situation, shop).standing is None
        if untested or (fresh is not None and fresh.isdisjoint(_SHELL)):
            needs.append(guard_named("ground-first", False, _SHELL))
    elif situation.repairs and probe.id in (*_GROUND[:1], *_SHELL):
        fresh = {o.probe for o in since_repair(situation, shop)}
        needs += _after_repair(situation, fresh, before=probe.id)
    return tuple(needs)


def _after_repair(
    situation: Situation, fresh: Collection[str], *, before: str = "", fitting: Probe | None = None
) -> Iterator[GuardState]:
    """Sight and ground that were not shown since a repair: what stands before a check, or before power."""
    if "proof.sight" not in fresh:
        sight = guard_named("sight", False, ("proof.sight",))
        if fitting is not None:  # the work itself comes first
            sight = replace(
                sight,
                reason=Message(
                    "first, with power off: {work}. Before power: {look}",
                    work=fitting.title,
                    look=sight.title,
                ),
            )
        yield sight
    state = earth(situation)
    if before not in _GROUND and state is not Earth.NONE and _GROUND[0] not in fresh:
        yield guard_named("earth", False, _GROUND)


def _outside_first(situation: Situation, shop: Shop | None) -> list[GuardState]:
    known = probes_of(situation.machine, shop)
    looked = {o.probe for o in situation.observations if o.answer} | situation.skipped
    first = [name for name, probe in known.items() if probe.first and name not in looked]
    probes = [known[o.probe] for o in situation.observations if o.probe in known]
    begun = any(probe.model.deeper and probe.meter is None for probe in probes)
    return [guard_named("outside-first", False, first)] if first and not begun else []


def insulation_needs(situation: Situation, shop: Shop | None = None) -> list[GuardState]:
    """What the windings to the shell still have to show before power, as far as they were tested."""
    allows = insulation(situation, shop)
    if allows.tripped:
        return [guard_named("tripped", False, ("shell.insulation",))]
    if allows.standing is InsulationStanding.UNPROVED:
        return [guard_named("range", False, ("shell.insulation", "pins.shell"))]
    if allows.standing is InsulationStanding.RETEST:
        return [guard_named("weak", False, ("shell.insulation",))]
    return []


def askable(
    situation: Situation, guard: GuardState, shop: Shop | None = None, every: Sequence[Bar] | None = None
) -> Probe | None:
    """
    The probe by which a guard can be met now; None where there is none left to take.

    One that was left out never meets a guard, and one that is barred cannot be taken. Where something has
    to be shown before that probe itself, it is the probe for that. `every` bar is worked out if not given.
    """
    every = bars(situation, shop) if every is None else every
    known = probes_of(situation.machine, shop)
    for name in guard.probes:
        probe = known.get(name)
        taken = sum(o.probe == name and o.repairs == situation.repairs for o in situation.observations)
        eye = probe is not None and probe.look is not None and not probe.again
        most = 1 if eye and guard.name != "seen-again" else _TRIES
        if probe is None or name in situation.skipped or taken >= most:
            continue
        if bars_on(probe, every, situation):
            continue
        needs = [need for need in needs_before(situation, probe, shop) if need.name != guard.name]
        if not needs:
            return probe
        first = askable(situation, needs[0], shop, every)
        if first is not None:
            return first
    return None


def met_next(situation: Situation, probe: Probe, shop: Shop | None = None) -> Probe | None:
    """
    The probe to take so that another one may be: itself, what has to be shown first, or what lifts a bar.

    None where nothing that can be measured here opens the way.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    every = bars(situation, shop)
    barred = bars_on(probe, every, situation)
    if barred:
        guards = as_guards(barred)
        return askable(situation, guards[0], shop, every) if len(guards) == len(barred) else None
    needs = needs_before(situation, probe, shop)
    return askable(situation, needs[0], shop, every) if needs else probe


def as_guards(every: Sequence[Bar]) -> tuple[GuardState, ...]:
    """Bars that a reading answers, as what must be shown."""
    return tuple(
        GuardState(bar.name, bar.title, False, NOTHING, bar.probes, Message("you power it"), 0.0, bar.reason)
        for bar in every
        if bar.probes and not bar.remedies
    )


def open_before(situation: Situation, probe: Probe, shop: Shop | None = None) -> tuple[Message, ...]:
    """What forbids a probe now, or has to be shown before power, in words; empty if nothing does."""
    if not (probe.energises or situation.stoppages):
        return ()
    barred = tuple(bar.title for bar in bars_on(probe, bars(situation, shop), situation))
    needs = needs_before(situation, probe, shop) if probe.energises else ()
    return (*barred, *(need.title for need in needs if need.name not in _WAIVED))


def forbidden(
    situation: Situation, probe: Probe, shop: Shop | None = None, every: Sequence[Bar] | None = None
) -> bool:
    """Whether a probe cannot be taken: something bars it, or what must be shown first cannot be."""
    every = bars(situation, shop) if every is None else every
    if bars_on(probe, every, situation):
        return True
    return any(
        need.name not in _WAIVED and askable(situation, need, shop, every) is None
        for need in needs_before(situation, probe, shop)
    )


def _hot_and_open(situation: Situation, shop: Shop | None) -> GuardState | None:
    """What opens with heat was last read open while hot, and has not been read cold."""
    guard = situation.machine.has(Role.PROTECTOR)
    if guard is None:
        return None
    watched = {name: probe for name, probe in probes_of(situation.machine, shop).items() if probe.again_cool}
    last = {o.probe: o for o in situation.observations if o.probe in watched and o.reading is not None}
    cooled = {o.probe for o in situation.observations if o.temperature.cool}
    lost = [o.reading is not None and o.reading.over_limit for o in last.values()]
    waiting = [n for n, o in last.items() if o.temperature.warm and n not in cooled]
    if not lost or not all(lost) or not waiting:
        return None
    waits = wait_minutes(situation, watched[waiting[0]].heat) or 1.0
    return guard_named("cooled", False, waiting, waits=waits, reason=reason_for("hot"))


def guards_for_no_repair(
    bench: Bench, situation: Situation, *, unexplained: bool = False
) -> tuple[GuardState, ...]:
    """
    State of the guards before a machine is left as it is: it must have been seen to start, cold.

    Where nothing was found that explains the call (`unexplained`), the condenser is looked at: a machine that
    started after a rest says nothing of it. After a repair the current to ground is measured last, where
    there is a meter for it.
    """
    states = []
    taken = taken_of(bench.machine, situation.observations, bench.shop)
    tried = [o for p, o in taken if p.model.tries and o.answer and o.repairs == situation.repairs]
    ran = bool(tried) and tried[-1].answer == Heard.RUNS
    changes = [i for i, (p, o) in enumerate(taken) if p.repairs or o.probe in bench.machine.put_right]
    failed = any(
        probe.tries_as_it_is
        and o.answer not in ("", Heard.RUNS)
        and o.temperature.cool
        and o.renewed == situation.renewed
        for probe, o in taken[changes[-1] + 1 if changes else 0 :]
    )
    known = probes_of(bench.machine, bench.shop)
    tries = [probe for probe in known.values() if probe.tries_as_it_is]
    again = () if failed else tuple(probe.id for probe in tries)  # failed cold, another try proves nothing
    cooling = max(wait_minutes(situation, probe.heat) for probe in tries)
    states.append(guard_named("runs", ran, again, waits=cooling))
    if unexplained:
        for look, clears in clearing(known):
            states.append(looked_at(look, clears, taken, skipped=look.id in situation.skipped))
    if situation.repairs and ran and bench.machine.arrangement.frame.earthed:
        states.append(leakage(situation))
    return tuple(states)


def leakage(situation: Situation) -> GuardState:
    """Whether the current to ground was measured under power after the last repair."""
    if not situation.machine.arrangement.frame.earthed:
        return guard_named("leakage", True, ())
    by_wire = earth(situation) is not Earth.NONE
    names = ("proof.ground_current",) if by_wire else ("proof.touch_current",)
    last = [o for o in situation.observations if o.probe in names and o.repairs == situation.repairs]
    check, volts = checks()[names[0]], situation.machine.nameplate.volts
    passed = bool(last) and check.passes(last[-1].reading, last[-1].answer, volts, situation.place) is True
    no_meter = reason_for("no-leakage-meter") if names[0] in situation.skipped and not last else NOTHING
    return guard_named("leakage", passed, () if last else names, no_meter)


def _shell_read(bench: Bench, situation: Situation) -> bool:
    """Whether the shell was tested well enough to condemn: after a trip OL of an ohmmeter is not."""
    allows = insulation(situation, bench.shop)
    if allows.tripped:
        return allows.standing is InsulationStanding.NEVER
    return allows.standing is not None


def _direct(post: Posterior) -> float:
    """Probability of a fault that shows between the pins or to the shell."""
    return post.of_windings("open", "grounded", "bridged") + post.of_sealed_protector("open")


def _read(post: Posterior) -> float:
    """Probability of a fault that no temperature can imitate: one winding open, or a way to the shell."""
    return post.of_windings("open", "grounded")


def _gear_cleared(bench: Bench, situation: Situation, post: Posterior) -> bool:
    taken = taken_of(bench.machine, situation.observations, bench.shop)
    measured = {probe.part for probe, _ in taken if probe.model.on_part}
    gear = [p for p in bench.machine.parts if p.family.gear]
    known = probes_of(bench.machine, bench.shop)
    around = {n for n in bench.machine.arrangement.frame.bypass if known[n].model.on_part}
    shown = any(o.probe in around for o in situation.observations)  # what comes out of the gear was read
    return all(
        (shown or p.id in measured or p.id in situation.renewed) and post.of_part(p.id) < _CLEARED
        for p in gear
    )


def _between_pins(bench: Bench, situation: Situation) -> list[Observation]:
    """What was read between two pins."""
    taken = taken_of(bench.machine, situation.observations, bench.shop)
    return [
        observation
        for probe, observation in taken
        if probe.pins is not None and observation.reading is not None
    ]


def _deciding(bench: Bench, situation: Situation, post: Posterior) -> list[str]:
    if post.of_windings("grounded") > 0.5:
        return ["pins.shell"]
    odd = [o.probe for o in _between_pins(bench, situation) if o.reading is not None and o.reading.over_limit]
    named = [p.id for p in probes_of(bench.machine, bench.shop).values() if p.pins_named]
    return list(dict.fromkeys(odd)) or named


def _repeated(situation: Situation, deciding: Sequence[str]) -> bool:
    counts = [
        sum(o.probe == name and o.reading is not None for o in situation.observations) for name in deciding
    ]
    several_open = len(deciding) >= 2 and all(c >= 1 for c in counts)
    return any(c >= 2 for c in counts) or several_open
