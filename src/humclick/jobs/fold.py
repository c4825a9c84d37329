"""
The fold: from the events of a call to what is known now.

``fold`` is pure and looks at no clock: the same events give the same call, in whatever order they arrive
and however often. Events are taken in the order of `humclick.jobs.order.in_order`. It never raises on
events that are well formed: what cannot be used is kept word for word and named in ``Call.problems``.
Minutes throughout.

Three rules are deliberate. The machine is the last one described, so correcting the arrangement re-reads
every reading. An undone attempt still ends "proved dead": the record may be wrong, the mains may not. And a
hazard once found stands, undone or not, until an event answers it by its id. A gate holds on the device that
passed it alone, until anything from any device ends it, be it something that this device had not heard of
(`GatePassed.ended`); one passed without a turn holds only while nobody counts.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from typing import Any, Protocol

from humclick.arrangements.machine import Machine, Nameplate
from humclick.diagnosis.situation import Heard, Stoppage, warmth
from humclick.errors import HumclickError, Unknown
from humclick.jobs.call import Call, Holding, Problem, ReadingKept, unproved
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
    ReadingTaken,
    RecordingTaken,
    StampRead,
    Undone,
    Waited,
)
from humclick.jobs.order import conflicts, last_turn, merge
from humclick.meters import Meter, Quantity, default_meter, meter, meter_from_table
from humclick.parts.family import Role, families, family
from humclick.physics.cooling import probability_passed
from humclick.physics.insulation import proves_insulation
from humclick.readings import Leads, Reading, parse_reading, parse_stamp, parse_temperature
from humclick.safety import energises, gates, gates_for, invalidated_by
from humclick.sourced import Spread

__all__ = ["Call", "ProbeFacts", "Problem", "ReadingKept", "conflicts", "fold", "known_probe", "merge"]

#: Probability from which a wait counts as long enough. A choice. [-]
_COOLED = 0.9

#: Stands for everything sealed in the shell.
COMPRESSOR = "compressor"

#: So many problems get a hint at the nearest right name.
_HINTS = 20

#: Answers that say nothing.
_NOT_SURE = ("not sure", "?", "unknown", "don't know")


class ProbeFacts(Protocol):
    """What the fold has to know of a probe."""

    @property
    def gates(self) -> tuple[str, ...]:
        """Gates it asks for."""

    @property
    def quantity(self) -> str:
        """``resistance``, ``capacitance``, ``voltage`` or ``current``; empty for a look or an attempt."""

    @property
    def outcomes(self) -> tuple[str, ...]:
        """Answers of a look or an attempt."""

    @property
    def heat(self) -> str:
        """What must cool before it can decide: a kind of `humclick.physics.cooling`, or empty."""

    @property
    def mends(self) -> frozenset[str]:
        """What doing it puts right: a part, or a single mode as ``part.mode``."""

    @property
    def meter(self) -> Meter | None:
        """The meter it is always read with; None for the one in use."""

    @property
    def stops(self) -> Mapping[str, str]:
        """Answers that end the call; names of `humclick.safety.stops`."""


ProbeOf = Callable[[Machine, str], ProbeFacts]


def known_probe(machine: Machine, name: str) -> ProbeFacts:
    """
    One probe of a machine by name, as `humclick.diagnosis.probes` knows it.

    Raises
    ------
    Unknown
        If the machine has no such probe.
    """
    from humclick.diagnosis.probes import probe_of  # here: reading a call file needs no judgement

    return probe_of(machine, name)


def fold(events: Iterable[Event], *, device: str | None = None, probe_of: ProbeOf = known_probe) -> Call:
    """
    What is known after these events.

    Parameters
    ----------
    events : iterable of Event
        In any order, with repeats.
    device : str, optional
        Who asks, and whose gates count (`Call.proved`); the device of the last event if left out.
    probe_of : callable, optional
        One probe of a machine by name; raises `Unknown`.

    Notes
    -----
    An attempt that drew current makes protector and starter hot; waits add up until each passing condition of
    the machine (protector, thermistor) is over with a probability of 0.9 by
    `humclick.physics.cooling.probability_passed`.
    """
    given = tuple(events)
    state = _Fold(merge(given), probe_of)
    for repeated in conflicts(given):
        state.problem(repeated, f"different events are all called {repeated!r}; the earliest counts")
    state.run()
    return state.call(device)


class _Fold:
    """The state while events are taken one by one."""

    def __init__(self, events: tuple[Event, ...], probe_of: ProbeOf) -> None:
        self.events = events
        self.problems: list[Problem] = []
        self.undone = self._undone()
        self.live = tuple(event for event in events if event.id not in self.undone)
        self.hazards = tuple(event for event in events if isinstance(event, HazardFound))
        self.order = {event.id: number for number, event in enumerate(events)}
        self.of_kind: defaultdict[type[Event], list[Any]] = defaultdict(list)
        for event in self.live:
            self.of_kind[type(event)].append(event)
        self.header: Opened | None = None
        self.complaint: Heard | None = None
        self.words = ""
        self.meter, self.leads = default_meter(), Leads()
        self.readings: list[ReadingKept] = []
        self.gates: list[GatePassed] = []
        self.counted = False
        self.proved: defaultdict[str, set[str]] = defaultdict(set)
        self.round: defaultdict[str, set[str]] = defaultdict(set)
        self.ended: Counter[str] = Counter()
        self.skipped: dict[str, str] = {}
        self.waited = 0.0
        self.hot: bool | None = None
        self.renewed: set[str] = set()
        self.repairs = 0
        self.renewals: dict[str, int] = {}
        self.stoppages: dict[str, Stoppage] = {}
        self.passed_since: dict[str, set[str]] = {}
        self.marked: dict[str, float] = {}
        self.machine = self._machine()
        self.probe_of = probe_of
        self.looked_up: dict[str, ProbeFacts | Unknown] = {}

    def problem(self, event: str, text: str, kept: str = "") -> None:
        self.problems.append(Problem(event, text, kept))

    def _undone(self) -> frozenset[str]:
        """Ids of events taken back: each has an undo that is itself in force. Circles of undos do nothing."""
        known = {event.id: event for event in self.events}
        undos = [event for event in self.events if isinstance(event, Undone)]
        against: dict[str, list[str]] = {}
        for undo in undos:
            if undo.of not in known:
                near = get_close_matches(undo.of, known, n=1) if len(self.problems) < _HINTS else ()
                hint = f"; did you mean {near[0]}?" if near else ""
                self.problem(undo.id, f"there is no event {undo.of!r} to undo{hint}", undo.of)
            against.setdefault(undo.of, []).append(undo.id)
        waiting = {event.id: len(against.get(event.id, ())) for event in self.events}
        ready = [name for name, open_ in waiting.items() if not open_]
        gone: set[str] = set()
        while ready:
            event = known[ready.pop()]
            waiting.pop(event.id)
            if isinstance(event, Undone) and event.of in waiting:
                if event.id not in gone:
                    gone.add(event.of)
                waiting[event.of] -= 1
                if not waiting[event.of]:
                    ready.append(event.of)
        for name in sorted(waiting):
            self.problem(name, "these undos take each other back in a circle; they do nothing")
        return frozenset(gone | set(waiting))

    def _machine(self) -> Machine | None:
        machine: Machine | None = None
        for event in self.live:
            if isinstance(event, MachineRead):
                try:
                    plate = Nameplate(
                        event.volts,
                        event.hertz,
                        event.locked_rotor_amps,
                        event.rated_load_amps,
                        event.refrigerant,
                    )
                    described = Machine.of(event.arrangement, event.protector or None, plate)
                    described.parts  # noqa: B018  refuses a protector the arrangement does not come with
                    machine = described
                except HumclickError as error:
                    self.problem(event.id, str(error), event.arrangement)
        if machine is None:
            return None
        known: dict[str, Spread] = {}
        for event in self.live:
            if isinstance(event, StampRead):
                self._stamp(event, machine, known)
        return Machine(machine.arrangement, machine.protector, machine.nameplate, known)

    def _stamp(self, event: StampRead, machine: Machine, known: dict[str, Spread]) -> None:
        try:
            placed = machine.part(event.part)
            if "capacitance" not in placed.family.sizes:
                return
            stamp = parse_stamp(event.text)
            low, high = stamp.limits("start" if placed.family.role is Role.START_CAPACITOR else "run")
        except HumclickError as error:
            self.problem(event.id, str(error), event.text)
            return
        source = f"stamp: {event.text}"
        known[f"{event.part}.capacitance"] = Spread(
            math.sqrt(low * high), max(1.0, math.sqrt(high / low)), "F", source
        )
        self.marked.pop(event.part, None)
        if stamp.volts is not None:
            self.marked[event.part] = stamp.volts

    def run(self) -> None:
        last = last_turn(self.events)
        for event in self.events:
            live = event.id not in self.undone
            if not self.counted and 0 < event.turn <= last:
                self.counted = True
                self.proved.clear()
                self.round.clear()
            try:
                match event:
                    case GatePassed():
                        self._gate(event, live)
                    case ReadingTaken():
                        self._reading(event, live)
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
                self.problem(event.id, str(error))

    def _stop(self, found: Stoppage) -> None:
        """
        A hazard was found: from here it stands until it is answered.

        What was passed before it, or by a device that had not heard of it, answers nothing: every gate ends,
        or those alone that it bars.
        """
        self.stoppages[found.event] = found
        self.passed_since[found.event] = set()
        stop = found.stop
        self._end(gates() if stop.whole else {*stop.gates, *([stop.proof] if stop.proof else [])})

    def _answered(self, event: HazardCleared) -> None:
        """The hazard is answered, if it is open and what proves it was done since."""
        hazard = self.stoppages.get(event.of)
        if hazard is None:
            self.problem(event.id, f"{event.of!r} is no hazard that is open on this call", event.words)
        elif hazard.stop.proof and hazard.stop.proof not in self.passed_since[event.of]:
            proof = gates()[hazard.stop.proof].title
            self.problem(event.id, f"{hazard.stop.title}: first pass the safety step “{proof}”", event.words)
        else:
            del self.stoppages[event.of]

    def _other(self, event: Event) -> None:
        match event:
            case Opened():
                self.header = event
            case ComplaintHeard():
                self.complaint = None if event.heard == "unknown" else Heard(event.heard)
                self.words = event.words
            case MeterTaken():
                self.meter = _meter(event)
                self.leads = Leads(event.leads_nulled, event.lead_ohms)
            case Waited():
                self.waited += event.minutes
                if self.hot is not False and self.machine is not None and _cooled(self.machine, self.waited):
                    self.hot = False
            case ProbeSkipped():
                if isinstance(found := self._probe(event.probe), str):
                    self.problem(event.id, found, event.reason)
                else:
                    self.skipped[event.probe] = event.reason
            case PhotoMarked():
                if not any(isinstance(e, PhotoTaken) and e.sha256 == event.sha256 for e in self.live):
                    self.problem(event.id, "there is no photo with this sha256 on the call", event.label)
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
            raise Unknown(f"part of {self.machine.arrangement.id}", name, names) from None

    def _end(self, now: Iterable[str], this_round: Iterable[str] | None = None) -> None:
        """Gates that hold no longer on any device, now and in this round; the same ones if not said."""
        now = frozenset(now)
        this_round = now if this_round is None else frozenset(this_round)
        self.ended.update(now | this_round)
        for held in self.proved.values():
            held -= now
        for held in self.round.values():
            held -= this_round

    def _gate(self, event: GatePassed, live: bool) -> None:
        known = event.ended is None or event.ended == self.ended[event.gate]
        ended = invalidated_by([event.gate])
        self._end(ended, () if energises([event.gate]) else ended)
        if live:
            self.gates.append(event)
        if live and known:
            self.proved[event.device].add(event.gate)
            self.round[event.device].add(event.gate)
            for name, passed in self.passed_since.items():
                passed.add(event.gate)
                if name in self.stoppages and _lifted(self.stoppages[name], event.gate):
                    del self.stoppages[name]

    def _probe(self, name: str) -> ProbeFacts | str:
        """The probe, or why there is none."""
        if self.machine is None:
            return "no machine is described, so this cannot be judged; name its start arrangement"
        if name not in self.looked_up:
            try:
                self.looked_up[name] = self.probe_of(self.machine, name)
            except Unknown as error:
                self.looked_up[name] = error
        found = self.looked_up[name]
        return str(found) if isinstance(found, Unknown) else found

    def _may_power(self, name: str) -> bool:
        """Whether what was done under an unknown name may have put power on: if the nearest probe does."""
        error = self.looked_up.get(name)
        near = get_close_matches(name, error.known, n=1, cutoff=0.5) if isinstance(error, Unknown) else ()
        nearest = self._probe(near[0]) if near else ""
        return isinstance(nearest, str) or energises(nearest.gates)

    def _powered(self) -> None:
        """The machine was, or may have been, under power: what that ends."""
        power = [name for name, each in gates().items() if each.energises]
        ended = invalidated_by(gates())
        self._end(invalidated_by(power), ended)
        for device, held in self.proved.items():
            self.round[device] = held - ended

    def _reading(self, event: ReadingTaken, live: bool) -> None:
        try:
            self._taken(event, live)
        finally:
            self._stopped_by(event)

    def _taken(self, event: ReadingTaken, live: bool) -> None:
        probe = self._probe(event.probe)
        if self.machine is None or isinstance(probe, str):
            if self._may_power(event.probe):
                self._powered()
            if live:
                self.problem(event.id, str(probe), event.value)
            return
        wanted = [each.name for each in gates_for(probe.gates, self.machine)]
        against = self._against(event, event.probe) if live else ()
        missing = unproved(wanted, self.proved[event.device], self.round[event.device])
        self._end(n for n, g in gates().items() if g.once or (g.on and g.on != probe.quantity))
        powered = energises(probe.gates)
        if powered:
            self._powered()
        if not live:
            return
        try:
            reading, answer = _understood(event, probe)
        except HumclickError as error:
            self.problem(event.id, str(error), event.value)
            if powered:
                self.hot, self.waited = True, 0.0
            return
        temperature = warmth(self.hot, self.waited, probe.heat)
        if event.temperature.strip():
            try:
                temperature = parse_temperature(event.temperature)
            except HumclickError as error:
                self.problem(event.id, str(error), event.temperature)
        if temperature.kind == "hot" and probe.heat and event.temperature.strip() and self.hot is not True:
            self.hot, self.waited = True, 0.0
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
                top=_top(probe.meter or self.meter),
                against=against,
            )
        )
        attempted = bool(probe.quantity) or str(Heard.RUNS) in {str(each) for each in probe.outcomes}
        drew = attempted and answer != Heard.SILENT and not (reading is not None and reading.below_resolution)
        if powered and drew:
            self.hot, self.waited = True, 0.0

    def _against(self, event: Event, name: str) -> tuple[str, ...]:
        """What forbids a probe now, or has to be shown before it, in words."""
        from humclick.diagnosis.guards import open_before  # here: reading a call file needs no judgement
        from humclick.diagnosis.probes import Probe

        probe = self._probe(name)
        if not isinstance(probe, Probe) or not (probe.energises or self.stoppages):
            return ()
        situation = self.call(event.device).situation()
        return open_before(situation, probe) if situation is not None else ()

    def _stopped_by(self, event: ReadingTaken) -> None:
        """A look at what ends the call stops it, taken back or not, and whatever machine is described."""
        stop = _stops_seen().get((event.probe, _plain(event.value)))
        if stop is not None:
            self._stop(Stoppage(stop, "", event.id, event.value))

    def _recording(self, event: RecordingTaken, against: tuple[str, ...]) -> None:
        """A recording is an attempt that somebody watched; what each attempt in it came to counts once."""
        if self.machine is None:
            self.problem(event.id, "a recording says nothing before the machine is described", event.name)
            return
        temperature = warmth(self.hot, self.waited, "pressures")
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
            self.hot, self.waited = True, 0.0

    def call(self, device: str | None) -> Call:
        asked = device if device is not None else self.events[-1].device if self.events else ""
        held = {
            each: Holding(frozenset(self.proved[each]), frozenset(self.round[each]))
            for each in {*self.proved, *self.round}
            if (self.counted or device is None) and (self.proved[each] or self.round[each])
        }
        return Call(
            header=self.header,
            machine=self.machine,
            complaint=self.complaint,
            words=self.words,
            meter=self.meter,
            leads=self.leads,
            readings=tuple(self.readings),
            gates=tuple(self.gates),
            device=asked,
            held=held,
            ended=dict(+self.ended),
            order=self.order,
            skipped=dict(self.skipped),
            waited=self.waited,
            hot=self.hot,
            renewed=frozenset(self.renewed),
            repairs=self.repairs,
            renewals=dict(self.renewals),
            stoppages=tuple(self.stoppages.values()),
            marked_volts=dict(self.marked),
            hazards=self.hazards,
            cleared=tuple(self.of_kind[HazardCleared]),
            stamps=tuple(self.of_kind[StampRead]),
            waits=tuple(self.of_kind[Waited]),
            fitted=tuple(self.of_kind[PartFitted]),
            photos=tuple(self.of_kind[PhotoTaken]),
            recordings=tuple(self.of_kind[RecordingTaken]),
            marks=tuple(self.of_kind[PhotoMarked]),
            notes=tuple(self.of_kind[NoteWritten]),
            decisions=tuple(self.of_kind[DecisionTaken]),
            undone=self.undone,
            problems=tuple(self.problems),
            events=self.events,
        )


@cache
def _stops_seen() -> Mapping[tuple[str, str], str]:
    """Hazards by the probe and the answer, in plain letters, that show them, on whatever machine."""
    return {
        (f"{name}.{look.name}", _plain(answer)): stop
        for name in families()
        for look in family(name).looks
        for answer, stop in look.stops.items()
    }


def _lifted(hazard: Stoppage, passed: str) -> bool:
    """Whether passing a gate answers a hazard by itself: one that bars only what needs that gate."""
    return not hazard.stop.whole and hazard.stop.proof == passed


def _top(used: Meter) -> float:
    """What OL of a meter's ohms exceeds; 0 where it has no ohms. [Ω]"""
    return used.highest(Quantity.RESISTANCE) if used.measures(Quantity.RESISTANCE) else 0.0


def _meter(event: MeterTaken) -> Meter:
    if event.own:
        return meter_from_table(event.own, "own meter")
    return meter(event.name) if event.name else default_meter()


def _cooled(machine: Machine, minutes: float) -> bool:
    """Whether all that was warm has cooled and the pressures are equal, as far as the chosen probability."""
    kinds = {part.family.heat for part in machine.parts} - {""} | {"pressures", "windings"}
    return all(probability_passed(kind, minutes) >= _COOLED for kind in kinds)


def _understood(event: ReadingTaken, probe: ProbeFacts) -> tuple[Reading | None, str]:
    """The reading or the answer; an answer that says nothing is empty."""
    if probe.quantity:
        return parse_reading(event.value, Quantity(probe.quantity)), ""
    said = _plain(event.value)
    if said in _NOT_SURE:
        return None, ""
    by_plain = {_plain(str(each)): str(each) for each in probe.outcomes}
    if said not in by_plain:
        raise Unknown(f"answer to {event.probe}", event.value, [str(each) for each in probe.outcomes])
    return None, by_plain[said]


def _plain(text: str) -> str:
    return " ".join(text.casefold().replace("_", " ").replace("-", " ").split())
