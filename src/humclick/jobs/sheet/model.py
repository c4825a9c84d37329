"""
What stands on a job sheet, before it is typeset.

Three pages for three readers, made from the call and from judgement; nothing is worked out in the template.
Every text here is plain text: the templates escape it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice
from humclick.diagnosis.findings import Finding
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.reasons import Explanation
from humclick.jobs.history import State
from humclick.jobs.judgements import Weighed
from humclick.messages import NOTHING, Message
from humclick.replacement.demand import PartDemand
from humclick.replacement.match import MatchLine

__all__ = [
    "Account",
    "CostLine",
    "CounterPage",
    "CustomerPage",
    "Done",
    "Entry",
    "FittedPart",
    "Judgement",
    "Photo",
    "Row",
    "Sheet",
    "Standing",
    "StartPicture",
    "TechnicianPage",
    "Tested",
    "judgement_of",
]

#: States of a guard.
_REASONS = Message("Reasons")
_DONE, _NOT_DONE = Message("done"), Message("NOT DONE")


@dataclass(frozen=True, slots=True)
class Judgement:
    """Everything judgement says of a call."""

    advice: Advice
    explanation: Explanation  #: why the leading decision leads
    findings: Mapping[str, Finding]  #: by the event of the reading
    contradictions: tuple[Message, ...]
    shares: Mapping[str, float]  #: probability that each part is not healthy [-]
    machine: Machine


def judgement_of(weighed: Weighed | None, about: tuple[str, ...] = ()) -> Judgement | None:
    """What was weighed, and why some remedies lead; None where nothing can be said of the machine."""
    explanation = weighed.explained(about) if weighed is not None else None
    if weighed is None or weighed.advice is None or explanation is None:
        return None
    return Judgement(
        advice=weighed.advice,
        explanation=explanation,
        findings=weighed.findings,
        contradictions=weighed.contradictions,
        shares=weighed.shares,
        machine=weighed.situation.machine,
    )


@dataclass(frozen=True, slots=True)
class Account:
    """What a sheet speaks of: the call judged now, and as it stood when its last go at fixing it began."""

    now: Judgement | None  #: None for a machine that is only recognised, or none at all
    before: Judgement | None  #: the same as `now` while nothing was decided or done
    state: State

    @property
    def behind(self) -> Judgement | None:
        """The judgement that stands behind what is to be done, or was done."""
        return self.now if self.state.failed else self.before

    @property
    def two(self) -> bool:
        """Whether before and after have to be told apart."""
        now, before = self.now, self.before
        changed = now is not None and before is not None and now.advice.suspects != before.advice.suspects
        return changed or bool(self.state.done)


@dataclass(frozen=True, slots=True)
class Tested:
    """A thing tested, in the customer's words, and what came of it."""

    what: Message
    result: Message
    good: bool


@dataclass(frozen=True, slots=True)
class CostLine:
    """One remedy's price: words, parts, work and both, as text. [money of the shop]"""

    what: Message
    parts: str
    work: str
    total: str


@dataclass(frozen=True, slots=True)
class CustomerPage:
    """The page in plain words."""

    headline: Message
    told: str  #: by the customer
    explained: Message
    sure: Message  #: how sure
    wrong: tuple[Message, ...]
    does: tuple[Message, ...]  #: what the parts are for
    done: tuple[Message, ...]
    needed: tuple[Message, ...]
    tested: tuple[Tested, ...]
    safety: tuple[Message, ...]
    costs: tuple[CostLine, ...]
    cost_note: Message  #: what the prices hold, or why there are none


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the record, of the kind of its event."""

    number: int  #: place in the order of events
    at: str  #: time of day, or empty if nobody wrote it down
    kind: str
    title: str
    probe: str = ""
    value: str = ""
    temperature: str = ""
    note: str = ""
    finding: str = ""  #: what it means
    warns: bool = False  #: it is not what a healthy part gives
    moved: str = ""  #: remedies it moved most
    weight: str = ""  #: of evidence for the leading decision, in decibans
    typed: str = ""  #: where it differs from the value shown
    passed: tuple[str, ...] = ()  #: numbers of the entries that passed the gates it needs
    unproved: tuple[str, ...] = ()  #: gates not confirmed


@dataclass(frozen=True, slots=True)
class Row:
    """A name and a value in a table, with a remark."""

    name: str
    value: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Done:
    """A guard before a compressor is condemned, as shown."""

    title: Message
    state: Message

    @property
    def sign(self) -> str:
        """A tick for what is done, an exclamation mark for what is not, else a dash."""
        return {_DONE: "✓", _NOT_DONE: "!"}.get(self.state, "–")

    @staticmethod
    def of(guard: GuardState) -> Done:
        """The state of a guard in words."""
        if guard.done:
            return Done(guard.title, _DONE)
        waived = Message("not needed: {reason}", reason=guard.waived)
        return Done(guard.title, waived if guard.waived else _NOT_DONE)


@dataclass(frozen=True, slots=True)
class StartPicture:
    """A start, drawn as SVG by `humclick.start.pictures`, and what it shows, in words."""

    svg: str
    caption: str


@dataclass(frozen=True, slots=True)
class Standing:
    """What judgement says at one moment of the call, with headings that say what moment it is."""

    title: Message
    needed: Message
    suspects: tuple[Row, ...]
    remedies: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class TechnicianPage:
    """The page for whoever comes next to this machine."""

    headline: Message
    verdict_note: Message = NOTHING  #: how what was decided relates to what was judged
    machine: tuple[Row, ...] = ()
    wiring: Machine | None = None  #: what is drawn
    #: how probably each part is suspected, where it is shaded [-]
    shares: Mapping[str, float] = field(default_factory=dict)
    start_svg: str = ""  #: made by `humclick.start.pictures`
    start_caption: str = ""
    record: tuple[Entry, ...] = ()
    taken_back: Message = NOTHING  #: how many entries
    standings: tuple[Standing, ...] = ()  #: before the repair or the decision, if there was one, and now
    figures: tuple[Row, ...] = ()  #: behind the decision
    explanation: Message = NOTHING  #: why the decision led
    reasons_title: Message = _REASONS  #: says when
    elimination: bool = False  #: it leads by elimination
    untested: Message = NOTHING  #: then, what around it was not tested, in a sentence
    reasons: tuple[Row, ...] = ()
    reasons_note: Message = NOTHING  #: how many are too weak to be shown
    guards: tuple[Done, ...] = ()  #: what stands behind condemning a compressor
    next: tuple[Row, ...] = ()  #: the next step: how, gates, why; empty at a verdict
    contradictions: tuple[Message, ...] = ()  #: what does not fit
    problems: tuple[Message, ...] = ()
    skipped: tuple[Message, ...] = ()
    left_out: tuple[Message, ...] = ()  #: by judgement
    cautions: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph kept elsewhere: caption, beginning of its hash, and time."""

    caption: str
    short: str
    at: str


@dataclass(frozen=True, slots=True)
class FittedPart:
    """A new part fitted on this call, held against what the old one asked for."""

    title: str
    note: str  #: written down of the new one
    fit: str = ""  #: how well its marks match; empty where none could be compared
    lines: tuple[MatchLine, ...] = ()


@dataclass(frozen=True, slots=True)
class CounterPage:
    """The page for the parts counter."""

    headline: Message
    note: Message  #: whether to order yet
    demands: tuple[PartDemand, ...] = ()
    fitted: tuple[FittedPart, ...] = ()
    photos: tuple[Photo, ...] = ()
    machine: tuple[Row, ...] = ()  #: nameplate, which belongs to every order


@dataclass(frozen=True, slots=True)
class Sheet:
    """A whole job sheet. What is not known is empty; `invented` marks practice or demonstration."""

    shop: str
    customer: str
    equipment: str
    date: str
    invented: bool
    state: State
    customer_page: CustomerPage
    technician_page: TechnicianPage
    counter_page: CounterPage
