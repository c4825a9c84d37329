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

from humclick.diagnosis.checks import Check, checks, earth_limit
from humclick.diagnosis.damage import damage, remedies_due, remedy_of
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.recognise import UNDER_COVER, candidates, questions, seen_under_cover
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard, Observation, Situation
from humclick.messages import Message, listed
from humclick.meters import Quantity
from humclick.parts.family import Role
from humclick.physics.insulation import InsulationStanding, standing
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
    "owed",
    "owed_for",
    "three_equal",
]

#: Readings between pins within this ratio count as equal. [-]
_EQUAL = 1.12
#: Two bad readings of the ground agree within this factor. A choice. [-]
_AGREE = 1.5
#: Where the ground wire is read, and where it is looked at.
_CONTINUITY, _GROUND_LOOK = "earth.continuity", "earth.look"
_GROUND_REMEDY = "restore ground"
#: An outlet without a ground says nothing of the unit's own wire; a unit without a pin has none.
_NO_PIN, _NO_OUTLET = "no ground pin, marked double-insulated", "the outlet has no ground"


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
        What has to be put right; empty where only a reading answers it, or it was put right since.
    probes : tuple of str
        Probes that may answer it; asked for where no remedy is due.
    whole : bool
        Whether it ends the call: nothing more is tested.
    gates : tuple of str
        Gates whose probes it bars; empty for every probe that powers the machine.
    event : str
        Id of the event that recorded a hazard, to be answered; else empty.
    """

    name: str
    title: Message
    reason: Message
    steps: tuple[Message, ...] = ()
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
    standing : InsulationStanding or None
        None where nothing was read on this compressor.
    weak : bool
        Between floor and 5 MΩ, and tested twice: it may be powered, and is told.
    tripped : bool
        A breaker tripped since an insulation tester last found it fit.
    read : str
        The deciding reading, in words.
    """

    standing: InsulationStanding | None
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
    were made between the two, from the look that is the first of them.

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
    observations = situation.observations
    start = next((i for i, o in enumerate(observations) if o.repairs == situation.repairs), len(observations))
    if fitting or (
        start < len(observations) and probe_of(situation.machine, observations[start].probe, shop).repairs
    ):
        end = begin = len(observations) if fitting else start
        while begin and _checks_repair(situation, observations[begin - 1], shop):
            begin -= 1
        looks = [i for i in range(begin, end) if observations[i].probe == "proof.sight"]
        looks = looks[_untried(situation, shop, situation.repairs - (not fitting)) :]
        start = looks[0] if looks else end
    return observations[start:]


def _untried(situation: Situation, shop: Shop | None, repairs: int) -> bool:
    """Whether the machine was not powered since one of the repairs: the first look was about that one."""
    return repairs > 0 and not any(
        o.repairs == repairs and probe_of(situation.machine, o.probe, shop).energises
        for o in situation.observations
    )


def _checks_repair(situation: Situation, o: Observation, shop: Shop | None) -> bool:
    return (
        o.probe in ("proof.sight", _CONTINUITY, _GROUND_LOOK)
        or probe_of(situation.machine, o.probe, shop).model.to_shell
    )


def insulation(situation: Situation, shop: Shop | None = None) -> Insulation:
    """
    What the readings to the shell allow, by `humclick.physics.insulation.standing`.

    Once below the floor only an insulation tester lifts it; between floor and 5 MΩ only two readings of a
    tester there do, one after the other, the second after warming or drying.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    state: InsulationStanding | None = None
    low, weak, read = 0, False, ""
    tripped = situation.tripped or situation.complaint is Heard.BREAKER
    for o in situation.observations:
        if o.answer == Heard.BREAKER:
            tripped = True
        probe = probe_of(situation.machine, o.probe, shop)
        if not probe.model.to_shell or o.reading is None:
            continue
        if situation.renewed_since(o).issuperset(situation.machine.windings[:1]):
            continue  # of the old compressor
        allows = _standing(situation, probe, o)
        if o.tester:
            low = low + 1 if allows is InsulationStanding.RETEST else 0
        elif allows is InsulationStanding.NEVER:
            low = 0  # what a tester showed before that is no second reading after it
        if state is InsulationStanding.NEVER and not (o.tester and allows is not InsulationStanding.NEVER):
            continue
        if state is InsulationStanding.RETEST and not o.tester and allows is not InsulationStanding.NEVER:
            continue
        if state is InsulationStanding.PASSES and allows is InsulationStanding.UNPROVED:
            continue
        if allows is InsulationStanding.RETEST:
            weak = low >= 2
            allows = InsulationStanding.PASSES if weak else allows
        elif allows is InsulationStanding.PASSES:
            weak = False
        state, read = allows, o.reading.text
        if o.tester and state is InsulationStanding.PASSES:
            tripped = False
    return Insulation(state, weak, tripped, read)


def _standing(situation: Situation, probe: Probe, o: Observation) -> InsulationStanding:
    assert o.reading is not None
    celsius = o.temperature.celsius if o.temperature.kind == "measured" else None
    meter = probe.meter or situation.meter
    top = o.top
    if top is None:
        top = meter.highest(Quantity.RESISTANCE) if meter.measures(Quantity.RESISTANCE) else 0.0
    as_read = standing(o.reading.value or 0.0, tester=o.tester, celsius=celsius)
    beyond = (o.reading.value or 0.0) > top and as_read is not InsulationStanding.NEVER
    if o.reading.over_limit or beyond:  # a figure the meter cannot show is over its range
        return standing(o.reading.bound or top, tester=o.tester, at_least=True, celsius=celsius)
    return as_read


def breaker_tripped(situation: Situation) -> bool:
    """Whether a breaker tripped since an insulation tester last found the windings fit for power."""
    return insulation(situation).tripped


def earth(situation: Situation) -> Earth:
    """
    What is known of the ground wire.

    A machine without a ground by its make, or an outlet without one, counts as `Earth.NONE`: that is on
    record, told to the customer, and judged by the local rule. A wire read open stays so without it.
    """
    return _earth(situation)[0]


def _earth(situation: Situation) -> tuple[Earth, Observation | None, bool]:
    """
    What is known of the ground wire, the last reading of it, and whether that is sure.

    It is where two bad readings running agree, or three are bad: a dirty spot reads worse one time than the
    next.
    """
    wire, none, last, twice = Earth.UNPROVED, situation.machine.has(Role.GROUND) is None, None, False
    read: list[float] = []
    for o in situation.observations:
        if o.probe == _GROUND_LOOK and o.answer:
            none = o.answer in (_NO_PIN, _NO_OUTLET)
            wire = Earth.UNPROVED if o.answer == _NO_PIN else wire
        elif o.probe == _CONTINUITY and o.reading is not None:
            wire = Earth.PROVED if _joins(situation, o) else Earth.OPEN
            read = [*read, o.reading.value or math.inf] if wire is Earth.OPEN else []
            twice = len(read) > 2 or (len(read) == 2 and max(read) <= _AGREE * min(read))
            last = o
    return (Earth.NONE if none and wire is not Earth.OPEN else wire), last, twice


def _open_ground(situation: Situation) -> Observation | None:
    """The last reading of a ground wire that is open: read so twice running, or not to be read again."""
    state, last, twice = _earth(situation)
    sure = twice or _CONTINUITY in situation.skipped
    return last if state is Earth.OPEN and sure else None


def _joins(situation: Situation, o: Observation) -> bool:
    """Whether the ground wire may be as good as the place asks, less what meter and leads may add."""
    if o.reading is None or o.reading.value is None:
        return False
    meter, leads = o.meter or situation.meter, situation.leads
    added = leads.offset or 0.0
    if leads.spread is not None:
        added += leads.spread.median * leads.spread.factor
    if meter.measures(Quantity.RESISTANCE):
        added += meter.limit(Quantity.RESISTANCE, o.reading.value)
    return o.reading.value - added <= earth_limit(situation.place)


def three_equal(situation: Situation) -> bool:
    """
    Whether three readings between the pins are equal: an inverter-driven or three-phase machine, most likely.

    Of two windings the largest reading is the sum of the others, so three equal ones are never sound there
    (common practice). Such a machine is not put across the line.
    """
    last: dict[str, float] = {}
    if situation.machine.has(Role.WINDINGS) is not None:
        return False  # so it should be
    for o in situation.observations:
        if situation.renewed_since(o).issuperset(situation.machine.windings[:1]):
            continue  # of the old compressor
        if o.reading is not None and probe_of(situation.machine, o.probe).pins is not None:
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
    if allows.standing is InsulationStanding.NEVER:
        every.append(_bar("insulation", ("shell.insulation",), read=allows.read))
    ground = _open_ground(situation)
    if ground is not None:
        every.append(_bar("ground", (_CONTINUITY,), remedies=_still_owed(situation, ground, _GROUND_REMEDY)))
    elif earth(situation) is Earth.OPEN:
        every.append(_bar("ground-once", (_CONTINUITY,)))
    if three_equal(situation):
        every.append(_bar("three-equal", ("pins.C-R", "pins.C-S", "pins.S-R")))
    if len(_kinds(situation)) > 1:
        every.append(_bar("kind", tuple(f"{UNDER_COVER}{question.name}" for question in questions()[:1])))
    return tuple(sorted(every, key=lambda bar: not bar.whole))


def _kinds(situation: Situation) -> set[str]:
    """Kinds of machine it may be by what was seen under the cover; where nobody was unsure, nothing."""
    machine = situation.machine
    if not machine.also:
        return set()
    fits = candidates(seen_under_cover((o.probe, o.answer) for o in situation.observations))
    return {one.arrangement.set_in for one in machine.may_be if one.arrangement.id in fits}


def owed(
    situation: Situation, shop: Shop | None = None, every: Sequence[Bar] | None = None
) -> frozenset[str]:
    """
    Remedies that every decision holds: for what was seen broken, and for what a check found wrong.

    Parameters as of `bars_on` and `bars`; `every` bar is worked out if not given.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    every = bars(situation, shop) if every is None else every
    return remedies_due(situation, shop) | {remedy for bar in every for remedy in bar.remedies}


def owed_for(situation: Situation, shop: Shop | None = None) -> int | None:
    """
    How much was seen since the first thing that bars power until it is put right; None where there is none.

    Raises
    ------
    Unknown
        If an observation names a probe the machine does not have.
    """
    since = [entry.observation for entry in damage(situation, shop) if entry.bars and entry.remedy]
    since += [read for read, check in _over_limit(situation) if _still_owed(situation, read, check.due)]
    ground = _open_ground(situation)
    if ground is not None and _still_owed(situation, ground, _GROUND_REMEDY):
        since.append(ground)
    observations = situation.observations
    return len(observations) - 1 - min(map(observations.index, since)) if since else None


def _still_owed(situation: Situation, read: Observation, remedy: str) -> tuple[str, ...]:
    """The remedy that a bad reading of the ground or the outlet asks for, until it was worked on."""
    worked_on = situation.renewed_since(read)
    grounds = {part.id for part in situation.machine.parts if part.family.grounds}
    return () if not remedy or grounds & worked_on else (remedy,)


def bars_on(probe: Probe, every: Sequence[Bar], situation: Situation) -> tuple[Bar, ...]:
    """
    Those of some bars that forbid a probe.

    Fitting what puts damage right, and trying it, is not barred by that damage.
    """
    mended = {bar.name for bar in every if probe.repairs and _mends(probe, bar, situation)}
    return tuple(bar for bar in every if bar.holds(probe) and bar.name not in mended)


def _mends(probe: Probe, bar: Bar, situation: Situation) -> bool:
    return bool(bar.remedies) and remedy_of(situation.machine, probe.part) in bar.remedies


def _bar(name: str, probes: tuple[str, ...], *, read: str = "", remedies: tuple[str, ...] = ()) -> Bar:
    words = _words()[name]
    reason = Message.of(words["reason"], **({"read": read} if read else {}))
    return Bar(name, Message.of(words["title"]), reason, remedies=remedies, probes=probes)


def _stoppages(situation: Situation) -> Iterable[Bar]:
    for stoppage in situation.stoppages:
        stop = stoppage.stop
        yield Bar(
            name=stop.name or stoppage.gate,
            title=stop.title,
            reason=listed(stop.steps, "space"),
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
        check = checks().get(entry.probe.id)
        reason = check.bad if check is not None else Message.of(words["reason"])
        part = entry.probe.part
        owner = situation.machine.part(part).family.title if part else entry.probe.title
        title = Message("{title}: {value}", title=owner, value=Message.of(entry.observation.answer))
        yield Bar(
            name=f"seen:{entry.probe.id}",
            title=title,
            reason=reason.capital(),
            remedies=(entry.remedy,) if entry.remedy else (),
            probes=(entry.probe.id,) if entry.probe.again and not entry.remedy else (),
        )


def _over_limit(situation: Situation) -> Iterable[tuple[Observation, Check]]:
    """Checks that forbid power whose last reading was over its limit."""
    last = {o.probe: o for o in situation.observations if o.probe in checks() and o.reading is not None}
    volts = situation.machine.nameplate.volts
    for name, o in last.items():
        check = checks()[name]
        if check.live and o.repairs < situation.repairs:
            continue  # something was put right since, and it is read again last
        if check.bars and check.passes(o.reading, o.answer, volts, situation.place) is False:
            yield o, check


def _limits(situation: Situation) -> Iterable[Bar]:
    for o, check in _over_limit(situation):
        assert o.reading is not None
        value = "OL" if o.reading.value is None else format_si(o.reading.value, Quantity(check.quantity), 3)
        yield Bar(
            name=f"limit:{check.id}",
            title=Message("{title}: {value}", title=check.title, value=value),
            reason=check.bad.capital(),
            remedies=_still_owed(situation, o, check.due),
            probes=() if check.live else (check.id,),
        )
