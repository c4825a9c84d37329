"""
What stands on a job sheet, before it is typeset.

Three pages for three readers, made from the call and from judgement; nothing is worked out in the template.
Every text here is plain text: the templates escape it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.guards import GuardState
from humclick.diagnosis.judged import judge
from humclick.diagnosis.reasons import Explanation, explain, leader_of
from humclick.diagnosis.remaining import left_of_part
from humclick.diagnosis.shop import Shop
from humclick.jobs.call import Call
from humclick.jobs.history import State
from humclick.messages import NOTHING, Message
from humclick.replacement.demand import PartDemand
from humclick.replacement.match import MatchLine

__all__ = [
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
    "Told",
    "judgement_of",
]

#: States of a guard.
_REASONS = Message("Reasons")
_DONE, _NOT_DONE = Message("done"), Message("NOT DONE")


@dataclass(frozen=True, slots=True)
class Judgement:
    """
    Everything judgement says of a call.

    Attributes
    ----------
    advice : Advice
        Suspects, next probe or verdict.
    explanation : Explanation
        Why the leading decision leads.
    findings : mapping of event to Finding
        One sentence per reading.
    contradictions : tuple of str
        Readings that do not fit together.
    shares : mapping of part to float
        Probability that each part is not healthy. [-]
    machine : Machine
        What was judged.
    """

    advice: Advice
    explanation: Explanation
    findings: Mapping[str, Finding]
    contradictions: tuple[Message, ...]
    shares: Mapping[str, float]
    machine: Machine

    def remedy_of(self, part: str, mode: str) -> str:
        """Name of the remedy for a mode of a part of the machine."""
        return self.machine.part(part).remedy(mode)


def judgement_of(
    call: Call, shop: Shop | None = None, *, leader: Iterable[str] | None = None
) -> Judgement | None:
    """
    Judge a call; None where no machine is described or it is one that is only recognised.

    Parameters
    ----------
    call : Call
        The call, as it stands or as it stood.
    shop : Shop, optional
        The shop's own figures.
    leader : iterable of str, optional
        The remedies whose reason is asked for; by default those of the verdict, else the likeliest.

    Raises
    ------
    Unknown
        If a reading names a probe the machine does not have.
    """
    situation = call.situation()
    if situation is None or situation.machine.arrangement.recognised_only:
        return None
    advice = advise(situation, shop=shop)
    judged = judge(situation, shop)
    return Judgement(
        advice=advice,
        explanation=explain(situation, shop, leader=leader_of(advice, leader)),
        findings={each.id: each for each in findings(situation, shop)},
        contradictions=contradictions(situation, shop),
        shares={part.id: left_of_part(judged, part.id) for part in situation.machine.parts},
        machine=situation.machine,
    )


@dataclass(frozen=True, slots=True)
class Told:
    """
    What a sheet speaks of: the call judged now, and as it stood when its last go at fixing it began.

    Attributes
    ----------
    now : Judgement or None
        None for a machine that is only recognised, or none at all.
    before : Judgement or None
        The same as `now` while nothing was decided or done.
    state : State
        How far the call has come.
    """

    now: Judgement | None
    before: Judgement | None
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
    """
    The page in plain words.

    Attributes
    ----------
    headline, told, explained, sure : str
        The news; what the customer told; why; how sure.
    wrong, does, done, needed : tuple of str
        What was wrong; what the parts are for; what was done; what is needed.
    tested : tuple of Tested
        What was tested.
    safety : tuple of str
        What to mind.
    costs : tuple of CostLine
        Prices, if known.
    cost_note : str
        What the prices hold, or why there are none.
    """

    headline: Message
    told: str
    explained: Message
    sure: Message
    wrong: tuple[Message, ...]
    does: tuple[Message, ...]
    done: tuple[Message, ...]
    needed: tuple[Message, ...]
    tested: tuple[Tested, ...]
    safety: tuple[Message, ...]
    costs: tuple[CostLine, ...]
    cost_note: Message


@dataclass(frozen=True, slots=True)
class Entry:
    """
    One line of the record.

    Attributes
    ----------
    number : int
        Place in the order of events.
    at : str
        Time of day, or empty if nobody wrote it down.
    kind : str
        ``reading``, ``gate``, ``wait``, ``fitted``, ``photo``, ``note``, ``decision``, ``stamp``.
    title, probe, value, temperature, note : str
        What; name of the probe; what was seen; of the part; note beside it.
    finding : str
        What it means.
    warns : bool
        Whether it is not what a healthy part gives.
    moved, weight : str
        Remedies it moved most; weight of evidence for the leading decision, in decibans.
    typed : str
        As written, where it differs from the value shown.
    passed, unproved : tuple of str
        Gates it needs: numbers of the entries that passed those that held; those not confirmed.
    """

    number: int
    at: str
    kind: str
    title: str
    probe: str = ""
    value: str = ""
    temperature: str = ""
    note: str = ""
    finding: str = ""
    warns: bool = False
    moved: str = ""
    weight: str = ""
    typed: str = ""
    passed: tuple[str, ...] = ()
    unproved: tuple[str, ...] = ()


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
    """
    A start, drawn.

    Attributes
    ----------
    svg : str
        Made by `humclick.start.pictures`.
    caption : str
        What it shows, in words.
    """

    svg: str
    caption: str


@dataclass(frozen=True, slots=True)
class Standing:
    """
    What judgement says at one moment of the call: suspects, and how probably each remedy is needed.

    Attributes
    ----------
    title, needed : str
        Headings of the two lists, which say what moment it is.
    suspects, remedies : tuple of Row
        The lists.
    """

    title: Message
    needed: Message
    suspects: tuple[Row, ...]
    remedies: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class TechnicianPage:
    """
    The page for whoever comes next to this machine.

    Attributes
    ----------
    headline, verdict_note : str
        The decision in one line; how what was decided relates to what was judged.
    machine, figures, reasons : tuples of Row
        Nameplate; figures behind the decision; the reasons.
    wiring : Machine or None
        What is drawn.
    shares : mapping of part to float
        How probably each part is suspected, where it is shaded. [-]
    start_svg, start_caption : str
        A start as SVG made by `humclick.start.pictures`, and what it shows; empty where there is none.
    record : tuple of Entry
        All events in order.
    taken_back : str
        How many entries were taken back; empty where none was.
    standings : tuple of Standing
        What is suspected: before the repair or the decision, if there was one, and now.
    explanation, reasons_title : str
        Why the decision led, and the heading that says when.
    elimination : bool
        Whether it leads by elimination.
    reasons_note : str
        How many reasons are too weak to be shown.
    guards : tuple of Done
        What stands behind condemning a compressor.
    next : tuple of Row
        The next step: how, gates, why; empty at a verdict.
    contradictions, problems, skipped, left_out, cautions : tuple of str
        What does not fit; what could not be used; what was not done; what judgement leaves out; cautions.
    """

    headline: Message
    verdict_note: Message = NOTHING
    machine: tuple[Row, ...] = ()
    wiring: Machine | None = None
    shares: Mapping[str, float] = field(default_factory=dict)
    start_svg: str = ""
    start_caption: str = ""
    record: tuple[Entry, ...] = ()
    taken_back: Message = NOTHING
    standings: tuple[Standing, ...] = ()
    figures: tuple[Row, ...] = ()
    explanation: Message = NOTHING
    reasons_title: Message = _REASONS
    elimination: bool = False
    reasons: tuple[Row, ...] = ()
    reasons_note: Message = NOTHING
    guards: tuple[Done, ...] = ()
    next: tuple[Row, ...] = ()
    contradictions: tuple[Message, ...] = ()
    problems: tuple[Message, ...] = ()
    skipped: tuple[Message, ...] = ()
    left_out: tuple[Message, ...] = ()
    cautions: tuple[Message, ...] = ()


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph kept elsewhere: caption, beginning of its hash, and time."""

    caption: str
    short: str
    at: str


@dataclass(frozen=True, slots=True)
class FittedPart:
    """
    A new part fitted on this call, held against what the old one asked for.

    Attributes
    ----------
    title, note : str
        Which part, and what was written down of the new one.
    fit : str
        How well the marks written down match; empty where none could be compared.
    lines : tuple of MatchLine
        The marks compared.
    """

    title: str
    note: str
    fit: str = ""
    lines: tuple[MatchLine, ...] = ()


@dataclass(frozen=True, slots=True)
class CounterPage:
    """
    The page for the parts counter.

    Attributes
    ----------
    headline, note : str
        In one line; whether to order yet.
    demands : tuple of PartDemand
        One for each part.
    fitted : tuple of FittedPart
        What was fitted already.
    photos : tuple of Photo
        References.
    machine : tuple of Row
        Nameplate, which belongs to every order.
    """

    headline: Message
    note: Message
    demands: tuple[PartDemand, ...] = ()
    fitted: tuple[FittedPart, ...] = ()
    photos: tuple[Photo, ...] = ()
    machine: tuple[Row, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """
    A whole job sheet.

    Attributes
    ----------
    shop, customer, equipment, date : str
        Heading, as written; empty if not known.
    invented : bool
        Practice or demonstration.
    state : State
        How far the call has come.
    """

    shop: str
    customer: str
    equipment: str
    date: str
    invented: bool
    state: State
    customer_page: CustomerPage
    technician_page: TechnicianPage
    counter_page: CounterPage
