"""
The flow of a call: what to do next, the same for every face.

A `Flow` is a call at one device with all that judgement says of it; `Flow.keep` gives the flow after one
more event, and `humclick.jobs.taking` what an answer makes of it. `step` says what is to be done now,
`Flow.onward` what comes of it once something was decided. Faces put both into words, and write down what is
new.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from functools import cached_property
from typing import TYPE_CHECKING, Any

from humclick.diagnosis.advice import Advice, Value
from humclick.diagnosis.guards import met_next
from humclick.diagnosis.probes import Probe, probe_of
from humclick.errors import HumclickError, Refused
from humclick.jobs.briefing import Briefing, RemedyBriefing, briefed, briefed_on
from humclick.jobs.doubt import Doubt, doubt_of
from humclick.jobs.history import State, heading, state_of
from humclick.jobs.judgements import Judgements, Weighed
from humclick.jobs.standing import PROOF, Onward, added, onward, pins_found, probes_now
from humclick.messages import NOTHING, Message
from humclick.replacement.demand import PartDemand, demands

if TYPE_CHECKING:
    from humclick.diagnosis.pins import PinFinding
    from humclick.diagnosis.shop import Shop
    from humclick.diagnosis.situation import Situation
    from humclick.jobs.call import Call
    from humclick.jobs.events import Event
    from humclick.readings import Reading

__all__ = ["Flow", "Next", "Step", "demands_of", "step"]

#: What was weighed of the last few calls.
_JUDGEMENTS = Judgements()


class Flow:
    """
    A call at one device, and what follows from it. It never changes: a new event gives a new one.

    `fresh` holds events that are not written down yet, `ids` those for the next events, where they were
    worked out before under these.
    """

    def __init__(
        self, call: Call, shop: Shop, fresh: tuple[Event, ...] = (), ids: tuple[str, ...] = ()
    ) -> None:
        self.call, self.shop, self.fresh, self.ids = call, shop, fresh, ids
        self._briefings: dict[tuple[str, frozenset[str]], Briefing] = {}

    def keep(self, kind: str, now: datetime, *, reading: Reading | None = None, **content: Any) -> Flow:
        """The flow after one more event, last in its `fresh`; raises as `humclick.jobs.standing.added`."""
        if self.ids:
            content["id"] = self.ids[0]
        event, call = added(self.call, kind, now, content, reading)
        return Flow(call, self.shop, (*self.fresh, event), self.ids[1:])

    def written(self) -> Flow:
        """The same, once all that was fresh is written down."""
        after = Flow(self.call, self.shop)
        after.__dict__.update({**self.__dict__, "fresh": (), "ids": ()})
        return after

    # -- judgement ------------------------------------------------------------------------------------------

    @property
    def events(self) -> tuple[Event, ...]:
        """All events of the call, in order."""
        return self.call.events

    @property
    def device(self) -> str:
        """Who asks."""
        return self.call.device

    @property
    def situation(self) -> Situation:
        """The call as judgement sees it; refused while no machine is described."""
        situation = self.call.situation()
        if situation is None:
            raise Refused(Message("no machine is described yet"))
        return situation

    @cached_property
    def weighed(self) -> Weighed | None:
        """What judgement says; None while no machine is described."""
        situation = self.call.situation()
        return None if situation is None else _JUDGEMENTS.of(situation, self.shop)

    @cached_property
    def advice(self) -> Advice | None:
        """What to do next; None where nothing can be said (no machine, or one only recognised)."""
        return None if self.weighed is None else self.weighed.advice

    @property
    def refusal(self) -> str:
        """Why nothing can be said; empty where it can."""
        return "" if self.weighed is None else self.weighed.refusal

    @cached_property
    def state(self) -> State:
        """How far the call has come."""
        return state_of(self.call, self.advice)

    @cached_property
    def onward(self) -> Onward | None:
        """What comes next; None where nothing can be said."""
        return None if self.advice is None else onward(self.call, self.advice, self.state, self.shop)

    @property
    def heading(self) -> Message:
        """How far the call has come, in one line."""
        machine = self.call.machine
        return heading(self.state, self.advice, self.shop, machine.arrangement.title if machine else NOTHING)

    @cached_property
    def before(self) -> Weighed | None:
        """The call as it stood when its last go at fixing it began; None where there was none."""
        turn = self.state.turn
        situation = turn.before.situation() if turn is not None else None
        weighed = None if situation is None else _JUDGEMENTS.of(situation, self.shop)
        return weighed if weighed is not None and weighed.advice is not None else None

    @cached_property
    def pins(self) -> PinFinding | None:
        """What was measured between unnamed pins says; None while not all three pairs are measured."""
        return pins_found(self.call, self.shop)

    @cached_property
    def doubt(self) -> Doubt | None:
        """The last reading with what puts it right, where it may have been taken or written down wrong."""
        return None if self.weighed is None else doubt_of(self.call, self.shop, self.weighed.findings)

    # -- probes and parts -----------------------------------------------------------------------------------

    @cached_property
    def probes(self) -> dict[str, Probe]:
        """Every named probe of the machine; none while there is no machine."""
        return probes_now(self.call, self.shop)

    def probe(self, name: str) -> Probe:
        """One probe by name; refused while no machine is described, or if it has no such probe."""
        return probe_of(self.situation.machine, name, self.shop)

    def has(self, name: str) -> bool:
        """Whether the machine has such a probe."""
        try:
            return bool(self.probe(name))
        except HumclickError:
            return False

    def briefing(self, probe: Probe, on_screen: Collection[str] = ()) -> Briefing:
        """What is said of safety before a probe; `shown` stands on the reader's screen already."""
        key = probe.id, frozenset(on_screen)
        if key not in self._briefings:
            briefing = briefed(self.events, self.call, probe, self.shop, self.device, key[1])
            self._briefings[key] = briefing
        return self._briefings[key]

    def briefing_on(self, remedies: Iterable[str]) -> RemedyBriefing:
        """What is said of safety with some remedies."""
        return briefed_on(self.events, self.call, tuple(remedies), self.shop, self.device)

    def open_now(self, wanted: Iterable[Probe]) -> tuple[Probe, ...]:
        """Probes that may be taken, and in place of another one what comes before it; none that is barred."""
        situation = self.call.situation()
        if situation is None:
            return ()
        first = (met_next(situation, probe, self.shop) for probe in wanted)
        return tuple({probe.id: probe for probe in first if probe is not None}.values())

    def still_worth(self) -> tuple[Probe, ...]:
        """What is still worth measuring on a machine that runs again: what safety asks for first."""
        taken = {reading.probe for reading in self.call.readings}
        due = self.onward.probe if self.onward is not None and self.onward.kind == "repaired" else ""
        names = [name for name in dict.fromkeys((due, *PROOF[1:])) if name not in taken]
        return self.open_now(self.probes[name] for name in names if name in self.probes)


def demands_of(call: Call, remedies: Iterable[str]) -> tuple[PartDemand, ...]:
    """What the parts of some remedies must match, by what was read in a call."""
    if call.machine is None:
        return ()
    stamps: dict[str, list[str]] = {}
    for stamp in call.stamps:
        stamps.setdefault(stamp.part, []).append(stamp.text)
    return demands(call.machine, remedies, stamps)


# -- what to do now -----------------------------------------------------------------------------------------


class Next(StrEnum):
    """What a call asks for now."""

    STOP = "stop"  #: a hazard ended it, until it is answered
    IDENTIFY = "identify"  #: which machine it is
    RECOGNISED = "recognised"  #: nothing: the machine is recognised only
    REFUSED = "refused"  #: nothing can be said
    BARRED = "barred"  #: something forbids the probe, or comes before it
    GATE = "gate"  #: safety steps to be confirmed by themselves
    ASK = "probe"  #: the probe, with what safety steps may be confirmed beside it
    WAIT = "wait"  #: let something cool
    DECIDE = "verdict"  #: the verdict stands: decide
    PROVE = "after"  #: do what was decided, or prove what was done
    DONE = "repaired"  #: it runs


@dataclass(frozen=True, slots=True)
class Step:
    """What to do now."""

    kind: Next
    probe: Probe | None = None  #: the probe in question
    value: Value | None = None  #: what it is worth, where it is among those advised
    advised: bool = True  #: it is the one advised, not one chosen instead
    briefing: Briefing = field(default_factory=Briefing)  #: with the gates that do not hold yet


def step(
    flow: Flow,
    chosen: str = "",
    *,
    at_once: bool = False,
    already: bool = False,
    on_screen: Collection[str] = (),
) -> Step:
    """
    What to do now on a call, about a `chosen` probe instead of the one advised; raises `Unknown` for no such.

    It skips the wait that is advised where asked for `at_once`, and what is asked before a reading where that
    was taken `already`. What is `on_screen` (`humclick.jobs.briefing.briefed`) is not said in full again.
    """
    machine, advice = flow.call.machine, flow.advice
    if flow.call.stopped and not already:
        return Step(Next.STOP)
    if machine is None:
        return Step(Next.IDENTIFY)
    if machine.arrangement.recognised_only:
        return Step(Next.RECOGNISED)
    if advice is None:
        return Step(Next.REFUSED)
    name = chosen
    if not chosen:
        come = flow.onward.kind if flow.onward is not None else ""
        if come in ("work", "prove", "repaired"):
            return Step(Next.DONE if come == "repaired" else Next.PROVE)
        if advice.next is None:
            return Step(Next.DECIDE)
        name = advice.next.probe
    probe = flow.probe(name)
    values = (advice.next, *advice.alternatives)
    value = next((v for v in values if v is not None and v.probe == probe.id), None)
    advised = advice.next is not None and advice.next.probe == probe.id
    if value is not None and value.waits > 0 and not at_once:
        return Step(Next.WAIT, probe, value, advised)
    briefing = flow.briefing(probe, on_screen)
    kind = Next.ASK
    if briefing.barred and not already:
        kind = Next.BARRED
    elif briefing.gates and not briefing.dead and not already:
        kind = Next.GATE
    return Step(kind, probe, value, advised, briefing)
