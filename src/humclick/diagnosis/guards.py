"""
A compressor is not condemned on one reading: what must stand in the record first.

Guards are outside the arithmetic: they cannot be bought off by a small expected loss. A guard is waived only
where the test itself would be dangerous or could not change anything, and the reason is shown.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from humclick.diagnosis.bench import Bench
from humclick.diagnosis.probes import Kind, Probe
from humclick.diagnosis.situation import COOLED, Heard, Observation, Situation, wait_minutes
from humclick.diagnosis.suspects import Posterior
from humclick.physics.cooling import minutes_for, probability_passed
from humclick.sourced import read_data

__all__ = [
    "GuardState",
    "breaker_tripped",
    "guard_before",
    "guards_for",
    "guards_for_no_repair",
    "three_equal",
]

#: A sealed fault read directly is taken as such above this probability. [-]
_DIRECT = 0.97
#: Readings between pins within this ratio count as equal. [-]
_EQUAL = 1.12
#: What is heard on known-good gear that shows current in the compressor: what is left is its own.
_STANDS = frozenset({Heard.HUM, Heard.HUM_CLICK})
_STALLS = _STANDS | {Heard.TRIPS}
#: An internal protector suspected this much is given time until it has surely closed again: how surely. [-]
_SUSPECTED, _SURE = 0.02, 0.99
#: A part of the start gear counts as cleared below this probability of a fault. [-]
_CLEARED = 0.04


@dataclass(frozen=True, slots=True)
class GuardState:
    """
    One guard.

    Attributes
    ----------
    name, title : str
        Short name and words.
    done : bool
        Whether the record holds it.
    waived : str
        Why it need not, or empty.
    probes : tuple of str
        What would satisfy it, in order of preference.
    before : str
        What is not done to a compressor before it stands in the record.
    waits : float
        Minutes of cooling before its probe can satisfy it. [min]
    reason : str
        Why, where that is not the sentence all guards share.
    """

    name: str
    title: str
    done: bool
    waived: str
    probes: tuple[str, ...]
    before: str
    waits: float
    reason: str

    @property
    def open(self) -> bool:
        """Whether it still stands in the way."""
        return not (self.done or self.waived)


def _words() -> Mapping[str, Any]:
    return read_data("humclick.diagnosis", "guards.toml")


def _guard(
    name: str, done: bool, probes: Sequence[str], waived: str = "", waits: float = 0.0, reason: str = ""
) -> GuardState:
    words = _words()["guard"][name]
    return GuardState(name, words["title"], done, waived, tuple(probes), words["before"], waits, reason)


def _cold(seen: Observation, situation: Situation) -> bool:
    t = seen.temperature
    if t.kind == "measured":
        return (t.celsius or 0.0) < 40.0
    # where nobody felt it, a rest since then says nothing of it
    return t.kind == "cold" or (t.kind == "unknown" and situation.hot is False and not situation.waited)


def guards_for(bench: Bench, situation: Situation, post: Posterior) -> tuple[GuardState, ...]:
    """
    State of every guard before a compressor may be condemned.

    Returns
    -------
    tuple of GuardState
        Windings measured cold; ground test done; start gear cleared or bypassed with known-good gear; supply
        measured under load; a deciding reading repeated after re-seating the probes.
    """
    seen = situation.observations
    done = {o.probe for o in seen}
    pins = [
        o for o in seen if o.probe.startswith("pins.") and o.probe != "pins.shell" and o.reading is not None
    ]
    cold = {o.probe for o in pins if _cold(o, situation)}
    direct = _direct(post)
    grounded = post.of_mode("run_winding", "grounded") + post.of_mode("start_winding", "grounded")
    tries = [o.answer for o in seen if o.probe == "attempt.known_good" and o.answer]
    ran = Heard.RUNS in tries  # then the compressor is not condemned, whatever else was read
    known_good = bool(_STALLS & set(tries)) and not ran
    named = [f"pins.{p}" for p in ("C-R", "C-S", "S-R")]
    missing = tuple(p for p in named if p not in cold)
    reasons = _words()["reason"]
    at_pins = reasons["read"] if _read(post) > _DIRECT else ""
    cooling = wait_minutes(situation, bench.probe("pins.C-R").heat)
    felt = [o for o in pins if o.temperature.kind != "unknown"]
    if felt and not _cold(felt[-1], situation):  # hot after the usual wait: half as long again
        cooling = max(cooling, math.ceil(0.5 * minutes_for("windings", COOLED)))
    states = [
        _guard("windings-cold", len(cold) >= 2, missing, at_pins, cooling),
        _guard("ground", "pins.shell" in done and not breaker_tripped(situation), ("pins.shell",)),
    ]
    if post.of_mode("internal_protector", "open") > _SUSPECTED:
        long = situation.hot is False or probability_passed("internal_protector", situation.waited) >= _SURE
        late = len(cold & {"pins.C-R", "pins.C-S"}) > 0 and long
        closes = max(0.0, math.ceil(minutes_for("internal_protector", _SURE) - situation.waited))
        states.append(_guard("protector-time", late, ("pins.C-R",), waits=closes))
    why = ""
    if ran:
        pass
    elif grounded > 0.5:
        why = reasons["grounded"]
    elif direct > _DIRECT:
        why = reasons["direct"]
    cleared = known_good or (not ran and _gear_cleared(bench, situation, post))
    states.append(_guard("gear", cleared, ("attempt.known_good",), "" if cleared else why))
    loaded = known_good or "supply.volts_start" in done
    loading = ("supply.volts_start", "attempt.known_good")
    states.append(_guard("supply", loaded, loading, "" if loaded else why))
    looked = [o.answer for o in seen if o.probe == "mechanism.condenser"]
    clear = (bool(looked) and looked[-1] == "clean") or "fit.mechanism" in done
    first = ("fit.mechanism",) if looked else ("mechanism.condenser", "fit.mechanism")
    rested = any(
        o.probe == "attempt.known_good" and o.answer in _STANDS and _cold(o, situation) for o in seen
    )
    waived = why or (reasons["condenser"] if rested and not ran else "")
    states.append(_guard("condenser", clear, first, "" if clear else waived))
    deciding = _deciding(situation, post)
    states.append(_guard("repeated", not why or _repeated(situation, deciding), deciding))
    return tuple(states)


def guard_before(situation: Situation, probe: Probe | None) -> GuardState | None:
    """
    What has to be shown before a probe is taken, or before a verdict.

    Parameters
    ----------
    situation : Situation
        The call so far.
    probe : Probe or None
        The probe planned; None for a verdict.

    Returns
    -------
    GuardState or None
        None where nothing stands before it. Before a start on known-good gear the windings are tested to the
        shell: other gear takes the old protector and relay out of the way of a fault (common practice).
        Before anything is powered or decided, what was read open while hot has cooled and is read once more.
    """
    if probe is None or probe.live:
        retest = _hot_and_open(situation)
        if retest:
            return retest
    done = any(o.probe == "pins.shell" and o.reading is not None for o in situation.observations)
    if probe is None or probe.kind is not Kind.KNOWN_GOOD or done or "pins.shell" in situation.skipped:
        return None
    return _guard("ground-first", False, ("pins.shell",))


def _hot_and_open(situation: Situation) -> GuardState | None:
    """What opens with heat was last read open while hot, and has not been read cold."""
    internal = situation.machine.protector == "internal"
    watched = ("pins.C-R", "pins.C-S") if internal else ("overload_protector.ohms",)
    last = {o.probe: o for o in situation.observations if o.probe in watched and o.reading is not None}
    cooled = {o.probe for o in situation.observations if o.temperature.kind in ("cold", "measured")}
    lost = [o.reading is not None and o.reading.over_limit for o in last.values()]
    waiting = [n for n, o in last.items() if o.temperature.kind == "hot" and n not in cooled]
    if not lost or not all(lost) or not waiting:
        return None
    heat = "internal_protector" if internal else "external_protector"
    waits = wait_minutes(situation, heat) or 1.0
    return _guard("cooled", False, waiting, waits=waits, reason=_words()["reason"]["hot"])


def three_equal(situation: Situation) -> bool:
    """
    Whether three readings between the pins are equal: an inverter-driven or three-phase machine, most likely.

    Of two windings the largest reading is the sum of the others, so three equal ones are never sound there
    (common practice). Such a machine is not put across the mains.
    """
    last: dict[str, float] = {}
    for o in situation.observations:
        if o.probe.startswith("pins.") and o.probe != "pins.shell" and o.reading is not None:
            last[o.probe] = o.reading.value or 0.0
    leads = situation.leads.offset or 0.0
    for names in (("C-R", "C-S", "S-R"), ("1-2", "1-3", "2-3")):
        ohms = [last.get(f"pins.{name}", 0.0) - leads for name in names]
        if min(ohms) > 0.05 and max(ohms) <= _EQUAL * min(ohms):
            return True
    return False


def breaker_tripped(situation: Situation) -> bool:
    """
    Whether a breaker has tripped since the windings were last tested to the shell.

    Then nothing is powered before they are.
    """
    tripped = situation.complaint is Heard.BREAKER
    for o in situation.observations:
        if o.answer == Heard.BREAKER:
            tripped = True
        elif o.probe == "pins.shell" and o.reading is not None:
            tripped = False
    return tripped


def guards_for_no_repair(
    bench: Bench, situation: Situation, *, unexplained: bool = False
) -> tuple[GuardState, ...]:
    """
    State of the guards before a machine is left as it is: it must have been seen to start, cold.

    After a breaker has tripped the windings are tested to the shell before anything is powered. Where nothing
    was found that explains the call (`unexplained`), the condenser is looked at: a machine that started after
    a rest says nothing of it.
    """
    states = []
    if breaker_tripped(situation):
        states.append(_guard("ground-again", False, ("pins.shell",)))
    ran = any(
        o.answer == Heard.RUNS and bench.probe(o.probe).kind in (Kind.ATTEMPT, Kind.FIT)
        for o in situation.observations
    )
    seen = situation.observations
    changes = [i for i, o in enumerate(seen) if o.probe == "control.setting" or o.probe.startswith("fit.")]
    failed = any(
        o.probe == "attempt.as_found"
        and o.answer not in ("", Heard.RUNS)
        and o.temperature.kind in ("cold", "measured")
        and o.renewed == situation.renewed
        for o in seen[changes[-1] + 1 if changes else 0 :]
    )
    again = () if failed else ("attempt.as_found",)  # once it failed cold, trying again proves nothing
    cooling = wait_minutes(situation, bench.probe("attempt.as_found").heat)
    states.append(_guard("runs", ran, again, waits=cooling))
    if unexplained:
        looked = any(o.probe in ("mechanism.condenser", "fit.mechanism") for o in seen)
        unseen = _words()["reason"]["unseen"] if "mechanism.condenser" in situation.skipped else ""
        states.append(_guard("condenser-seen", looked, ("mechanism.condenser",), "" if looked else unseen))
    return tuple(states)


def _direct(post: Posterior) -> float:
    """Probability of a fault that shows between the pins or to the shell."""
    total = post.of_mode("run_winding", "open", "grounded")
    total += post.of_mode("start_winding", "open", "grounded", "bridged")
    return total + post.of_mode("internal_protector", "open")


def _read(post: Posterior) -> float:
    """Probability of a fault that no temperature can imitate: one winding open, or a way to the shell."""
    return post.of_mode("run_winding", "open", "grounded") + post.of_mode("start_winding", "open", "grounded")


def _gear_cleared(bench: Bench, situation: Situation, post: Posterior) -> bool:
    measured = {
        bench.probe(o.probe).part for o in situation.observations if bench.probe(o.probe).kind is Kind.TEST
    }
    gear = [p for p in bench.machine.parts if p.family.gear]
    return all(
        (p.id in measured or p.id in situation.renewed) and post.of_part(p.id) < _CLEARED for p in gear
    )


def _deciding(situation: Situation, post: Posterior) -> list[str]:
    if post.of_mode("run_winding", "grounded") + post.of_mode("start_winding", "grounded") > 0.5:
        return ["pins.shell"]
    odd = [
        o.probe
        for o in situation.observations
        if o.probe.startswith("pins.")
        and o.probe != "pins.shell"
        and o.reading is not None
        and o.reading.over_limit
    ]
    return list(dict.fromkeys(odd)) or ["pins.C-R", "pins.C-S", "pins.S-R"]


def _repeated(situation: Situation, deciding: Sequence[str]) -> bool:
    counts = [
        sum(o.probe == name and o.reading is not None for o in situation.observations) for name in deciding
    ]
    several_open = len(deciding) >= 2 and all(c >= 1 for c in counts)
    return any(c >= 2 for c in counts) or several_open
