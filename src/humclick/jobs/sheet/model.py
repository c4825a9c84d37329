"""
What stands on a job sheet, before it is typeset.

Three pages for three readers, made from the call and from judgement; nothing is worked out in the template.
Every text here is plain text: the templates escape it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from humclick.arrangements.machine import Machine
from humclick.diagnosis.advice import Advice, advise
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.guards import GuardState
from humclick.diagnosis.judged import judge
from humclick.diagnosis.reasons import Explanation, explain
from humclick.diagnosis.shop import Shop
from humclick.jobs.call import Call
from humclick.replacement.demand import PartDemand, replaced_parts
from humclick.replacement.match import MatchLine

__all__ = [
    "Advised",
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
    "StartPicture",
    "State",
    "TechnicianPage",
    "Tested",
    "judgement_of",
    "state_of",
]


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
    contradictions: tuple[str, ...]
    shares: Mapping[str, float]
    machine: Machine

    def remedy_of(self, part: str, mode: str) -> str:
        """Name of the remedy for a mode of a part of the machine."""
        return self.machine.part(part).remedy(mode)


def judgement_of(call: Call, shop: Shop | None = None) -> Judgement | None:
    """
    Judge a call; None where no machine is described or it is one that is only recognised.

    Raises
    ------
    Unknown
        If a reading names a probe the machine does not have.
    """
    situation = call.situation()
    if situation is None or situation.machine.arrangement.recognised_only:
        return None
    advice = advise(situation, shop=shop)
    leader = frozenset(advice.verdict.remedies) if advice.verdict else None
    post = judge(situation, shop).post
    return Judgement(
        advice=advice,
        explanation=explain(situation, shop, leader=leader),
        findings={each.id: each for each in findings(situation, shop)},
        contradictions=contradictions(situation, shop),
        shares={part.id: post.of_part(part.id) for part in situation.machine.parts},
        machine=situation.machine,
    )


@dataclass(frozen=True, slots=True)
class State:
    """
    How far the call has come.

    Attributes
    ----------
    name : str
        ``bare``, ``recognised``, ``open``, ``handed``, ``passing``, ``needed``, ``fitted`` or ``repaired``.
    remedies : tuple of str
        What is to be done or was done: as the technician decided, else as judged.
    decided : bool
        Whether the technician decided.
    """

    name: str
    remedies: tuple[str, ...] = ()
    decided: bool = False


@dataclass(frozen=True, slots=True)
class Advised:
    """The advice alone, where only the state is asked for."""

    advice: Advice


def state_of(call: Call, judgement: Judgement | Advised | None) -> State:
    """How far the call has come, and what the remedies are."""
    if call.machine is None:
        return State("bare")
    if judgement is None:
        return State("recognised")
    decided = tuple(dict.fromkeys(call.decisions[-1].remedies)) if call.decisions else ()
    verdict = judgement.advice.verdict
    remedies = decided or (verdict.remedies if verdict else ())
    last = max((call.order[fitted.id] for fitted in call.fitted), default=-1)
    tries = [r for r in call.readings if r.probe.startswith(("attempt.", "fit.")) and r.answer]
    since = [r for r in tries if call.order[r.event] > last or r.probe.startswith("fit.")]
    known_good = bool(since) and since[-1].probe == "attempt.known_good"
    runs = bool(since) and since[-1].answer == "runs" and not known_good
    if call.renewed:
        if since and since[-1].answer != "runs":
            return State("open" if not verdict else "needed", remedies, bool(decided))
        left = () if set(remedies) <= {"wait"} else remedies  # nothing is left: what was fitted did it
        return State("repaired" if runs else "fitted", left or _fitted(call), bool(decided))
    if not remedies:
        return State("open")
    if "hand over" in remedies:
        return State("handed", remedies, bool(decided))
    if set(remedies) <= {"wait", "set control"}:
        return State("passing", remedies, bool(decided))
    if decided and runs:
        return State("repaired", remedies, True)
    return State("needed", remedies, bool(decided))


def _fitted(call: Call) -> tuple[str, ...]:
    """Remedies whose parts were fitted, where nobody wrote down a decision."""
    assert call.machine is not None
    found = []
    for placed in call.machine.parts:
        for mode in placed.family.modes:
            remedy = placed.remedy(mode)
            if placed.id in call.renewed and replaced_parts(call.machine, remedy):
                found.append(remedy)
    return tuple(dict.fromkeys(found))


@dataclass(frozen=True, slots=True)
class Tested:
    """A thing tested, in the customer's words, and what came of it."""

    what: str
    result: str
    good: bool


@dataclass(frozen=True, slots=True)
class CostLine:
    """One remedy's price: words, parts, work and both, as text. [money of the shop]"""

    what: str
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

    headline: str
    told: str
    explained: str
    sure: str
    wrong: tuple[str, ...]
    does: tuple[str, ...]
    done: tuple[str, ...]
    needed: tuple[str, ...]
    tested: tuple[Tested, ...]
    safety: tuple[str, ...]
    costs: tuple[CostLine, ...]
    cost_note: str


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

    title: str
    state: str

    @staticmethod
    def of(guard: GuardState) -> Done:
        """The state of a guard in words."""
        if guard.done:
            return Done(guard.title, "done")
        return Done(guard.title, f"not needed: {guard.waived}" if guard.waived else "NOT DONE")


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
class TechnicianPage:
    """
    The page for whoever comes next to this machine.

    Attributes
    ----------
    headline, verdict_note : str
        The decision in one line; how what was decided relates to what was judged.
    machine, figures, suspects, remedies, reasons : tuples of Row
        Nameplate; figures behind the verdict; suspects; probability each remedy is needed; the reasons.
    drawing_svg, drawing_text : str
        The wiring as SVG made by `humclick.circuit.drawing`, and as text; empty without a machine.
    start_svg, start_caption : str
        A start as SVG made by `humclick.start.pictures`, and what it shows; empty where there is none.
    record : tuple of Entry
        All events in order.
    explanation : str
        Why the leading decision leads.
    elimination, done : bool
        Whether it leads by elimination; whether the work was done, so that suspects are those before it.
    reasons_note : str
        How many reasons are too weak to be shown.
    guards : tuple of Done
        What stands behind condemning a compressor.
    next : tuple of Row
        The next probe: how, gates, why; empty at a verdict.
    contradictions, problems, skipped, left_out, cautions : tuple of str
        What does not fit; what could not be used; what was not done; what judgement leaves out; cautions.
    """

    headline: str
    verdict_note: str = ""
    machine: tuple[Row, ...] = ()
    drawing_svg: str = ""
    drawing_text: str = ""
    start_svg: str = ""
    start_caption: str = ""
    record: tuple[Entry, ...] = ()
    figures: tuple[Row, ...] = ()
    suspects: tuple[Row, ...] = ()
    remedies: tuple[Row, ...] = ()
    explanation: str = ""
    elimination: bool = False
    done: bool = False
    reasons: tuple[Row, ...] = ()
    reasons_note: str = ""
    guards: tuple[Done, ...] = ()
    next: tuple[Row, ...] = ()
    contradictions: tuple[str, ...] = ()
    problems: tuple[str, ...] = ()
    skipped: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


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

    headline: str
    note: str
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
