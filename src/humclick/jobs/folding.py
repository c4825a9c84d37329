"""
A call while its events are taken one by one, in the order in which they count. Minutes.

`Folding.then` takes one more event onto a call that is folded already. It says the same as a fold of all
events, and does one where the new event may change how the earlier ones are read: the machine is described
again, something is taken back, or the event belongs before others.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import replace
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from humclick.diagnosis.recognise import UNDER_COVER
from humclick.diagnosis.situation import Heard, Stoppage, warmth
from humclick.errors import HumclickError, Unknown
from humclick.jobs.call import Call, Holding, Problem, ReadingKept, unproved
from humclick.jobs.corrections import corrected
from humclick.jobs.events import (
    ComplaintHeard,
    DecisionTaken,
    Event,
    GatePassed,
    HazardCleared,
    HazardFound,
    MachineRead,
    MeterTaken,
    NoteWritten,
    Opened,
    PartFitted,
    PhotoMarked,
    PhotoTaken,
    ProbeSkipped,
    ReadingCorrected,
    ReadingTaken,
    RecordingTaken,
    StampRead,
    Undone,
    Waited,
)
from humclick.jobs.machines import machine_read
from humclick.jobs.order import MOST_AHEAD, last_turn, merge, place
from humclick.jobs.probe_facts import (
    Parsed,
    hazard_seen,
    known_probe,
    meter_taken,
    top_ohms,
    understood,
)
from humclick.jobs.stand import Stand
from humclick.jobs.undos import taken_back
from humclick.messages import N_, NOTHING, Message
from humclick.meters import default_meter
from humclick.physics.insulation import proves_insulation
from humclick.readings import Leads, PartTemperature, Reading, parse_temperature
from humclick.safety import energises, gates, gates_for, invalidated_by

if TYPE_CHECKING:
    from humclick.diagnosis.probes import Probe

__all__ = ["COMPRESSOR", "Folding"]

#: Stands for everything sealed in the shell.
COMPRESSOR = "compressor"

#: Events that change how those before them are read.
_RE_READ = (MachineRead, ReadingCorrected, StampRead, Undone)


class Folding:
    """
    What is known while events are taken one by one; they come in order, each id once (`merge`).

    `repeated` are ids under which different events stand, `parsed` readings that were understood before.
    """

    def __init__(
        self,
        events: tuple[Event, ...],
        device: str | None = None,
        repeated: tuple[str, ...] = (),
        parsed: Parsed | None = None,
    ) -> None:
        self.events, self.device, self.repeated = events, device, repeated
        self.parsed = {} if parsed is None else parsed
        self.problems: list[Problem] = []
        for name in repeated:
            self.problem(
                name, Message("different events are all called {name}; the earliest counts", name=repr(name))
            )
        self.undone, self.astray = taken_back(events, self.problem)
        self.live = tuple(event for event in events if event.id not in self.undone)
        self.machine, self.marked = machine_read(self.live, self.problem)
        self.hazards = tuple(event for event in events if isinstance(event, HazardFound))
        self.order = {event.id: number for number, event in enumerate(events)}
        self.of_kind: dict[type[Event], list[Any]] = {}
        for event in self.live:
            self.of_kind.setdefault(type(event), []).append(event)
        self.turn = last_turn(events)
        self.believed = all(event.turn <= self.turn for event in events)
        self.looked_up: dict[str, Probe | Unknown] = {}
        self.corrected = corrected(self.live, self._probe, self.problem)
        self._begin()
        for event in events:
            self._take(event)

    def _begin(self) -> None:
        """Nothing is known yet."""
        self.header: Opened | None = None
        self.complaint: Heard | None = None
        self.words = ""
        self.tripped = False
        self.meter, self.leads = default_meter(), Leads()
        self.readings: list[ReadingKept] = []
        self.gates: list[GatePassed] = []
        self.counted = False
        self.held: dict[str, Holding] = {}
        self.ended: Counter[str] = Counter()
        self.skipped: dict[str, str] = {}
        self.stand = Stand()
        self.renewed: set[str] = set()
        self.repairs = 0
        self.renewals: dict[str, int] = {}
        self.stoppages: dict[str, Stoppage] = {}
        self.passed_since: dict[str, frozenset[str]] = {}

    def problem(self, event: str, text: Message, written: str = "") -> None:
        """Something that could not be used."""
        self.problems.append(Problem(event, text, written))

    # -- one more event -------------------------------------------------------------------------------------

    def then(self, event: Event, reading: Reading | None = None) -> Call:
        """The call with one event more; this one stays as it is. See `humclick.jobs.call.Call.then`."""
        if isinstance(event, ReadingTaken) and reading is not None:
            self.parsed[event.value, str(reading.quantity)] = reading
        if self._follows(event):
            return self._with(event).call()
        known = next((earlier for earlier in self.events if earlier.id == event.id), event)
        repeated = self.repeated if known == event else tuple(sorted({*self.repeated, event.id}))
        events = merge(self.events, (event,))
        return Folding(events, self.device, repeated, self.parsed).call()

    def _follows(self, event: Event) -> bool:
        """Whether an event only adds to what is known, and changes nothing that was read before it."""
        if isinstance(event, ReadingTaken) and event.probe.startswith(UNDER_COVER):
            return False  # which machine it is taken for follows from it
        if isinstance(event, _RE_READ) or event.id in self.order or self.astray or not self.believed:
            return False
        if event.turn > self.turn + MOST_AHEAD:
            return False
        if event.id in {right.of for right in self.of_kind.get(ReadingCorrected, ())}:
            return False  # a correction may come before its reading
        if isinstance(event, PhotoTaken) and event.sha256 in {
            mark.sha256 for mark in self.of_kind.get(PhotoMarked, ())
        }:
            return False  # a mark may come before its photo
        last = max(self.turn, event.turn)
        return not self.events or place(self.events[-1], last) < place(event, last)

    def _with(self, event: Event) -> Folding:
        """The same with one event more that follows."""
        after = object.__new__(type(self))
        shared = ("parsed", "looked_up")  # what stands there holds for every call on this machine
        after.__dict__.update(
            (name, value.copy() if isinstance(value, list | dict | set) and name not in shared else value)
            for name, value in self.__dict__.items()
        )
        after.order[event.id] = len(self.events)
        after.events, after.live = (*self.events, event), (*self.live, event)
        after.turn = max(self.turn, event.turn)
        after.of_kind[type(event)] = [*self.of_kind.get(type(event), ()), event]
        if isinstance(event, HazardFound):
            after.hazards = (*self.hazards, event)
        after._take(event)
        return after

    def _take(self, event: Event) -> None:
        """What an event changes."""
        live = event.id not in self.undone
        self.stand = self.stand.at(event, self.machine)
        if not self.counted and 0 < event.turn <= self.turn:
            self.counted = True
            self.held.clear()
        try:
            match event:
                case GatePassed():
                    self._gate(event, live)
                case ReadingTaken():
                    right = self.corrected.get(event.id, event)
                    self._reading(right or event, live and right is not None)
                case HazardFound():
                    self._stop(Stoppage(event.hazard, event.gate, event.id, event.words))
                case HazardCleared() if live:
                    self._answered(event)
                case RecordingTaken():
                    against = self._against(event, "attempt.recorded") if live else ()
                    self._powered()
                    if live:
                        self._recording(event, against)
                case _ if live:
                    self._other(event)
        except HumclickError as error:
            self.problem(event.id, error.message)

    def _stop(self, hazard: Stoppage) -> None:
        """
        A hazard was found: from here it stands until it is answered.

        What was passed before it, or by a device that had not heard of it, answers nothing: every gate ends,
        or those alone that it bars.
        """
        self.stoppages[hazard.event] = hazard
        self.passed_since[hazard.event] = frozenset()
        stop = hazard.stop
        self._end(gates() if stop.whole else {*stop.gates, *([stop.proof] if stop.proof else [])})

    def _answered(self, event: HazardCleared) -> None:
        """The hazard is answered, if it is open and what proves it was done since."""
        hazard = self.stoppages.get(event.of)
        if hazard is None:
            text = Message("{of} is no hazard that is open on this call", of=repr(event.of))
            self.problem(event.id, text, event.words)
        elif hazard.stop.proof and hazard.stop.proof not in self.passed_since[event.of]:
            proof = gates()[hazard.stop.proof].title
            form = N_("{title}: first pass the safety step “{proof}”")
            self.problem(event.id, Message.of(form, title=hazard.stop.title, proof=proof), event.words)
        else:
            del self.stoppages[event.of]

    def _other(self, event: Event) -> None:
        match event:
            case Opened():
                self.header = event
            case ComplaintHeard():
                self.complaint = None if event.heard == "unknown" else Heard(event.heard)
                self.words = event.words
                self.tripped |= event.heard == Heard.BREAKER
            case MeterTaken():
                self.meter = meter_taken(event)
                self.leads = Leads(event.leads_nulled, event.lead_ohms)
            case Waited():
                self.stand = self.stand.waited(event.minutes, self.machine)
            case ProbeSkipped():
                if isinstance(probe := self._probe(event.probe), Message):
                    self.problem(event.id, probe, event.reason)
                else:
                    self.skipped[event.probe] = event.reason
            case PhotoMarked():
                if not any(isinstance(e, PhotoTaken) and e.sha256 == event.sha256 for e in self.live):
                    self.problem(
                        event.id, Message("there is no photo with this sha256 on the call"), event.label
                    )
            case PartFitted():
                self._renew(self._parts(event.part))
                self._end(invalidated_by(["power-off-proved-dead"]))  # hands were inside
            case _:
                pass

    def _renew(self, parts: Iterable[str]) -> None:
        """A repair was made, and these parts are new."""
        self.repairs += 1
        self.renewed.update(parts)
        self.renewals.update(dict.fromkeys(parts, self.repairs))

    def _parts(self, name: str) -> frozenset[str]:
        if self.machine is None:
            return frozenset({name})
        if name == COMPRESSOR:
            return frozenset(p.id for p in self.machine.parts if p.family.sealed)
        try:
            return frozenset({self.machine.part(name).id})
        except Unknown:
            names = [*(p.id for p in self.machine.parts), COMPRESSOR]
            raise Unknown(
                Message("part of {arrangement}", arrangement=self.machine.arrangement.id), name, names
            ) from None

    def _end(self, now: Iterable[str], this_round: Iterable[str] | None = None) -> None:
        """Gates that hold no longer on any device, now and in this round; the same ones if not said."""
        now = frozenset(now)
        this_round = now if this_round is None else frozenset(this_round)
        self.ended.update(now | this_round)
        for device, held in self.held.items():
            self.held[device] = Holding(held.proved - now, held.this_round - this_round)

    def _gate(self, event: GatePassed, live: bool) -> None:
        known = event.ended is None or event.ended == self.ended[event.gate]
        ended = invalidated_by([event.gate])
        self._end(ended, () if energises([event.gate]) else ended)
        if live:
            self.gates.append(event)
        if live and known:
            passed = frozenset({event.gate})
            held = self._holding(event.device)
            self.held[event.device] = Holding(held.proved | passed, held.this_round | passed)
            for name in self.passed_since:
                self.passed_since[name] |= passed
                if name in self.stoppages and self.stoppages[name].lifted_by(event.gate):
                    del self.stoppages[name]

    def _probe(self, name: str) -> Probe | Message:
        """The probe, or why there is none."""
        if self.machine is None:
            return Message("no machine is described, so this cannot be judged; name its start arrangement")
        if name not in self.looked_up:
            try:
                self.looked_up[name] = known_probe(self.machine, name)
            except Unknown as error:
                self.looked_up[name] = error
        probe = self.looked_up[name]
        return probe.message if isinstance(probe, Unknown) else probe

    def _may_power(self, name: str) -> bool:
        """Whether what was done under an unknown name may have put power on: if the nearest probe does."""
        error = self.looked_up.get(name)
        near = get_close_matches(name, error.known, n=1, cutoff=0.5) if isinstance(error, Unknown) else ()
        nearest = self._probe(near[0]) if near else NOTHING
        return isinstance(nearest, Message) or energises(nearest.gates)

    def _powered(self) -> None:
        """The machine was, or may have been, under power: what that ends."""
        power = [name for name, gate in gates().items() if gate.energises]
        ended = invalidated_by(gates())
        self._end(invalidated_by(power), ended)
        for device, held in self.held.items():
            self.held[device] = replace(held, this_round=held.proved - ended)

    def _reading(self, event: ReadingTaken, live: bool) -> None:
        try:
            self._taken(event, live)
        finally:
            self._stopped_by(event)

    def _taken(self, event: ReadingTaken, live: bool) -> None:
        probe = self._probe(event.probe)
        if self.machine is None or isinstance(probe, Message):
            if self._may_power(event.probe):
                self._powered()
            if live and isinstance(probe, Message):
                self.problem(event.id, probe, event.value)
            return
        wanted = [gate.name for gate in gates_for(probe.gates, self.machine)]
        against = self._against(event, event.probe) if live else ()
        holding = self._holding(event.device)
        missing = unproved(wanted, holding.proved, holding.this_round)
        self._end(n for n, g in gates().items() if g.once or (g.on and g.on != probe.quantity))
        powered = energises(probe.gates)
        if powered:
            self._powered()
        if not live:
            return
        try:
            reading, answer = understood(event, probe, self.parsed)
        except HumclickError as error:
            self.problem(event.id, error.message, event.value)
            if powered:
                self.stand = self.stand.tried(event)
            return
        temperature = self._warmth(event, probe)
        if probe.mends:
            self._renew({part for part in probe.mends if "." not in part})
        self.skipped.pop(event.probe, None)
        self.readings.append(
            ReadingKept(
                event=event.id,
                at=event.at,
                probe=event.probe,
                text=event.value,
                reading=reading,
                answer=answer,
                temperature=temperature,
                unproved=missing,
                renewed=frozenset(self.renewed),
                note=event.note,
                repairs=self.repairs,
                tester=proves_insulation((probe.meter or self.meter).test_voltage),
                top=top_ohms(probe.meter or self.meter),
                against=against,
                meter=self.meter if reading is not None else None,
            )
        )
        attempted = bool(probe.quantity) or str(Heard.RUNS) in {str(outcome) for outcome in probe.outcomes}
        drew = attempted and answer != Heard.SILENT and not (reading is not None and reading.below_resolution)
        if powered and drew:
            self.stand = self.stand.tried(event)

    def _warmth(self, event: ReadingTaken, probe: Probe) -> PartTemperature:
        """How warm the part was: as said, as last said since the last try, else by how long it stands."""
        said = None
        try:
            said = parse_temperature(event.temperature) if event.temperature.strip() else None
        except HumclickError as error:
            self.problem(event.id, error.message, event.temperature)
        temperature = self.stand.warmth_of(probe, said)
        if said is not None:
            self.stand = self.stand.felt(temperature, probe, event)
        return temperature

    def _against(self, event: Event, name: str) -> tuple[str, ...]:
        """What forbids a probe now, or has to be shown before it, in words."""
        from humclick.diagnosis.guards import open_before  # here: reading a call file needs no judgement

        probe = self._probe(name)
        if isinstance(probe, Message) or not (probe.energises or self.stoppages):
            return ()
        situation = self.call(event.device).situation()
        return open_before(situation, probe) if situation is not None else ()

    def _stopped_by(self, event: ReadingTaken) -> None:
        """A look at what ends the call stops it, taken back or not, and whatever machine is described."""
        stop = hazard_seen(event)
        if stop:
            self._stop(Stoppage(stop, "", event.id, Message.of(event.value)))

    def _recording(self, event: RecordingTaken, against: tuple[str, ...]) -> None:
        """A recording is an attempt that somebody watched; what each attempt in it came to counts once."""
        if self.machine is None:
            self.problem(
                event.id, Message("a recording says nothing before the machine is described"), event.name
            )
            return
        temperature = warmth(self.stand.hot, self.stand.minutes, "pressures")
        causes = tuple(sorted(event.causes.items()))
        for heard in dict.fromkeys(event.heard[:1] if causes else event.heard):
            self.readings.append(
                ReadingKept(
                    event=event.id,
                    at=event.at,
                    probe="attempt.recorded",
                    text=heard,
                    reading=None,
                    answer=heard,
                    temperature=temperature,
                    unproved=(),
                    renewed=frozenset(self.renewed),
                    note=event.words,
                    causes=causes,
                    repairs=self.repairs,
                    against=against,
                )
            )
        if set(event.heard) != {Heard.SILENT}:
            self.stand = self.stand.tried(event)

    def _holding(self, device: str) -> Holding:
        """Gates that hold on a device."""
        return self.held.get(device, Holding())

    def call(self, device: str | None = None) -> Call:
        """All of it as a call, as a device sees it; the one that asks if none is named."""
        asker = self.device if device is None else device
        live = self.of_kind
        return Call(
            header=self.header,
            machine=self.machine,
            complaint=self.complaint,
            words=self.words,
            tripped=self.tripped,
            meter=self.meter,
            leads=self.leads,
            readings=tuple(self.readings),
            gates=tuple(self.gates),
            device=asker if asker is not None else self.events[-1].device if self.events else "",
            held={
                holder: held
                for holder, held in self.held.items()
                if (self.counted or asker is None) and (held.proved or held.this_round)
            },
            ended=dict(+self.ended),
            order=self.order,
            turn=self.turn,
            skipped=dict(self.skipped),
            waited=self.stand.minutes,
            hot=self.stand.hot,
            renewed=frozenset(self.renewed),
            repairs=self.repairs,
            renewals=dict(self.renewals),
            stoppages=tuple(self.stoppages.values()),
            marked_volts=self.marked,
            hazards=self.hazards,
            cleared=tuple(live.get(HazardCleared, ())),
            stamps=tuple(live.get(StampRead, ())),
            waits=tuple(live.get(Waited, ())),
            fitted=tuple(live.get(PartFitted, ())),
            photos=tuple(live.get(PhotoTaken, ())),
            recordings=tuple(live.get(RecordingTaken, ())),
            marks=tuple(live.get(PhotoMarked, ())),
            notes=tuple(live.get(NoteWritten, ())),
            decisions=tuple(live.get(DecisionTaken, ())),
            undone=self.undone,
            corrected=self.corrected,
            problems=tuple(self.problems),
            events=self.events,
        ).folded_by(self)
