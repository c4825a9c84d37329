"""
May this machine be worked on, and powered? Decided by the record alone: no probability buys it off.

A **bar** forbids: a hazard that stopped the call, damage seen and not put right, insulation below the floor,
an open ground, three equal windings. It is lifted by what answers that very thing, never by skipping. What
must be shown first, and can be, is a guard (`humclick.diagnosis.guards.needs_before`).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from humclick.diagnosis.checks import checks, earth_limit
from humclick.diagnosis.damage import damage
from humclick.diagnosis.probes import Kind, Probe, probe_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.meters import Quantity
from humclick.physics.insulation import Standing, standing
from humclick.readings.shown import format_si
from humclick.sourced import read_data

__all__ = [
    "Bar",
    "Earth",
    "Insulation",
    "bars",
    "bars_on",
    "breaker_tripped",
    "earth",
    "insulation",
    "three_equal",
]

#: Readings between pins within this ratio count as equal. [-]
_EQUAL = 1.12
#: Where the ground wire is read, and where it is looked at.
_CONTINUITY, _GROUND_LOOK = "earth.continuity", "earth.look"


@dataclass(frozen=True, slots=True)
class Bar:
    """
    Something that forbids power, a kind of work, or the whole call.

    Attributes
    ----------
    name, title : str
        Short name, and heading.
    reason : str
        What is the matter and what lifts it, in a sentence or two.
    steps : tuple of str
        What to do now.
    remedies : tuple of str
        What puts it right.
    probes : tuple of str
        Probes that may answer it.
    whole : bool
        Whether it ends the call: nothing more is tested.
    gates : tuple of str
        Gates whose probes it bars; empty for every probe that powers the machine.
    event : str
        Id of the event that recorded a hazard, to be answered; else empty.
    """

    name: str
    title: str
    reason: str
    steps: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()
    probes: tuple[str, ...] = ()
    whole: bool = False
    gates: tuple[str, ...] = ()
    event: str = ""

    def holds(self, probe: Probe) -> bool:
        """Whether it bars a probe."""
        if self.whole:
            return True
        if self.gates:
            return not set(self.gates).isdisjoint(probe.gates)
        return probe.energises


@dataclass(frozen=True, slots=True)
class Insulation:
    """
    What the readings to the shell allow.

    Attributes
    ----------
    standing : Standing or None
        None where nothing was read on this compressor.
    weak : bool
        Between floor and 5 MΩ, and tested twice: it may be powered, and is told.
    tripped : bool
        A breaker tripped since an insulation tester last found it fit.
    read : str
        The deciding reading, in words.
    """

    standing: Standing | None
    weak: bool
    tripped: bool
    read: str


class Earth(StrEnum):
    """What is known of the ground wire."""

    UNPROVED = "unproved"
    PROVED = "proved"
    OPEN = "open"
    NONE = "none"


def _words() -> Mapping[str, Any]:
    return read_data("humclick.diagnosis", "power.toml")["bar"]  # type: ignore[no-any-return]


def since_repair(
    situation: Situation, shop: Shop | None = None, *, fitting: bool = False
) -> tuple[Observation, ...]:
    """
    What was seen since the last repair.

    Where the repair and its first start are one entry (`fit.…`), the checks made right before that entry
    were made between the two.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop, optional
        Figures of the shop.
    fitting : bool
        A repair is being made now, and nothing but checks was seen since.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    seen = situation.observations
    start = next((i for i, o in enumerate(seen) if o.repairs == situation.repairs), len(seen))
    if fitting or (start < len(seen) and seen[start].probe.startswith("fit.")):
        start = len(seen) if fitting else start
        while start and _checks_repair(situation, seen[start - 1], shop):
            start -= 1
    return seen[start:]


def _checks_repair(situation: Situation, o: Observation, shop: Shop | None) -> bool:
    return (
        o.probe in ("proof.sight", _CONTINUITY, _GROUND_LOOK)
        or probe_of(situation.machine, o.probe, shop).kind is Kind.SHELL
    )


def insulation(situation: Situation, shop: Shop | None = None) -> Insulation:
    """
    What the readings to the shell allow, by `humclick.physics.insulation.standing`.

    Once below the floor only an insulation tester lifts it; between floor and 5 MΩ only two readings of a
    tester do, the second after warming or drying.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    state: Standing | None = None
    tests, weak, read = 0, False, ""
    tripped = situation.complaint is Heard.BREAKER
    for o in situation.observations:
        if o.answer == Heard.BREAKER:
            tripped = True
        probe = probe_of(situation.machine, o.probe, shop)
        if probe.kind is not Kind.SHELL or o.reading is None:
            continue
        if ("run_winding" in situation.renewed) != ("run_winding" in o.renewed):
            continue  # of the old compressor
        allows = _standing(situation, probe, o)
        tests += o.tester
        if state is Standing.NEVER and not (o.tester and allows is not Standing.NEVER):
            continue
        if state is Standing.RETEST and not o.tester and allows is not Standing.NEVER:
            continue
        if state is Standing.PASSES and allows is Standing.UNPROVED:
            continue
        if allows is Standing.RETEST:
            weak = tests >= 2 and o.tester
            allows = Standing.PASSES if weak else allows
        elif allows is Standing.PASSES:
            weak = False
        state, read = allows, o.reading.text
        if o.tester and state is Standing.PASSES:
            tripped = False
    return Insulation(state, weak, tripped, read)


def _standing(situation: Situation, probe: Probe, o: Observation) -> Standing:
    assert o.reading is not None
    celsius = o.temperature.celsius if o.temperature.kind == "measured" else None
    if o.reading.over_limit:
        meter = probe.meter or situation.meter
        top = meter.highest(Quantity.RESISTANCE) if meter.measures(Quantity.RESISTANCE) else 0.0
        return standing(o.reading.bound or top, tester=o.tester, at_least=True, celsius=celsius)
    return standing(o.reading.value or 0.0, tester=o.tester, celsius=celsius)


def breaker_tripped(situation: Situation) -> bool:
    """Whether a breaker tripped since an insulation tester last found the windings fit for power."""
    return insulation(situation).tripped


def earth(situation: Situation) -> Earth:
    """
    What is known of the ground wire.

    A machine without a ground by its make, or an outlet without one, counts as `Earth.NONE`: that is on
    record, told to the customer, and judged by the local rule.
    """
    state = Earth.UNPROVED
    for o in situation.observations:
        if o.probe == _GROUND_LOOK and o.answer:
            none = o.answer in ("no ground pin, marked double-insulated", "the outlet has no ground")
            state = Earth.NONE if none else Earth.UNPROVED if state is Earth.NONE else state
        elif o.probe == _CONTINUITY and o.reading is not None:
            ohms = math.inf if o.reading.value is None else o.reading.value - (situation.leads.offset or 0.0)
            state = Earth.PROVED if ohms <= earth_limit() else Earth.OPEN
    return state


def three_equal(situation: Situation) -> bool:
    """
    Whether three readings between the pins are equal: an inverter-driven or three-phase machine, most likely.

    Of two windings the largest reading is the sum of the others, so three equal ones are never sound there
    (common practice). Such a machine is not put across the line.
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


def bars(situation: Situation, shop: Shop | None = None) -> tuple[Bar, ...]:
    """
    Everything that forbids work or power now, what ends the call first.

    Parameters
    ----------
    situation : Situation
        The call so far.
    shop : Shop, optional
        Figures of the shop, for the titles of remedies.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    every = [*_stoppages(situation), *_damage(situation, shop), *_limits(situation)]
    allows = insulation(situation, shop)
    if allows.standing is Standing.NEVER:
        every.append(_bar("insulation", ("shell.insulation",), read=allows.read))
    if earth(situation) is Earth.OPEN:
        every.append(_bar("ground", (_CONTINUITY,), remedies=("restore ground",)))
    if three_equal(situation):
        every.append(_bar("three-equal", ("pins.C-R", "pins.C-S", "pins.S-R")))
    return tuple(sorted(every, key=lambda bar: not bar.whole))


def bars_on(probe: Probe, every: Sequence[Bar], situation: Situation) -> tuple[Bar, ...]:
    """
    Those of some bars that forbid a probe.

    Fitting what puts damage right, and trying it, is not barred by that damage.
    """
    mended = {bar.name for bar in every if probe.kind is Kind.FIT and _mends(probe, bar, situation)}
    return tuple(bar for bar in every if bar.holds(probe) and bar.name not in mended)


def _mends(probe: Probe, bar: Bar, situation: Situation) -> bool:
    from humclick.diagnosis.damage import remedy_of

    return bool(bar.remedies) and remedy_of(situation.machine, probe.part) in bar.remedies


def _bar(name: str, probes: tuple[str, ...], *, read: str = "", remedies: tuple[str, ...] = ()) -> Bar:
    words = _words()[name]
    reason = str(words["reason"]).replace("{read}", read)
    return Bar(name, str(words["title"]), reason, remedies=remedies, probes=probes)


def _stoppages(situation: Situation) -> Iterable[Bar]:
    for stoppage in situation.stoppages:
        stop = stoppage.stop
        yield Bar(
            name=stop.name or stoppage.gate,
            title=stop.title,
            reason=" ".join(stop.steps),
            steps=stop.steps,
            whole=stop.whole,
            gates=() if stop.whole else stop.gates,
            event=stoppage.event,
        )


def _damage(situation: Situation, shop: Shop | None) -> Iterable[Bar]:
    words = _words()["damage"]
    for entry in damage(situation, shop):
        if not entry.bars:
            continue
        own = checks().get(entry.probe.id)
        reason = own.bad if own is not None else str(words["reason"])
        owner = "" if not entry.probe.part else situation.machine.part(entry.probe.part).family.title
        title = f"{owner}: {entry.seen.answer}" if owner else f"{entry.probe.title}: {entry.seen.answer}"
        yield Bar(
            name=f"seen:{entry.probe.id}",
            title=title,
            reason=reason[0].upper() + reason[1:],
            remedies=(entry.remedy,) if entry.remedy else (),
            probes=(entry.probe.id,) if entry.probe.again and not entry.remedy else (),
        )


def _limits(situation: Situation) -> Iterable[Bar]:
    """Checks whose last reading was over its limit."""
    last = {o.probe: o for o in situation.observations if o.probe in checks() and o.reading is not None}
    for name, o in last.items():
        check = checks()[name]
        if check.bars and check.passes(o.reading, o.answer, situation.machine.nameplate.volts) is False:
            assert o.reading is not None
            shown = (
                "OL" if o.reading.value is None else format_si(o.reading.value, Quantity(check.quantity), 3)
            )
            yield Bar(
                name=f"limit:{name}",
                title=f"{check.title}: {shown}",
                reason=check.bad[0].upper() + check.bad[1:],
                remedies=(check.due,) if check.due else (),
                probes=(name,),
            )
