"""
What is said of safety before a probe: which gates in full, which in one line, and which hazards.

A gate is read where it is new: in full once a call on each device, and again whenever its matter is (another
refrigerant, another charge); from then on in one line of ticks. All gates that stand together before a probe
are confirmed together, before it; where none of them is about power being on, with the reading, by a word or
a button that says that every step is done. No gate is held less for it: each is an event of its own, and a
reading without them is refused, or marked where it was taken already.

Terminal and pages ask here, so that both keep the same rule.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from humclick.arrangements.machine import Machine
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.guards import met_next, needs_before
from humclick.diagnosis.power import Bar, bars, bars_on, breaker_tripped
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.shop import Shop
from humclick.diagnosis.situation import Heard
from humclick.errors import HumclickError
from humclick.jobs.call import Call
from humclick.jobs.events import Event, GatePassed, ReadingTaken
from humclick.safety import (
    Fact,
    Gate,
    Hazard,
    Meaning,
    PlaceRule,
    caution,
    cautions_for,
    defer,
    hazard,
    meaning,
    met_at,
    met_by,
    place_of,
)

__all__ = [
    "Briefing",
    "GateShown",
    "HazardShown",
    "RemedyBriefing",
    "briefed",
    "briefed_on",
    "on_machine",
    "spoken_with",
]


@dataclass(frozen=True, slots=True)
class GateShown:
    """A gate as it is shown: `full` with all its steps, else in one line of ticks."""

    gate: Gate
    full: bool
    new: bool  #: not passed yet on this call and device, or for another matter


@dataclass(frozen=True, slots=True)
class HazardShown:
    """A hazard as it is spoken: in full, or in a few words."""

    hazard: Hazard
    full: bool


@dataclass(frozen=True, slots=True)
class Briefing:
    """What is said before a probe. What bars it, or has to be shown first, leaves no gate to be shown."""

    gates: tuple[GateShown, ...] = ()  #: still to be passed, in order; one confirmation passes them all
    #: what the probe meets and no gate of it keeps away; what is not new, only beside gates
    hazards: tuple[HazardShown, ...] = ()
    cautions: tuple[Fact, ...] = ()  #: said once
    defer: str = ""  #: that local codes come first; said once
    live_work: PlaceRule | None = None  #: who may do live work here; said once
    bars: tuple[Bar, ...] = ()
    needs: tuple[GuardState, ...] = ()  #: to be shown before it, in order
    first: str = ""  #: the probe that shows the first of them

    @property
    def barred(self) -> bool:
        """Whether the probe is not to be taken now."""
        return bool(self.bars or self.needs)

    @property
    def held_back(self) -> tuple[str, ...]:
        """What forbids it, or has to be shown before it, in words."""
        return (*(bar.title for bar in self.bars), *(need.title for need in self.needs))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the gates, in the order in which they are passed."""
        return tuple(line.gate.name for line in self.gates)

    @property
    def texts(self) -> frozenset[str]:
        """What it shows in full, so that it need not be shown in full again right below."""
        gates = {_text_of(line.gate) for line in self.gates if line.full}
        return frozenset(gates | {line.hazard.name for line in self.hazards if line.full})

    @property
    def dead(self) -> bool:
        """Whether there are gates, and none is about power being on: then the reading may confirm them."""
        return bool(self.gates) and not any(line.gate.live for line in self.gates)


def briefed(
    events: Sequence[Event],
    call: Call,
    probe: Probe,
    shop: Shop,
    device: str = "",
    on_screen: Collection[str] = (),
) -> Briefing:
    """
    What is said of safety before a probe, to whoever reads it on a device.

    What another device has shown is not known here; what was shown before (`Briefing.texts`) stands
    `on_screen` in full already.
    """
    held = _held_back(call, probe, shop)
    if held is not None:
        return held
    here = [event for event in events if event.id not in call.undone and event.device == device]
    passed = [event for event in here if isinstance(event, GatePassed)]
    gates = []
    for gate in call.gates_before(probe.gates):
        new = _new(gate, passed)
        gates.append(GateShown(gate, new and _text_of(gate) not in on_screen, new))
    hazards = [
        HazardShown(hazard, new and hazard.name not in on_screen)
        for hazard, new in _spoken(call, probe, shop, here)
    ]
    return Briefing(
        gates=tuple(gates),
        hazards=tuple(hazard for hazard in hazards if hazard.full or gates),
        cautions=_cautions(call, here, probe, first=not passed) if gates else (),
        defer=defer() if gates and not passed else "",
        live_work=place_of(call.place).rule("live-work") if gates and not passed else None,
    )


def _held_back(call: Call, probe: Probe, shop: Shop) -> Briefing | None:
    """What forbids a probe, or has to be shown before it is powered; None where nothing does."""
    situation = call.situation()
    if situation is None:
        return None
    every = bars(situation, shop)
    barred = bars_on(probe, every, situation)
    needs = needs_before(situation, probe, shop) if probe.energises else ()
    if not (barred or needs):
        return None
    first = met_next(situation, probe, shop)
    return Briefing(bars=barred, needs=needs, first=first.id if first is not None else "")


def _text_of(gate: Gate) -> str:
    return f"{gate.name} {gate.matter}"


def _new(gate: Gate, passed: Sequence[GatePassed]) -> bool:
    """Whether a gate is to be read in full: not passed yet, or passed for another matter."""
    last = next((event for event in reversed(passed) if event.gate == gate.name), None)
    return last is None or (bool(last.matter) and last.matter != gate.matter)


def _spoken(call: Call, probe: Probe, shop: Shop, here: Sequence[Event]) -> tuple[tuple[Hazard, bool], ...]:
    """Hazards a probe meets and no gate of it keeps away, and whether each is new on this device."""
    machine = call.machine
    if machine is None:
        return ()
    kept_away = frozenset[str]().union(*(gate.hazards for gate in call.gates_of(probe.gates)))
    wanted = [hazard for hazard in met_at(probe, machine) if hazard.name not in kept_away]
    read = _read(machine, shop, here) if wanted else frozenset()
    return tuple((hazard, hazard.name not in read) for hazard in wanted)


def _read(machine: Machine, shop: Shop, here: Sequence[Event]) -> frozenset[str]:
    """Hazards that were spoken with what was measured from this device."""
    read: set[str] = set()
    for name in {event.probe for event in here if isinstance(event, ReadingTaken)}:
        try:
            read |= {hazard.name for hazard in met_at(probe_of(machine, name, shop), machine)}
        except HumclickError:
            continue
    return frozenset(read)


def _cautions(call: Call, here: Sequence[Event], probe: Probe, *, first: bool) -> tuple[Fact, ...]:
    situation = call.situation()
    if situation is None:
        return ()
    breaker = breaker_tripped(situation)
    facts = cautions_for(situation.machine, breaker=breaker)
    taken = (probe_of(situation.machine, o.probe) for o in situation.observations)
    untouched = probe.inside and not call.photos and not any(earlier.inside for earlier in taken)
    photograph = (caution("photograph-first"),) if untouched else ()
    if first:
        return (*facts, *photograph)
    attempts = [k for k, e in enumerate(here) if isinstance(e, ReadingTaken) and e.value == Heard.BREAKER]
    new = breaker and attempts and not any(isinstance(e, GatePassed) for e in here[attempts[-1] :])
    return (*(fact for fact in facts if new and fact.name == "breaker-tripped"), *photograph)


# -- what is done, not measured -----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RemedyBriefing:
    """What is said of safety with a remedy."""

    hazards: tuple[HazardShown, ...] = ()  #: in full, or in a few words where spoken on this call
    refrigerant: Meaning | None = None  #: what comes out where the refrigerant circuit is opened
    certificate: PlaceRule | None = None  #: what takes a certificate in this place


def briefed_on(
    events: Sequence[Event], call: Call, remedies: Sequence[str], shop: Shop, device: str = ""
) -> RemedyBriefing:
    """
    What is said of safety with some remedies on the machine of a call, and of its refrigerant where that
    comes out.
    """
    machine = call.machine
    if machine is None:
        return RemedyBriefing()
    here = [event for event in events if event.id not in call.undone and event.device == device]
    alone, read = {hazard.name for hazard in met_by("", machine)}, _read(machine, shop, here)
    met: dict[str, Hazard] = {}
    for remedy in remedies:
        met |= {hazard.name: hazard for hazard in met_by(remedy, machine) if hazard.name not in alone}
    hazards = tuple(HazardShown(hazard, hazard.name not in read) for hazard in met.values())
    if "opened-circuit" not in met:
        return RemedyBriefing(hazards)
    kind = meaning(machine.nameplate.refrigerant)
    return RemedyBriefing(hazards, kind, place_of(call.place).rule("opened-circuit"))


def spoken_with(call: Call, probe: str, remedies: Sequence[str], shop: Shop) -> tuple[HazardShown, ...]:
    """Hazards of the next probe, if one is named, and of some remedies, to whoever reads them first."""
    machine = call.machine
    if machine is None:
        return ()
    ahead = briefed((), call, probe_of(machine, probe, shop), shop).hazards if probe else ()
    more = briefed_on((), call, remedies, shop).hazards
    return tuple({spoken.hazard.name: spoken for spoken in (*ahead, *more)}.values())


def on_machine(call: Call) -> tuple[Hazard, ...]:
    """Hazards of a machine that is only recognised: nothing is measured there that could speak them."""
    if call.machine is None or not call.machine.arrangement.recognised_only:
        return ()
    return (hazard("line-voltage"), *met_by("", call.machine))
