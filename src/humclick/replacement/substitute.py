"""
Substitution: would the machine start with this part as it did with the old one, and stay protected?

Both are simulated on the machines that agree with what is at hand (`humclick.replacement.trials`); what the
simulation cannot see is held against the marks (`humclick.replacement.match`). Needs the ``start`` extra.

Protection is never given up: a protector that opens later or never with the rotor locked, a bridged or absent
one, and a bridged starter are answered *no*, whatever else would be gained.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from humclick.arrangements.machine import Machine
from humclick.errors import Refused
from humclick.messages import Message, listed
from humclick.parts.family import Role
from humclick.replacement.demand import MissingMark
from humclick.replacement.fitting import ASSIST, assist_arrangement, assisted, fit_part, known_of
from humclick.replacement.judging import StartsAt, findings_of, starts_of
from humclick.replacement.marks import Rule, read_marks
from humclick.replacement.match import MatchGrade, MatchLine, worst
from humclick.replacement.proposal import (
    Proposal,
    example,
    is_starter,
    marked,
    marks_text,
    proposal_of,
    rating,
    require_replaceable,
    rules_of,
    simulated_marks,
    still_to_read,
)
from humclick.replacement.trials import (
    Fitted,
    PartTrial,
    TrialCondition,
    best_case,
    number,
    prepared,
    try_part,
    working,
)
from humclick.start.case import StartCase
from humclick.start.estimate import Estimate, Possible
from humclick.start.run import Run, simulate

__all__ = ["Substitution", "described", "runs_of", "try_substitute"]


@dataclass(frozen=True, slots=True)
class Substitution:
    """What a substitute comes to."""

    #: Which part, and its name in the trade.
    part: str
    title: str
    #: What was read on either.
    old: str
    new: str
    fit: MatchGrade  #: The worst of all findings and marks.
    sentence: str  #: The answer in one sentence.
    machines: int = 0  #: How many possible machines were tried; 0 where nothing had to be.
    starts: tuple[StartsAt, ...] = ()  #: At each condition, the share that started with either part.
    findings: tuple[MatchLine, ...] = ()  #: What was simulated, compared.
    marks: tuple[MatchLine, ...] = ()  #: Marks compared.
    flags: tuple[str, ...] = ()  #: What must not be overlooked.
    #: Marks still to be read, the ones without which nothing can be said first.
    read: tuple[MissingMark, ...] = ()
    assumed: tuple[str, ...] = ()  #: What the simulation took for granted.
    before: str = ""  #: What comes before touching the old part.
    never: tuple[Rule, ...] = ()  #: What is never done with this kind of part.


def described(machine: Machine, part: str, old: Sequence[str]) -> Machine:
    """
    The machine with what was read on the old part put in, for the estimate of its motor.

    Raises as `try_substitute`.
    """
    if part == ASSIST:
        return machine
    require_replaceable(machine, part)
    rules = rules_of(machine, part)
    marks, _ = read_marks(rules.values(), old)
    return replace(
        machine, known={**machine.known, **known_of(part, machine.part(part).family, marks, rules)}
    )


def try_substitute(
    machine: Machine,
    known: Estimate | Sequence[Possible],
    part: str,
    new: str | Sequence[str],
    old: Sequence[str] = (),
    *,
    n: int | None = None,
    seed: int = 0,
) -> Substitution:
    """
    Hold a substitute against the old part.

    Marks of the new part are written as they would be noted: ``97-117 MFD 250 VAC``, ``pick-up current:
    8.5 A``; ``listed: yes`` says that the compressor's maker lists it for this compressor. `n` possible
    machines are tried, 24 if left out. Raises `Refused` if a text cannot be understood, nothing is said of
    the new part, or the part is sealed in the shell.
    """
    if part != ASSIST:
        require_replaceable(machine, part)
    texts = [new] if isinstance(new, str) else list(new)
    proposal = proposal_of(machine, part, texts, old)
    if proposal.defeated:
        return _defeated(proposal)
    lines = marked(machine, proposal)
    count = int(number("trial", "machines")) if n is None else n
    if count < 2:
        raise Refused(Message("two possible machines or more are tried, got {count}", count=count))
    first, second = _both_trials(machine, known, proposal, count, seed)
    findings = findings_of(
        proposal.kind,
        machine.nameplate.volts,
        first,
        second,
        rating(proposal.old, proposal.kind),
        rating(proposal.new, proposal.kind),
    )
    fit = worst((*findings, *lines))
    return Substitution(
        part=part,
        title=proposal.title,
        old=marks_text(proposal.old),
        new=marks_text(proposal.new),
        fit=fit,
        sentence=_sentence(fit, (*findings, *lines)),
        machines=first.started.shape[1],
        starts=starts_of(first, second),
        findings=findings,
        marks=tuple(line for line in lines if line.fit is not MatchGrade.UNKNOWN),
        flags=_flags(proposal, lines, findings),
        read=still_to_read(proposal),
        assumed=_assumed(proposal),
        before=proposal.before,
        never=proposal.never,
    )


def runs_of(
    machine: Machine,
    known: Estimate | Possible,
    part: str,
    new: str | Sequence[str],
    old: Sequence[str] = (),
    *,
    seconds: float = 1.5,
) -> tuple[tuple[str, Run], ...]:
    """
    One start of the most probable machine with either part, for the curves.

    Two pairs of a name and a run, of `seconds` [s]; at the plate's volts with equal pressures and cold. Else
    as `try_substitute`; `Refused` also where the new part would do away with protection.
    """
    if part != ASSIST:
        require_replaceable(machine, part)
    proposal = proposal_of(machine, part, [new] if isinstance(new, str) else list(new), old)
    if proposal.defeated:
        raise Refused(Message("a start without its protection is not drawn"))
    motor = known.best if isinstance(known, Estimate) else known
    at = TrialCondition(1.0, "equal", False)
    before, after = _fitters(machine, proposal, motor)
    return tuple(
        (name, simulate(best_case(machine, motor, fit, at), seconds))
        for name, fit in (("old part", before), ("new part", after))
    )


# -- trying -------------------------------------------------------------------------------------------------


def _both_trials(
    machine: Machine, known: Estimate | Sequence[Possible], proposal: Proposal, count: int, seed: int
) -> tuple[PartTrial, PartTrial]:
    """The old part and the new one, tried on the same possible machines that work with the old one."""
    over = int(number("trial", "oversampling"))
    motors = known.possible(over * count, seed) if isinstance(known, Estimate) else list(known)
    shares = (np.arange(len(motors)) + 0.5) / len(motors)
    np.random.default_rng(seed + 7).shuffle(shares)
    before, after = _fitters(machine, proposal, motors[0])
    cases = prepared(machine, motors, seed)
    chosen = np.flatnonzero(working(cases, before, shares=shares))[:count]
    if len(chosen) < 2:
        raise Refused(
            Message(
                "hardly any motor that agrees with plate and readings starts and runs with the "
                "old {title} as described; check the marks of the old part, volts, amps and "
                "ohms",
                title=proposal.title,
            )
        )
    return (
        try_part(machine, motors, cases, before, shares=shares, chosen=chosen),
        try_part(machine, motors, cases, after, shares=shares, chosen=chosen),
    )


def _fitters(machine: Machine, proposal: Proposal, motor: Possible) -> tuple[Fitted, Fitted]:
    def old(case: StartCase, share: float) -> StartCase:
        return case if role is None else fit_part(case, role, proposal.old, proposal.rules, share)

    role = proposal.kind.role if proposal.kind else None
    if role is not None:
        return old, lambda case, share: fit_part(case, role, proposal.new, proposal.rules, share)
    kind = proposal.new.get("kind")
    if kind is None:
        raise Refused(
            Message("say what switches the start-assist off, such as: {example}", example=example(None))
        )
    has_run = machine.has(Role.RUN_CAPACITOR) is not None
    name = assist_arrangement(kind.text, "capacitance" in proposal.new, has_run)
    rules = proposal.rules
    becomes = Machine.of(name, None, machine.nameplate)
    added = [p for p in becomes.parts if p.family.role in (Role.STARTER, Role.START_CAPACITOR)]
    known = [known_of(p.id, p.family, proposal.new, rules) for p in added]
    becomes = replace(becomes, known={key: size for sizes in known for key, size in sizes.items()})
    return old, lambda case, share: assisted(case, becomes, motor, proposal.new, rules, share)


# -- words --------------------------------------------------------------------------------------------------


def _defeated(proposal: Proposal) -> Substitution:
    starter = is_starter(proposal.kind)
    why = Message("there is no part to try in that")
    if starter:
        why = Message("the start winding would stay in and burn out within seconds")
    elif proposal.kind is not None and proposal.kind.role is Role.PROTECTOR:
        why = Message("nothing would switch the motor off when it stalls, and it would burn")
    line = MatchLine("kind", Message("What it is"), "", proposal.defeated, MatchGrade.NO, why)
    flag = Message(
        "“{typed}” is no {part}: {why}. Not even for a trial.",
        typed=proposal.defeated,
        part=proposal.title,
        why=why,
    )
    return Substitution(
        part=proposal.part,
        title=proposal.title,
        old=marks_text(proposal.old),
        new=proposal.defeated,
        fit=MatchGrade.NO,
        sentence=Message("No: {why}.", why=why),
        marks=(line,),
        flags=(flag,),
        before=proposal.before,
        never=proposal.never,
    )


def _sentence(fit: MatchGrade, lines: Sequence[MatchLine]) -> Message:
    reasons = (
        Message("{mark}: {reason}", mark=Message.of(line.title).small(), reason=line.reason)
        for line in lines
        if line.fit is fit
    )
    differences = listed(dict.fromkeys(reasons), "semicolon")
    match fit:
        case MatchGrade.SAME:
            return Message("The same: no difference beyond what two new parts of one mark have.")
        case MatchGrade.ACCEPTABLE:
            return Message("Acceptable with these differences: {told}.", told=differences)
        case MatchGrade.NO:
            return Message("No: {why}.", why=differences)
        case _:
            return Message("It cannot be said yet: {told}.", told=differences)


def _flags(
    proposal: Proposal, lines: Sequence[MatchLine], findings: Sequence[MatchLine]
) -> tuple[Message, ...]:
    flags = []
    for line in lines:
        if line.name in ("reset", "reset_temperature", "protector") and line.fit in (
            MatchGrade.ACCEPTABLE,
            MatchGrade.NO,
        ):
            flags.append(Message("{mark}: {reason}.", mark=line.title, reason=line.reason))
    if proposal.kind is not None and proposal.kind.role is Role.PROTECTOR:
        flags += [
            Message("{mark}: {reason}.", mark=finding.title, reason=finding.reason)
            for finding in findings
            if finding.fit is MatchGrade.NO
        ]
        if not proposal.listed:
            flags.append(
                Message(
                    "A motor protector is proved together with its motor: only the number on the old one, or"
                    " one the compressor's maker lists, can be fitted. The simulation alone approves none."
                )
            )
    return tuple(flags)


def _assumed(proposal: Proposal) -> tuple[Message, ...]:
    sentences = [
        Message(
            "The motor is one of those that agree with plate and readings; where in its printed range a part"
            " lies is not known, and both parts are taken at the same place of theirs."
        ),
        Message(
            "The old part is taken to have worked when new: only motors that start and run with it at the"
            " plate's volts, cold, with equal pressures, are tried."
        ),
    ]
    sentences.append(
        Message(
            "Figures are those of the middle machine with either part; a difference is the middle one of all,"
            " machine by machine, so it need not be the difference of the two figures."
        )
    )
    simulated = simulated_marks(proposal.kind)
    unread = tuple(
        Message.of(proposal.rules[name].title).small() for name in simulated if name not in proposal.old
    )
    if unread and proposal.kind is not None:
        sentences.append(
            Message(
                "Not read on the old part, so one usual for this compressor was taken: {marks}.",
                marks=unread,
            )
        )
    supposed = proposal.kind.substitute if proposal.kind is not None else None
    if supposed is not None and supposed.assumes:
        sentences.append(Message.of(supposed.assumes))
    return tuple(sentences)
