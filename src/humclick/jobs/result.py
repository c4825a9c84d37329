"""
What the command line and the server hand over to other programs: dataclasses, and these as JSON.

A number that is infinite (nothing would flip the decision) is null. Probabilities in [-], money in the
shop's unit, times in [min].
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from humclick.diagnosis.advice import advise
from humclick.diagnosis.advised import MayBe, Suspect, Value
from humclick.diagnosis.contradictions import contradictions
from humclick.diagnosis.findings import Finding, findings
from humclick.diagnosis.guard_states import GuardState
from humclick.diagnosis.power import Bar
from humclick.diagnosis.probes import Probe, probe_of
from humclick.diagnosis.reasons import Explanation, explain, leader_of
from humclick.errors import Refused
from humclick.jobs.briefing import spoken_with
from humclick.jobs.call import Call, Problem
from humclick.jobs.doubt import Doubt, doubt_of
from humclick.jobs.history import Turn, heading, state_of, turns
from humclick.jobs.standing import cautions, onward
from humclick.messages import Message, Verbatim, as_data, listed

if TYPE_CHECKING:
    from humclick.diagnosis.advice import Advice, Verdict
    from humclick.diagnosis.shop import Shop

__all__ = [
    "AdviceResult",
    "DefendedVerdict",
    "MachineNamed",
    "TurnResult",
    "advice_schema",
    "as_json",
    "defended",
    "finite",
    "result_of",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class MachineNamed:
    """
    The machine on the bench.

    Attributes
    ----------
    arrangement, title, protector : str
        Name and words of the start arrangement; where the protector sits.
    volts : float
        Nominal supply. [V]
    hertz : float or None
        Its frequency; null for direct current. [Hz]
    """

    arrangement: str
    title: str
    protector: str
    volts: float
    hertz: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DefendedVerdict:
    """
    A verdict; see `humclick.diagnosis.advice.Verdict`.

    Attributes
    ----------
    remedies, titles, rival : tuple of str
        What to do, or what was done where nothing is left to do; the same in words; the next best decision.
    due : tuple of str
        What is still to be done; empty where what was done fixed it.
    probability : float
        That this, and nothing more, fixes it; when handing over, that the cause is not on the list. [-]
    sentence : str
        In one sentence.
    expected_loss : float
        [money]
    margin : float or None
        By how much the best further probe would fail to pay; null where there is none left. [money]
    flip_factor : float or None
        Factor on the rival's prior odds that changes the decision; null where none does. [-]
    guards : tuple of GuardState
        What stands behind condemning a compressor.
    by_elimination : bool
        True where no reading speaks of the suspect itself.
    because : str
        Why it leads, in one or two sentences.
    """

    remedies: tuple[str, ...]
    titles: tuple[Message, ...]
    rival: tuple[str, ...]
    due: tuple[str, ...]
    probability: float
    sentence: Message
    expected_loss: float
    margin: float | None
    flip_factor: float | None
    guards: tuple[GuardState, ...]
    by_elimination: bool
    because: Message


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnResult:
    """
    one go at fixing it, judged as the call stood when it began.

    Attributes
    ----------
    event : str
        Id of the event that began it: the decision, else the first thing put right.
    decided, done : tuple of str
        Remedies decided, and those carried out.
    outcome : str
        What the last try after it came to; empty where it was not tried since.
    suspects : tuple of Suspect
        What was suspected then.
    remedies : tuple of (remedy, probability)
        How probably each remedy was needed then. [-]
    explanation : Explanation or None
        Why, as it stood then; null where no machine was described then.
    """

    event: str
    decided: tuple[str, ...]
    done: tuple[str, ...]
    outcome: str
    suspects: tuple[Suspect, ...]
    remedies: tuple[tuple[str, float], ...]
    explanation: Explanation | None


@dataclass(frozen=True, slots=True, kw_only=True)
class AdviceResult:
    """
    Advice on a call.

    Attributes
    ----------
    humclick_advice : int
        Version of this format.
    kind : str
        ``stop`` while a hazard ends the call; ``probe``, ``wait`` or ``verdict``; ``work`` once it is
        decided, ``prove`` once something was put right and not tried since, ``repaired`` once it ran.
    heading : str
        How far the call has come, in one line.
    done, due : tuple of str
        Remedies carried out on this call, and what is still to be done.
    turns : tuple of TurnResult
        Every go at fixing it, with what was suspected and why as it stood then.
    machine : MachineNamed
        As described in the call.
    complaint : str or None
        What was heard; null if not known.
    suspects, remedies, none_of_these, left_out, beyond, next, alternatives, guards, arrangements, unweighed
        As in `humclick.diagnosis.advice.Advice`: of now, what was put right left out.
    findings, contradictions
        As in `humclick.diagnosis.reasons`.
    doubt : Doubt or None
        The last reading with what puts it right, where it may have been taken or written down wrong.
    unproved : mapping of event to tuple of str
        Readings taken without a record of a safety gate, and which; or against what forbade them, in words.
    bars : tuple of Bar
        What forbids power or work now, as in `humclick.diagnosis.power`.
    problems : tuple of Problem
        What in the call could not be used.
    before : tuple of str
        Safety gates still to be passed before the next probe, by name, in order.
    cautions : tuple of str
        What to mind from now on, and what the next probe or the remedies meet, in plain words.
    verdict : DefendedVerdict or None
        Where it is time to act.
    explanation : Explanation or None
        Why it looks so now; only where asked for.
    """

    humclick_advice: Literal[1]
    kind: Literal["stop", "probe", "wait", "verdict", "work", "prove", "repaired"]
    heading: Message
    done: tuple[str, ...]
    due: tuple[str, ...]
    turns: tuple[TurnResult, ...]
    machine: MachineNamed
    complaint: str | None
    suspects: tuple[Suspect, ...]
    remedies: tuple[tuple[str, float], ...]
    none_of_these: float
    left_out: float
    beyond: float
    next: Value | None
    alternatives: tuple[Value, ...]
    guards: tuple[GuardState, ...]
    arrangements: tuple[MayBe, ...]
    unweighed: float
    findings: tuple[Finding, ...]
    doubt: Doubt | None
    contradictions: tuple[Message, ...]
    unproved: Mapping[str, tuple[str, ...]]
    bars: tuple[Bar, ...]
    problems: tuple[Problem, ...]
    before: tuple[str, ...]
    cautions: tuple[Message, ...]
    verdict: DefendedVerdict | None
    explanation: Explanation | None


def finite(value: float) -> float | None:
    """A number, or None where it is infinite. The unit is the value's own."""
    return value if math.isfinite(value) else None


def defended(verdict: Verdict | None, why: Explanation | None) -> DefendedVerdict | None:
    """A verdict with why it leads; None where there is none."""
    if verdict is None or why is None:
        return None
    return DefendedVerdict(
        remedies=verdict.remedies,
        titles=verdict.titles,
        rival=verdict.rival,
        due=verdict.due,
        probability=verdict.probability,
        sentence=verdict.sentence,
        expected_loss=verdict.expected_loss,
        margin=finite(verdict.margin),
        flip_factor=finite(verdict.flip_factor),
        guards=verdict.guards,
        by_elimination=why.by_elimination,
        because=why.sentence,
    )


_NO_MACHINE = Message(
    "no machine is described in this call; add an event of kind machine with its arrangement"
    " (humclick list arrangements)"
)


def result_of(call: Call, shop: Shop, *, why: bool = False, advice: Advice | None = None) -> AdviceResult:
    """
    Advice on a call as it stands; `advice` where it was worked out already.

    Raises
    ------
    Refused
        If no machine is described, or it is one that is only recognised.
    """
    situation, machine = call.situation(), call.machine
    if situation is None or machine is None:
        problems = (problem.text for problem in call.problems)
        raise Refused(listed((_NO_MACHINE, *problems), "rows"))
    advice = advice or advise(situation, shop=shop)
    explanation = explain(situation, shop, leader=leader_of(advice)) if why or advice.verdict else None
    state = state_of(call, advice)
    step = onward(call, advice, state, shop)
    following = advice.next if step.probe and advice.next and advice.next.probe == step.probe else None
    if step.probe and following is None:
        following = _proof(probe_of(machine, step.probe, shop), shop)
    remedies = advice.verdict.due if advice.verdict and step.kind != "stop" else ()
    met = spoken_with(call, following.probe if following else "", remedies, shop)
    spoken = [hazard.hazard for hazard in met]
    meanings = findings(situation, shop)
    return AdviceResult(
        humclick_advice=1,
        kind=step.kind,  # type: ignore[arg-type]
        heading=heading(state, advice, shop),
        done=state.done,
        due=state.due,
        turns=tuple(_turn(turn, shop) for turn in turns(call)),
        machine=MachineNamed(
            arrangement=machine.arrangement.id,
            title=machine.arrangement.title,
            protector=machine.protector,
            volts=machine.nameplate.volts,
            hertz=machine.nameplate.hertz if machine.alternates else None,
        ),
        complaint=None if call.complaint is None else str(call.complaint),
        suspects=advice.suspects,
        remedies=advice.remedies,
        none_of_these=advice.none_of_these,
        left_out=advice.left_out,
        beyond=advice.beyond,
        next=following,
        alternatives=() if step.kind == "repaired" else advice.alternatives,
        guards=advice.guards,
        arrangements=advice.arrangements,
        unweighed=advice.unweighed,
        findings=meanings,
        doubt=doubt_of(call, shop, {finding.id: finding for finding in meanings}),
        contradictions=contradictions(situation, shop),
        unproved={r.event: (*r.unproved, *r.against) for r in call.readings if r.unproved or r.against},
        bars=advice.bars,
        problems=call.problems,
        before=tuple(gate.name for gate in call.gates_before(following.gates)) if following else (),
        cautions=tuple(fact.sentence for fact in (*cautions(call), *spoken)),
        verdict=defended(advice.verdict, explanation),
        explanation=explanation if why else None,
    )


def _proof(probe: Probe, shop: Shop) -> Value:
    """The probe that proves the repair, as a next step."""
    cost = shop.money(probe.minutes) + probe.risk
    reason = Message("it proves the repair")
    return Value(probe.id, probe.title, probe.how, probe.gates, 0.0, cost, probe.minutes, 0.0, reason)


def _turn(turn: Turn, shop: Shop) -> TurnResult:
    """A go at fixing it, judged as the call stood when it began."""
    situation = turn.before.situation()
    advice = explanation = None
    if situation is not None and not situation.machine.arrangement.recognised_only:
        advice = advise(situation, shop=shop)
        explanation = explain(situation, shop, leader=leader_of(advice, turn.about))
    return TurnResult(
        event=turn.event,
        decided=turn.decided,
        done=turn.done,
        outcome=turn.outcome,
        suspects=advice.suspects if advice is not None else (),
        remedies=advice.remedies if advice is not None else (),
        explanation=explanation,
    )


def as_json(result: object) -> str:
    """
    A result as JSON text, indented; numbers that are infinite become null.

    Words stand in it as English text. Those that are put together stand once more under ``messages``, by that
    text, with their id and values, to be said in another language.
    """
    import msgspec

    messages: dict[str, object] = {}

    def english(value: object) -> str:
        if isinstance(value, Verbatim):
            return str(value)
        if not isinstance(value, Message):
            raise NotImplementedError(f"{type(value)} is not written as JSON")
        if value.values:
            messages[str(value)] = as_data(value)
        return str(value)

    table = _plain(msgspec.to_builtins(result, enc_hook=english))
    if messages and isinstance(table, dict):
        table["messages"] = _plain(messages)
    return json.dumps(table, ensure_ascii=False, indent=2, allow_nan=False)


def advice_schema() -> dict[str, Any]:
    """JSON Schema of advice as `as_json` writes it: the result, and what its words are made of."""
    from humclick.jobs.schema import schema_of

    schema = schema_of(AdviceResult)
    schema["$defs"]["AdviceResult"]["properties"]["messages"] = {"type": "object"}
    return schema


def _plain(value: Any) -> Any:
    if isinstance(value, float):
        return finite(value)
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    return value
